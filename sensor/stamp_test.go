package sensor

import (
	"fmt"
	"math"
	"math/rand/v2"
	"testing"
	"time"

	"pgregory.net/rapid"
)

// wire sends lines at a rate and passes them on in lumps. It gives each batch
// to do, with the true times of its lines.
func lump(rate float64, every time.Duration, length, jitter float64, seed uint64, keep func(i int) bool, do func(at time.Duration, taken []float64)) {
	rng := rand.New(rand.NewPCG(seed, 1))
	phase := rng.Float64() / rate
	i := 0
	step := every.Seconds()
	for b := 1; float64(b)*step < length; b++ {
		now := float64(b) * step
		var taken []float64
		for ; phase+float64(i)/rate <= now; i++ {
			if keep == nil || keep(i) {
				taken = append(taken, phase+float64(i)/rate)
			}
		}
		if len(taken) > 0 {
			do(time.Duration((now+jitter*rng.ExpFloat64())*1e9), taken)
		}
	}
}

// stampError is the standard deviation of stamp less truth after a time, which
// a constant delay does not enter, and the largest deviation.
func stampError(s *Stamper, rate float64, every time.Duration, length, after, jitter float64, keep func(int) bool) (rms, worst float64) {
	var errs []float64
	lump(rate, every, length, jitter, 7, keep, func(at time.Duration, taken []float64) {
		st := s.Batch(at, make([]Slot, len(taken)))
		for i, x := range taken {
			if x > after {
				errs = append(errs, st[i].At.Seconds()-x)
			}
		}
	})
	mean := 0.0
	for _, e := range errs {
		mean += e / float64(len(errs))
	}
	for _, e := range errs {
		rms += (e - mean) * (e - mean) / float64(len(errs))
		worst = math.Max(worst, math.Abs(e-mean))
	}
	return math.Sqrt(rms), worst
}

// The error of a stamp stays a small part of the batch that would else be it.
func TestBatchedLinesAreSpread(t *testing.T) {
	for _, every := range []time.Duration{16 * time.Millisecond, 50 * time.Millisecond, 125 * time.Millisecond, 250 * time.Millisecond} {
		for _, rate := range []float64{10, 50, 100, 500, 1000} {
			var s Stamper
			rms, worst := stampError(&s, rate, every, 60, 5, 0.5e-3, nil)
			t.Logf("%5.0f Hz in lumps of %3d ms: rms %6.3f ms, worst %6.3f ms, rate %.3f", rate, every.Milliseconds(), 1e3*rms, 1e3*worst, s.Rate())
			if limit := 0.05*math.Max(every.Seconds(), 1/rate) + 0.3e-3; rms > limit {
				t.Errorf("%g Hz in lumps of %v: rms error %.3g ms", rate, every, 1e3*rms)
			}
			if math.Abs(s.Rate()/rate-1) > 1e-3 {
				t.Errorf("%g Hz in lumps of %v: rate found %g", rate, every, s.Rate())
			}
			if s.Missing() != 0 {
				t.Errorf("%g Hz in lumps of %v: %d lines are said to be missing", rate, every, s.Missing())
			}
		}
	}
}

// Lines that get lost shift the count, and it is put right.
func TestLostLinesAreNoticed(t *testing.T) {
	var s Stamper
	const rate = 50
	rms, worst := stampError(&s, rate, 16*time.Millisecond, 60, 25, 0.5e-3, func(i int) bool { return i < 1000 || i >= 1007 })
	if s.Missing() != 7 || rms > 2e-3 {
		t.Errorf("%d lines missing, want 7; later rms error %.3g ms, worst %.3g ms", s.Missing(), 1e3*rms, 1e3*worst)
	}
}

// After a silence the stamps start from the present, whatever was lost.
func TestStampsAfterSilence(t *testing.T) {
	var s Stamper
	rms, _ := stampError(&s, 100, 50*time.Millisecond, 60, 33, 0, func(i int) bool { return i < 2000 || i > 3000 })
	if rms > 3e-3 {
		t.Errorf("rms error %.3g ms", 1e3*rms)
	}
	if got := s.last.Seconds(); math.Abs(got-60) > 0.1 {
		t.Errorf("the last stamp is %g s, 60 s after the start", got)
	}
}

// A board that prints when it likes is stamped by arrival.
func TestIrregularLinesAreStampedByArrival(t *testing.T) {
	var s Stamper
	rng := rand.New(rand.NewPCG(3, 3))
	at := time.Duration(0)
	for range 3000 {
		at += time.Duration(rng.ExpFloat64() * 0.2e9)
		st := s.Batch(at, make([]Slot, 1))[0]
		if d := (at - st.At).Seconds(); math.Abs(d) > 3.2 {
			t.Fatalf("at %v: stamped %.2f s off", at, d)
		}
	}
}

// Whatever arrives, stamps increase, and are not absurdly far from arrival.
func TestStampsIncrease(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		var s Stamper
		at, last := time.Duration(0), time.Duration(-1)
		board := 0.0
		for range rapid.IntRange(1, 200).Draw(t, "batches") {
			at += time.Duration(rapid.Int64Range(0, 3e9).Draw(t, "gap") >> rapid.IntRange(0, 20).Draw(t, "finer"))
			lines := make([]Slot, rapid.IntRange(0, 9).Draw(t, "lines"))
			for i := range lines {
				if rapid.IntRange(0, 3).Draw(t, "timed") > 0 {
					board += rapid.Float64Range(-0.2, 1).Draw(t, "step")
					lines[i] = Slot{HasTime: true, Board: board}
				}
			}
			for _, st := range s.Batch(at, lines) {
				if st.At <= last {
					t.Fatalf("stamp %v after %v", st.At, last)
				}
				last = st.At
			}
			if len(s.line.blocks) > maxBlocks {
				t.Fatal("memory grows")
			}
		}
	})
}

// The board's clock is used as it is, however the lines arrive.
func TestBoardClockIsKept(t *testing.T) {
	for _, off := range []float64{0, 100e-6, -0.005} {
		t.Run(fmt.Sprint(off), func(t *testing.T) {
			var s Stamper
			var x, y []float64
			lump(50, 125*time.Millisecond, 300, 1e-3, 5, nil, func(at time.Duration, taken []float64) {
				slots := make([]Slot, len(taken))
				for i, x := range taken {
					slots[i] = Slot{HasTime: true, Board: 1000 + math.Round(x*(1+off)*1000)/1000}
				}
				for i, st := range s.Batch(at, slots) {
					if st.Reset {
						t.Fatal("a reset was seen")
					}
					x, y = append(x, taken[i]), append(y, st.At.Seconds())
				}
			})
			// Within any 30 s the stamps run straight: no more than a millisecond
			// off the chord, which is the clock's own step.
			worst := 0.0
			for i := 0; i+1500 < len(x); i += 500 {
				slope := (y[i+1500] - y[i]) / 30
				for j := i; j < i+1500; j++ {
					worst = math.Max(worst, math.Abs(y[j]-y[i]-slope*(x[j]-x[i])))
				}
			}
			end := math.Abs(y[len(y)-1] - y[0] - (x[len(x)-1] - x[0]))
			t.Logf("clock off by %g: worst bend in 30 s %.2f ms, off by %.0f ms after 300 s", off, 1e3*worst, 1e3*end)
			if worst > 2e-3+math.Abs(off) {
				t.Errorf("stamps bend by %.2f ms within 30 s", 1e3*worst)
			}
			if end > 0.01+110*math.Abs(off) {
				t.Errorf("after 300 s the stamps are off by %g s", end)
			}
			if math.Abs(s.Rate()-50) > 0.5 {
				t.Errorf("rate %g", s.Rate())
			}
		})
	}
}

// A clock of whole seconds is too coarse to be used.
func TestCoarseBoardClockIsNotUsed(t *testing.T) {
	var s Stamper
	var errs []float64
	lump(50, 16*time.Millisecond, 60, 0, 5, nil, func(at time.Duration, taken []float64) {
		slots := make([]Slot, len(taken))
		for i, x := range taken {
			slots[i] = Slot{HasTime: true, Board: math.Floor(x)}
		}
		for i, st := range s.Batch(at, slots) {
			if taken[i] > 10 {
				errs = append(errs, math.Abs(st.At.Seconds()-taken[i]))
			}
		}
	})
	for _, e := range errs {
		if e > 0.03 {
			t.Fatalf("a stamp is off by %g s", e)
		}
	}
}

func BenchmarkStamper(b *testing.B) {
	var s Stamper
	slots := make([]Slot, 5)
	for i := 0; b.Loop(); i++ {
		s.Batch(time.Duration(i)*5*time.Millisecond, slots)
	}
}

// What waited while nobody read (the program was stopped) comes all at once: its
// lines are of the time when they waited, with or without the board's clock, and
// also where the system had room for the first of them only.
func TestStamperBacklog(t *testing.T) {
	const period = 10 * time.Millisecond
	for _, c := range []struct {
		name    string
		clock   bool
		stopped time.Duration
		kept    int // lines of that time
	}{
		{"clock, all kept", true, 20 * time.Second, 2000},
		{"clock, some lost", true, 20 * time.Second, 300},
		{"no clock, all kept", false, 20 * time.Second, 2000},
		{"no clock, some lost", false, 20 * time.Second, 300},
		{"no clock, a moment kept", false, 4 * time.Second, 60},
	} {
		var s Stamper
		n := 0
		slot := func() Slot {
			n++
			return Slot{HasTime: c.clock, Board: (time.Duration(n) * period).Seconds()}
		}
		worst := time.Duration(0)
		batch := func(at time.Duration, lines []Slot) {
			for i, st := range s.Batch(at, lines) {
				truth := time.Duration(n-len(lines)+i+1) * period
				worst = max(worst, (st.At - truth).Abs())
				if st.Reset {
					t.Errorf("%s: taken for a reset of the board", c.name)
				}
			}
		}
		for range 500 {
			l := slot()
			batch(time.Duration(n)*period, []Slot{l})
		}
		var lines []Slot
		for range c.kept {
			lines = append(lines, slot())
		}
		back := 5*time.Second + c.stopped
		batch(back, lines)
		for n = int(back / period); n < int(back/period)+500; {
			l := slot()
			batch(time.Duration(n)*period, []Slot{l})
		}
		if worst > 100*time.Millisecond {
			t.Errorf("%s: a stamp is off by %v", c.name, worst)
		}
	}
}
