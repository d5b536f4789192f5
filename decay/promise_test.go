package decay_test

import (
	"math"
	"math/rand/v2"
	"sort"
	"testing"
	"time"

	"ebbline/decay"
	"ebbline/decay/decaytest"
)

// TestHowLongIsToldRight runs live tests on random rigs with holes below and above
// the limit, and compares how much longer was said to be needed with how much longer
// it took until the verdict, when three, five and seven tenths of that had gone by.
func TestHowLongIsToldRight(t *testing.T) {
	long(t)
	const limit, tests = 0.5, 20
	for _, times := range []float64{0.6, 1.3, 2} {
		got := map[float64][]float64{}
		silent, none := 0, 0
		for seed := range uint64(tests) {
			told, verdict := promises(7000+seed, times*limit)
			if verdict == 0 {
				none++
				continue
			}
			for _, share := range []float64{0.3, 0.5, 0.7} {
				i := sort.Search(len(told), func(i int) bool { return told[i].at >= share*verdict })
				if i == len(told) || !told[i].has {
					silent++
					continue
				}
				got[share] = append(got[share], told[i].left/(verdict-told[i].at))
			}
		}
		var all []float64
		for _, share := range []float64{0.3, 0.5, 0.7} {
			r := got[share]
			sort.Float64s(r)
			all = append(all, r...)
			if n := len(r); n > 0 {
				t.Logf("%.1f times the limit, at %.0f %%: %d told, predicted by actual %.2f, quarters %.2f to %.2f, of %.2f to %.2f", times, 100*share, n, r[n/2], r[n/4], r[3*n/4], r[0], r[n-1])
			}
		}
		sort.Float64s(all)
		median := math.NaN()
		if len(all) > 0 {
			median = all[len(all)/2]
		}
		t.Logf("%.1f times the limit: median %.2f; %d times nothing was told, %d without a verdict", times, median, silent, none)
		if !(median >= 0.7 && median <= 1.5) {
			t.Errorf("%.1f times the limit: the median of predicted by actual is %.2f, want 0.7 to 1.5", times, median)
		}
	}
}

// promise is what was told at a moment, s after isolation.
type promise struct {
	at, left float64
	has      bool
}

// promises runs one live test and returns what was told until the verdict, and
// when that came, s after isolation; 0: it did not.
func promises(seed uint64, hole float64) (told []promise, verdict float64) {
	rnd := rand.New(rand.NewPCG(seed, 99))
	between := func(a, b float64) float64 { return a + (b-a)*rnd.Float64() }
	tr := decaytest.Make(decaytest.Rig{
		Volume: between(3e-3, 15e-3), Area: decaytest.HoleArea(hole), Tau: between(3, 15), NaturalConvection: rnd.IntN(2) == 0,
		Supply: between(18, 26) * decay.PSI, IdleSeconds: 2, FillSeconds: between(4, 10), HoldSeconds: 150,
		Rate: 25, Noise: between(30, 120), Seed: rnd.Uint64(),
	})
	set := tr.Setup
	set.Rigid, set.Limit = true, 0.5*decay.Millimetre
	p := decay.NewProcedure(set)
	look := time.Duration(0)
	for _, s := range tr.Samples {
		p.Step(decay.Taken{Sample: s})
		if s.At < look {
			continue
		}
		p.Step(decay.Look{At: s.At})
		look = s.At + 200*time.Millisecond
		at, st := (s.At - tr.IsolatedAt).Seconds(), p.State()
		if st.Verdict != decay.Undecided {
			return told, at
		}
		if at > 0 && st.Phase != decay.PhaseFill {
			told = append(told, promise{at, st.Result.ToDecide.Seconds(), st.Result.HasDecide})
		}
	}
	return told, 0
}
