package decay

import "time"

// Outcome is the answer of a test. The zero value is Undecided.
type Outcome int

// The verdicts Undecided, Holds and Leaks judge a hold against a limit; the
// others say why there was nothing to judge.
const (
	Undecided  Outcome = iota
	Holds              // the whole interval is below the limit
	Leaks              // the whole interval is above the limit
	NeverBuilt         // the pressure would not come up: find the leak by ear
	NoHold             // nothing to judge
	Unusable           // sensor fault
)

var outcomeNames = [...]string{"undecided", "holds", "leaks", "never-built", "no-hold", "unusable"}

func (o Outcome) String() string {
	if o < 0 || int(o) >= len(outcomeNames) {
		return "undecided"
	}
	return outcomeNames[o]
}

// Law is how the leak's flow depends on pressure. The zero value is unclear.
type Law int

// The laws; see the package doc.
const (
	LawUnclear Law = iota
	LawOrifice
	LawSeep
	LawMixed
)

func (l Law) String() string {
	return [...]string{"unclear", "orifice", "seep", "mixed"}[l]
}

// Interval is an estimate with its bounds at the stated level (0.95 unless
// said otherwise). High may be +Inf.
type Interval struct {
	Value, Low, High, Level float64
}

// Flag is a code for something seen in a trace, from the list below.
type Flag string

// The flags, as printed.
const (
	FlagOverCeiling Flag = "over-ceiling"
	FlagDisturbed   Flag = "disturbed"    // the hold was bled, topped up or fed: a clean part was used
	FlagStuck       Flag = "stuck"        // one value repeated where noise was seen before
	FlagSaturated   Flag = "saturated"    // at the top of the sensor's range
	FlagOpenCircuit Flag = "open-circuit" // below the bottom of the sensor's range
	FlagGaps        Flag = "gaps"
	FlagSpikes      Flag = "spikes"
	FlagShortHold   Flag = "short-hold"
	FlagNoZero      Flag = "no-zero"  // ambient was not seen before the fill
	FlagBadRows     Flag = "bad-rows" // set by the reader of the trace
	FlagUnsorted    Flag = "unsorted" // time went backwards, set by the reader of the trace
	FlagDoubled     Flag = "doubled"  // one stamp twice, set by the reader of the trace
)

// Warning is a caveat under which a result stands.
type Warning struct {
	Code string // steady, for programs
	Text string // for people, one sentence
}

// Span is a stretch of time.
type Span struct{ Start, End time.Duration }

// Hold is the part of a trace that was judged.
type Hold struct {
	Span
	StartAbs   Pressure // the fitted pressure at the moment of isolation, never above the highest reading
	StartGauge Gauge
}

// Settling is pressure change that is not a leak.
type Settling struct {
	Amplitude float64       // share of absolute pressure that goes away (negative: comes back) as the air settles
	Tau       time.Duration // its time constant
}

// Result is what a trace, whole or so far, says.
type Result struct {
	Outcome Outcome
	Flags   []Flag
	Hold    Hold // zero when there is none

	HasVolume bool     // Area, Hole, Flow are meaningful
	HasFit    bool     // Rate and, with HasVolume, Area and Hole are meaningful
	Area      Interval // effective area Cd·A, m², at the hold's start pressure
	AreaSD    float64  // standard deviation of the area from the trace alone, m²
	Hole      Interval // equivalent hole, m
	Cd        float64  // of the equivalent hole
	Rate      Interval // K = CdA·√(RT)/V, 1/s

	Law      Law
	LossRate float64 // leak's share of the pressure loss at the hold's start, Pa/s, positive when losing
	Flow     float64 // leak's molar flow at the hold's start, mol/s
	Settling Settling
	Limit    Length
	Smallest Length // smallest hole this sensor, volume and time resolve; 0 when unknown
	// ToDecide is an estimate of how much longer it takes. Of a finished test or a
	// trace it is by how much longer a hold like it, judged once at its end, would be
	// decided: then, and only then, it is undecided. While a test runs it is how long
	// until its verdict is shown, which under watching needs a wider interval that has
	// stood for a while; it is then told of a likely outcome too.
	ToDecide  time.Duration
	HasDecide bool // ToDecide is meaningful

	Peak     Gauge
	Volume   Volume
	Ambient  Pressure
	Zero     Gauge // zero error found before the fill, 0 when not seen
	Samples  int
	Touched  time.Duration // as in [Setup]; 0: never, or before the latest fill
	Shut     time.Duration // as in [Setup]
	Until    time.Duration // stamp of the last reading that it rests on
	LeftOut  []Span        // of a live test: first and last of readings in a row that were not taken for the duct's pressure, and are no part of this
	Warnings []Warning

	// HeldUp: nothing shows that the supply was shut, so it may have held the
	// pressure up. HasFit is false; Rate, Area and Hole stand, and the outcome would
	// be IfShut, only if the supply was shut before the hold.
	HeldUp bool
	IfShut Outcome

	few     bool     // too few readings for a verdict
	watched Interval // of the area, m², as wide as a verdict under watching needs
}

// Warned reports whether there is a warning of that code.
func (r Result) Warned(code string) bool {
	for _, w := range r.Warnings {
		if w.Code == code {
			return true
		}
	}
	return false
}

// HasFlag reports whether f was raised.
func (r Result) HasFlag(f Flag) bool {
	for _, x := range r.Flags {
		if x == f {
			return true
		}
	}
	return false
}
