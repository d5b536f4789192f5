package main

import (
	"fmt"
	"io"
	"math"
	"regexp"
	"slices"
	"strconv"
	"strings"

	"ebbline/decay"
	"ebbline/decay/report"

	"github.com/spf13/cobra"
)

// shortfallFlags say what was requested, what came, and of which engine.
type shortfallFlags struct {
	requested, actual, speed []string // typed, beside each other

	columns, unit, speedUnit, reads string
	ambient, altitude, off          string

	displacement, efficiency, charge string
	strokes                          int
	hole, record, cd                 string
	worth, at                        string
	asJSON                           bool
}

func (a *app) shortfallCommand() *cobra.Command {
	var f shortfallFlags
	cmd := &cobra.Command{
		Use:   "shortfall [flags] [TABLE]",
		Short: "Whether missing charge pressure asks for a hold test, and whether a leak explains it",
		Long: `Shortfall takes the charge pressure that an engine's control requested and the
one that was read, both absolute, typed or from a table whose columns you name.
It first asks whether the figures can be meant: the sensor against the air around
with the engine off, a reading below it at idle, gauge taken for absolute, units
mixed, altitude. Then it says how much is missing, where it is worst, where it
begins, whether it grows with speed, and whether a hold test is the next step.

With --displacement it says what a leak means for that engine: with --hole or
--record (a hold's record) whether the leak explains the shortfall; without, the
hole worth repairing: one that costs 1 % of the air (--worth) at the speed that is
driven (--at). It is an estimate, and its assumptions are printed.

Exit status: 0 nothing asks for a hold test, 1 a hold test is the next step,
3 something has to be cleared up first, 2 usage or file error.`,
		Example: `  ebbline shortfall --requested 2450hPa --actual 1950hPa --speed 3000rpm
  ebbline shortfall --columns "speed=n,requested=p soll,actual=p ist" --unit hPa log.csv
  ebbline shortfall --engine-off 1009hPa --altitude 250m log.csv
  ebbline shortfall --displacement 2.0L --hole 1.0mm --requested 2450hPa --actual 1950hPa --speed 3000rpm
  ebbline shortfall --displacement 2.0L --record before.ebbline log.csv
  ebbline shortfall --displacement 2.0L --requested 2200hPa --speed 2500rpm`,
		Args: func(_ *cobra.Command, args []string) error {
			if len(args) > 1 {
				return wrong("name one table; a pull in each of several files is a complaint of its own", "%d tables were named", len(args))
			}
			return nil
		},
		RunE: func(_ *cobra.Command, args []string) error { return a.shortfall(args, &f) },
	}
	fs := cmd.Flags()
	fs.StringArrayVar(&f.requested, "requested", nil, "charge pressure that was requested, absolute, as 2450hPa; again for each speed")
	fs.StringArrayVar(&f.actual, "actual", nil, "charge pressure that was read there, absolute, as 1950hPa")
	fs.StringArrayVar(&f.speed, "speed", nil, "engine speed there, as 3000rpm or 50Hz")
	fs.StringVar(&f.columns, "columns", "", "names of the table's columns, as \"speed=n,requested=p soll,actual=p ist\", perhaps ambient= and load=; #3 is the third column")
	fs.StringVar(&f.unit, "unit", "", "pressure unit, as hPa, kPa, bar, psi: shown, and read where a column names none (shown without it: that of the requested pressure)")
	fs.StringVar(&f.speedUnit, "speed-unit", "", "of a speed column whose name tells none: rpm, Hz or rad/s (default rpm, where that is plausible)")
	fs.StringVar(&f.reads, "reads", "", "what the table's pressures are against where their columns do not say: absolute or gauge (default absolute)")
	fs.StringVar(&f.ambient, "ambient", "", "absolute pressure of the air around, as 95kPa (default: the table's, the altitude's, the sensor's with the engine off, else 101.325kPa)")
	fs.StringVar(&f.altitude, "altitude", "", "of the place, as 1500m or 5000ft")
	fs.StringVar(&f.off, "engine-off", "", "what the charge pressure sensor reads with the key on and the engine off")
	fs.StringVar(&f.displacement, "displacement", "", "of the engine, as 2.0L or 1998cm3")
	fs.IntVar(&f.strokes, "strokes", decay.DefaultStrokes, "of the engine: 4 or 2")
	fs.StringVar(&f.efficiency, "volumetric-efficiency", "", "of the engine, referred to the charge air (default 0.9)")
	fs.StringVar(&f.charge, "charge-temperature", "", "of the charge air, as 45C (default 45C)")
	fs.StringVar(&f.hole, "hole", "", "equivalent hole of the leak, as 1.0mm, 1.0mm±5% or \"1.0mm 0.9 to 1.1mm\"")
	fs.StringVar(&f.record, "record", "", "record of the hold that measured the leak")
	fs.StringVar(&f.cd, "cd", "0.62", "discharge coefficient of the holes printed, and of --hole")
	fs.StringVar(&f.worth, "worth", "1%", "share of the engine's air from which a leak is worth repairing")
	fs.StringVar(&f.at, "at", "", "speed that is driven, for the hole worth repairing (default: the worst place)")
	fs.BoolVar(&f.asJSON, "json", false, "print one JSON object")
	return cmd
}

// complaint is what the flags and the table say, ready to be judged.
type complaint struct {
	rows   []decay.ChargeRow
	set    decay.ChargeSetup
	lines  []int // of the table, beside the rows; nil when typed
	bad    []badRow
	blank  int // rows of a table
	shown  decay.PressureUnit
	unused []string // columns of the table
	remark []string // what was understood of the table, for the person to check
}

func (a *app) shortfall(args []string, f *shortfallFlags) error {
	in, err := a.readComplaint(args, f)
	if err != nil {
		return err
	}
	e, leak, cd, err := f.engine()
	if err != nil {
		return err
	}
	share, err := decay.ParseRelative(f.worth)
	if err == nil && share == 0 {
		err = fmt.Errorf("a leak that costs nothing is no limit")
	}
	if err != nil {
		return wrong("write a percentage, for example --worth 1%", "--worth: %w", err)
	}
	if len(args) == 0 && len(f.actual) == 0 { // only the limit is asked for
		p := decay.ChargePoint{Speed: in.rows[0].Speed, Requested: in.rows[0].Requested, Ambient: in.set.Ambient}
		if p.Ambient == 0 {
			if p.Ambient = decay.DefaultAmbient; in.set.HasAltitude {
				p.Ambient = decay.StandardAtmosphere(in.set.Altitude)
			}
		}
		return a.worthOnly(f, e, p, share, cd, in.shown)
	}
	c := decay.NewComplaint(in.rows, in.set)
	switch c.Next {
	case decay.NextHold:
		a.status = exitLeaks
	case decay.NextAsk:
		a.status = exitUndecided
	}
	var m *decay.Meaning
	if leak != nil && c.Next != decay.NextAsk && len(c.Points) > 0 {
		x := e.Explain(c, leak.Escape, cd)
		m = &x
	}
	worth, err := f.worthAt(e, c, share, cd)
	if err != nil {
		return err
	}
	if f.asJSON {
		return a.shortfallJSON(in, c, e, leak, m, worth, cd)
	}
	return a.shortfallText(in, c, e, leak, m, worth, cd)
}

// worthy is the hole that costs a share of an engine's air somewhere.
type worthy struct {
	Hole      decay.Length
	Share     float64
	Speed     decay.Speed
	Requested decay.Pressure
}

// text says which hole is worth repairing.
func (w worthy) text(cd float64, u decay.PressureUnit) string {
	return fmt.Sprintf("a hole of %s (Cd %.2f) costs %g %% of the air at %.0f rpm and %s: the limit worth repairing, --limit %s",
		report.Millimetres(float64(w.Hole)), cd, math.Round(w.Share*1e4)/100, w.Speed.RPM(), w.Requested.Format(u), strings.ReplaceAll(report.Millimetres(float64(w.Hole)), " ", ""))
}

func worthOf(e decay.Engine, p decay.ChargePoint, share, cd float64) worthy {
	return worthy{decay.EquivalentHole(e.AreaOfShare(share, p.Requested, p.Speed, p.Ambient), cd), share, p.Speed, p.Requested}
}

// worthAt is the hole worth repairing at the speed that is driven, or where the
// complaint is worst; nil without an engine.
func (f *shortfallFlags) worthAt(e decay.Engine, c decay.Complaint, share, cd float64) (*worthy, error) {
	if f.at != "" && e.Displacement == 0 {
		return nil, wrong("add the engine's displacement, for example --displacement 2.0L", "--at needs an engine")
	}
	if e.Displacement == 0 || c.Worst < 0 || c.Next == decay.NextAsk {
		return nil, nil
	}
	p := c.Points[c.Worst]
	if f.at != "" {
		n, err := engineSpeed("at", f.at)
		if err != nil {
			return nil, err
		}
		for _, q := range c.Points {
			if math.Abs(float64(q.Speed-n)) < math.Abs(float64(p.Speed-n)) {
				p = q // the requested pressure of the nearest speed stands for it
			}
		}
		p.Speed = n
	}
	w := worthOf(e, p, share, cd)
	return &w, nil
}

func (a *app) worthOnly(f *shortfallFlags, e decay.Engine, p decay.ChargePoint, share, cd float64, u decay.PressureUnit) error {
	if e.Displacement == 0 {
		return wrong("add --actual for a shortfall, or --displacement 2.0L for the hole worth repairing", "--requested alone says nothing")
	}
	if p.Requested <= p.Ambient {
		return wrong("write the absolute pressure: at 1 bar of charge it is about 2 bar", "--requested: %s is not above the air around, so nothing leaks out", p.Requested.Format(u))
	}
	w := worthOf(e, p, share, cd)
	if f.asJSON {
		return a.printJSON(map[string]any{"worth_repairing": w.json(), "assumptions": report.Assumptions(e), "cd": cd})
	}
	var b strings.Builder
	report.Line(&b, "limit", w.text(cd, u))
	report.Line(&b, "engine", "it takes "+strconv.FormatFloat(float64(e.Demand(p.Requested, p.Speed))*1e3, 'g', 3, 64)+" g/s of air there")
	for _, l := range report.Assumptions(e)[:1] {
		report.Line(&b, "assumed", l)
	}
	_, err := io.WriteString(forPeople(a.out), b.String())
	return err
}

// measuredLeak is a leak as it was measured, with the hole that stands for it.
type measuredLeak struct {
	decay.Escape
	through bool // the hold was through the engine
}

// throughWords is the caveat of a leak that was measured through the engine.
const throughWords = "the hold was through the engine: a part of that leak is its rings and valves that stood open, and costs no charge air; block the duct off at the manifold and hold again to be sure"

// holeOf is the equivalent hole of a leak, in metres.
func holeOf(l decay.Escape, cd float64) decay.Interval {
	d := func(a float64) float64 { return float64(decay.EquivalentHole(decay.Area(a), cd)) }
	return decay.Interval{Value: d(l.Area.Value), Low: d(l.Area.Low), High: d(l.Area.High), Level: l.Area.Level}
}

func (a *app) shortfallText(in *complaint, c decay.Complaint, e decay.Engine, leak *measuredLeak, m *decay.Meaning, w *worthy, cd float64) error {
	var b strings.Builder
	if err := report.Shortfall(&b, c, in.shown); err != nil {
		return err
	}
	in.impossible(c)
	for _, l := range in.left() {
		report.Line(&b, "left out", l)
	}
	for _, l := range in.remark {
		report.Line(&b, "read as", l)
	}
	if n := len(in.unused); n > 0 {
		report.Line(&b, "not used", unusedWords(in.unused))
	}
	if len(c.Points) > 1 {
		b.WriteString("\n")
		if err := report.ShortfallTable(&b, c, in.shown); err != nil {
			return err
		}
	}
	if e.Displacement > 0 && c.Next == decay.NextAsk {
		report.Line(&b, "meaning", "for this engine waits until the figures are cleared up")
	}
	if m != nil {
		b.WriteString("\n")
		if err := report.Meaning(&b, c, *m, e, holeOf(leak.Escape, cd), cd, in.shown); err != nil {
			return err
		}
		if leak.through {
			report.Line(&b, "caveat", throughWords)
		}
	}
	if w != nil {
		report.Line(&b, "limit", w.text(cd, in.shown))
	}
	if w != nil && m == nil {
		report.Line(&b, "assumed", report.Assumptions(e)[0])
	}
	_, err := io.WriteString(forPeople(a.out), b.String())
	return err
}

// unusedWords name columns that nothing was read from; of many the first.
func unusedWords(names []string) string {
	const most = 12
	var out []string
	for i, n := range names {
		if i == most {
			out = append(out, fmt.Sprintf("and %d more", len(names)-most))
			break
		}
		if r := []rune(n); len(r) > 40 {
			n = string(r[:40]) + "…"
		}
		out = append(out, strconv.Quote(n))
	}
	return map[bool]string{true: "column ", false: "columns "}[len(names) == 1] + strings.Join(out, ", ") + " (--columns names others)"
}

// impossible notes the lines of the rows that cannot be an engine's.
func (in *complaint) impossible(c decay.Complaint) {
	for _, i := range c.Impossible {
		if i < len(in.lines) {
			in.bad = append(in.bad, badRow{in.lines[i], "cannot be an engine's"})
		}
	}
	slices.SortStableFunc(in.bad, func(a, b badRow) int { return a.line - b.line })
}

// left says which rows of a table were left out.
func (in *complaint) left() []string {
	var out []string
	if in.blank > 0 {
		out = append(out, map[bool]string{true: "1 blank row", false: strconv.Itoa(in.blank) + " blank rows"}[in.blank == 1])
	}
	for i, r := range in.bad {
		if i == 5 {
			out = append(out, fmt.Sprintf("and %d more rows that cannot be read", len(in.bad)-i))
			break
		}
		out = append(out, fmt.Sprintf("line %d: %s", r.line, r.why))
	}
	return out
}

// engine reads the flags about the engine and its leak; leak is nil when none
// was stated.
func (f *shortfallFlags) engine() (e decay.Engine, leak *measuredLeak, cd float64, err error) {
	if cd, err = number(f.cd); err != nil || cd < 0.3 || cd > 1 {
		return e, nil, cd, wrong("0.62 is that of a sharp-edged hole", "--cd: %q is no discharge coefficient (0.3 to 1)", f.cd)
	}
	if f.displacement == "" {
		for flag, text := range map[string]string{"hole": f.hole, "record": f.record} {
			if text != "" {
				return e, nil, cd, wrong("add the engine's displacement, for example --displacement 2.0L", "--%s: what a leak means depends on the engine", flag)
			}
		}
		return e, nil, cd, nil
	}
	if e.Displacement, err = decay.ParseDisplacement(f.displacement); err != nil {
		return e, nil, cd, wrong("for example --displacement 2.0L; it stands in the papers of the vehicle", "--displacement: %w", err)
	}
	if f.strokes != 2 && f.strokes != 4 {
		return e, nil, cd, wrong("write --strokes 4 or --strokes 2", "--strokes: an engine has 2 or 4, not %d", f.strokes)
	}
	e.Strokes = f.strokes
	if f.efficiency != "" {
		text, percent := strings.CutSuffix(strings.TrimSpace(f.efficiency), "%")
		v, err := number(text)
		if percent {
			v /= 100
		}
		if err != nil || !(v >= 0.3 && v <= 1.3) {
			return e, nil, cd, wrong("0.8 to 1 is usual, as --volumetric-efficiency 0.9", "--volumetric-efficiency: %q is no engine's (0.3 to 1.3)", f.efficiency)
		}
		e.Efficiency = v
	}
	if f.charge != "" {
		if e.Charge, err = decay.ParseTemperature(f.charge); err != nil {
			return e, nil, cd, wrong("after a cooler 30 to 70 °C is usual, as --charge-temperature 45C", "--charge-temperature: %w", err)
		}
	}
	switch {
	case f.hole != "" && f.record != "":
		return e, nil, cd, wrong("state one of them", "--hole and --record both say how large the leak is")
	case f.hole != "":
		iv, err := holeWithBounds(f.hole)
		if err != nil {
			return e, nil, cd, err
		}
		leak = &measuredLeak{Escape: decay.HoleEscape(iv, cd)}
	case f.record != "":
		rec, err := openRecord(f.record)
		if err != nil {
			return e, nil, cd, err
		}
		r := rec.Again()
		l, ok := decay.EscapeOf(r)
		if !ok {
			hint := "hold it again: without a hold there is no size"
			if r.HasFit {
				hint = "test it again with --volume: without it there is no size"
			}
			return e, nil, cd, wrong(hint, "%s: %s", f.record, report.Verdict(r))
		}
		leak = &measuredLeak{l, rec.Setup.Of == decay.PartEngine}
	}
	return e, leak, cd, nil
}

// holeBounds finds the bounds in "0.84 mm 0.80 to 0.88 mm", as measure prints a hole.
var holeBounds = regexp.MustCompile(`^(.*?)[\s,(]+([0-9.,]+)\s*([a-z"]*)\s+to\s+([0-9.,]+)\s*([a-z"]+)\)?$`)

// holeWithBounds reads a hole with its interval, where one is stated.
func holeWithBounds(s string) (decay.Interval, error) {
	bad := func(err error) error {
		return wrong("for example --hole 1.0mm, --hole 1.0mm±5% or --hole \"1.0mm 0.9 to 1.1mm\"", "--hole: %w", err)
	}
	iv := decay.Interval{Level: 0.95}
	one := func(text string) (float64, error) {
		d, err := decay.ParseLength(text)
		if err == nil && d > 100*decay.Millimetre {
			err = fmt.Errorf("%q is no leak's size", text)
		}
		return float64(d), err
	}
	var err error
	text := strings.NewReplacer("+/-", "±", "+-", "±").Replace(strings.TrimSpace(s))
	if m := holeBounds.FindStringSubmatch(text); m != nil {
		low := m[2] + m[3]
		if m[3] == "" {
			low = m[2] + m[5]
		}
		for _, x := range []struct {
			to   *float64
			text string
		}{{&iv.Value, m[1]}, {&iv.Low, low}, {&iv.High, m[4] + m[5]}} {
			if *x.to, err = one(x.text); err != nil {
				return iv, bad(err)
			}
		}
		if !(iv.Low <= iv.Value && iv.Value <= iv.High) {
			return iv, bad(fmt.Errorf("%q: the value lies outside its bounds", s))
		}
		return iv, nil
	}
	main, tolerance, has := strings.Cut(text, "±")
	if iv.Value, err = one(main); err != nil {
		return iv, bad(err)
	}
	iv.Low, iv.High = iv.Value, iv.Value
	if has {
		half := 0.0
		if strings.HasSuffix(strings.TrimSpace(tolerance), "%") {
			rel, err := decay.ParseRelative(tolerance)
			if err != nil {
				return iv, bad(err)
			}
			half = rel * iv.Value
		} else if half, err = one(tolerance); err != nil {
			return iv, bad(err)
		}
		if half > iv.Value {
			return iv, bad(fmt.Errorf("%q: the tolerance is larger than the hole", s))
		}
		iv.Low, iv.High = iv.Value-half, iv.Value+half
	}
	return iv, nil
}
