package tui

import (
	"math"
	"math/rand/v2"
	"testing"
	"time"

	"ebbline/decay"
	"ebbline/decay/decaytest"
)

// TestByHandIntervalsHoldTheTruth reads seeded holds of known leaks from a
// dial: at every beep, to half a division, with the eye's own error.
func TestByHandIntervalsHoldTheTruth(t *testing.T) {
	rnd := rand.New(rand.NewPCG(5, 7))
	const cases = 50
	covered, wrong, judged := 0, 0, 0
	for i := range cases {
		hole := 0.0
		if i%4 > 0 {
			hole = 0.2 * math.Pow(6, rnd.Float64()) // 0.2 to 1.2 mm
		}
		hold := 60 + 120*rnd.Float64()
		tr := decaytest.Make(decaytest.Rig{
			Volume: (2 + 10*rnd.Float64()) * decay.Litre, Area: decay.DefaultCd * math.Pi / 4 * hole * hole * 1e-6,
			FillSeconds: 4 + 6*rnd.Float64(), HoldSeconds: hold, Tau: 3 + 7*rnd.Float64(), Noise: 1, Seed: uint64(i),
		})
		division := 0.5 * decay.PSI
		set := tr.Setup
		set.Division = decay.Gauge(division)
		h := NewHandRun(set)
		wait := 2 + 3*rnd.Float64() // from the valve to the first look
		for k := 0; ; k++ {
			at := time.Duration(float64(k) * 10 * float64(time.Second))
			j := int((tr.IsolatedAt.Seconds() + wait + at.Seconds() + 0.5*rnd.Float64()) * 50)
			if j >= len(tr.Samples) || at.Seconds()+wait > hold-1 {
				break
			}
			p := float64(tr.Samples[j].P) - float64(set.Ambient)
			if p < 1.5*decay.PSI {
				break
			}
			p = math.Round((p+0.1*division*rnd.NormFloat64())/(division/2)) * division / 2
			// Looking at each reading is tested elsewhere, and slow.
			h.list = append(h.list, DialReading{at, decay.Gauge(p)})
		}
		r := h.Finish()
		if !r.HasFit {
			continue
		}
		judged++
		// The area is asked for at the first reading, where the leak law is the same.
		if lo, hi := r.Area.Low, r.Area.High; lo <= float64(tr.TruthArea) && float64(tr.TruthArea) <= hi {
			covered++
		} else {
			t.Logf("case %d: hole %.2f, %d readings: %.3f (%.3f to %.3f) mm", i, hole, len(h.Readings()), r.Hole.Value*1e3, r.Hole.Low*1e3, r.Hole.High*1e3)
		}
		limit := float64(decay.DefaultLimit) * 1e3
		if r.Outcome == decay.Leaks && hole < limit || r.Outcome == decay.Holds && hole > limit {
			wrong++
		}
	}
	t.Logf("%d of %d judged; the interval holds the truth in %d, the verdict is wrong in %d", judged, cases, covered, wrong)
	if judged < cases*3/4 || covered < judged*9/10 || wrong > judged/20 {
		t.Errorf("%d judged, %d covered, %d wrong verdicts", judged, covered, wrong)
	}
}
