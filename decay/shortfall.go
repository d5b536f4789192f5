package decay

import (
	"cmp"
	"math"
	"slices"
)

// ChargeRow is one reading of what an engine's control asked for and what it
// got. All pressures are absolute.
type ChargeRow struct {
	Speed     Speed
	Requested Pressure
	Actual    Pressure
	Ambient   Pressure // 0: not stated
	Load      float64  // per cent; NaN: not stated
}

// ChargeSetup is what is known beside the rows.
type ChargeSetup struct {
	Ambient     Pressure // around the engine; 0: not stated
	Altitude    Length   // of the place, where stated
	HasAltitude bool
	Off         Pressure // what the charge pressure sensor reads with the engine off, where stated; a zero is a reading
	HasOff      bool

	RequestedUnit, ActualUnit PressureUnit // in which the pressures came; zero: not known
}

// Thresholds of a complaint, all our own choice.
const (
	shortShare = 0.03            // of the requested pressure: less is ordinary control
	shortLeast = 3 * Kilopascal  // and at least this
	agree      = 3 * Kilopascal  // within which two sensors of ambient agree
	weather    = 4 * Kilopascal  // within which the weather moves the ambient of a place
	charging   = 1.1             // of ambient: where the control asks for charge
	fullLoad   = 70.0            // per cent, from which on a row is judged
	runs       = 200 * RPM       // below it the engine is off
	idles      = 1150 * RPM      // below it, with no charge asked, it idles
	lowCharge  = 30 * Kilopascal // charge pressures in one column lie between these
	highCharge = 700 * Kilopascal
	mostPoints = 14
)

// ChargePoint is the middle of the rows at one speed.
type ChargePoint struct {
	Speed                      Speed
	Requested, Actual, Ambient Pressure
	Rows                       int
}

// Shortfall is the pressure that is missing, in Pa; negative: there is more than
// was asked for.
func (p ChargePoint) Shortfall() float64 { return float64(p.Requested - p.Actual) }

// Share is the shortfall as a share of the requested pressure.
func (p ChargePoint) Share() float64 { return p.Shortfall() / float64(p.Requested) }

// Short reports whether more is missing than ordinary control leaves: 3 % of the
// pressure requested, and at least 3 kPa.
func (p ChargePoint) Short() bool {
	return p.Shortfall() > math.Max(shortShare*float64(p.Requested), shortLeast)
}

// Trend is how the relative shortfall changes with speed. The zero value is
// TrendUnknown: too few speeds to tell.
type Trend int

// The trends. The leak of a hole hardly changes with speed while the engine
// takes more, so its share shrinks.
const (
	TrendUnknown Trend = iota
	TrendShrinks
	TrendSteady
	TrendGrows
)

func (t Trend) String() string { return [...]string{"unknown", "shrinks", "steady", "grows"}[t] }

// Next is what to do next about a complaint. The zero value is NextAsk.
type Next int

// The next steps.
const (
	NextAsk  Next = iota // a finding stops: the figures have to be put right first
	NextHold             // a hold test
	NextNone             // nothing is missing that a hold test could find
)

func (n Next) String() string { return [...]string{"ask-first", "hold-test", "no-hold-test"}[n] }

// Finding is something seen in a complaint's figures. Which numbers it carries
// hangs on the code.
type Finding struct {
	Code  string
	Stops bool     // no leak may be blamed before it is put right
	Speed Speed    // where, when at one speed
	Value Pressure // the reading in question
	Ref   Pressure // what it was held against
	Far   Length   // an altitude
	Other float64  // a ratio, or a number of rows
	Units []PressureUnit
}

// The codes of findings.
const (
	FoundOffAgrees   = "off-agrees"          // engine off: the sensor reads ambient
	FoundOffAmbient  = "off-is-ambient"      // ambient not stated: the sensor's reading with the engine off is taken for it
	FoundOffUnknown  = "off-unknown"         // no reading with the engine off
	FoundOffDiffers  = "off-differs"         // engine off: the sensor does not read ambient
	FoundOffGauge    = "off-gauge"           // engine off: the sensor reads about zero
	FoundIdleBelow   = "idle-below"          // below ambient at idle
	FoundLoadBelow   = "load-below"          // below ambient although charge is asked for
	FoundNoCharge    = "no-charge"           // at ambient although charge is asked for
	FoundGaugeActual = "gauge-actual"        // the shortfall is one ambient: actual may be gauge
	FoundGaugeAsked  = "gauge-requested"     // actual is above requested by one ambient
	FoundGaugeBoth   = "gauge-both"          // both columns near zero where nothing is asked
	FoundUnitActual  = "unit-actual"         // no charge pressure in that unit
	FoundUnitAsked   = "unit-requested"      // the same for the pressure requested
	FoundAltitude    = "altitude"            // thin air makes the compressor work harder
	FoundAltDiffers  = "altitude-differs"    // ambient is not that of the altitude stated
	FoundOver        = "over"                // more than was asked for
	FoundPartLoad    = "part-load"           // no row at high load
	FoundNoAsk       = "no-charge-requested" // nowhere is charge asked for
	FoundGrows       = "grows"               // the shortfall grows with speed
	FoundImpossible  = "impossible-rows"     // rows that no engine can make
)

// Complaint is what requested and actual charge pressures say.
type Complaint struct {
	Points   []ChargePoint // where charge is asked for, by rising speed
	Worst    int           // index of the point where most is missing; −1 when there is no point
	Begins   int           // index of the point from which on pressure is missing without a break up to the worst; −1: nowhere
	Trend    Trend
	Findings []Finding
	Next     Next

	Rows       int      // given
	Judged     int      // under charge, at load
	Part       int      // under charge at part load, not judged
	Idle, Off  int      // idling, engine off
	Unasked    int      // running without charge asked for
	Impossible []int    // indexes of rows that cannot be
	Ambient    Pressure // used where a row states none
	Assumed    bool     // the ambient was not stated nor seen: standard at sea level
}

// Short reports whether pressure is missing anywhere.
func (c Complaint) Short() bool { return c.Worst >= 0 && c.Points[c.Worst].Short() }

// NewComplaint looks at rows of requested and actual charge pressure, all
// absolute: first whether the figures can be meant, then where pressure is
// missing.
func NewComplaint(rows []ChargeRow, set ChargeSetup) Complaint {
	c := Complaint{Rows: len(rows), Worst: -1, Begins: -1}
	c.units(rows, set)
	if len(c.Findings) > 0 { // figures in a wrong unit say nothing more
		return c
	}
	rows = c.possible(rows)
	c.ambient(rows, set)
	amb := func(r ChargeRow) Pressure {
		if r.Ambient > 0 {
			return r.Ambient
		}
		return c.Ambient
	}
	c.gauges(rows, amb)
	c.off(rows, set, amb)
	c.idle(rows, amb)
	c.points(rows, amb)
	c.charge()
	c.altitude(set)
	c.trend()
	c.next()
	return c
}

func (c *Complaint) found(f Finding) { c.Findings = append(c.Findings, f) }

func median(v []float64) float64 {
	if len(v) == 0 {
		return math.NaN()
	}
	v = slices.Clone(v)
	slices.Sort(v)
	m := len(v) / 2
	if len(v)%2 == 1 {
		return v[m]
	}
	return (v[m-1] + v[m]) / 2
}

// column collects a number of the rows that f lets through.
func column(rows []ChargeRow, f func(ChargeRow) (float64, bool)) []float64 {
	var out []float64
	for _, r := range rows {
		if v, ok := f(r); ok {
			out = append(out, v)
		}
	}
	return out
}

// units asks whether the pressures of a column can be charge pressures in the
// unit they came in, and which other units would make them so.
func (c *Complaint) units(rows []ChargeRow, set ChargeSetup) {
	turning := func(pick func(ChargeRow) Pressure) func(ChargeRow) (float64, bool) {
		return func(r ChargeRow) (float64, bool) { return float64(pick(r)), r.Speed >= runs }
	}
	asked := median(column(rows, turning(func(r ChargeRow) Pressure { return r.Requested })))
	got := median(column(rows, turning(func(r ChargeRow) Pressure { return r.Actual })))
	plausible := func(v float64) bool { return v >= lowCharge && v <= highCharge }
	fits := func(u PressureUnit, v, other float64) []PressureUnit {
		var out []PressureUnit
		for _, w := range PressureUnits {
			if w.Name == "mbar" || u.Pascal == 0 || w.Pascal == u.Pascal { // the same as hPa
				continue
			}
			p := v / u.Pascal * w.Pascal
			if p < 0.6*Bar || p > 4.5*Bar || plausible(other) && (p < 0.4*other || p > 2.5*other) {
				continue
			}
			out = append(out, w)
		}
		return out
	}
	tenfold := func(v, other float64) float64 {
		for _, f := range []float64{10, 0.1} {
			if p := v * f; p >= 0.6*Bar && p <= 4.5*Bar && (!plausible(other) || p > 0.4*other && p < 2.5*other) {
				return f
			}
		}
		return 0
	}
	check := func(code string, v, other float64, u PressureUnit) {
		if math.IsNaN(v) || v <= 0.15*Bar && v > -0.3*Bar && len(fits(u, v, other)) == 0 && tenfold(v, other) == 0 {
			return // about zero: gauge, which is asked for later
		}
		if !plausible(v) {
			c.found(Finding{Code: code, Stops: true, Value: Pressure(v), Ref: Pressure(other), Units: fits(u, v, other), Other: tenfold(v, other)})
		}
	}
	check(FoundUnitAsked, asked, got, set.RequestedUnit)
	check(FoundUnitActual, got, asked, set.ActualUnit)
	if len(c.Findings) == 0 && plausible(asked) && plausible(got) && got < asked/4 {
		if u := fits(set.ActualUnit, got, asked); len(u) > 0 {
			c.found(Finding{Code: FoundUnitActual, Stops: true, Value: Pressure(got), Ref: Pressure(asked), Units: u, Other: tenfold(got, asked)})
		}
	}
}

// possible sets aside rows that no engine makes. Pressures about zero and below
// stay: they tell of gauge readings.
func (c *Complaint) possible(rows []ChargeRow) []ChargeRow {
	var out []ChargeRow
	for i, r := range rows {
		bad := func(p Pressure) bool { return math.IsNaN(float64(p)) || p > 10*Bar || p < -0.5*Bar }
		turns := r.Speed >= 0 && r.Speed <= FastestEngine // no NaN does
		around := r.Ambient == 0 || r.Ambient >= 40*Kilopascal && r.Ambient <= 120*Kilopascal
		if bad(r.Requested) || bad(r.Actual) || !turns || !around || r.Load < 0 || r.Load > 250 {
			c.Impossible = append(c.Impossible, i)
			continue
		}
		out = append(out, r)
	}
	if n := len(c.Impossible); n > 0 {
		c.found(Finding{Code: FoundImpossible, Other: float64(n)})
	}
	return out
}

// ambient settles what the air around is: the flag, the rows, the altitude, the
// sensor with the engine off, the standard at sea level, in that order.
func (c *Complaint) ambient(rows []ChargeRow, set ChargeSetup) {
	seen := median(column(rows, func(r ChargeRow) (float64, bool) { return float64(r.Ambient), r.Ambient > 0 }))
	off := median(column(rows, func(r ChargeRow) (float64, bool) { return float64(r.Actual), r.Speed < runs }))
	if set.HasOff {
		off = float64(set.Off)
	}
	switch {
	case set.Ambient > 0:
		c.Ambient = set.Ambient
	case seen > 0:
		c.Ambient = Pressure(seen)
	case set.HasAltitude:
		c.Ambient = StandardAtmosphere(set.Altitude)
	case off > 60*Kilopascal && off < 108*Kilopascal:
		c.Ambient = Pressure(off)
		c.found(Finding{Code: FoundOffAmbient, Value: c.Ambient, Far: altitudeOf(c.Ambient)})
	default:
		c.Ambient, c.Assumed = DefaultAmbient, true
	}
}

// altitudeOf is the altitude at which the standard atmosphere has pressure p.
func altitudeOf(p Pressure) Length {
	return Length(288.15 / 0.0065 * (1 - math.Pow(float64(p)/Atmosphere, 1/5.255876)))
}

// gauges asks whether a column is gauge although absolute was said.
func (c *Complaint) gauges(rows []ChargeRow, amb func(ChargeRow) Pressure) {
	nearZero := func(from Speed, pick func(ChargeRow) Pressure) (Pressure, bool) {
		low := column(rows, func(r ChargeRow) (float64, bool) { return float64(pick(r)), r.Speed >= from })
		if len(low) == 0 {
			return 0, false
		}
		slices.Sort(low)
		v := low[len(low)/20] // one odd row in twenty does not decide
		return Pressure(v), v < 0.25*Bar
	}
	// With the engine off many a control requests nothing, which is no gauge zero.
	asked, zeroAsked := nearZero(runs, func(r ChargeRow) Pressure { return r.Requested })
	got, zeroGot := nearZero(0, func(r ChargeRow) Pressure { return r.Actual })
	switch {
	case zeroAsked && zeroGot:
		c.found(Finding{Code: FoundGaugeBoth, Stops: true, Value: got, Ref: asked})
		return
	case zeroGot:
		c.found(Finding{Code: FoundGaugeActual, Stops: true, Value: got, Ref: c.Ambient})
		return
	case zeroAsked:
		c.found(Finding{Code: FoundGaugeAsked, Stops: true, Value: asked, Ref: c.Ambient})
		return
	}
	// One ambient between the columns, the same at every speed.
	gap := column(rows, func(r ChargeRow) (float64, bool) {
		return float64(r.Requested-r.Actual) / float64(amb(r)), r.Speed >= runs
	})
	m := median(gap)
	var spread []float64
	for _, g := range gap {
		spread = append(spread, math.Abs(g-m))
	}
	if median(spread) > 0.05 {
		return
	}
	switch worst := median(column(rows, func(r ChargeRow) (float64, bool) { return float64(r.Requested - r.Actual), r.Speed >= runs })); {
	case math.Abs(m-1) < 0.06:
		c.found(Finding{Code: FoundGaugeActual, Stops: true, Value: Pressure(worst), Ref: c.Ambient, Other: m})
	case math.Abs(m+1) < 0.06:
		c.found(Finding{Code: FoundGaugeAsked, Stops: true, Value: Pressure(-worst), Ref: c.Ambient, Other: -m})
	}
}

// off holds the sensor against ambient with the engine off.
func (c *Complaint) off(rows []ChargeRow, set ChargeSetup, amb func(ChargeRow) Pressure) {
	var reads, against []float64
	for _, r := range rows {
		if r.Speed < runs {
			c.Off++
			reads, against = append(reads, float64(r.Actual)), append(against, float64(amb(r)))
		}
	}
	v, ref := median(reads), median(against)
	if set.HasOff {
		v, ref = float64(set.Off), float64(c.Ambient)
	}
	f := Finding{Value: Pressure(v), Ref: Pressure(ref)}
	switch {
	case math.IsNaN(v):
		f.Code = FoundOffUnknown
	case slices.ContainsFunc(c.Findings, func(f Finding) bool { return f.Code == FoundOffAmbient }):
		return
	case math.Abs(v-ref) > agree:
		f.Code, f.Stops = FoundOffDiffers, true
		for _, u := range PressureUnits { // mixed by 10, or by 14.5
			if w := set.ActualUnit; w.Pascal > 0 && u.Name != "mbar" && u.Pascal != w.Pascal && math.Abs(v/w.Pascal*u.Pascal/ref-1) < 0.05 {
				f.Units = append(f.Units, u)
			}
		}
		if len(f.Units) == 0 && math.Abs(v) < 0.15*Bar {
			f.Code = FoundOffGauge
		}
	default:
		f.Code = FoundOffAgrees
	}
	c.found(f)
}

// idle looks for a reading below ambient at idle.
func (c *Complaint) idle(rows []ChargeRow, amb func(ChargeRow) Pressure) {
	var below, at, speed, ref []float64
	for _, r := range rows {
		if r.Speed >= runs && r.Speed < idles && float64(r.Requested) < charging*float64(amb(r)) {
			c.Idle++
			below = append(below, float64(amb(r)-r.Actual))
			at, speed, ref = append(at, float64(r.Actual)), append(speed, float64(r.Speed)), append(ref, float64(amb(r)))
		}
	}
	if m := median(below); m > agree && !c.gauge() {
		c.found(Finding{Code: FoundIdleBelow, Stops: true, Speed: Speed(median(speed)), Value: Pressure(median(at)), Ref: Pressure(median(ref)), Far: c.perhapsHigh(median(at))})
	}
}

// perhapsHigh is the altitude that would explain a reading below an ambient that
// was only assumed; 0 when it was not, or when no place lies so high.
func (c *Complaint) perhapsHigh(pa float64) Length {
	if h := altitudeOf(Pressure(pa)); c.Assumed && h < 6000 {
		return h
	}
	return 0
}

// gauge reports whether gauge readings were found already.
func (c *Complaint) gauge() bool {
	return slices.ContainsFunc(c.Findings, func(f Finding) bool {
		return f.Code == FoundGaugeActual || f.Code == FoundGaugeAsked || f.Code == FoundGaugeBoth || f.Code == FoundOffGauge
	})
}

// points gathers the rows under charge and load by speed.
func (c *Complaint) points(rows []ChargeRow, amb func(ChargeRow) Pressure) {
	var under []ChargeRow
	loaded := false
	for _, r := range rows {
		switch {
		case r.Speed < runs:
		case float64(r.Requested) < charging*float64(amb(r)):
			c.Unasked++
		default:
			r.Ambient = amb(r)
			under = append(under, r)
			loaded = loaded || r.Load >= fullLoad
		}
	}
	c.Unasked -= c.Idle
	keep := under[:0:0]
	stated := 0
	for _, r := range under {
		if !math.IsNaN(r.Load) {
			stated++
		}
		if loaded && r.Load < fullLoad {
			c.Part++
			continue
		}
		keep = append(keep, r)
	}
	if stated > 0 && !loaded {
		c.found(Finding{Code: FoundPartLoad, Other: fullLoad})
	}
	c.Judged = len(keep)
	if len(keep) == 0 {
		if !c.gauge() {
			c.found(Finding{Code: FoundNoAsk, Stops: true, Ref: c.Ambient})
		}
		return
	}
	slices.SortStableFunc(keep, func(a, b ChargeRow) int { return cmp.Compare(a.Speed, b.Speed) })
	width := 1.0 // rpm
	for _, w := range []float64{1, 50, 100, 200, 250, 500, 1000} {
		width = w
		bins := map[float64]bool{}
		for _, r := range keep {
			bins[math.Round(r.Speed.RPM()/w)] = true
		}
		if len(bins) <= mostPoints {
			break
		}
	}
	for i := 0; i < len(keep); {
		j := i + 1
		bin := math.Round(keep[i].Speed.RPM() / width)
		for j < len(keep) && math.Round(keep[j].Speed.RPM()/width) == bin {
			j++
		}
		mid := func(pick func(ChargeRow) float64) float64 {
			return median(column(keep[i:j], func(r ChargeRow) (float64, bool) { return pick(r), true }))
		}
		c.Points = append(c.Points, ChargePoint{
			Speed:     Speed(mid(func(r ChargeRow) float64 { return float64(r.Speed) })),
			Requested: Pressure(mid(func(r ChargeRow) float64 { return float64(r.Requested) })),
			Actual:    Pressure(mid(func(r ChargeRow) float64 { return float64(r.Actual) })),
			Ambient:   Pressure(mid(func(r ChargeRow) float64 { return float64(r.Ambient) })),
			Rows:      j - i,
		})
		i = j
	}
}

// charge finds the worst place, where the shortfall begins, and charge that does
// not come at all.
func (c *Complaint) charge() {
	if len(c.Points) == 0 {
		return
	}
	var below, none, over int
	c.Worst = 0
	least := 0
	for i, p := range c.Points {
		if p.Shortfall() > c.Points[c.Worst].Shortfall() {
			c.Worst = i
		}
		if p.Shortfall() < c.Points[least].Shortfall() {
			least = i
		}
		switch d := float64(p.Actual - p.Ambient); {
		case d < -5*Kilopascal:
			below++
		case d < 5*Kilopascal && float64(p.Requested-p.Ambient) > 20*Kilopascal:
			none++
		}
		if -p.Shortfall() > math.Max(shortShare*float64(p.Requested), shortLeast) {
			over++
		}
	}
	if c.Short() {
		c.Begins = c.Worst
		for c.Begins > 0 && c.Points[c.Begins-1].Short() {
			c.Begins--
		}
	}
	w := c.Points[c.Worst]
	if c.gauge() {
		return
	}
	switch {
	case 2*below > len(c.Points):
		c.found(Finding{Code: FoundLoadBelow, Stops: true, Speed: w.Speed, Value: w.Actual, Ref: w.Ambient, Far: c.perhapsHigh(float64(w.Actual))})
	case 2*(none+below) > len(c.Points):
		c.found(Finding{Code: FoundNoCharge, Speed: w.Speed, Value: w.Actual, Ref: w.Ambient})
	}
	if over > 0 {
		o := c.Points[least]
		c.found(Finding{Code: FoundOver, Speed: o.Speed, Value: o.Actual, Ref: o.Requested, Other: float64(over)})
	}
}

// altitude tells what thin air does, and whether ambient fits the altitude.
func (c *Complaint) altitude(set ChargeSetup) {
	if set.HasAltitude {
		if std := StandardAtmosphere(set.Altitude); math.Abs(float64(std-c.Ambient)) > weather {
			c.found(Finding{Code: FoundAltDiffers, Value: c.Ambient, Ref: std, Far: set.Altitude})
		}
	}
	if c.Worst >= 0 && c.Ambient < 95*Kilopascal && !c.gauge() {
		w := c.Points[c.Worst]
		c.found(Finding{Code: FoundAltitude, Value: w.Requested, Ref: w.Ambient, Far: altitudeOf(w.Ambient), Other: float64(w.Requested / w.Ambient)})
	}
}

// trend compares the share that is missing at every two speeds (Kendall's tau).
func (c *Complaint) trend() {
	if c.Begins < 0 {
		return
	}
	p := c.Points[c.Begins:]
	if len(p) < 4 || p[len(p)-1].Speed < 1.3*p[0].Speed {
		return
	}
	s, pairs := 0.0, 0.0
	for i := range p {
		for j := range i {
			pairs++
			switch d := p[i].Share() - p[j].Share(); {
			case d > 0:
				s++
			case d < 0:
				s--
			}
		}
	}
	third := max(1, len(p)/3)
	mean := func(p []ChargePoint) float64 {
		sum := 0.0
		for _, x := range p {
			sum += x.Share()
		}
		return sum / float64(len(p))
	}
	change := mean(p[len(p)-third:]) - mean(p[:third])
	switch tau := s / pairs; {
	case tau >= 0.5 && change > 0.02:
		c.Trend = TrendGrows
		c.found(Finding{Code: FoundGrows, Speed: p[len(p)-1].Speed, Other: change})
	case tau <= -0.5 && change < -0.02:
		c.Trend = TrendShrinks
	default:
		c.Trend = TrendSteady
	}
}

// next says whether a hold test is the next step.
func (c *Complaint) next() {
	switch {
	case slices.ContainsFunc(c.Findings, func(f Finding) bool { return f.Stops }):
		c.Next = NextAsk
	case c.Short():
		c.Next = NextHold
	default:
		c.Next = NextNone
	}
}
