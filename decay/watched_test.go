package decay_test

import (
	"flag"
	"math"
	"math/rand/v2"
	"sort"
	"sync"
	"testing"
	"time"

	"ebbline/decay"
	"ebbline/decay/decaytest"
)

var (
	watchedRuns = flag.Int("watched", 12, "live tests to simulate on either side of the limit")
	watchedFrom = flag.Uint64("watched-from", 2_000_000, "seed of the first of them")
)

// TestVerdictUnderWatching runs whole live tests on random rigs, looking five
// times a second, with holes a twentieth in diameter below and above the limit and
// at twice the limit: a verdict once shown may be wrong in 1 % of tests.
func TestVerdictUnderWatching(t *testing.T) {
	long(t)
	const (
		limit   = 0.5
		workers = 2
		stop    = math.MaxUint64
	)
	for _, side := range []struct {
		name  string
		hole  float64 // mm
		wrong decay.Outcome
	}{
		{"just below", limit * 0.95, decay.Leaks},
		{"just above", limit * 1.05, decay.Holds},
		{"twice", limit * 2, decay.Holds},
	} {
		var mu sync.Mutex
		var wrong, right int
		var times []float64
		var wg sync.WaitGroup
		next := make(chan uint64)
		for range workers {
			wg.Add(1)
			go func() {
				defer wg.Done()
				for seed := <-next; seed != stop; seed = <-next {
					v, at := watch(seed, side.hole)
					mu.Lock()
					switch v {
					case decay.Undecided:
					case side.wrong:
						wrong++
						t.Logf("%s: seed %d says %v after %.1f s", side.name, seed, v, at)
					default:
						right++
						times = append(times, at)
					}
					mu.Unlock()
				}
			}()
		}
		go func() {
			for i := range *watchedRuns {
				next <- *watchedFrom + uint64(i)
			}
			for range workers {
				next <- stop
			}
		}()
		wg.Wait()
		sort.Float64s(times)
		median := math.NaN()
		if len(times) > 0 {
			median = times[len(times)/2]
		}
		t.Logf("%s the limit: %d tests, %d right, %d wrong, the rest undecided; median %.1f s to the verdict", side.name, *watchedRuns, right, wrong, median)
		if float64(wrong) > math.Max(1, 0.01*float64(*watchedRuns)) {
			t.Errorf("%s the limit: %d of %d verdicts wrong", side.name, wrong, *watchedRuns)
		}
		if side.name == "twice" && (right < *watchedRuns*9/10 || median > 30) {
			t.Errorf("a hole of twice the limit: %d of %d found, after %.1f s (bar: 30 s)", right, *watchedRuns, median)
		}
	}
}

// watch runs one live test and returns the first verdict and how long after
// isolation it was shown.
func watch(seed uint64, hole float64) (decay.Outcome, float64) {
	rnd := rand.New(rand.NewPCG(seed, 99))
	between := func(a, b float64) float64 { return a + (b-a)*rnd.Float64() }
	tr := decaytest.Make(decaytest.Rig{
		Volume: between(3e-3, 15e-3), Area: decaytest.HoleArea(hole), Tau: between(3, 15), NaturalConvection: rnd.IntN(2) == 0,
		Supply: between(18, 26) * decay.PSI, IdleSeconds: 2, FillSeconds: between(4, 10), HoldSeconds: 60,
		Rate: 25, Noise: between(30, 120), Seed: rnd.Uint64(),
	})
	set := tr.Setup
	set.Rigid, set.Limit = true, 0.5*decay.Millimetre
	p := decay.NewProcedure(set)
	look := time.Duration(0)
	for _, s := range tr.Samples {
		p.Step(decay.Taken{Sample: s})
		if s.At >= look {
			p.Step(decay.Look{At: s.At})
			look = s.At + 200*time.Millisecond
			if v := p.State().Verdict; v != decay.Undecided {
				return v, (s.At - tr.IsolatedAt).Seconds()
			}
		}
	}
	return decay.Undecided, 0
}
