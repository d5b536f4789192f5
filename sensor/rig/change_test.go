package rig

import (
	"math"
	"testing"
	"testing/synctest"
	"time"

	"ebbline/decay"
)

// While it runs a rig's leak and volume can be changed: the pressure stays
// where it was, and falls as fast as the new leak says.
func TestLeakAndVolumeChangeWhileItRuns(t *testing.T) {
	c := Default()
	c.Hole = 0
	r := New(c)
	r.Fill()
	r.Advance(20 * time.Second)
	r.Isolate()
	r.Advance(60 * time.Second)
	full := r.Pressure()
	if err := r.SetVolume(20 * decay.Litre); err != nil {
		t.Fatal(err)
	}
	if d := math.Abs(float64(r.Pressure() - full)); d > 1e-6*float64(full) {
		t.Errorf("the pressure jumped by %g Pa with the volume", d)
	}
	lost := func() float64 {
		p := r.Pressure()
		r.Advance(100 * time.Millisecond)
		return float64(p-r.Pressure()) / 0.1
	}
	if got := lost(); got > 5 {
		t.Errorf("a tight duct loses %g Pa/s", got)
	}
	// V·dp/dt is γ·R·T·ṁ at first, before the wall warms the air.
	want := func(mass float64) float64 {
		return decay.Gamma * decay.RAir * 293.15 * mass / 0.020
	}
	if err := r.SetHole(1 * decay.Millimetre); err != nil {
		t.Fatal(err)
	}
	hole := want(float64(decay.NozzleFlow(decay.Area(0.62*math.Pi*0.25e-6), full, 293.15, c.Ambient)))
	if got := lost(); math.Abs(got/hole-1) > 0.02 {
		t.Errorf("a hole of 1 mm loses %g Pa/s, want %g", got, hole)
	}
	if err := r.SetHole(0); err != nil {
		t.Fatal(err)
	}
	r.Advance(time.Minute)
	p := float64(r.Pressure())
	if err := r.SetSeep(2e-15); err != nil {
		t.Fatal(err)
	}
	seep := want(2e-15 * (p*p - float64(c.Ambient*c.Ambient)))
	if got := lost(); math.Abs(got/seep-1) > 0.02 {
		t.Errorf("a seep loses %g Pa/s, want %g", got, seep)
	}
	for _, bad := range []error{r.SetHole(-1), r.SetHole(1), r.SetSeep(math.NaN()), r.SetSeep(1), r.SetVolume(0), r.SetVolume(100)} {
		if bad == nil {
			t.Error("taken")
		}
	}
	if got := r.cfg; got.Hole != 0 || got.Seep != 2e-15 || got.Volume != 20*decay.Litre {
		t.Errorf("what was refused was taken: %+v", got)
	}
}

// A seep is given as the hole that passes as much at the supply pressure.
func TestSeepLikeAHole(t *testing.T) {
	c := Default()
	c.Seep = c.SeepLike(0.7 * decay.Millimetre)
	if got := c.HoleLike(); math.Abs(float64(got)-0.7e-3) > 1e-9 {
		t.Errorf("%g m", float64(got))
	}
}

func TestSourceChanges(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		src := NewSource(Default(), nil)
		defer src.Close()
		if err := src.SetHole(2 * decay.Millimetre); err != nil {
			t.Error(err)
		}
		if err := src.SetSeep(1e-16); err != nil {
			t.Error(err)
		}
		if err := src.SetVolume(5 * decay.Litre); err != nil {
			t.Error(err)
		}
		if c := src.Config(); c.Hole != 2*decay.Millimetre || c.Seep != 1e-16 || c.Volume != 5*decay.Litre {
			t.Errorf("%+v", c)
		}
		if err := src.SetHole(decay.Length(math.Inf(1))); err == nil {
			t.Error("taken")
		}
	})
}
