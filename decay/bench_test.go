package decay_test

import (
	"fmt"
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

// BenchmarkAnalyse is a full fit of a trace of some 10 000 readings; the bar is 20 ms.
func BenchmarkAnalyse(b *testing.B) {
	tr := benchTrace(130, 60)
	tr.Setup.Rigid = true
	b.ReportMetric(float64(len(tr.Samples)), "readings")
	for b.Loop() {
		decay.Analyse(tr.Setup, tr.Samples)
	}
}

// BenchmarkLiveAdd is the cost of a reading, thinning included.
func BenchmarkLiveAdd(b *testing.B) {
	l := decay.NewLive(decay.Setup{Volume: 0.010})
	i := 0
	b.ReportAllocs()
	for b.Loop() {
		i++
		l.Add(decay.Sample{At: time.Duration(i) * time.Millisecond, P: decay.Pressure(270e3 - float64(i%7))})
	}
}

// BenchmarkLiveLook is the cost of a look, five a second of a hold of a minute
// at 200 readings a second, refits included; the bar is 1 ms. The slowest look
// is reported too, each look of the hold at its best over the runs, so that it
// tells of the work and not of what else the machine did.
func BenchmarkLiveLook(b *testing.B) {
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
