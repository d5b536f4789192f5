package main

import (
	"math"
	"time"

	"ebbline/decay"
	"ebbline/sensor/rig"
	"ebbline/tui"
)

// rigStage makes the simulated rig what the start card says is under test, so
// that a whole session can be tried without a car: the fittings are nearly
// tight, a repaired duct leaks a tenth of what it did, and the branches share
// the leak.
type rigStage struct {
	rig      *rig.Source  // nil on real hardware
	hole     decay.Length // of the whole duct
	now      decay.Length // of what is under test
	branches int          // tested so far
}

// shares are what the first branches leak of the whole.
var shares = [...]float64{0.1, 0.75, 0.15}

// pinch presses the leak so that a quarter of its area is left, or lets it go.
func (s *rigStage) pinch(shut bool) error {
	d := s.now
	if shut {
		d /= 2
	}
	return s.rig.SetHole(d)
}

// set sets the stage for a test and starts the rig's script.
func (s *rigStage) set(t tui.Start) error {
	if s.rig == nil {
		return nil
	}
	share := 1.0
	switch {
	case t.Setup.Of == decay.PartFittings:
		share = 0.003
	case t.Retest:
		share = 0.1
	case t.Setup.Of == decay.PartBranch:
		share = shares[s.branches%len(shares)]
		s.branches++
	}
	if v := t.Setup.Volume; v > 0 {
		if err := s.rig.SetVolume(v); err != nil {
			return err
		}
	}
	s.now = s.hole * decay.Length(math.Sqrt(share))
	if err := s.rig.SetHole(s.now); err != nil {
		return err
	}
	script := rig.DefaultScript()
	script.Hold = time.Hour // until the hand that lets the air out
	s.rig.Play(script)
	return nil
}
