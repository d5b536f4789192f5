package decay_test

import (
	"testing"
	"time"

	"ebbline/decay"
	"ebbline/decay/decaytest"
)

// benchTrace is the hold of a 1 mm hole in 10 L that the benchmarks use.
func benchTrace(rate, hold float64) decaytest.Trace {
	return decaytest.Make(decaytest.Rig{
		Volume: 0.010, Area: decaytest.HoleArea(1), Tau: 6, Supply: 172e3, IdleSeconds: 4,
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
// is reported too.
func BenchmarkLiveLook(b *testing.B) {
	tr := benchTrace(200, 60)
	whole := len(tr.Samples) - 200*8
	var l *decay.Live
	at := whole
	var slowest time.Duration
	b.ReportAllocs()
	for b.Loop() {
		if at >= whole {
			l, at = decay.NewLive(tr.Setup), 0
		}
		for _, s := range tr.Samples[at : at+40] {
			l.Add(s)
		}
		at += 40
		began := time.Now()
		l.Look()
		slowest = max(slowest, time.Since(began))
	}
	b.ReportMetric(float64(slowest.Nanoseconds()), "ns/slowest")
}
