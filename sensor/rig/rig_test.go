package rig

import (
	"context"
	"io"
	"math"
	"testing"
	"testing/synctest"
	"time"

	"ebbline/decay"
)

// With a wall that takes heat at once, a hold follows the universal curve.
func TestIsothermalHold(t *testing.T) {
	c := Default()
	c.WallTau, c.Noise, c.Bits = 20*time.Millisecond, 0, 0
	r := New(c)
	r.Fill()
	r.Advance(20 * time.Second)
	r.Isolate()
	r.Advance(time.Second)
	p0 := r.Pressure()
	r.Advance(30 * time.Second)
	k := float64(decay.CircleArea(c.Hole)) * decay.DefaultCd * math.Sqrt(decay.RAir*float64(c.Temperature)) / float64(c.Volume)
	want := decay.IsothermalCurve(float64(p0/c.Ambient)) - 30*k
	got := decay.IsothermalCurve(float64(r.Pressure() / c.Ambient))
	if math.Abs(got/want-1) > 0.002 {
		t.Errorf("G = %v after 30 s, want %v", got, want)
	}
}

// A fast fill without heat loss warms the air to γ·T of what came in, mixed
// with what was there: (m₀·cv·T + Δm·cp·T)/(m·cv).
func TestAdiabaticFillWarms(t *testing.T) {
	c := Default()
	c.WallTau, c.Hole = 1e6*time.Second, 0
	r := New(c)
	m0 := r.m
	r.Fill()
	r.Advance(3 * time.Second)
	want := float64(c.Temperature) * (m0 + (r.m-m0)*decay.Gamma) / r.m
	if math.Abs(r.t-want) > 0.1 || r.t < 320 {
		t.Errorf("%v K, want %v K", r.t, want)
	}
}

// The scripted test of a 1.00 mm hole in 10 L is judged to be that, within an
// interval of less than 5 %.
func TestScriptedTestIsJudgedRight(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		c, s := Default(), DefaultScript()
		src := NewSource(c, &s)
		var samples []decay.Sample
		for {
			it, err := src.Next(context.Background())
			if err == io.EOF {
				break
			}
			if err != nil {
				t.Fatal(err)
			}
			samples = append(samples, it.Sample)
		}
		for _, rigid := range []bool{true, false} {
			r := decay.Analyse(decay.Setup{Volume: c.Volume, Rigid: rigid}, samples)
			h := r.Hole
			t.Logf("rigid %v: %v %.4f mm (%.4f to %.4f)", rigid, r.Outcome, h.Value*1e3, h.Low*1e3, h.High*1e3)
			if r.Outcome != decay.Leaks || h.Low > 1e-3 || h.High < 1e-3 || h.Low < 0.95e-3 || h.High > 1.05e-3 {
				t.Errorf("rigid %v: %v, %v", rigid, r.Outcome, h)
			}
		}
	})
}

func TestManualWorkEndsTheScript(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		s := DefaultScript()
		src := NewSource(Default(), &s)
		src.Fill()
		for range 50 * 120 {
			if _, err := src.Next(context.Background()); err != nil {
				t.Fatalf("after a hand on the valve the script ended the test: %v", err)
			}
		}
		src.Close()
		if _, err := src.Next(context.Background()); err == nil {
			t.Error("a closed source went on")
		}
	})
}

func TestValidate(t *testing.T) {
	if err := Default().Validate(); err != nil {
		t.Fatal(err)
	}
	for _, spoil := range []func(*Config){
		func(c *Config) { c.Volume = 0 }, func(c *Config) { c.Hole = -1 }, func(c *Config) { c.Supply = 2e6 },
		func(c *Config) { c.Rate = 0 }, func(c *Config) { c.Noise = decay.Gauge(math.NaN()) }, func(c *Config) { c.Ambient = 0 },
	} {
		c := Default()
		spoil(&c)
		if c.Validate() == nil {
			t.Errorf("%+v is valid", c)
		}
	}
}
