package decay

import (
	"math"
	"math/rand/v2"
	"testing"

	"pgregory.net/rapid"
)

// normal is the 95 % interval of a normal estimate.
func normal(v, sd float64) Interval { return Interval{v, v - 1.96*sd, v + 1.96*sd, 0.95} }

// TestDifferenceSumAndShareCover draws normal estimates of known truths: the
// intervals must cover what they are about as often as they say.
func TestDifferenceSumAndShareCover(t *testing.T) {
	rng := rand.New(rand.NewPCG(7, 8))
	const n = 20000
	diff, sum, share := 0, 0, 0
	for range n {
		a, b := 3.0, 2.0
		ea, eb := normal(a+0.5*rng.NormFloat64(), 0.5), normal(b+0.4*rng.NormFloat64(), 0.4)
		if d := Difference(ea, eb); d.Low <= a-b && a-b <= d.High {
			diff++
		}
		if s := Sum(ea, eb); s.Low <= a+b && a+b <= s.High {
			sum++
		}
		if s := Share(eb, ea); s.Low <= b/a && b/a <= s.High {
			share++
		}
	}
	for name, k := range map[string]int{"difference": diff, "sum": sum, "share": share} {
		if c := float64(k) / n; c < 0.94 || c > 0.96 {
			t.Errorf("the %s covers %.1f %%", name, 100*c)
		}
	}
}

func TestShareAtItsEdges(t *testing.T) {
	exact := Interval{2, 2, 2, 0.95}
	if s := Share(Interval{1, 1, 1, 0.95}, exact); s != (Interval{0.5, 0.5, 0.5, 0.95}) {
		t.Errorf("half of two: %+v", s)
	}
	if s := Share(normal(1, 0.1), normal(1, 0.8)); !math.IsInf(s.High, 1) {
		t.Errorf("of a whole that may be zero: %+v", s)
	}
	if s := Share(normal(1, 0.1), Interval{}); !math.IsNaN(s.Value) || !math.IsInf(s.High, 1) || s.Low != 0 {
		t.Errorf("of nothing: %+v", s)
	}
	if s := Share(Interval{1, 0.5, math.Inf(1), 0.95}, exact); !math.IsInf(s.High, 1) || s.Low != 0.25 {
		t.Errorf("of an unbounded part: %+v", s)
	}
	if d := Difference(Interval{1, 1, math.Inf(1), .95}, exact); d.Value != -1 || !math.IsInf(d.High, 1) {
		t.Errorf("less an exact value: %+v", d)
	}
}

func TestIntervalsStayInOrder(t *testing.T) {
	draw := func(t *rapid.T, name string) Interval {
		v := rapid.Float64Range(0, 10).Draw(t, name)
		return Interval{v, math.Max(0, v-rapid.Float64Range(0, 5).Draw(t, name+" down")), v + rapid.Float64Range(0, 5).Draw(t, name+" up"), 0.95}
	}
	rapid.Check(t, func(t *rapid.T) {
		a, b := draw(t, "a"), draw(t, "b")
		if rapid.Bool().Draw(t, "a difference") {
			a = Difference(a, b)
		}
		for name, iv := range map[string]Interval{"difference": Difference(a, b), "sum": Sum(a, b), "share": Share(a, b)} {
			if tiny := 1e-9 * (1 + math.Abs(iv.Value)); iv.Value < iv.Low-tiny || iv.Value > iv.High+tiny {
				t.Fatalf("%s of %+v and %+v: %+v", name, a, b, iv)
			}
		}
	})
}

// sized is a result with that effective area.
func sized(a Interval, o Outcome) Result {
	return Result{HasFit: true, HasVolume: true, Area: a, Hole: a, Cd: DefaultCd, Rate: a, Outcome: o, Limit: DefaultLimit, Flow: 1, LossRate: 2}
}

func TestCompareJudgesARepair(t *testing.T) {
	for _, c := range []struct {
		name          string
		before, after Result
		want          Repair
	}{
		{"mended", sized(normal(5, .3), Leaks), sized(normal(.5, .3), Holds), RepairMended},
		{"better, not yet well", sized(normal(5, .3), Leaks), sized(normal(3, .3), Leaks), RepairSmaller},
		{"worse", sized(normal(3, .3), Leaks), sized(normal(5, .3), Leaks), RepairLarger},
		{"cannot tell", sized(normal(3, .5), Leaks), sized(normal(2.5, .5), Leaks), RepairUnclear},
		{"both tight", sized(normal(.2, .1), Holds), sized(normal(.1, .1), Holds), RepairUnclear},
	} {
		if got, ok := Compare(c.before, c.after); !ok || got.Repair != c.want || !got.HasArea {
			t.Errorf("%s: %+v, %v", c.name, got, ok)
		}
	}
	rate := sized(normal(5, .3), Undecided)
	rate.HasVolume, rate.Area = false, Interval{}
	if got, ok := Compare(rate, sized(normal(2, .3), Leaks)); !ok || got.HasArea || got.Repair != RepairSmaller {
		t.Errorf("by the rate alone: %+v", got)
	}
	if _, ok := Compare(Result{}, rate); ok {
		t.Error("compared with nothing")
	}
}

func TestSplitSaysWhatToDoNext(t *testing.T) {
	whole := normal(10, .5)
	for _, c := range []struct {
		name  string
		whole Interval
		parts []Interval
		want  SplitStep
		row   int
	}{
		{"no whole yet", Interval{}, nil, SplitWhole, 0},
		{"a tight whole", normal(.5, .5), nil, SplitNoLeak, 0},
		{"nothing tested", whole, nil, SplitMore, 0},
		{"the first holds little", whole, []Interval{normal(1, .3)}, SplitMore, 0},
		{"the second holds most", whole, []Interval{normal(1, .3), normal(8, .3)}, SplitInto, 1},
		{"too uncertain", whole, []Interval{normal(6, 3)}, SplitLonger, 0},
		{"more than the whole", whole, []Interval{normal(8, .3), normal(6, .3)}, SplitDoubt, 0},
		{"evenly spread", whole, []Interval{normal(3.3, .2), normal(3.3, .2), normal(3.4, .2)}, SplitAllDone, 0},
	} {
		var parts []Section
		for _, p := range c.parts {
			parts = append(parts, Section{"x", p})
		}
		s := NewSplit(c.whole, parts)
		if s.Next != c.want || s.NextRow != c.row {
			t.Errorf("%s: step %d, row %d; want %d, %d (%+v)", c.name, s.Next, s.NextRow, c.want, c.row, s)
		}
	}
	s := NewSplit(whole, []Section{{"a", normal(2, .3)}, {"b", normal(5, .3)}})
	if math.Abs(s.Rest.Value-3) > 1e-9 || math.Abs(s.RestShare.Value-.3) > 1e-9 || math.Abs(s.Rows[1].Share.Value-.5) > 1e-9 {
		t.Errorf("%+v", s)
	}
}

func TestNetSubtractsTheRig(t *testing.T) {
	lim := float64(CircleArea(DefaultLimit)) * DefaultCd
	gross := sized(normal(1.2*lim, .04*lim), Leaks)
	rig := normal(.3*lim, .02*lim)
	r := Net(gross, rig, DefaultLimit)
	if math.Abs(r.Area.Value-.9*lim) > 1e-12 || r.Outcome != Undecided && r.Outcome != Holds {
		t.Errorf("%+v", r)
	}
	if w, h := r.Area.High-r.Area.Value, 1.96*math.Hypot(.04, .02)*lim; math.Abs(w-h) > 1e-12 {
		t.Errorf("half a width of %g, want %g", w, h)
	}
	if want := float64(EquivalentHole(Area(.9*lim), DefaultCd)); math.Abs(r.Hole.Value-want) > 1e-9 || math.Abs(r.Flow-.75) > 1e-9 {
		t.Errorf("hole %g, want %g; flow %g", r.Hole.Value, want, r.Flow)
	}
	if len(gross.Warnings) != 0 || len(r.Warnings) != 2 || r.Warnings[0].Code != "rig-subtracted" || r.Warnings[1].Code != "rig-leaks" {
		t.Errorf("warnings %+v", r.Warnings) // 0.3 and its doubt are more than a third
	}
	if r := Net(gross, Interval{}, DefaultLimit); r.Area != gross.Area || r.Outcome != gross.Outcome {
		t.Errorf("without a rig's leak: %+v", r)
	}
	blind := gross
	blind.HasVolume = false
	if r := Net(blind, rig, DefaultLimit); len(r.Warnings) != 1 || r.Warnings[0].Code != "rig-not-subtracted" {
		t.Errorf("without a volume: %+v", r.Warnings)
	}
	if !RigFits(normal(.2*lim, .01*lim), DefaultLimit, DefaultCd) || RigFits(normal(.3*lim, .03*lim), DefaultLimit, DefaultCd) {
		t.Error("a third of the limit is not where the rig check ends")
	}
}

// watch runs a whole hold through a procedure: a nozzle of that area on 10 L.
func watch(t *testing.T, set Setup, area float64) (State, int) {
	t.Helper()
	p := NewNetProcedure(set)
	rng := rand.New(rand.NewPCG(1, 2))
	k := area * math.Sqrt(RAir*293.15) / float64(set.Volume)
	abs, verdicts := 270e3, 0
	for i := range 60 * 50 {
		at := float64(i) / 50
		v := Atmosphere
		switch {
		case at >= 10:
			abs -= k * Psi(Atmosphere/abs) * abs / 50
			v = abs
		case at > 3:
			v = Atmosphere + (270e3-Atmosphere)*(at-3)/7
		}
		now := seconds(at)
		evs := p.Step(Taken{Sample{now, Pressure(v + 60*rng.NormFloat64())}})
		if i%10 == 0 {
			evs = append(evs, p.Step(Look{now})...)
		}
		for _, e := range evs {
			if e, ok := e.(VerdictReached); ok {
				verdicts++
				if e.Result.Limit != set.Limit {
					t.Errorf("judged against %v", e.Result.Limit)
				}
			}
		}
	}
	return p.State(), verdicts
}

func TestNetProcedureJudgesWithoutTheRig(t *testing.T) {
	lim := float64(CircleArea(DefaultLimit)) * DefaultCd
	set := Setup{Volume: 10 * Litre, Ambient: Atmosphere, Rigid: true, Limit: DefaultLimit}
	// The duct alone is at 0.6 of the limit's area, with the rig above it.
	if st, n := watch(t, set, 1.4*lim); st.Verdict != Leaks || n != 1 {
		t.Errorf("without a rig check: %v, %d verdicts", st.Verdict, n)
	}
	set.RigLeak = normal(.8*lim, .01*lim)
	st, n := watch(t, set, 1.4*lim)
	if st.Verdict != Holds || n != 1 || st.Result.Area.Low > .6*lim || st.Result.Area.High < .6*lim {
		t.Errorf("with it: %v, %d verdicts, area %+v, want %g in it", st.Verdict, n, st.Result.Area, .6*lim)
	}
	// A rig known badly does not let a verdict stand.
	set.RigLeak = Interval{.8 * lim, .2 * lim, 1.4 * lim, 0.95}
	if st, _ := watch(t, set, 1.4*lim); st.Verdict != Undecided || st.Advice == AdviseRelease {
		t.Errorf("with a rig known badly: %v, %v", st.Verdict, st.Advice)
	}
}

func TestParts(t *testing.T) {
	for _, p := range Parts {
		if q, err := ParsePart(p.String()); err != nil || q != p {
			t.Errorf("%v read back is %v, %v", p, q, err)
		}
	}
	if _, err := ParsePart("unstated"); err == nil {
		t.Error("nothing can be tested")
	}
	if l := (Setup{Of: PartEngine}).WithDefaults().Limit; l != 1.5*Millimetre {
		t.Errorf("through the engine %v", l)
	}
	if l := (Setup{Of: PartEngine, Limit: 1 * Millimetre}).WithDefaults().Limit; l != 1*Millimetre {
		t.Errorf("a stated limit became %v", l)
	}
	if !RigFits(Interval{High: .99 * float64(CircleArea(PartFittings.DefaultLimit())) * DefaultCd}, PartHose.DefaultLimit(), DefaultCd) {
		t.Error("fittings that hold are too leaky for a hose")
	}
}
