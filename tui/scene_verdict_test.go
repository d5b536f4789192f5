package tui

import (
	"testing"
	"time"

	"ebbline/decay"
	"ebbline/sensor/rig"
)

// A gross leak never comes to a hold: the screen says so all the same, during the
// fill, and goes on saying so once the supply is shut.
func TestNeverBuiltIsSaidAndStays(t *testing.T) {
	for _, auto := range []bool{true, false} {
		c := rig.Default()
		c.Volume, c.Hole = 8*decay.Litre, 8*decay.Millimetre
		r := rig.New(c)
		b := newBench(Options{Auto: auto, Controls: noControls{}, Setup: decay.Setup{Of: decay.PartManifold, Volume: c.Volume, Ambient: c.Ambient}})
		flow := func(float64) decay.Gauge { r.Advance(20 * time.Millisecond); return r.Read() }
		b.run(t, 3*time.Second, flow)
		r.Fill()
		b.run(t, 14*time.Second, flow)
		said := func() {
			t.Helper()
			if v := b.model.s.verdict(); v != "never built" {
				t.Errorf("auto %v, in %v at %v: %q", auto, b.model.s.st.Phase, b.at, v)
			}
			b.says(t, "It will not build: a large leak; listen and feel along the duct")
		}
		said()
		b.run(t, 6*time.Second, flow)
		said()
		r.Isolate()
		for range 6 {
			b.run(t, 5*time.Second, flow)
			said()
		}
	}
}
