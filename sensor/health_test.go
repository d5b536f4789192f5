package sensor

import (
	"math"
	"math/rand/v2"
	"slices"
	"testing"
	"time"

	"ebbline/decay"
)

// story makes readings for a Health from a function of time, Pa in the
// transducer's own reference.
type story struct {
	cfg   HealthConfig
	rate  float64
	noise float64
	grain float64
	for_  time.Duration
	value func(t, x float64) float64 // x: noise of 1, seeded
}

func (s story) run() (codes []string, faults []Fault) {
	h := NewHealth(s.cfg)
	rng := rand.New(rand.NewPCG(11, 4))
	step := time.Duration(1e9 / s.rate)
	for at := time.Duration(0); at < s.for_; at += step {
		v := s.value(at.Seconds(), s.noise*rng.NormFloat64())
		if s.grain > 0 {
			v = math.Round(v/s.grain) * s.grain
		}
		p := decay.Pressure(v)
		if s.cfg.Reads == decay.ReadsGauge {
			p = decay.Gauge(v).Absolute(h.ambient())
		}
		for _, f := range h.Add(at, p) {
			codes = append(codes, f.Code+" "+f.State.String())
			faults = append(faults, f)
		}
	}
	return codes, faults
}

// plateau fills to a level at 4 s.
func plateau(t, level float64) float64 { return level * math.Min(1, math.Max(0, (t-4)/3)) }

func TestHealthNamesEachFault(t *testing.T) {
	const kPa = decay.Kilopascal
	abs := decay.ReadsAbsolute
	between := func(t, from, to float64) bool { return t >= from && t < to }
	cases := []struct {
		name  string
		cfg   HealthConfig
		value func(t, x float64) float64
		want  []string
	}{
		{"stuck in the hold", HealthConfig{}, func(t, x float64) float64 {
			if between(t, 12, 18) {
				return 150 * kPa
			}
			return plateau(t, 170*kPa) + x
		}, []string{"stuck begins", "stuck ends"}},
		{"stuck while the duct leaks", HealthConfig{}, func(t, x float64) float64 {
			leak := func(t float64) float64 { return plateau(t, 170*kPa) * math.Exp(-math.Max(0, t-7)/30) }
			if between(t, 12, 16) {
				return leak(12)
			}
			return leak(t) + x
		}, []string{"stuck begins", "stuck ends"}},
		{"cut off at zero at rest", HealthConfig{}, func(t, x float64) float64 {
			return math.Max(0, plateau(t, 170*kPa)+x-100)
		}, nil},
		{"at full scale", HealthConfig{FullScale: 200 * kPa}, func(t, x float64) float64 {
			return math.Min(200*kPa, plateau(t, 170*kPa)*map[bool]float64{true: 1.3, false: 1}[between(t, 10, 14)]+x)
		}, []string{"saturated begins", "saturated ends"}},
		{"at a top nobody stated", HealthConfig{}, func(t, x float64) float64 {
			return math.Min(150*kPa, plateau(t, 170*kPa)+x)
		}, []string{"saturated begins"}},
		{"signal at the supply", HealthConfig{FullScale: 200 * kPa}, func(t, x float64) float64 {
			if between(t, 10, 14) {
				return 1.125 * 200 * kPa
			}
			return plateau(t, 170*kPa) + x
		}, []string{"rail-high begins", "rail-high ends"}},
		{"signal at the supply, full scale not stated", HealthConfig{}, func(t, x float64) float64 {
			if between(t, 10, 14) {
				return 1.125 * 200 * kPa
			}
			return plateau(t, 100*kPa) + x
		}, []string{"rail-high begins", "rail-high ends"}},
		{"signal wire off", HealthConfig{FullScale: 200 * kPa}, func(t, x float64) float64 {
			if between(t, 10, 14) {
				return -0.125 * 200 * kPa
			}
			return plateau(t, 170*kPa) + x
		}, []string{"open-circuit begins", "open-circuit ends"}},
		{"signal wire floating, full scale not stated", HealthConfig{}, func(t, x float64) float64 {
			if between(t, 10, 14) {
				return -25*kPa + 20*x
			}
			return plateau(t, 170*kPa) + x
		}, []string{"open-circuit begins", "open-circuit ends"}},
		{"signal near ground", HealthConfig{FullScale: 200 * kPa}, func(t, x float64) float64 {
			if between(t, 10, 14) {
				return -0.0625 * 200 * kPa
			}
			return plateau(t, 170*kPa) + x
		}, []string{"rail-low begins", "rail-low ends"}},
		{"supply sags at once under pressure", HealthConfig{FullScale: 200 * kPa}, func(t, x float64) float64 {
			v := plateau(t, 100*kPa) + x
			if between(t, 12, 16) {
				v = (v+25*kPa)*0.86 - 25*kPa
			}
			return v
		}, []string{"supply-sag begins", "supply-sag ends"}},
		{"supply sags slowly at rest", HealthConfig{FullScale: 345 * kPa}, func(t, x float64) float64 {
			if k := 1 - 0.14*(1-math.Exp(-(t-12)/0.4)); between(t, 12, 16) {
				return (x+0.125*345*kPa)*k - 0.125*345*kPa
			}
			return x
		}, []string{"supply-sag begins", "supply-sag ends"}},
		{"noise against the start", HealthConfig{}, func(t, x float64) float64 {
			if between(t, 14, 18) {
				x *= 20
			}
			return plateau(t, 170*kPa) + x
		}, []string{"noisy begins", "noisy ends"}},
		{"noise against the profile", HealthConfig{Noise: 10}, func(t, x float64) float64 { return plateau(t, 170*kPa) + 2*x }, []string{"noisy begins"}},
		{"kPa where psi were", HealthConfig{}, func(t, x float64) float64 {
			v := plateau(t, 170*kPa) + x
			if between(t, 12, 15) {
				v *= decay.PSI / kPa
			}
			return v
		}, []string{"unit-jump begins", "unit-jump ends"}},
		{"psi where bar were", HealthConfig{}, func(t, x float64) float64 {
			v := plateau(t, 170*kPa) + x
			if between(t, 12, 15) {
				v *= 14.5
			}
			return v
		}, []string{"unit-jump begins", "unit-jump ends"}},
		{"ten times", HealthConfig{}, func(t, x float64) float64 {
			v := plateau(t, 170*kPa) + x
			if t > 12 {
				v *= 10
			}
			return v
		}, []string{"unit-jump begins"}},
		{"ten times, beyond full scale", HealthConfig{FullScale: 345 * kPa}, func(t, x float64) float64 {
			v := plateau(t, 100*kPa) + x
			if between(t, 12, 15) {
				v *= 10
			}
			return v
		}, []string{"unit-jump begins", "unit-jump ends"}},
		{"spikes", HealthConfig{}, func(t, x float64) float64 {
			v := plateau(t, 100*kPa) + x
			if math.Mod(t, 1) < 0.0005 {
				v += 80 * kPa * math.Sin(t)
			}
			return v
		}, nil},
		{"absolute, psi where kPa were, at rest", HealthConfig{Reads: abs}, func(t, x float64) float64 {
			if t > 3 {
				return (101*kPa + x) / 6.894757
			}
			return 101*kPa + x
		}, []string{"unit-jump begins"}},
		{"gauge sensor on an absolute profile", HealthConfig{Reads: abs}, func(t, x float64) float64 { return plateau(t, 170*kPa) + x }, []string{"gauge-or-absolute begins"}},
		{"absolute sensor on a gauge profile", HealthConfig{}, func(t, x float64) float64 { return 100*kPa + plateau(t, 170*kPa) + x }, []string{"gauge-or-absolute begins"}},
		{"gauge sensor, duct under pressure at the start", HealthConfig{}, func(t, x float64) float64 {
			return 100*kPa - plateau(t, 100*kPa) + x
		}, []string{"gauge-or-absolute begins", "gauge-or-absolute ends"}},
		{"absolute sensor", HealthConfig{Reads: abs}, func(t, x float64) float64 { return 99*kPa + plateau(t, 170*kPa) + x }, nil},
		{"a bleed for half a second", HealthConfig{FullScale: 345 * kPa}, func(t, x float64) float64 {
			return plateau(t, 170*kPa) - 20*kPa*math.Min(1, math.Max(0, (t-12)/0.5)) + x
		}, nil},
	}
	for _, c := range cases {
		t.Run(c.name, func(t *testing.T) {
			c.cfg.Name = "p"
			for _, rate := range []float64{50, 1000} {
				got, faults := story{cfg: c.cfg, rate: rate, noise: 60, grain: 20, for_: 20 * time.Second, value: c.value}.run()
				if !slices.Equal(got, c.want) {
					t.Errorf("at %g/s: %q, want %q\n%+v", rate, got, c.want, faults)
				}
				for _, f := range faults {
					if f.Text == "" || f.Hint == "" || f.Name() == f.Code {
						t.Errorf("%+v has no text, hint or name", f)
					}
				}
			}
		})
	}
}

// A converter that is coarser than the noise stands still by itself.
func TestCoarseConverterIsNotStuck(t *testing.T) {
	for _, grain := range []float64{150, 300, 1350} {
		got, _ := story{rate: 50, noise: 60, grain: grain, for_: 3 * time.Minute, value: func(t, x float64) float64 {
			return plateau(t, 170e3) + x
		}}.run()
		if len(got) > 0 {
			t.Errorf("steps of %g Pa: %q", grain, got)
		}
	}
}

func TestHealthSaysNoiseAndResolution(t *testing.T) {
	h := NewHealth(HealthConfig{})
	rng := rand.New(rand.NewPCG(1, 2))
	var sum float64
	for i := range 20 * blockLen {
		h.Add(time.Duration(i)*20*time.Millisecond, decay.Gauge(math.Round(100*rng.NormFloat64()/5)*5).Absolute(decay.DefaultAmbient))
		if i%blockLen == blockLen-1 {
			sum += h.Noise() / 20
		}
	}
	if math.Abs(sum-100) > 10 || math.Abs(h.Resolution()-5) > 1e-6 {
		t.Errorf("noise %g Pa, want 100; steps of %g Pa, want 5", sum, h.Resolution())
	}
}

func BenchmarkHealth(b *testing.B) {
	h := NewHealth(HealthConfig{FullScale: 345e3})
	rng := rand.New(rand.NewPCG(1, 2))
	var v [1024]decay.Pressure
	for i := range v {
		v[i] = decay.Pressure(270e3 + 60*rng.NormFloat64())
	}
	for i := 0; b.Loop(); i++ {
		h.Add(time.Duration(i)*time.Millisecond, v[i%1024])
	}
}
