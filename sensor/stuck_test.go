package sensor_test

import (
	"testing"
	"time"

	"ebbline/decay"
	"ebbline/sensor"
	"ebbline/sensor/rig"
)

// A reading that stands while the duct leaks, and then jumps to where the
// pressure is, is no supply that sags; one that falls on a tight duct, after it
// has stood on a coarse converter for as long, is.
func TestEndOfAStuckReadingIsNoSag(t *testing.T) {
	const from, long = 20 * time.Second, 4 * time.Second
	for _, c := range []struct {
		name string
		hole decay.Length
		sag  bool
	}{{"stuck on a leak of 1 mm", 1 * decay.Millimetre, false}, {"stuck on a leak of 2 mm", 2 * decay.Millimetre, false}, {"a sag on a tight duct", 0, true}} {
		for _, bits := range []int{8, 10, 12} {
			for _, begins := range []time.Duration{12 * time.Second, 15 * time.Second, from} {
				if c.sag && begins != from {
					continue // the air has to have settled
				}
				for seed := range uint64(6) {
					g := rig.Default()
					g.Hole, g.Bits, g.Noise, g.Seed = c.hole, bits, 15, seed
					if c.sag {
						begins = 60 * time.Second
					}
					r := rig.New(g)
					h := sensor.NewHealth(sensor.HealthConfig{Name: "p"})
					const step = 20 * time.Millisecond
					var stood decay.Gauge
					saw := false
					for at := time.Duration(0); at < 75*time.Second; at += step {
						switch {
						case at < 5*time.Second:
						case at < 15*time.Second:
							r.Fill()
						default:
							r.Isolate()
						}
						r.Advance(step)
						p := r.Read()
						switch {
						case c.sag && at >= begins:
							p *= 0.9
						case c.sag || at < begins:
							stood = p
						case at < begins+long:
							p = stood
						}
						for _, f := range h.Add(at, p.Absolute(decay.DefaultAmbient)) {
							saw = saw || f.Code == sensor.FaultSag
							if f.Code == sensor.FaultSag && !c.sag {
								t.Errorf("%s, %d bits, stuck at %v, seed %d: %v %s", c.name, bits, begins, seed, f.At, f.Text)
							}
						}
					}
					if c.sag && !saw {
						t.Errorf("%s, %d bits, seed %d: not seen", c.name, bits, seed)
					}
				}
			}
		}
	}
}
