package decay_test

import (
	"fmt"
	"math"
	"reflect"
	"strings"
	"testing"
	"time"

	"ebbline/decay"
	"ebbline/decay/decaytest"
)

// script feeds a trace to a procedure, looking five times a second, and
// returns every effect but the estimates, as text.
func script(tr decaytest.Trace, set decay.Setup) (*decay.Procedure, []string) {
	p := decay.NewProcedure(set)
	var out []string
	note := func(effects []decay.Effect) {
		for _, e := range effects {
			switch e := e.(type) {
			case decay.PhaseChanged:
				out = append(out, fmt.Sprintf("%v at %.0f s", e.To, e.At.Seconds()))
			case decay.CeilingPassed:
				out = append(out, "over the ceiling")
			case decay.CeilingCleared:
				out = append(out, "below the ceiling")
			case decay.VerdictReached:
				out = append(out, p.State().Verdict.String())
			case decay.Finished:
				out = append(out, "finished: "+e.Result.Outcome.String())
			}
		}
	}
	look, end := time.Duration(0), time.Duration(0)
	for _, s := range tr.Samples {
		note(p.Step(decay.Taken{Sample: s}))
		if end = s.At; s.At >= look {
			note(p.Step(decay.Look{At: s.At}))
			look = s.At + 200*time.Millisecond
		}
	}
	note(p.Step(decay.Finish{At: end}))
	return p, out
}

func ordinary() decaytest.Rig {
	return decaytest.Rig{
		Volume: 0.010, Area: decaytest.HoleArea(1), Tau: 6, Supply: 172e3, IdleSeconds: 3,
		FillSeconds: 8, HoldSeconds: 40, ReleaseSeconds: 6, Rate: 50, Noise: 60, Seed: 5,
	}
}

func TestProcedureRecognisesThePhases(t *testing.T) {
	tr := decaytest.Make(ordinary())
	set := tr.Setup
	set.Rigid = true
	p, got := script(tr, set)
	want := []string{"fill at 3 s", "settle at 11 s", "leaks", "hold at 11 s", "release at 51 s", "over at 57 s", "finished: leaks"}
	if !reflect.DeepEqual(got, want) {
		t.Errorf("got  %s\nwant %s", strings.Join(got, ", "), strings.Join(want, ", "))
	}
	if p.State().Phase != decay.PhaseOver || p.State().Advice != decay.AdviseDone {
		t.Errorf("ends in %v, advising %v", p.State().Phase, p.State().Advice)
	}
	// The same events give the same effects.
	if _, again := script(tr, set); !reflect.DeepEqual(got, again) {
		t.Errorf("a second time: %v", again)
	}
}

func TestProcedureRaisesTheAlarmAtOnce(t *testing.T) {
	p := decay.NewProcedure(decay.Setup{Ceiling: 100e3})
	at := func(ms int, g decay.Gauge) []decay.Effect {
		return p.Step(decay.Taken{Sample: decay.Sample{At: time.Duration(ms) * time.Millisecond, P: g.Absolute(decay.DefaultAmbient)}})
	}
	at(0, 0)
	if out := at(10, 95e3); len(out) != 0 || !p.State().InBand {
		t.Errorf("in the warning band: %v, %+v", out, p.State())
	}
	out := at(20, 101e3)
	if len(out) != 1 || reflect.TypeOf(out[0]) != reflect.TypeOf(decay.CeilingPassed{}) || p.State().Advice != decay.AdviseShut {
		t.Errorf("over the ceiling: %v, advice %v", out, p.State().Advice)
	}
	if out = at(30, 101e3); len(out) != 0 {
		t.Errorf("still over: %v", out)
	}
	if out = at(40, 99e3); len(out) != 1 || p.State().OverCeiling {
		t.Errorf("back: %v", out)
	}
}

// A duct held up by its supply looks tight; nobody may be told that it holds.
func TestNoVerdictWhileTheSupplyHoldsItUp(t *testing.T) {
	rig := ordinary()
	rig.FillSeconds, rig.HoldSeconds, rig.ReleaseSeconds, rig.Tau = 60, 0.1, 0, 3
	tr := decaytest.Make(rig)
	p, got := script(tr, tr.Setup)
	if v := p.State().Verdict; v != decay.Undecided || p.State().Result.Outcome != decay.Undecided {
		t.Errorf("%v under the supply: %v", v, got)
	}
}

// TestTightDuctNeedsTheValve follows a duct that does not leak and was filled
// so slowly that nothing shows when the valve was shut: only the word of it
// can tell it from one that is still fed.
func TestTightDuctNeedsTheValve(t *testing.T) {
	for _, told := range []bool{false, true} {
		p := decay.NewProcedure(decay.Setup{Volume: 10 * decay.Litre, Rigid: true, Ambient: decay.Atmosphere})
		for i := range 60 * 50 {
			at := time.Duration(i) * 20 * time.Millisecond
			g := min(170e3, max(0, 20e3*(at.Seconds()-2)))
			noise := 60 * math.Sin(float64(i*i)) // of no frequency
			p.Step(decay.Taken{Sample: decay.Sample{At: at, P: decay.Gauge(g + noise).Absolute(decay.Atmosphere)}})
			if told && i == 20*50 {
				p.Step(decay.Shut{At: at})
			}
			if i%10 == 0 {
				p.Step(decay.Look{At: at})
			}
		}
		st := p.State()
		if told && (st.Phase != decay.PhaseHold || st.Verdict != decay.Holds) {
			t.Errorf("told of the valve: phase %v, verdict %v, want hold and holds", st.Phase, st.Verdict)
		}
		if told && (st.Result.Hold.Start-20*time.Second).Abs() > time.Second {
			t.Errorf("the hold starts at %v, want 20 s", st.Result.Hold.Start)
		}
		if !told && (st.Phase != decay.PhaseFill || st.Verdict != decay.Undecided) {
			t.Errorf("not told: phase %v, verdict %v, want fill and undecided", st.Phase, st.Verdict)
		}
	}
}

// TestALateWordKeepsTheHold says that the valve is shut when the pressure has
// long been seen to fall, or when a supply had held it up till then: the fall
// that was seen is the hold, and the word places it only where nothing else does.
func TestALateWordKeepsTheHold(t *testing.T) {
	for _, c := range []struct {
		mm, fed, after float64 // the supply stays on for so long, and the word comes so much later, s
	}{{1, 0, 20}, {0.3, 0, 20}, {0.3, 0, 5}, {0, 0, 25}, {0.3, 12, 0}, {0.15, 12, 0}} {
		rig := ordinary()
		rig.Area, rig.HoldSeconds, rig.ReleaseSeconds = decaytest.HoleArea(c.mm), 40, 0
		rig.FillSeconds += c.fed
		tr := decaytest.Make(rig)
		p := decay.NewProcedure(tr.Setup)
		word := tr.IsolatedAt + time.Duration(c.after*float64(time.Second))
		said, look := false, time.Duration(0)
		for _, s := range tr.Samples {
			p.Step(decay.Taken{Sample: s})
			if !said && s.At >= word {
				p.Step(decay.Shut{At: s.At})
				said = true
			}
			if s.At >= look {
				p.Step(decay.Look{At: s.At})
				look = s.At + 200*time.Millisecond
			}
		}
		if r := p.State().Result; (r.Hold.Start-tr.IsolatedAt).Abs() > time.Second || r.Shut == 0 {
			t.Errorf("%g mm, fed for %g s, said %g s late: the hold starts at %v, isolated at %v", c.mm, c.fed, c.after, r.Hold.Start, tr.IsolatedAt)
		}
	}
}

// TestCoarseReadingsKeepThePhase follows the hold of a ten-bit sensor, whose
// readings stand still and then drop a step: none of the steps is a release.
func TestCoarseReadingsKeepThePhase(t *testing.T) {
	long(t)
	for seed := range uint64(6) {
		r := ordinary()
		r.Area, r.Quantum, r.Noise, r.Seed = decaytest.HoleArea(0.6), 30*decay.PSI/819, 10+20*float64(seed), 40+seed
		tr := decaytest.Make(r)
		set := tr.Setup
		set.Rigid = true
		_, got := script(tr, set)
		text := strings.Join(got, ", ")
		if strings.Count(text, "fill") != 1 || strings.Count(text, "release") != 1 || !strings.Contains(text, "finished: leaks") {
			t.Errorf("noise %.0f Pa: %s", r.Noise, text)
		}
	}
}

// TestDoubtfulReadingsAreLeftOut has a sensor change its unit for three seconds
// of a hold and lose its wire for two: no alarm, no release, and the hole as
// without them. A sensor at the top of its range may be telling too little, so
// that the alarm stays.
func TestDoubtfulReadingsAreLeftOut(t *testing.T) {
	r := ordinary()
	r.HoldSeconds = 60
	tr := decaytest.Make(r)
	set := tr.Setup
	set.Rigid = true
	p := decay.NewProcedure(set)
	var got []string
	note := func(effects []decay.Effect) {
		for _, e := range effects {
			switch e := e.(type) {
			case decay.CeilingPassed:
				got = append(got, "over the ceiling")
			case decay.PhaseChanged:
				got = append(got, e.To.String())
			}
		}
	}
	look := time.Duration(0)
	for _, s := range tr.Samples {
		since := (s.At - tr.IsolatedAt).Seconds()
		switch {
		case since > 20 && since < 23:
			s.P = decay.Gauge(14.5 * float64(s.P.Gauge(set.NominalAmbient()))).Absolute(set.NominalAmbient())
		case since > 30 && since < 32:
			s.P = decay.Gauge(-25 * decay.Kilopascal).Absolute(set.NominalAmbient())
		}
		// A watcher of the signal needs some readings to know.
		if on := since > 20.2 && since < 23.2; on != (since-0.02 > 20.2 && since-0.02 < 23.2) {
			note(p.Step(decay.Doubt{At: s.At, On: on}))
		}
		if on := since > 30.1 && since < 32.2; on != (since-0.02 > 30.1 && since-0.02 < 32.2) {
			note(p.Step(decay.Doubt{At: s.At, On: on}))
		}
		note(p.Step(decay.Taken{Sample: s}))
		if s.At >= look {
			look = s.At + 200*time.Millisecond
			note(p.Step(decay.Look{At: s.At}))
		}
	}
	note(p.Step(decay.Finish{At: look}))
	res := p.State().Result
	text := strings.Join(got, ", ")
	if strings.Count(text, "release") != 1 || strings.Count(text, "fill") != 1 || strings.Count(text, "over the ceiling") > 1 {
		t.Errorf("phases: %s", text)
	}
	if e := res.Hole.Value/decay.Millimetre - 1; math.Abs(e) > 0.01 || res.HasFlag(decay.FlagOverCeiling) || res.HasFlag(decay.FlagOpenCircuit) {
		t.Errorf("hole %.3f mm, want 1; flags %v, peak %.0f kPa", res.Hole.Value/decay.Millimetre, res.Flags, float64(res.Peak)/decay.Kilopascal)
	}

	q := decay.NewProcedure(set)
	q.Step(decay.Doubt{On: true, Alarm: true})
	if out := q.Step(decay.Taken{Sample: decay.Sample{P: decay.Gauge(40 * decay.PSI).Absolute(decay.Atmosphere)}}); len(out) == 0 || !q.State().OverCeiling {
		t.Error("no alarm from a sensor at the top of its range")
	}
}

// While the air settles, or while the interval is wide, an estimate is a guess.
func TestFirstGuess(t *testing.T) {
	rate := func(v, high float64) decay.Result {
		return decay.Result{HasFit: true, Rate: decay.Interval{Value: v, High: high}}
	}
	leaks := rate(1, 9)
	leaks.Outcome = decay.Leaks
	for _, c := range []struct {
		st   decay.State
		want bool
	}{
		{decay.State{Phase: decay.PhaseSettle, Result: rate(1, 1.1)}, true},
		{decay.State{Phase: decay.PhaseSettle, Result: leaks, Verdict: decay.Leaks}, false},
		{decay.State{Phase: decay.PhaseHold, Result: rate(1, 1.1)}, false},
		{decay.State{Phase: decay.PhaseHold, Result: rate(1, 5)}, true},
		{decay.State{Phase: decay.PhaseHold, Result: leaks}, false},
		{decay.State{Phase: decay.PhaseOver, Result: rate(1, 5)}, false},
	} {
		if got := c.st.FirstGuess(); got != c.want {
			t.Errorf("%+v: %v", c.st, got)
		}
	}
}
