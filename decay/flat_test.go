package decay

import (
	"math"
	"math/rand/v2"
	"testing"
	"time"
)

// flatTrace fills to a level by a rise that ends at once, and stays there;
// rounded is what the sensor makes of a gauge pressure in psi.
func flatTrace(seed uint64, rounded func(float64) float64) []Sample {
	random := rand.New(rand.NewPCG(seed, 1))
	var out []Sample
	for i := range 60 * 50 {
		at := float64(i) / 50
		p := 0.0
		if at > 5 {
			p = min(25, 3*(at-5))
		}
		p = rounded(p + 0.003*random.NormFloat64())
		out = append(out, Sample{time.Duration(at * float64(time.Second)), Pressure(Atmosphere + p*PSI)})
	}
	return out
}

// A flat stretch whose supply nobody saw shut has no answer, only one on the
// condition that it was; whoever says that it was has the answer itself.
func TestFlatHasAnAnswerIfTheSupplyWasShut(t *testing.T) {
	trace := flatTrace(1, func(p float64) float64 { return p })
	set := Setup{Volume: 10 * Litre}
	r := Analyse(set, trace)
	if r.Outcome != Undecided || r.HasFit || !r.HeldUp || r.IfShut != Holds || r.Area.Low != 0 || !(r.Area.High > 0) || !r.Warned("isolation-unseen") {
		t.Errorf("nothing said: %v, fit %v, held up %v, if shut %v, area %v", r.Outcome, r.HasFit, r.HeldUp, r.IfShut, r.Area)
	}
	lim := float64(CircleArea(DefaultLimit)) * DefaultCd
	if n := Net(r, Interval{lim / 100, 0, lim / 10, 0.95}, DefaultLimit); n.Outcome != Undecided || n.IfShut != Holds || !n.Warned("rig-subtracted") {
		t.Errorf("without the fittings: %v, if shut %v", n.Outcome, n.IfShut)
	}
	set.Shut = 14 * time.Second
	if r := Analyse(set, trace); r.Outcome != Holds || !r.HasFit || r.HeldUp || r.Warned("isolation-unseen") {
		t.Errorf("said to be shut: %v, fit %v, held up %v", r.Outcome, r.HasFit, r.HeldUp)
	}
}

// A converter's steps are seen although the board prints them rounded in another
// unit, so that a flicker by one of them is no spike: 10 bits over 0.5 to 4.5 V
// and 30 psi, printed with few decimals.
func TestStepsOfAConverterPrintedInAnotherUnit(t *testing.T) {
	const step = 30.0 / 1023 / 0.8 // psi
	for _, decimals := range []float64{1e2, 1e3, 1e5} {
		trace := flatTrace(3, func(p float64) float64 { return math.Round(math.Round(p/step)*step*decimals) / decimals })
		h := newHistory()
		for _, s := range trace {
			h.add(s.At.Seconds(), float64(s.P))
		}
		if q := h.quantum(); math.Abs(q/(step*PSI)-1) > 0.3 {
			t.Errorf("printed to 1/%.0f psi: a step of %.1f Pa was found, which is %.1f", decimals, q, step*PSI)
		}
		if h.spikes > 0 {
			t.Errorf("printed to 1/%.0f psi: %d spikes", decimals, h.spikes)
		}
	}
	// What is not rounded, smooth or noisy, has no step that matters.
	for name, noise := range map[string]float64{"smooth": 0, "noisy": 20} {
		random := rand.New(rand.NewPCG(5, 1))
		h := newHistory()
		for i := range 2000 {
			at := float64(i) / 100
			h.add(at, Atmosphere+150e3*math.Exp(-at/40)+noise*random.NormFloat64())
		}
		if q := h.quantum(); q > 1 {
			t.Errorf("%s: a step of %.3g Pa was found where nothing is rounded", name, q)
		}
	}
}

// A supply that was left on for minutes does not spoil the zero seen before.
func TestZeroAfterALongFill(t *testing.T) {
	l := NewLive(Setup{Volume: 8 * Litre})
	for i := range 260 * 100 {
		at := float64(i) / 100
		p := 0.0
		switch {
		case at > 205:
			p = 25 * math.Exp(-(at-205)/40)
		case at > 4:
			p = 25 * (1 - math.Exp(-(at-4)/0.7))
		}
		l.Add(Sample{time.Duration(at * float64(time.Second)), Pressure(Atmosphere + p*PSI + 10*math.Sin(1e4*at))})
		if i%20 == 0 {
			l.Look()
		}
	}
	if r := l.Whole(); math.Abs(float64(r.Zero)) > 20 || math.Abs(r.Hold.Start.Seconds()-205) > 0.5 {
		t.Errorf("a zero of %.0f Pa is taken off where there is none; hold from %v", float64(r.Zero), r.Hold.Start)
	}
}
