package tui

import (
	"math"
	"math/rand/v2"
	"testing"

	"ebbline/decay"
)

// pinch is a hold of 10 L from 170 kPa gauge whose hole is d0 mm until at, and
// d1 after; it returns the trends told, with their times, and the meter.
func pinch(seed uint64, noise, d0, d1, at, until float64, spikes bool) (said []trend, when []float64, m *meter) {
	rng := rand.New(rand.NewPCG(seed, 1))
	m = &meter{pa: decay.Atmosphere}
	p := decay.Atmosphere + 170e3
	const dt = 0.02
	now := trendNone
	for i := 0; float64(i)*dt < until; i++ {
		t := float64(i) * dt
		d := d0
		if t >= at {
			d = d1
		}
		k := 0.62 * math.Pi / 4 * d * d * 1e-6 * math.Sqrt(decay.RAir*293.15) / 0.01
		p -= k * p * decay.Psi(decay.Atmosphere/p) * dt
		read := p - decay.Atmosphere + noise*rng.NormFloat64()
		if spikes && rng.IntN(40) == 0 {
			read += 20e3
		}
		m.add(t, read)
		if i%2 == 0 {
			m.look(t)
			if m.trend != now {
				now = m.trend
				said, when = append(said, now), append(when, t)
			}
		}
	}
	return said, when, m
}

// TestMeterTellsAPinchedLeakWithinTwoSeconds presses a joint and lets it go.
func TestMeterTellsAPinchedLeakWithinTwoSeconds(t *testing.T) {
	for seed := range uint64(24) {
		said, when, m := pinch(seed, 60, 1, 0.6, 10, 16, seed%2 == 0)
		if len(said) != 2 || said[1] != trendSmaller || when[1] < 10 || when[1] > 12 {
			t.Errorf("seed %d: said %v at %v", seed, said, when)
			continue
		}
		if f := m.level / m.was; math.Abs(f-0.36) > 0.08 {
			t.Errorf("seed %d: %.2f of the leak is left, want 0.36", seed, f)
		}
		said, when, _ = pinch(seed, 60, 0.6, 1, 10, 16, false)
		if len(said) != 2 || said[1] != trendLarger || when[1] < 10 || when[1] > 12 {
			t.Errorf("seed %d, let go: said %v at %v", seed, said, when)
		}
	}
}

// TestMeterStaysQuietWhenNothingChanges: a word that comes by chance would send
// people to the wrong joint. 24 minutes in all, from a choked leak to a slow one.
func TestMeterStaysQuietWhenNothingChanges(t *testing.T) {
	wrong := 0
	for seed := range uint64(24) {
		said, when, _ := pinch(seed, 60, []float64{0, 0.2, 0.5, 1}[seed%4], []float64{0, 0.2, 0.5, 1}[seed%4], 1000, 60, seed%3 == 0)
		if len(said) != 1 || said[0] != trendSame {
			wrong++
			t.Logf("seed %d: said %v at %v", seed, said, when)
		}
	}
	if wrong > 1 {
		t.Errorf("%d of 24 quiet minutes were disturbed", wrong)
	}
}

func TestMeterReadsTheRate(t *testing.T) {
	for _, d := range []float64{0.5, 1, 2} {
		_, _, m := pinch(3, 60, d, d, 100, 4, true)
		want := 0.62 * math.Pi / 4 * d * d * 1e-6 * math.Sqrt(decay.RAir*293.15) / 0.01
		if !m.known || math.Abs(m.k-want) > 5*m.sd || m.sd > 4e-4 {
			t.Errorf("%g mm: K %.5f ± %.5f, want %.5f", d, m.k, m.sd, want)
		}
	}
}

func TestMeterForgetsAcrossAGap(t *testing.T) {
	_, _, m := pinch(1, 60, 1, 1, 100, 4, false)
	m.add(9, 100e3)
	m.look(9)
	if m.known || m.trend != trendNone {
		t.Errorf("a rate across a gap of 5 s: %+v", m)
	}
	for i := range 100 {
		m.add(9.02+float64(i)*0.02, 100e3)
	}
	m.look(11.02)
	if !m.known || math.Abs(m.rate) > 100 {
		t.Errorf("after the gap: %v Pa/s", m.rate)
	}
	m.add(5, 1e5) // a clock that went back
	m.look(5)
	if m.known {
		t.Error("a clock that went back gives a rate")
	}
	m.add(5.1, math.NaN())
}

func BenchmarkMeterLook(b *testing.B) {
	_, _, m := pinch(1, 60, 1, 1, 100, 4, false)
	t := 4.0
	for b.Loop() {
		t += 0.02
		m.add(t, 100e3)
		m.look(t)
	}
}
