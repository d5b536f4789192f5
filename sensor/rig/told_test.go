package rig_test

import (
	"testing"
	"testing/synctest"
	"time"

	"ebbline/decay"
	"ebbline/sensor/rig"
)

// Every test on the simulated rig ends with an answer, however large its leak
// is against its supply: it tells when its valve is shut, once, and a valve that
// is shut to let the air out is no isolation.
func TestEveryDemoHasAnAnswer(t *testing.T) {
	for _, c := range []struct {
		hole, litres float64
		want         decay.Outcome
	}{
		{0, 1.2, decay.Holds}, {0.3, 1.2, decay.Holds}, {1, 10, decay.Leaks}, {4, 1.2, decay.Leaks},
		{1.5, 0.5, decay.Leaks}, {3, 0.5, decay.Leaks}, {4, 10, decay.Leaks}, {8, 10, decay.NeverBuilt}, {4, 0.2, decay.NeverBuilt},
	} {
		synctest.Test(t, func(t *testing.T) {
			cfg := rig.Default()
			cfg.Hole, cfg.Volume = decay.Length(c.hole)*decay.Millimetre, decay.Volume(c.litres*decay.Litre)
			script := rig.DefaultScript()
			src := rig.NewSource(cfg, &script)
			defer src.Close()
			p := decay.NewProcedure(decay.Setup{Volume: cfg.Volume, Ambient: cfg.Ambient})
			told, look := []time.Duration{}, time.Duration(0)
			for {
				it, err := src.Next(t.Context())
				if err != nil {
					break
				}
				p.Step(decay.Taken{Sample: it.Sample})
				if it.Shut {
					told = append(told, it.At)
					p.Step(decay.Shut{At: it.At})
				}
				if it.At >= look {
					p.Step(decay.Look{At: it.At})
					look = it.At + 200*time.Millisecond
				}
			}
			p.Step(decay.Finish{At: p.State().Now})
			r := p.State().Result
			if r.Outcome != c.want || len(told) != 1 || r.Shut != told[0] || r.Warned("isolation-unseen") {
				t.Errorf("%g mm in %g L: %v, hole %.2f mm, hold from %v; told of the valve at %v, which the result has as %v",
					c.hole, c.litres, r.Outcome, r.Hole.Value/decay.Millimetre, r.Hold.Start, told, r.Shut)
			}
		})
	}
}
