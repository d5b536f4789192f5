package rig

import (
	"errors"
	"math"
	"strconv"
	"strings"
	"testing"
	"testing/synctest"
	"time"

	"ebbline/decay"
	"ebbline/sensor"
)

// What Validate accepts stays finite, and the rest it refuses.
func TestNoConfigurationRunsAway(t *testing.T) {
	nan, inf := math.NaN(), math.Inf(1)
	for name, spoil := range map[string]func(*Config){
		"zero error NaN":      func(c *Config) { c.ZeroError = decay.Gauge(nan) },
		"feed bore NaN":       func(c *Config) { c.FeedBore = decay.Length(nan) },
		"vent bore infinite":  func(c *Config) { c.VentBore = decay.Length(inf) },
		"full scale infinite": func(c *Config) { c.FullScale = inf },
		"seep NaN":            func(c *Config) { c.Seep = nan },
		"seep huge":           func(c *Config) { c.Seep = 1 },
		"wall at once":        func(c *Config) { c.WallTau = time.Nanosecond },
		"wall quick":          func(c *Config) { c.WallTau = time.Millisecond },
		"small and open":      func(c *Config) { c.Volume, c.Hole = 1e-5, 50*decay.Millimetre },
		"small":               func(c *Config) { c.Volume = 2e-4 },
	} {
		c := Default()
		spoil(&c)
		if c.Validate() != nil {
			continue
		}
		r := New(c)
		for _, work := range []func(){r.Fill, r.Isolate, r.Release} {
			work()
			r.Advance(time.Second)
			top := float64(c.Supply.Absolute(c.Ambient)) * decay.Gamma
			if p := float64(r.Read().Absolute(c.Ambient)); !(p > 0 && p < top) || !(r.Temperature() > 100 && r.Temperature() < 600) {
				t.Errorf("%s: reads %g Pa absolute at %g K", name, p, float64(r.Temperature()))
			}
		}
	}
}

// A reading says what its line says, no more.
func TestReadingIsWhatTheLineSays(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		src := NewSource(Default(), nil)
		defer src.Close()
		for range 200 {
			it, err := src.Next(t.Context())
			if err != nil {
				t.Fatal(err)
			}
			_, value, _ := strings.Cut(it.Raw, ",")
			psi, err := strconv.ParseFloat(value, 64)
			if err != nil {
				t.Fatal(err)
			}
			if want := decay.Gauge(psi * decay.PSI).Absolute(decay.DefaultAmbient); math.Abs(float64(it.P-want)) > 1e-6 {
				t.Fatalf("line %q, but %.3f Pa where it says %.3f Pa", it.Raw, float64(it.P), float64(want))
			}
			if value == "-0.000" {
				t.Fatal("a minus without a number")
			}
		}
	})
}

// A source that is closed gives nothing more, even when readings are overdue.
func TestClosedMeansClosed(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		for range 50 {
			src := NewSource(Default(), nil)
			time.Sleep(500 * time.Millisecond)
			src.Close()
			if _, err := src.Next(t.Context()); !errors.Is(err, sensor.ErrClosed) {
				t.Fatalf("got %v", err)
			}
		}
	})
}
