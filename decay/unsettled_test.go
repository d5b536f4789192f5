package decay_test

import (
	"math"
	"math/rand/v2"
	"slices"
	"testing"

	"ebbline/decay"
	"ebbline/decay/decaytest"
)

// unsettledRigs draws n leaks of 0.2 to 1 mm with natural convection of a time
// constant, s, and holds of a length, s.
func unsettledRigs(n int, tauLow, tauHigh, holdLow, holdHigh float64) []decaytest.Rig {
	rnd := rand.New(rand.NewPCG(77, 5))
	between := func(a, b float64) float64 { return a + (b-a)*rnd.Float64() }
	var out []decaytest.Rig
	for range n {
		out = append(out, decaytest.Rig{
			Volume: between(5, 20) * 1e-3, Area: decaytest.HoleArea(math.Exp(between(math.Log(0.2), 0))),
			Tau: between(tauLow, tauHigh), NaturalConvection: true,
			Ambient: between(90e3, 103e3), WallT: between(278, 308), Supply: between(15, 27) * decay.PSI,
			IdleSeconds: between(2, 5), FillSeconds: between(3, 12), FillReach: between(0.4, 0.95),
			HoldSeconds: between(holdLow, holdHigh), ReleaseSeconds: 5, Rate: between(20, 100), Noise: between(20, 150), Seed: rnd.Uint64(),
		})
	}
	return out
}

// The interval holds the truth also where the hold was too short for air that
// cools slowly, but for a few, and such a leak is told with that doubt; one of a
// hold of usual length is not.
func TestUnsettledIsSaid(t *testing.T) {
	long(t)
	try := func(rigs []decaytest.Rig) (missed, unsaid, said int) {
		for _, rig := range rigs {
			tr := decaytest.Make(rig)
			set := tr.Setup
			set.Rigid = true
			r := decay.Analyse(set, tr.Samples)
			doubt := slices.ContainsFunc(r.Warnings, func(w decay.Warning) bool { return w.Code == "unsettled" })
			if doubt {
				said++
			}
			if r.HasFit && r.Outcome != decay.Holds && float64(tr.TruthArea) < 0.98*r.Area.Low {
				missed++
				if !doubt {
					unsaid++
				}
			}
		}
		return missed, unsaid, said
	}
	missed, unsaid, said := try(unsettledRigs(60, 15, 40, 15, 30))
	t.Logf("slow air, short holds: %d of 60 miss the truth by more than 2 %%, %d of them without a word; said of %d", missed, unsaid, said)
	if missed > 6 || unsaid > 1 || said < 30 {
		t.Errorf("%d of 60 miss the truth, %d of them without a word; the doubt is said of %d", missed, unsaid, said)
	}
	missed, unsaid, said = try(unsettledRigs(60, 3, 8, 40, 90))
	t.Logf("usual air and holds: %d of 60 miss, %d without a word; said of %d", missed, unsaid, said)
	if unsaid > 1 || said > 1 {
		t.Errorf("usual holds: %d of 60 miss the truth without a word, and the doubt is said of %d", unsaid, said)
	}
}
