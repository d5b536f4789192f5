package report

import (
	"bufio"
	"fmt"
	"io"
	"math"
	"strconv"
	"strings"

	"ebbline/decay"
)

var psi = decay.PressureUnit{Name: "psi", Pascal: decay.PSI}

// difference prints a difference of pressures, which is neither gauge nor
// absolute, in u.
func difference(pa float64, u decay.PressureUnit) string {
	return decay.Gauge(pa).Number(u) + " " + u.Name
}

// inPSI prints a difference of pressures in u, and in psi beside it.
func inPSI(pa float64, u decay.PressureUnit) string {
	if u.Name == "psi" {
		return difference(pa, u)
	}
	return difference(pa, u) + " (" + difference(pa, psi) + ")"
}

// plain prints an absolute pressure in u without the word, for sentences that
// say it.
func plain(p decay.Pressure, u decay.PressureUnit) string {
	return strings.TrimSuffix(p.Format(u), " absolute")
}

func rpm(n decay.Speed) string { return strconv.FormatFloat(n.RPM(), 'f', 0, 64) + " rpm" }

// ShortfallHeadline says in one line how much charge pressure is missing, and
// where.
func ShortfallHeadline(c decay.Complaint, u decay.PressureUnit) string {
	if c.Worst < 0 {
		for _, f := range c.Findings {
			if f.Code == decay.FoundUnitActual || f.Code == decay.FoundUnitAsked {
				return "not known: the pressures cannot be meant as they stand"
			}
		}
		return "not known: no reading where charge is asked for"
	}
	w := c.Points[c.Worst]
	of := fmt.Sprintf("at %s: requested %s, actual %s", rpm(w.Speed), w.Requested.Format(u), w.Actual.Format(u))
	switch {
	case w.Shortfall() < 0:
		return inPSI(-w.Shortfall(), u) + " more than requested, " + of
	case !w.Short():
		return "none: " + inPSI(w.Shortfall(), u) + " at most, which is ordinary control, " + of
	}
	return fmt.Sprintf("%s, %s of what was requested, %s", inPSI(w.Shortfall(), u), percent(w.Share()), of)
}

// ShortfallBegins says from which speed on pressure is missing; "" when none is.
func ShortfallBegins(c decay.Complaint) string {
	switch {
	case c.Begins < 0:
		return ""
	case len(c.Points) == 1:
		return "not known: one speed only. Read more speeds under full load"
	case c.Begins == 0:
		return "at " + rpm(c.Points[0].Speed) + ", the lowest speed at which charge is asked for"
	}
	return "at " + rpm(c.Points[c.Begins].Speed) + "; at " + rpm(c.Points[c.Begins-1].Speed) + " the pressure is there"
}

// ShortfallTrend says how the shortfall changes with speed, and what that speaks
// for; "" when too few speeds are known.
func ShortfallTrend(c decay.Complaint) string {
	switch c.Trend {
	case decay.TrendShrinks:
		return "the share that is missing shrinks with speed, as with a leak: a hole takes about the same air at every speed, the engine takes more and more"
	case decay.TrendSteady:
		return missingShares(c) + ": a hole alone would cost less and less, so look for a second cause as well"
	case decay.TrendGrows:
		return "the share that is missing grows with speed, which a hole of fixed size does not do: a blocked filter, cooler or exhaust, or a joint that opens under pressure, does"
	}
	return ""
}

// missingShares says between which shares of what was requested is missing, from the
// speed on at which pressure begins to be.
func missingShares(c decay.Complaint) string {
	p := c.Points[c.Begins:]
	lo, hi := p[0].Share(), p[0].Share()
	for _, x := range p {
		lo, hi = min(lo, x.Share()), max(hi, x.Share())
	}
	from := "from " + rpm(p[0].Speed) + " on "
	if hi-lo < 0.03 { // less than what is called short
		return from + "the share that is missing stays about the same, " + percent(lo) + " to " + percent(hi)
	}
	return from + "the share that is missing goes up and down, " + percent(lo) + " to " + percent(hi) + ", and does not shrink"
}

// units lists names of units.
func units(us []decay.PressureUnit) string {
	names := make([]string, len(us))
	for i, u := range us {
		names[i] = u.Name
	}
	return strings.Join(names, " or ")
}

// high adds that a place may lie higher than was assumed.
func high(f decay.Finding) string {
	if f.Far <= 0 {
		return ""
	}
	return fmt.Sprintf(". The air around was not stated: at %.0f m it would be ordinary, so state --ambient or --altitude", f.Far)
}

// FindingText says what a finding is, with its reason and what to do, in one or
// two sentences. Pressures are written in u.
func FindingText(f decay.Finding, u decay.PressureUnit) string {
	v, ref := plain(f.Value, u), plain(f.Ref, u)
	switch f.Code {
	case decay.FoundOffAgrees:
		return fmt.Sprintf("with the engine off the sensor reads %s absolute, and the air around has %s: they agree within %s", v, ref, difference(3*decay.Kilopascal, u))
	case decay.FoundOffAmbient:
		return fmt.Sprintf("with the engine off the sensor reads %s absolute, which is taken for the air around, as at %.0f m: if the place does not lie about there, the sensor is wrong; state --ambient or --altitude", v, f.Far)
	case decay.FoundOffUnknown:
		return "no reading with the engine off: key on, engine off, the sensor must read the air around; until then it is not known to be right (--engine-off)"
	case decay.FoundOffDiffers:
		text := fmt.Sprintf("with the engine off the sensor reads %s, but the air around has %s absolute: the difference of %s is the sensor's or its wiring's", v, ref, difference(float64(f.Value-f.Ref), u))
		if len(f.Units) > 0 {
			return text + "; as " + units(f.Units) + " it would agree: the units may be mixed"
		}
		return text + ". Put that right first: every shortfall it shows is off by as much"
	case decay.FoundOffGauge:
		return fmt.Sprintf("with the engine off the sensor reads %s, about zero, where an absolute one reads the air around: the readings are gauge. Add the ambient, or write the word gauge with --ambient", v)
	case decay.FoundIdleBelow:
		return fmt.Sprintf("at idle (%s) the reading is %s absolute, %s below the air around: a leak cannot do that, for air would flow in; a blocked intake or filter, or a bad sensor can. Behind a throttle it is ordinary: read before the throttle%s", rpm(f.Speed), v, difference(float64(f.Ref-f.Value), u), high(f))
	case decay.FoundLoadBelow:
		return fmt.Sprintf("at %s charge is asked for, but the reading of %s absolute is %s below the air around: a leak brings it down to the air around and no further; look for a blocked intake or a bad sensor, or a gauge reading taken for absolute%s", rpm(f.Speed), v, difference(float64(f.Ref-f.Value), u), high(f))
	case decay.FoundNoCharge:
		return fmt.Sprintf("at %s charge is asked for, but the reading is %s absolute, that of the air around: a hose that is off, or a compressor that is not driven. Look and listen before you fill", rpm(f.Speed), v)
	case decay.FoundGaugeActual:
		if f.Other != 0 {
			return fmt.Sprintf("the shortfall of %s is one whole ambient (%s): the actual pressure may be gauge while the requested one is absolute. Find out which it is; write the word gauge with --ambient if so", difference(float64(f.Value), u), ref)
		}
		return fmt.Sprintf("the lowest actual pressures are about %s, where an absolute sensor reads the air around (%s): they are gauge. Write the word gauge, with --ambient", v, ref)
	case decay.FoundGaugeAsked:
		if f.Other != 0 {
			return fmt.Sprintf("actual is above requested by %s, one whole ambient (%s): the requested pressure may be gauge while the actual one is absolute. Find out which it is", difference(float64(f.Value), u), ref)
		}
		return fmt.Sprintf("the lowest requested pressures are about %s, where an absolute one is the air around (%s): they are gauge. Write the word gauge, with --ambient", v, ref)
	case decay.FoundGaugeBoth:
		return fmt.Sprintf("the lowest pressures are about %s, where absolute ones are those of the air around: both columns are gauge. Write the word gauge (--reads gauge), with --ambient", v)
	case decay.FoundUnitActual, decay.FoundUnitAsked:
		which := "actual"
		if f.Code == decay.FoundUnitAsked {
			which = "requested"
		}
		text := fmt.Sprintf("the %s pressure, %s, is no charge pressure beside the other", which, v)
		if !(float64(f.Ref) > 0) {
			text = fmt.Sprintf("the %s pressure, %s, is no charge pressure", which, v)
		}
		var would []string
		if len(f.Units) > 0 {
			would = append(would, "in "+units(f.Units))
		}
		switch f.Other {
		case 10:
			would = append(would, "ten times as much")
		case 0.1:
			would = append(would, "a tenth of it")
		}
		if len(would) > 0 {
			return text + ": units may be mixed: " + strings.Join(would, " or ") + " it would be one (1 bar = 1000 hPa = 100 kPa = 14.5 psi)"
		}
		return text + ": check number and unit (1 bar = 1000 hPa = 100 kPa = 14.5 psi)"
	case decay.FoundAltitude:
		return fmt.Sprintf("the air around has %s absolute, as at %.0f m: for %s absolute the compressor has to bring %.2f times the pressure, where at the sea it would be %.2f times; it may be at its limit there without any leak", ref, f.Far, v, f.Other, float64(f.Value)/decay.Atmosphere)
	case decay.FoundAltDiffers:
		return fmt.Sprintf("the ambient of %s absolute does not fit an altitude of %.0f m, where it is about %s; the weather moves it by no more than %s: one of the two is wrong", v, f.Far, ref, difference(4*decay.Kilopascal, u))
	case decay.FoundOver:
		return fmt.Sprintf("at %s there is more than was requested (%s for %s absolute): no leak does that; look at the control and the sensor", rpm(f.Speed), v, ref)
	case decay.FoundPartLoad:
		return fmt.Sprintf("no row has a load of %.0f %% or more: at part load the control is free to give less than it asks for, so read under full load", f.Other)
	case decay.FoundNoAsk:
		return fmt.Sprintf("nowhere is more asked for than a tenth above the air around (%s absolute): read under load, and check that the requested pressure is absolute", ref)
	case decay.FoundGrows:
		return fmt.Sprintf("the share that is missing grows by %s of the requested pressure up to %s: check filter, cooler and exhaust for a blockage as well, and feel the hoses for one that opens under pressure", percent(f.Other), rpm(f.Speed))
	case decay.FoundImpossible:
		return fmt.Sprintf("%.0f rows cannot be an engine's (speed, load or pressure out of all range) and were left out", f.Other)
	}
	return f.Code
}

// ShortfallNext says whether a hold test is the next step, and why.
func ShortfallNext(c decay.Complaint) string {
	switch c.Next {
	case decay.NextHold:
		why := "pressure is missing where charge is asked for, and nothing in the figures speaks against them"
		if c.Trend == decay.TrendGrows {
			why = "pressure is missing, and a hold tells in a minute whether a leak has any part in it"
		}
		return "a hold test is the next step: " + why + "."
	case decay.NextNone:
		return "a hold test is not the next step: no more is missing than ordinary control leaves (3 % of the pressure requested)."
	}
	return "a hold test is not the next step: first clear up what is marked STOP, for it is no leak or may be none."
}

// lineWidth is the widest line of a text for a person; nameWidth the column of
// the names at its left.
const lineWidth, nameWidth = 80, 11

// Line writes a name and its text, broken between words so that it stays readable
// on a narrow terminal.
func Line(w io.Writer, name, text string) {
	width := nameWidth
	fmt.Fprintf(w, "%-*s", nameWidth, name)
	for i, word := range strings.Fields(text) {
		n := len([]rune(word))
		switch {
		case i == 0:
		case width+1+n > lineWidth:
			fmt.Fprintf(w, "\n%*s", nameWidth, "")
			width = nameWidth
		default:
			io.WriteString(w, " ")
			width++
		}
		io.WriteString(w, word)
		width += n
	}
	io.WriteString(w, "\n")
}

// Shortfall writes a complaint as a few lines for a person. Pressures are
// written in u.
func Shortfall(w io.Writer, c decay.Complaint, u decay.PressureUnit) error {
	b := bufio.NewWriter(w)
	line := func(name, text string) {
		if text != "" {
			Line(b, name, text)
		}
	}
	line("shortfall", ShortfallHeadline(c, u))
	line("begins", ShortfallBegins(c))
	line("with speed", ShortfallTrend(c))
	given := plural(c.Rows, "row") + ", " + strconv.Itoa(c.Judged) + " judged"
	for _, x := range []struct {
		n    int
		what string
	}{{c.Off, "engine off"}, {c.Idle, "idle"}, {c.Unasked, "without charge requested"}, {c.Part, "at part load"}, {len(c.Impossible), "impossible"}} {
		if x.n > 0 {
			given += ", " + strconv.Itoa(x.n) + " " + x.what
		}
	}
	if c.Ambient > 0 {
		given += "; ambient " + c.Ambient.Format(u)
		if c.Assumed {
			given += ", assumed"
		}
	}
	line("given", given)
	for _, f := range c.Findings {
		name := "seen"
		if f.Stops {
			name = "STOP"
		}
		line(name, FindingText(f, u))
	}
	line("next", ShortfallNext(c))
	return b.Flush()
}

func plural(n int, word string) string {
	if n == 1 {
		return "1 " + word
	}
	return strconv.Itoa(n) + " " + word + "s"
}

// ShortfallTable writes the points of a complaint as a table. Pressures are
// written in u.
func ShortfallTable(w io.Writer, c decay.Complaint, u decay.PressureUnit) error {
	b := bufio.NewWriter(w)
	inPSI := func(text string) string { // a column of its own, unless psi is shown anyway
		if u.Name == psi.Name {
			return ""
		}
		return fmt.Sprintf("%9s", text)
	}
	fmt.Fprintf(b, "%7s%12s%12s%12s\n", "speed", "requested", "actual", "missing")
	fmt.Fprintf(b, "%7s%12s%12s%12s%s%8s\n", "rpm", u.Name+" abs", u.Name+" abs", u.Name, inPSI(psi.Name), "share")
	for _, p := range c.Points {
		fmt.Fprintf(b, "%7.0f%12s%12s%12s%s%8s\n", p.Speed.RPM(), decay.Gauge(p.Requested).Number(u), decay.Gauge(p.Actual).Number(u),
			decay.Gauge(p.Shortfall()).Number(u), inPSI(decay.Gauge(p.Shortfall()).Number(psi)), percent(p.Share()))
	}
	return b.Flush()
}

// ExplainsWords says in words how much of a shortfall a leak explains.
func ExplainsWords(x decay.Explains) string {
	switch x {
	case decay.ExplainsIt:
		return "explains it"
	case decay.ExplainsMost:
		return "explains most of it"
	case decay.ExplainsPart:
		return "explains a part"
	case decay.ExplainsNot:
		return "does not explain it"
	}
	return "nothing to explain"
}

// partWords prints a fraction, with its bounds where it has any.
func partWords(iv decay.Interval) string {
	if iv.Low == iv.High {
		return percent(iv.Value)
	}
	return percents(iv)
}

// MeaningVerdict says whether the leak explains the complaint, with the
// fraction and its interval.
func MeaningVerdict(m decay.Meaning) string {
	if math.IsNaN(m.Part.Value) {
		return "there is no shortfall to explain"
	}
	text := "this leak " + ExplainsWords(decay.ExplainsOf(m.Part.Value)) + ": " + partWords(m.Part) + " of the shortfall"
	if lo, hi := decay.ExplainsOf(m.Part.Low), decay.ExplainsOf(m.Part.High); lo != hi {
		text += fmt.Sprintf("; the interval of the hole leaves open whether it %s or %s", ExplainsWords(lo), ExplainsWords(hi))
	}
	if m.Over {
		text += "; it would cost clearly more than is missing, so the compressor has some reserve"
	}
	return text
}

// MeaningNext says what follows from a meaning.
func MeaningNext(m decay.Meaning) string {
	if math.IsNaN(m.Part.Value) {
		return ""
	}
	switch decay.ExplainsOf(m.Part.Value) {
	case decay.ExplainsIt, decay.ExplainsMost:
		return "find and repair the leak, hold again, then read the charge pressure again: the rest shows there."
	case decay.ExplainsPart:
		return "repair the leak, and look for another cause as well: intake, cooler, exhaust, control, compressor."
	}
	return "look for another cause before you repair this leak: intake, cooler, exhaust, control, compressor, sensor."
}

// Meaning writes what a leak means for an engine: a table over the speeds, a
// chart of hole sizes, and the assumptions.
func Meaning(w io.Writer, c decay.Complaint, m decay.Meaning, e decay.Engine, hole decay.Interval, cd float64, u decay.PressureUnit) error {
	e = e.WithDefaults()
	b := bufio.NewWriter(w)
	fmt.Fprintf(b, "%-11sequivalent diameter %s mm", "hole", holeNumber(hole.Value))
	if hole.Low != hole.High {
		fmt.Fprintf(b, ", %s to %s mm at %.0f %%", holeNumber(hole.Low), holeNumber(hole.High), hole.Level*100)
	}
	fmt.Fprintf(b, " (Cd %.2f)\n", cd)
	Line(b, "meaning", MeaningVerdict(m))
	b.WriteString("\n")

	fmt.Fprintf(b, "%7s%10s%12s%13s%13s%12s%11s\n", "speed", "engine", "this leak", "would leave", "measured", "explains", "hole that")
	fmt.Fprintf(b, "%7s%10s%12s%13s%13s%12s%11s\n", "rpm", "takes g/s", "takes", u.Name+" abs", u.Name+" abs", "", "would, mm")
	for i, p := range c.Points {
		x := m.At[i]
		fmt.Fprintf(b, "%7.0f%10s%12s%13s%13s%12s%11s\n", p.Speed.RPM(), digits3(float64(x.Demand)*1e3), percent1(x.Share.Value),
			decay.Gauge(x.Left.Value).Number(u), decay.Gauge(p.Actual).Number(u), dash(x.Part.Value), holeCell(x.Hole, p))
	}
	b.WriteString("\n")
	for _, l := range MeaningChart(c, m, hole, 50) {
		b.WriteString(strings.TrimRight(l, " ") + "\n")
	}
	b.WriteString("\n")
	Line(b, "next", MeaningNext(m))
	for _, l := range Assumptions(e) {
		Line(b, "assumed", l)
	}
	return b.Flush()
}

// Assumptions are those under which a leak is set beside a shortfall.
func Assumptions(e decay.Engine) []string {
	e = e.WithDefaults()
	return []string{
		fmt.Sprintf("an estimate: displacement %s L, %d strokes, volumetric efficiency %.2f, charge air at %.0f °C", digits3(float64(e.Displacement)/decay.Litre), e.Strokes, e.Efficiency, e.Charge.Celsius()),
		"the compressor gives the air for the pressure requested and no more: with reserve left, a leak costs less",
		"the leak is after the compressor, steady, and of the size it had in the hold",
	}
}

func holeNumber(m float64) string {
	switch {
	case math.IsInf(m, 0) || math.IsNaN(m):
		return "?"
	case m <= 0:
		return "0"
	}
	return strings.TrimSuffix(Millimetres(m), " mm")
}

// holeCell is the hole that would explain a point, for a table.
func holeCell(d decay.Length, p decay.ChargePoint) string {
	switch {
	case !p.Short():
		return "-"
	case math.IsInf(float64(d), 1):
		return "none"
	}
	return holeNumber(float64(d))
}

func dash(share float64) string {
	if math.IsNaN(share) {
		return "-"
	}
	return percent(share)
}

// percent1 prints a share in per cent with two significant digits below ten.
func percent1(share float64) string {
	if math.IsNaN(share) || math.IsInf(share, 0) {
		return "-"
	}
	prec := 0
	if share < 0.1 {
		prec = 1
	}
	if share < 0.01 {
		prec = 2
	}
	return strconv.FormatFloat(100*share, 'f', prec, 64) + " %"
}

// MeaningChart draws the holes that would explain the shortfall at each speed
// beside the hole measured, on one logarithmic ruler n columns wide, in plain
// characters.
func MeaningChart(c decay.Complaint, m decay.Meaning, hole decay.Interval, n int) []string {
	lo, hi := math.Inf(1), 0.0
	widen := func(d float64) {
		if d > 0 && !math.IsInf(d, 0) {
			lo, hi = math.Min(lo, d), math.Max(hi, d)
		}
	}
	for i, p := range c.Points {
		if p.Short() {
			widen(float64(m.At[i].Hole))
		}
	}
	if hi == 0 {
		return nil
	}
	widen(hole.Value)
	widen(hole.Low)
	widen(hole.High)
	lo, hi = lo/1.3, hi*1.3
	if wide := math.Sqrt(3 * lo / hi); wide > 1 { // a ruler too short shows noise as news
		lo, hi = lo/wide, hi*wide
	}
	at := func(d float64) int {
		if !(d > 0) {
			return 0
		}
		return min(n-1, max(0, int(float64(n)*math.Log(d/lo)/math.Log(hi/lo))))
	}
	const left = 9
	marks, labels := []rune(strings.Repeat(" ", n)), []rune(strings.Repeat(" ", n+8))
	next := 0
	for _, v := range []float64{0.1, 0.2, 0.5, 1, 2, 3, 4, 5, 7, 10, 15, 20, 30, 50, 100} {
		d := v * decay.Millimetre
		if d < lo || d > hi {
			continue
		}
		k := at(d)
		marks[k] = '\''
		text := []rune(strconv.FormatFloat(v, 'f', -1, 64))
		if k >= next {
			copy(labels[k:], text)
			next = k + len(text) + 2
		}
	}
	out := []string{fmt.Sprintf("%*s%s", left, "hole, mm ", string(labels)), strings.Repeat(" ", left) + string(marks)}
	a, v, z := at(hole.Low), at(hole.Value), at(hole.High)
	for i, p := range c.Points {
		row := []rune(strings.Repeat(".", n))
		for k := a; k <= z; k++ {
			row[k] = '='
		}
		row[v] = '#'
		tail := ""
		switch d := float64(m.At[i].Hole); {
		case !p.Short():
			tail = "  nothing is missing"
		case math.IsInf(d, 0):
			tail = "  no hole does that"
		case at(d) == v:
			row[v] = '@'
		default:
			row[at(d)] = 'o'
		}
		out = append(out, fmt.Sprintf("%*.0f  %s%s", left-2, p.Speed.RPM(), string(row), tail))
	}
	return append(out, strings.Repeat(" ", left)+"o hole that would explain it, # hole measured, = its interval, @ both")
}
