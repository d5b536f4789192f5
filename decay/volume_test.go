package decay_test

import (
	"flag"
	"math"
	"math/rand/v2"
	"slices"
	"testing"

	"ebbline/decay"
	"ebbline/decay/decaytest"
)

// volumes is how many simulated ducts the tests of the volume draw.
var volumes = flag.Int("volumes", 10, "simulated ducts whose volume is found by jet and by bottle")

// tally counts errors and intervals that hold the truth.
type tally struct {
	errors []float64
	within int
	failed int
	widths []float64
}

func (c *tally) add(iv decay.Interval, truth float64) bool {
	c.errors = append(c.errors, math.Abs(iv.Value/truth-1))
	c.widths = append(c.widths, (iv.High-iv.Low)/2/iv.Value)
	if iv.Low <= truth && truth <= iv.High {
		c.within++
		return true
	}
	return false
}

func (c *tally) log(t *testing.T, name string) (median, worst, coverage float64) {
	slices.Sort(c.errors)
	slices.Sort(c.widths)
	n := len(c.errors)
	if n == 0 {
		t.Fatalf("%s: nothing was found in %d cases", name, c.failed)
	}
	median, worst, coverage = c.errors[n/2], c.errors[n-1], float64(c.within)/float64(n)
	t.Logf("%s: %d cases, %d failed; error median %.3f %%, 9 in 10 within %.3f %%, worst %.3f %%; truth inside %d of %d; half-width median %.2f %%, widest %.2f %%",
		name, n+c.failed, c.failed, 100*median, 100*c.errors[n*9/10], 100*worst, c.within, n, 100*c.widths[n/2], 100*c.widths[n-1])
	return median, worst, coverage
}

// jetRig draws an ordinary duct, for the hold without and the one with the jet.
func jetRig(rnd *rand.Rand) decaytest.Rig {
	between := func(a, b float64) float64 { return a + (b-a)*rnd.Float64() }
	r := decaytest.Rig{
		Volume: math.Exp(between(math.Log(3e-3), math.Log(20e-3))), Area: decaytest.HoleArea(between(0, 0.6)), Tau: between(3, 10),
		Ambient: between(78e3, 103e3), WallT: between(278, 308), Supply: between(15, 27) * decay.PSI,
		IdleSeconds: between(2, 5), FillSeconds: between(3, 12), FillReach: between(0.4, 0.95),
		HoldSeconds: between(40, 80), ReleaseSeconds: 5, Rate: between(20, 100), Noise: between(20, 120), ZeroError: between(-500, 500),
		Seed: rnd.Uint64(),
	}
	if rnd.IntN(3) > 0 { // the same wall at whatever pressure
		r.HA = (r.Supply + r.Ambient) * r.Volume / r.WallT / 0.4 / r.Tau
	}
	switch rnd.IntN(4) {
	case 0: // ten bits over 0.5 to 4.5 V of 5 V
		r.Quantum = 30 * decay.PSI / 819
	case 1:
		r.NaturalConvection = true
	}
	return r
}

func TestVolumeByJet(t *testing.T) {
	long(t)
	rnd := rand.New(rand.NewPCG(31, 7))
	var volume, base tally
	for i := range *volumes {
		rig := jetRig(rnd)
		jet := 0.65 * math.Pi / 4 * math.Pow(0.8+0.7*rnd.Float64(), 2) * 1e-6
		without := decaytest.Make(rig)
		again := rig
		again.Area += jet
		again.Seed++
		again.Supply *= 0.9 + 0.2*rnd.Float64()
		with := decaytest.Make(again)
		v, err := decay.FindVolumeByJet(without.Setup, decay.Area(jet), 0, without.Samples, with.Samples)
		if err != nil {
			t.Logf("%d: %v: %+v", i, err, rig)
			volume.failed++
			continue
		}
		if !volume.add(v.Volume, rig.Volume) || math.Abs(v.Volume.Value/rig.Volume-1) > .01 {
			t.Logf("%d: %.4g L (%.4g to %.4g), truth %.4g; jet %.3g mm² beside %.3g mm², laws %v and %v, natural %v, quantum %.0f", i,
				v.Volume.Value*1e3, v.Volume.Low*1e3, v.Volume.High*1e3, rig.Volume*1e3, jet*1e6, rig.Area*1e6, v.Without.Law, v.With.Law, rig.NaturalConvection, rig.Quantum)
		}
		base.add(v.Base, rig.Area)
	}
	median, worst, coverage := volume.log(t, "volume by jet")
	base.log(t, "base leak")
	if median > 0.003 || worst > 0.02 || coverage < 0.93 || volume.failed > 0 {
		t.Error("the jet misses its bar")
	}
}

func TestVolumeByBottle(t *testing.T) {
	long(t)
	rnd := rand.New(rand.NewPCG(32, 7))
	between := func(a, b float64) float64 { return a + (b-a)*rnd.Float64() }
	var volume tally
	for i := range *volumes {
		rig := jetRig(rnd)
		if rnd.IntN(3) == 0 {
			rig.Area = 0
		}
		tap := decaytest.Tap{
			Rig: rig, Bottle: between(0.15, 0.5) * rig.Volume, OpenAfter: between(15, 35),
			TapArea: between(6, 40) * 1e-6, BottleTau: between(1, 5),
		}
		tap.HoldSeconds = tap.OpenAfter + between(15, 40)
		tr := decaytest.MakeTap(tap)
		v, err := decay.FindVolumeByBottle(tr.Setup, decay.Volume(tap.Bottle), 0, tr.Samples)
		if err != nil {
			t.Logf("%d: %v: %+v", i, err, tap)
			volume.failed++
			continue
		}
		inside := volume.add(v.Volume, rig.Volume)
		opened := tr.IsolatedAt.Seconds() + tap.OpenAfter
		if !inside || math.Abs(v.Volume.Value/rig.Volume-1) > 0.01 || math.Abs(v.OpenedAt.Seconds()-opened) > 0.15 {
			t.Logf("%d: %.4g L (%.4g to %.4g), truth %.4g (%+.2f %%); opened %v, truth %.2f; before %.0f after %.0f; bottle %.2g V, %.0f s before, %.0f s after, tap %.0f mm², τ %.1f and %.1f s, natural %v, quantum %.0f, leak %.3g mm²", i, v.Volume.Value*1e3, v.Volume.Low*1e3, v.Volume.High*1e3, rig.Volume*1e3,
				100*(v.Volume.Value/rig.Volume-1), v.OpenedAt, opened, float64(v.Before), float64(v.After),
				tap.Bottle/rig.Volume, tap.OpenAfter, tap.HoldSeconds-tap.OpenAfter, tap.TapArea*1e6, rig.Tau, tap.BottleTau, rig.NaturalConvection, rig.Quantum, rig.Area*1e6)
		}
	}
	median, worst, coverage := volume.log(t, "volume by bottle")
	if median > 0.005 || worst > 0.02 || coverage < 0.93 || volume.failed > 0 {
		t.Error("the bottle misses its bar")
	}
}
