package rig_test

import (
	"fmt"
	"strings"
	"testing"
	"time"

	"ebbline/decay"
	"ebbline/sensor/rig"
)

// TestPhasesThroughAHunt presses the leak of a rig and lets it go, twice, fills
// again without a new test, and lets the air out: the phases that are seen are
// those that somebody caused, once each.
func TestPhasesThroughAHunt(t *testing.T) {
	for _, c := range []struct{ mm, pressed float64 }{{0.5, 0.5}, {1, 0}, {1.5, 0.5}, {1.5, 0}} {
		got := hunted(c.mm, c.pressed)
		if want := "fill settle hold | | | | | fill | hold | release"; got != want {
			t.Errorf("a hole of %g mm, pressed to %g of it: %s\nwant %s", c.mm, c.pressed, got, want)
		}
	}
	// So large a leak empties the duct while it is hunted: nobody let air out.
	if got, want := hunted(2.5, 0.5), "fill settle hold | | empty | | | fill | hold | release"; got != want {
		t.Errorf("emptied by its leak: %s\nwant %s", got, want)
	}
}

// hunted gives the phases of such a test, with a stroke where the rig is
// touched.
func hunted(mm, pressed float64) string {
	cfg := rig.Default()
	cfg.Hole = decay.Length(mm) * decay.Millimetre
	r := rig.New(cfg)
	p := decay.NewProcedure(decay.Setup{Volume: cfg.Volume, Ambient: cfg.Ambient})
	var said []string
	at := time.Duration(0)
	run := func(long time.Duration) {
		for end := at + long; at < end; at += 20 * time.Millisecond {
			r.Advance(20 * time.Millisecond)
			p.Step(decay.Taken{Sample: decay.Sample{At: at, P: r.Read().Absolute(cfg.Ambient)}})
			if at%(200*time.Millisecond) != 0 {
				continue
			}
			for _, e := range p.Step(decay.Look{At: at}) {
				if e, ok := e.(decay.PhaseChanged); ok {
					said = append(said, e.To.String())
				}
			}
		}
	}
	hole := func(share float64) {
		said = append(said, "|")
		if err := r.SetHole(decay.Length(share) * cfg.Hole); err != nil {
			said = append(said, fmt.Sprint(err))
		}
		run(5 * time.Second)
	}
	run(3 * time.Second)
	r.Fill()
	run(5 * time.Second)
	r.Isolate()
	run(16 * time.Second) // after fifteen seconds settling no longer counts
	for _, share := range []float64{pressed, 1, pressed, 1} {
		hole(share)
	}
	r.Fill()
	said = append(said, "|")
	run(5 * time.Second)
	r.Isolate()
	said = append(said, "|")
	run(12 * time.Second)
	r.Release()
	said = append(said, "|")
	run(5 * time.Second)
	return strings.Join(said, " ")
}
