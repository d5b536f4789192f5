package decay

import (
	"fmt"
	"math"
	"strings"
)

// Speed is how fast a shaft turns, in revolutions per second.
type Speed float64

// Units of a shaft's speed in revolutions per second.
const (
	RPM       = 1.0 / 60
	radPerSec = 1 / (2 * math.Pi)
)

// RPM returns n in revolutions per minute.
func (n Speed) RPM() float64 { return float64(n) / RPM }

// speedUnits are the spellings of units of a shaft's speed, lower case.
var speedUnits = map[string]float64{
	"rpm": RPM, "r/min": RPM, "1/min": RPM, "/min": RPM, "min-1": RPM, "min⁻¹": RPM, "u/min": RPM, "rev/min": RPM, "tr/min": RPM,
	"hz": 1, "1/s": 1, "rps": 1, "rev/s": 1,
	"rad/s": radPerSec, "rads": radPerSec,
}

// ParseSpeedUnit returns one unit of a shaft's speed in revolutions per second.
func ParseSpeedUnit(name string) (float64, error) {
	if u, ok := speedUnits[strings.ToLower(strings.TrimSpace(name))]; ok {
		return u, nil
	}
	return 0, fmt.Errorf("unknown unit of speed %.60q (known: rpm, 1/min, Hz, 1/s, rad/s)", name)
}

// ParseSpeed reads "3000rpm", "50 Hz" or "314 rad/s". A number without a unit
// is refused.
func ParseSpeed(s string) (Speed, error) {
	v, unit, err := splitQuantity(s)
	if err != nil {
		return 0, err
	}
	if unit == "" {
		return 0, fmt.Errorf("%.60q has no unit (write for example %grpm)", s, v)
	}
	u, err := ParseSpeedUnit(unit)
	if err != nil {
		return 0, err
	}
	return Speed(v * u), nil
}

// Limits of what is taken for an engine's speed while it runs. They are wide,
// from common practice, without a source.
const (
	SlowestEngine = Speed(400 * RPM)
	FastestEngine = Speed(12000 * RPM)
)

// Engine is what is known of an engine's need for air.
type Engine struct {
	Displacement Volume      // swept by all cylinders
	Strokes      int         // 4 or 2; 0: 4
	Efficiency   float64     // volumetric, referred to the charge air; 0: 0.9
	Charge       Temperature // of the charge air where it leaks and where it enters the engine; 0: 45 °C
}

// Defaults where an Engine says nothing: usual values of a charged engine under
// load with a cooler for its charge air, common practice without a source.
const (
	DefaultStrokes    = 4
	DefaultEfficiency = 0.9
	DefaultCharge     = Temperature(ZeroCelsius + 45)
)

// WithDefaults returns e with every unstated field but the displacement filled
// in.
func (e Engine) WithDefaults() Engine {
	if e.Strokes == 0 {
		e.Strokes = DefaultStrokes
	}
	if e.Efficiency == 0 {
		e.Efficiency = DefaultEfficiency
	}
	if e.Charge == 0 {
		e.Charge = DefaultCharge
	}
	return e
}

// Demand is the air that e takes at charge pressure p and speed n:
// ṁ = ηv·Vd·n/(strokes/2)·p/(R·T), the definition of the volumetric efficiency
// in any textbook of combustion engines.
func (e Engine) Demand(p Pressure, n Speed) MassFlow {
	e = e.WithDefaults()
	fills := float64(n) * 2 / float64(e.Strokes)
	return MassFlow(e.Efficiency * float64(e.Displacement) * fills * float64(p) / (RAir * float64(e.Charge)))
}

// Escape is a leak as it was measured, ready to be carried to other pressures.
type Escape struct {
	Area  Interval // effective area, m², at the pressure From
	From  Pressure // at which the area was found; 0: the area holds at any pressure
	Outer Pressure // ambient then
	Law   Law      // how the flow changes with pressure
}

// HoleEscape is the leak of a round sharp-edged hole whose diameter in metres is
// known with its interval.
func HoleEscape(d Interval, cd float64) Escape {
	area := func(d float64) float64 { return float64(CircleArea(Length(d))) * cd }
	return Escape{Area: Interval{area(d.Value), area(d.Low), area(d.High), d.Level}, Law: LawOrifice}
}

// EscapeOf is the leak that a hold found; ok is false when it found no area.
func EscapeOf(r Result) (l Escape, ok bool) {
	if !r.HasFit || !r.HasVolume {
		return Escape{}, false
	}
	return Escape{Area: r.Area, From: r.Hold.StartAbs, Outer: r.Ambient, Law: r.Law}, true
}

// Flow is the leak's mass flow in kg/s at pressure p and temperature t against
// outer. A seep goes with p²−outer²; where the law is not clear the value is that
// of an orifice, and the bounds cover both.
func (l Escape) Flow(p Pressure, t Temperature, outer Pressure) Interval {
	nozzle := func(a float64) float64 { return float64(NozzleFlow(Area(a), p, t, outer)) }
	out := Interval{nozzle(l.Area.Value), nozzle(l.Area.Low), nozzle(l.Area.High), l.Area.Level}
	if l.Law == LawOrifice || !(l.From > l.Outer) || p <= outer {
		return out
	}
	sq := func(p Pressure) float64 { return float64(p) * float64(p) }
	f := float64(NozzleFlow(1, l.From, t, l.Outer)) * (sq(p) - sq(outer)) / (sq(l.From) - sq(l.Outer))
	if l.Law == LawSeep {
		return Interval{f * l.Area.Value, f * l.Area.Low, f * l.Area.High, l.Area.Level}
	}
	out.Low, out.High = math.Min(out.Low, f*l.Area.Low), math.Max(out.High, f*l.Area.High)
	return out
}

// ShareOf is the leak's share of e's air at charge pressure p and speed n
// against outer, as a fraction.
func (e Engine) ShareOf(l Escape, p Pressure, n Speed, outer Pressure) Interval {
	e = e.WithDefaults()
	f, d := l.Flow(p, e.Charge, outer), float64(e.Demand(p, n))
	return Interval{f.Value / d, f.Low / d, f.High / d, f.Level}
}

// Left is the charge pressure that is left of requested with the leak, in Pa:
// the p that solves p·(1 + share(p)) = requested. It holds when the compressor
// delivers the air that the engine would take at the pressure requested, and no
// more. The low bound belongs to the high one of the leak. Nothing is lost where
// requested is not above outer.
func (e Engine) Left(l Escape, requested Pressure, n Speed, outer Pressure) Interval {
	solve := func(pick func(Interval) float64) float64 {
		if requested <= outer {
			return float64(requested)
		}
		lo, hi := float64(outer), float64(requested)
		for range 60 { // p·(1+share(p)) rises with p: halving always finds it
			mid := (lo + hi) / 2
			if mid*(1+pick(e.ShareOf(l, Pressure(mid), n, outer))) > float64(requested) {
				hi = mid
			} else {
				lo = mid
			}
		}
		return hi
	}
	return Interval{
		Value: solve(func(s Interval) float64 { return s.Value }),
		Low:   solve(func(s Interval) float64 { return s.High }),
		High:  solve(func(s Interval) float64 { return s.Low }),
		Level: l.Area.Level,
	}
}

// Explaining is the effective area of the orifice that would bring requested
// down to actual at speed n: the one whose share is requested/actual − 1. It is
// 0 when nothing is missing, and +Inf when actual is not above outer, for a leak
// alone cannot do that.
func (e Engine) Explaining(requested, actual Pressure, n Speed, outer Pressure) Area {
	if actual >= requested {
		return 0
	}
	return e.AreaOfShare(float64(requested/actual)-1, actual, n, outer)
}

// AreaOfShare is the effective area of the orifice that costs the given share of
// e's air at charge pressure p and speed n: the leak worth repairing, when the
// share is the one worth it. It is +Inf when p is not above outer.
func (e Engine) AreaOfShare(share float64, p Pressure, n Speed, outer Pressure) Area {
	e = e.WithDefaults()
	unit := float64(NozzleFlow(1, p, e.Charge, outer))
	if unit == 0 {
		return Area(math.Inf(1))
	}
	return Area(share * float64(e.Demand(p, n)) / unit)
}

// WorthRepairing is the share of an engine's air from which a leak is worth
// repairing. It is our own choice.
const WorthRepairing = 0.01

// Explains says how much of a shortfall a leak explains. The zero value is
// ExplainsUnknown.
type Explains int

// The answers; the bounds between them are our own choice: 10, 50 and 90 % of
// the shortfall.
const (
	ExplainsUnknown Explains = iota
	ExplainsNot
	ExplainsPart
	ExplainsMost
	ExplainsIt
)

func (x Explains) String() string {
	return [...]string{"unknown", "does-not", "a-part", "most", "all"}[x]
}

// ExplainsOf is the answer for a fraction of a shortfall.
func ExplainsOf(fraction float64) Explains {
	switch {
	case fraction >= 0.9:
		return ExplainsIt
	case fraction >= 0.5:
		return ExplainsMost
	case fraction >= 0.1:
		return ExplainsPart
	case fraction >= 0:
		return ExplainsNot
	}
	return ExplainsUnknown // NaN: nothing is missing
}

// Explained is what a leak does to an engine at one point of a complaint.
type Explained struct {
	Demand MassFlow // of the engine at the actual pressure
	Share  Interval // of the leak at the actual pressure
	Left   Interval // charge pressure that would be left of the requested one, Pa
	Hole   Length   // that would explain the shortfall; 0: nothing is missing; +Inf: no hole would
	Worth  Length   // hole that costs WorthRepairing of the air at the requested pressure
	Part   Interval // of the shortfall that the leak explains, 0 … 1 and above; NaN when nothing is missing
}

// Meaning is what a leak means for an engine, over a complaint's points.
type Meaning struct {
	At   []Explained // beside the complaint's points
	Part Interval    // of the whole shortfall where it matters, each point counted up to what is missing there; NaN: nothing is missing
	Over bool        // the leak would cost clearly more than is missing
}

// Explain says how much of a complaint the leak explains. Holes are for the
// discharge coefficient cd.
func (e Engine) Explain(c Complaint, l Escape, cd float64) Meaning {
	var m Meaning
	var missing, whole float64
	part := Interval{Level: l.Area.Level}
	for _, p := range c.Points {
		x := Explained{
			Demand: e.Demand(p.Actual, p.Speed),
			Share:  e.ShareOf(l, p.Actual, p.Speed, p.Ambient),
			Left:   e.Left(l, p.Requested, p.Speed, p.Ambient),
			Hole:   holeOf(e.Explaining(p.Requested, p.Actual, p.Speed, p.Ambient), cd),
			Worth:  holeOf(e.AreaOfShare(WorthRepairing, p.Requested, p.Speed, p.Ambient), cd),
			Part:   Interval{math.NaN(), math.NaN(), math.NaN(), l.Area.Level},
		}
		short, req := float64(p.Requested-p.Actual), float64(p.Requested)
		if p.Short() {
			x.Part = Interval{(req - x.Left.Value) / short, (req - x.Left.High) / short, (req - x.Left.Low) / short, l.Area.Level}
			missing += short
			whole += req - x.Left.High
			part.Value += math.Min(req-x.Left.Value, short)
			part.Low += math.Min(req-x.Left.High, short)
			part.High += math.Min(req-x.Left.Low, short)
		}
		m.At = append(m.At, x)
	}
	m.Part = Interval{part.Value / missing, part.Low / missing, part.High / missing, part.Level}
	m.Over = whole > 1.5*missing && missing > 0
	return m
}

func holeOf(a Area, cd float64) Length {
	if math.IsInf(float64(a), 1) {
		return Length(a)
	}
	return EquivalentHole(a, cd)
}

// ParseDisplacement reads the displacement of an engine, such as "2.0L" or
// "1998cm3". What no engine has, zero among it, is refused: 0.05 to 100 L.
func ParseDisplacement(s string) (Volume, error) {
	n, unit, err := splitQuantity(s)
	if err != nil {
		return 0, err
	}
	f, ok := volumeUnits[strings.ToLower(unit)]
	if !ok {
		return 0, fmt.Errorf("%.60q has no known volume unit (known: L, cm3, m3, in3, ft3)", s)
	}
	if v := n * f; !(v >= 0.05*Litre && v <= 100*Litre) {
		return 0, fmt.Errorf("%.60q is no engine's displacement (0.05 to 100 L)", s)
	}
	return Volume(n * f), nil
}
