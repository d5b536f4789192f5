package decay_test

import (
	"math"
	"slices"
	"testing"
	"time"

	"ebbline/decay"
	"ebbline/decay/decaytest"
)

// usual is an ordinary set-up: a sensor of 50 psi read with twelve bits.
func usual() decay.Plan {
	return decay.Plan{
		Setup:    decay.Setup{Volume: 10e-3, FullScale: 50 * decay.PSI},
		Pressure: 25 * decay.PSI, Seconds: 30, Rate: 50,
		Noise: 0.01 * decay.PSI, Step: 50 * decay.PSI / (0.8 * 4096),
	}
}

// planned is the rig of p with a hole of effective area a.
func planned(p decay.Plan, a, hold float64, seed uint64) decaytest.Rig {
	return decaytest.Rig{
		Volume: float64(p.Volume), Area: a, Tau: decay.PlanSettle, IdleSeconds: decay.PlanIdle,
		FillSeconds: 10, FillReach: 0.7, HoldSeconds: hold, Supply: float64(p.Pressure),
		Rate: p.Rate, Noise: p.Noise, Quantum: p.Step, Seed: seed,
	}
}

// told is how many of n simulated holds of a hole of area a, with p's set-up,
// tell it from none.
func told(p decay.Plan, a float64, n int, seed uint64) int {
	yes := 0
	for i := range n {
		tr := decaytest.Make(planned(p, a, p.Seconds, seed+uint64(i)))
		set := p.Setup
		set.Ambient, set.AmbientTemperature = tr.Setup.Ambient, tr.Setup.AmbientTemperature
		r := decay.Analyse(set, tr.Samples)
		if r.HasFit && r.Area.Low > 0 {
			yes++
		}
	}
	return yes
}

// TestPlanAgainstHolds simulates holds of the very hole that a plan says is
// just resolved, and of a smaller one.
func TestPlanAgainstHolds(t *testing.T) {
	for i, c := range []struct {
		name   string
		change func(*decay.Plan)
	}{
		{"usual", func(*decay.Plan) {}},
		{"rigid", func(p *decay.Plan) { p.Rigid = true }},
		{"rigid, noisy", func(p *decay.Plan) { p.Rigid, p.Noise = true, 0.03*decay.PSI }},
		{"rigid, ten bits of 30 psi", func(p *decay.Plan) { p.Rigid, p.Step, p.Noise = true, 30*decay.PSI/(0.8*1024), 0.02*decay.PSI }},
		{"rigid, 4 L, 60 s", func(p *decay.Plan) { p.Rigid, p.Volume, p.Seconds = true, 4e-3, 60 }},
	} {
		p := usual()
		c.change(&p)
		r := p.Resolve()
		area := 0.62 * float64(decay.CircleArea(r.Smallest))
		const n = 10
		at := told(p, area, n, uint64(900+100*i))
		below := told(p, area*0.25, n, uint64(950+100*i))
		t.Logf("%-26s smallest %.3f mm, told from none in %d of %d; of a quarter of its area in %d", c.name, float64(r.Smallest)*1e3, at, n, below)
		if at < 8 || below > 5 {
			t.Errorf("%s: the plan's smallest hole is told from none in %d of %d holds, one of a quarter of its area in %d", c.name, at, n, below)
		}
	}
}

// TestPlanAgainstVerdicts watches simulated holds until there is a verdict.
func TestPlanAgainstVerdicts(t *testing.T) {
	p := usual()
	r := p.Resolve()
	limit := decaytest.HoleArea(0.5)
	for _, c := range []struct {
		name string
		area float64
		want decay.Outcome
		plan float64
	}{{"tight", 0, decay.Holds, r.ToHold}, {"twice the limit", 4 * limit, decay.Leaks, r.ToLeak}} {
		var took []float64
		for i := range 5 {
			tr := decaytest.Make(planned(p, c.area, 60, uint64(700+i)))
			set := p.Setup
			set.Ambient, set.AmbientTemperature = tr.Setup.Ambient, tr.Setup.AmbientTemperature
			proc := decay.NewProcedure(set)
			next := tr.IsolatedAt
			for _, s := range tr.Samples {
				proc.Step(decay.Taken{Sample: s})
				if s.At < next {
					continue
				}
				next = s.At + 500*time.Millisecond
				proc.Step(decay.Look{At: s.At})
				if v := proc.State().Verdict; v != decay.Undecided {
					if v == c.want {
						took = append(took, (s.At - tr.IsolatedAt).Seconds())
					}
					break
				}
			}
		}
		if len(took) < 4 {
			t.Errorf("%s: only %d of 5 reached %v", c.name, len(took), c.want)
			continue
		}
		slices.Sort(took)
		mid := took[len(took)/2]
		t.Logf("%s: planned %.1f s, took %.1f s (%.1f to %.1f)", c.name, c.plan, mid, took[0], took[len(took)-1])
		if mid > 2.5*c.plan || mid < c.plan/2.5 {
			t.Errorf("%s: planned %.1f s, took %.1f s", c.name, c.plan, mid)
		}
	}
}

// More of what helps resolves less of a hole, and each cause of error alone
// leaves less than all together.
func TestPlanOptions(t *testing.T) {
	p := usual()
	p.Setup.ZeroTolerance, p.Setup.SpanTolerance, p.Setup.VolumeTolerance = 0.005, 0.01, 0.03
	r := p.Resolve()
	if !(r.Smallest > 0 && r.LimitLow < decay.DefaultLimit && r.LimitHigh > decay.DefaultLimit) {
		t.Errorf("%+v", r)
	}
	seen := map[string]bool{}
	last := decay.Length(0)
	for _, o := range p.Options() {
		seen[o.Name] = true
		if o.Smallest < last {
			t.Errorf("%s is out of order", o.Name)
		}
		last = o.Smallest
		if o.Name != "pressure" && o.Smallest > r.Smallest*1.0001 {
			t.Errorf("%s makes it worse: %.4f mm from %.4f mm", o.Name, float64(o.Smallest)*1e3, float64(r.Smallest)*1e3)
		}
	}
	for _, name := range []string{"seconds", "volume", "pressure", "noise", "bits", "rate", "compliance", "zero"} {
		if !seen[name] {
			t.Errorf("no option %q", name)
		}
	}
	for _, c := range p.Causes() {
		if c.Alone > r.Smallest || c.Alone <= 0 {
			t.Errorf("%s alone leaves %.4f mm, all together %.4f mm", c.Name, float64(c.Alone)*1e3, float64(r.Smallest)*1e3)
		}
	}
	// What cannot be read resolves nothing.
	p.Volume = 0
	if r := p.Resolve(); !math.IsInf(float64(r.Smallest), 1) {
		t.Errorf("without a volume: %+v", r)
	}
}
