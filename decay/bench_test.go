package decay_test

import (
	"fmt"
	"math"
	"math/rand/v2"
	"slices"
	"testing"
	"time"

	"ebbline/decay"
	"ebbline/decay/decaytest"
)

// benchTrace is the hold of a 1 mm hole in 10 L that the benchmarks use.
func benchTrace(rate, hold float64) decaytest.Trace { return holed(1, rate, hold) }

func holed(mm, rate, hold float64) decaytest.Trace {
	return decaytest.Make(decaytest.Rig{
		Volume: 0.010, Area: decaytest.HoleArea(mm), Tau: 6, Supply: 172e3, IdleSeconds: 4,
		FillSeconds: 8, HoldSeconds: hold, ReleaseSeconds: 5, Rate: rate, Noise: 60, Seed: 1,
	})
}

// BenchmarkBudgetFit is a full fit of a trace of some 10 000 readings; the bar is 20 ms.
func BenchmarkBudgetFit(b *testing.B) {
	tr := benchTrace(130, 60)
	tr.Setup.Rigid = true
	b.ReportAllocs()
	for b.Loop() {
		decay.Analyse(tr.Setup, tr.Samples)
	}
	b.ReportMetric(float64(len(tr.Samples)), "readings")
}

// BenchmarkBudgetLook is the cost of a look, five a second of a hold of a minute
// at 200 readings a second, refits included; the bar is 1 ms. The slowest look
// is reported too, each look of the hold at its best over the runs, so that it
// tells of the work and not of what else the machine did.
func BenchmarkBudgetLook(b *testing.B) {
	for _, hole := range []float64{1, 4} {
		b.Run(fmt.Sprintf("%gmm", hole), func(b *testing.B) {
			tr := holed(hole, 200, 60)
			whole := len(tr.Samples) - 200*8
			best := make([]time.Duration, whole/40+1)
			var l *decay.Live
			at := whole
			b.ReportAllocs()
			for b.Loop() {
				if at >= whole {
					l, at = decay.NewLive(tr.Setup), 0
				}
				for _, s := range tr.Samples[at : at+40] {
					l.Add(s)
				}
				began := time.Now()
				l.Look()
				if took := time.Since(began); best[at/40] == 0 || took < best[at/40] {
					best[at/40] = took
				}
				at += 40
			}
			b.ReportMetric(float64(slices.Max(best).Nanoseconds()), "ns/slowest")
		})
	}
}

// longHold is a live estimate of a hold at 1 kHz that may last for days.
type longHold struct {
	*decay.Live
	random *rand.Rand
	n      int // readings, one a millisecond
}

func newLongHold() *longHold {
	return &longHold{decay.NewLive(decay.Setup{Volume: 10 * decay.Litre}), rand.New(rand.NewPCG(1, 2)), 0}
}

// add gives it n readings: 5 s at rest, 2 s of fill, and a hold whose cooling
// of 5 % shows when the valve was shut.
func (l *longHold) add(n int) {
	for range n {
		p, t := 0.0, float64(l.n)/1000-7
		switch {
		case t > 0:
			p = 150e3 * (0.95 + 0.05*math.Exp(-t/6)) * math.Exp(-t/100e3)
		case t > -2:
			p = 75e3 * (t + 2)
		}
		l.Add(decay.Sample{At: time.Duration(l.n) * time.Millisecond, P: decay.Gauge(p + 60*l.random.NormFloat64()).Absolute(decay.DefaultAmbient)})
		l.n++
	}
}

// until goes on to a length of the whole test, looking once a minute.
func (l *longHold) until(length time.Duration) *longHold {
	for l.n < int(length.Milliseconds()) {
		l.add(min(60_000, int(length.Milliseconds())-l.n))
		l.Look()
	}
	for range 20 { // the first round of fits takes several looks
		l.Look()
	}
	return l
}

// BenchmarkBudgetUpdate is what 200 ms of a hold at 1 kHz cost, 200 readings and
// a look, when it has lasted so long; the bar is 1 ms at any length.
func BenchmarkBudgetUpdate(b *testing.B) {
	day := newLongHold() // so long to make that all counts share it
	for _, c := range []struct {
		name   string
		length time.Duration
	}{{"1min", time.Minute}, {"1h", time.Hour}, {"24h", 24 * time.Hour}} {
		b.Run(c.name, func(b *testing.B) {
			l := day
			if c.length < 24*time.Hour {
				l = newLongHold()
			}
			l.until(c.length)
			if _, _, r := l.Look(); !r.HasFit {
				b.Fatal("no fit: ", r.Outcome)
			}
			b.ReportAllocs()
			var looks time.Duration
			for b.Loop() {
				if l.n > int(c.length.Milliseconds())*5/4 { // it would no longer be so long
					b.StopTimer()
					l = newLongHold().until(c.length)
					b.StartTimer()
				}
				l.add(200)
				began := time.Now()
				l.Look()
				looks += time.Since(began)
			}
			b.ReportMetric(float64(looks.Nanoseconds())/float64(b.N), "ns/look")
		})
	}
}
