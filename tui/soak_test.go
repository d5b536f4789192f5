//go:build unix

package tui

import (
	"flag"
	"math"
	"math/rand/v2"
	"runtime"
	"slices"
	"testing"
	"time"

	"ebbline/decay"
	"ebbline/sensor"
)

var full = flag.Bool("full", false, "soak for 24 simulated hours and not for a slice of them")

// A day of one hold at 1 kHz in simulated time, through all that a live screen
// does but the terminal itself: memory and goroutines stay as they are, and so
// do the costs of a reading, of a look and of a frame.
func TestSoakOfADay(t *testing.T) {
	marks := []time.Duration{time.Minute, 10 * time.Minute, 20 * time.Minute}
	switch {
	case testing.Short(): // as the race detector is run: nothing in it could race
		marks = []time.Duration{time.Minute, 3 * time.Minute, 4 * time.Minute}
	case *full:
		marks = []time.Duration{time.Minute, 10 * time.Minute, time.Hour, 6 * time.Hour, 24 * time.Hour}
	}
	h := newHose()
	m := newModel(Options{Source: h, Setup: decay.Setup{Volume: 10 * decay.Litre}}, newTerminal(nil))
	m.pump = sensor.NewPump(h, nil)
	defer m.pump.Stop()
	m.w, m.h = 100, 30

	const rest, perTick = 5.0, int(tickEvery / time.Millisecond)
	random := rand.New(rand.NewPCG(1, 2))
	began := time.Date(2026, 1, 1, 0, 0, 0, 0, time.UTC)
	n := 0
	take := func(now time.Time) {
		for range perTick {
			s := float64(n) / 1000
			p, held := 0.0, s-rest-2
			switch {
			case held > 0: // a cooling of 5 % shows when the valve was shut
				p = 150e3 * (0.95 + 0.05*math.Exp(-held/6)) * math.Exp(-held/100e3)
			case s > rest:
				p = 75e3 * (s - rest)
			}
			at := time.Duration(n) * time.Millisecond
			m.take(sensor.Item{Reading: sensor.Reading{Sample: decay.Sample{At: at, P: decay.Gauge(p + 60*random.NormFloat64()).Absolute(decay.DefaultAmbient)}}}, now)
			n++
		}
	}
	// Of the last minute before a mark: what a tenth of them stay below, so that
	// other processes do not count.
	readings, looks, frames := make([]time.Duration, 0, 1500), make([]time.Duration, 0, 300), make([]time.Duration, 0, 60)
	tenth := func(d []time.Duration) time.Duration {
		slices.Sort(d)
		return d[len(d)/10]
	}
	type figures struct {
		heap                 int64
		goroutines           int
		reading, look, frame time.Duration
	}
	var first figures
	for i, mark := range marks {
		readings, looks, frames = readings[:0], looks[:0], frames[:0]
		for tick := time.Duration(n) * time.Millisecond; tick < mark; tick += tickEvery {
			now := began.Add(tick)
			a := time.Now()
			take(now)
			b := time.Now()
			looked := m.looked
			m.tick(now)
			c := time.Now()
			late := mark-tick <= time.Minute
			if late {
				readings = append(readings, b.Sub(a))
			}
			if late && m.looked != looked {
				looks = append(looks, c.Sub(b))
			}
			if tick%time.Second == 0 {
				m.View()
				if late {
					frames = append(frames, time.Since(c))
				}
			}
		}
		if m.s.st.Phase != decay.PhaseHold && m.s.st.Phase != decay.PhaseSettle || !m.s.st.Result.HasFit {
			t.Fatalf("after %v: phase %v, outcome %v", mark, m.s.st.Phase, m.s.st.Result.Outcome)
		}
		runtime.GC()
		var ms runtime.MemStats
		runtime.ReadMemStats(&ms)
		f := figures{int64(ms.HeapAlloc), runtime.NumGoroutine(), tenth(readings) / time.Duration(perTick), tenth(looks), tenth(frames)}
		t.Logf("%8v: %d kB of heap, %d goroutines, %v a reading, %v a tick with a look, %v a frame", mark, f.heap>>10, f.goroutines, f.reading, f.look, f.frame)
		switch {
		case i == 0:
			first = f
			continue
		case i == 1:
			first.heap = f.heap // in the first minutes the history takes the room that it then keeps
		case f.heap > first.heap+64<<10:
			t.Errorf("after %v the heap is %d kB, after %v it was %d", mark, f.heap>>10, marks[1], first.heap>>10)
		}
		if f.goroutines > first.goroutines {
			t.Errorf("after %v there are %d goroutines, after %v there were %d", mark, f.goroutines, marks[0], first.goroutines)
		}
		// A look costs by the cells of the history, which are thinned again and again.
		if *full && (f.reading > 2*first.reading || f.look > time.Millisecond || f.frame > 2*first.frame) {
			t.Errorf("after %v a look costs more than 1 ms, or the others more than twice what they did after %v", mark, marks[0])
		}
	}
	if got := m.s.st.Result.Samples; n-got > 1000 {
		t.Errorf("%d readings of %d in the estimate", got, n)
	}
}
