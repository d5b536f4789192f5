//go:build unix

package endure

import (
	"fmt"
	"io"
	"math"
	"os"
	"sync"
	"sync/atomic"
	"testing"
	"time"

	"github.com/creack/pty"
)

// board stands in for a transducer's board on a pseudo-terminal. It prints
// "N,PRESSURE kPa" lines, N being the number of milliseconds since it began.
type board struct {
	t      testing.TB
	master *os.File
	slave  *os.File
	name   string
	stop   chan struct{}
	done   chan struct{}
	once   sync.Once
	sent   atomic.Int64 // lines
	over   atomic.Bool  // let the pressure rise over the usual ceiling
	overAt atomic.Int64 // when the first line over it went out, ns since 1970
	loses  atomic.Bool  // lines are lost on the way, as where a buffer is full

	clockless bool          // the lines have no time
	ahead     time.Duration // its clock is, of the moment it began
}

// What passes the ceiling goes there and back as fast as air may, and no faster:
// a jump would be taken for a fault of the sensor.
const (
	usualCeiling = 30 * 6.894757 // kPa
	overCeiling  = 230           // kPa
	overRate     = 400           // kPa/s
)

// pass lets the pressure pass the usual ceiling and returns when the first line
// over it went out.
func (b *board) pass() time.Time {
	before := b.overAt.Load()
	b.over.Store(true)
	for end := time.Now().Add(10 * time.Second); time.Now().Before(end); time.Sleep(100 * time.Microsecond) {
		if at := b.overAt.Load(); at != before {
			return time.Unix(0, at)
		}
	}
	b.t.Error("the board never passed the ceiling")
	return time.Now()
}

// level is the pressure in kPa gauge that a board prints a time after it began.
type level func(at time.Duration) float64

// holding rests for rest, fills within two seconds to 150 kPa and leaks from
// then on with a time constant of tau.
func holding(rest time.Duration, tau float64) level {
	return func(at time.Duration) float64 {
		s := (at - rest).Seconds()
		switch {
		case s < 0:
			return 0
		case s < 2:
			return 75 * s
		default:
			return 150 * math.Exp(-(s-2)/tau)
		}
	}
}

// newBoard prints hz readings a second of level until the test ends. Lines due
// are written together when the machine was busy, as a serial driver does.
func newBoard(t testing.TB, hz int, p level, but ...func(*board)) *board {
	t.Helper()
	b := &board{t: t, stop: make(chan struct{}), done: make(chan struct{})}
	for _, set := range but {
		set(b)
	}
	var err error
	if b.master, b.slave, err = pty.Open(); err != nil {
		t.Fatal("no pseudo-terminal: ", err)
	}
	b.name = b.slave.Name()
	go b.print(hz, p)
	t.Cleanup(b.unplug)
	return b
}

func (b *board) print(hz int, p level) {
	defer close(b.done)
	tick := time.NewTicker(time.Second / time.Duration(min(hz, 200)))
	defer tick.Stop()
	var line []byte
	above, lift := false, 0.0
	for began, n := time.Now(), 0; ; {
		select {
		case <-b.stop:
			return
		case <-tick.C:
		}
		line = line[:0]
		first, over := false, b.over.Load()
		for due := int(time.Since(began).Seconds() * float64(hz)); n < due; n++ {
			at := time.Duration(n) * time.Second / time.Duration(hz)
			kpa := p(at) + 0.02*math.Sin(float64(n*n%7919)) // so that it is never taken for stuck
			if over {
				lift = min(lift+overRate/float64(hz), overCeiling-p(at))
			} else {
				lift = max(lift-overRate/float64(hz), 0)
			}
			kpa += lift
			first, above = first || kpa > usualCeiling && !above, kpa > usualCeiling
			b.sent.Add(1)
			if b.loses.Load() {
				continue
			}
			if !b.clockless {
				line = fmt.Appendf(line, "%d,", (at + b.ahead).Milliseconds())
			}
			line = fmt.Appendf(line, "%.3f kPa\n", kpa)
		}
		if first {
			b.overAt.Store(time.Now().UnixNano())
		}
		if _, err := b.master.Write(line); err != nil {
			return
		}
	}
}

// unplug takes the board away, as a pulled cable does.
func (b *board) unplug() {
	b.once.Do(func() {
		close(b.stop)
		select {
		case <-b.done:
		case <-time.After(time.Second): // nobody reads: its write waits for room
			go io.Copy(io.Discard, b.slave)
			<-b.done
		}
		b.master.Close()
		b.slave.Close()
	})
}
