package decaytest

import (
	"math"
	"slices"
	"testing"
	"time"

	"ebbline/decay"
)

func near(t *testing.T, what string, got, want, relative float64) {
	t.Helper()
	if !(math.Abs(got/want-1) <= relative) {
		t.Errorf("%s = %.7g, want %.7g within %.2g", what, got, want, relative)
	}
}

func TestMachFlow(t *testing.T) {
	near(t, "choked flow function", machFlow(2, 1), 0.6847314563772705, 1e-12)
	// The closed form over the pressure ratio, at ratio 0.9.
	want := math.Sqrt(7 * (math.Pow(0.9, 10.0/7) - math.Pow(0.9, 12.0/7)))
	near(t, "flow function at 0.9", machFlow(1, 0.9), want, 1e-12)
	if machFlow(1, 1.1) != 0 {
		t.Error("flow against the pressure")
	}
}

// A choked isothermal blow-down is an exponential, and a choked adiabatic one
// p = p0·(1 + 0.2·t/τ)^−7: Balmer, Modern Engineering Thermodynamics, ch. 16.
func TestBlowDownClosedForms(t *testing.T) {
	r := Rig{Volume: 10e-3, Area: 1e-6, Isothermal: true, Supply: 2.5e5, FillSeconds: 5, HoldSeconds: 20, Rate: 100}
	tau := 10e-3 / (1e-6 * math.Sqrt(gasR*293.15) * 0.6847314563772705)
	for _, iso := range []bool{true, false} {
		r.Isothermal = iso
		r.HA = 1e-9
		tr := Make(r)
		i, _ := slices.BinarySearchFunc(tr.Samples, tr.IsolatedAt+10*time.Second, func(s decay.Sample, at time.Duration) int { return int(s.At - at) })
		got := float64(tr.Samples[i].P / tr.TruthP)
		if iso {
			near(t, "isothermal fall in 10 s", got, math.Exp(-10/tau), 1e-6)
			near(t, "rate", tr.TruthRate, 1/(tau*0.6847314563772705), 1e-9)
		} else {
			tauHot := tau * math.Sqrt(293.15/float64(tr.TruthT))
			near(t, "adiabatic fall in 10 s", got, math.Pow(1+0.2*10/tauHot, -7), 1e-6)
		}
	}
}

func TestSeepClosedForm(t *testing.T) {
	const k = 1e-15
	r := Rig{Volume: 10e-3, Seep: k, Isothermal: true, FillSeconds: 5, HoldSeconds: 60, Rate: 10}
	tr := Make(r)
	p0, p1 := float64(tr.TruthP), float64(tr.Samples[len(tr.Samples)-1].P)
	const pa = 101325.0
	rate := k * gasR * 293.15 / 10e-3
	want := (p0 - pa) / (p0 + pa) * math.Exp(-2*rate*pa*60)
	near(t, "(p−pa)/(p+pa) after 60 s", (p1-pa)/(p1+pa), want, 1e-6)
}

// A tight duct cools back to the wall and keeps its air.
func TestTightSettles(t *testing.T) {
	tr := Make(Rig{Tau: 4, FillSeconds: 3, FillReach: 1, HoldSeconds: 60})
	if tr.TruthArea != 0 {
		t.Errorf("truth area %g of a tight duct", tr.TruthArea)
	}
	if tr.TruthT < 294 {
		t.Errorf("gas at %.1f K after a quick fill, want it warm", tr.TruthT)
	}
	last := float64(tr.Samples[len(tr.Samples)-1].P)
	near(t, "settled pressure", last, float64(tr.TruthP)*293.15/float64(tr.TruthT), 1e-5)
}

// The same seed gives the same trace; another gives another.
func TestSeeded(t *testing.T) {
	r := Rig{Noise: 50, Spikes: 0.01, Dropped: 0.01, HoldSeconds: 3, Seed: 5}
	a, b := Make(r), Make(r)
	if !slices.Equal(a.Samples, b.Samples) {
		t.Error("one seed gave two traces")
	}
	r.Seed = 6
	if slices.Equal(a.Samples, Make(r).Samples) {
		t.Error("two seeds gave one trace")
	}
}

func TestSuiteIsSound(t *testing.T) {
	seen := map[string]bool{}
	for _, c := range Suite() {
		if !slices.Contains(Groups, c.Group) || seen[c.Group+c.Name] {
			t.Errorf("%s/%s: unknown group or name used twice", c.Group, c.Name)
		}
		seen[c.Group+c.Name] = true
		tr := Make(c.Rig)
		if len(tr.Samples) < 100 {
			t.Errorf("%s/%s: %d samples", c.Group, c.Name, len(tr.Samples))
		}
		for i, s := range tr.Samples {
			if p := float64(s.P); math.IsNaN(p) || math.IsInf(p, 0) {
				t.Fatalf("%s/%s: reading %d is %g", c.Group, c.Name, i, p)
			}
			if i > 0 && s.At < tr.Samples[i-1].At {
				t.Fatalf("%s/%s: time runs back at %d", c.Group, c.Name, i)
			}
		}
		if (c.Rig.Area > 0 || c.Rig.Seep > 0) && !c.NoArea && tr.TruthArea <= 0 {
			t.Errorf("%s/%s: no true area", c.Group, c.Name)
		}
	}
}
