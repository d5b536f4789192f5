//go:build linux

package sensor

import (
	"context"
	"errors"
	"fmt"
	"io/fs"
	"math"
	"os"
	"path/filepath"
	"strings"
	"sync"
	"testing"
	"time"

	"github.com/creack/pty"

	"ebbline/decay"
)

// bench is a board at the other end of a pseudo-terminal, under a name that
// outlives it, as /dev/serial/by-id names do.
type bench struct {
	t             *testing.T
	name          string
	master, slave *os.File
}

func newBench(t *testing.T) *bench {
	b := &bench{t: t, name: filepath.Join(t.TempDir(), "board")}
	b.plug()
	t.Cleanup(func() { b.master.Close(); b.slave.Close() })
	return b
}

func (b *bench) plug() {
	b.t.Helper()
	var err error
	if b.master, b.slave, err = pty.Open(); err != nil {
		b.t.Fatal("no pseudo-terminals here:", err)
	}
	if err := os.Symlink(b.slave.Name(), b.name); err != nil {
		b.t.Fatal(err)
	}
}

func (b *bench) unplug() {
	os.Remove(b.name)
	b.slave.Close()
	b.master.Close()
}

func (b *bench) send(s string) {
	b.t.Helper()
	if _, err := b.master.WriteString(s); err != nil {
		b.t.Fatal(err)
	}
}

func open(t *testing.T, opt PortOptions) Source {
	t.Helper()
	s, err := Open(opt)
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { s.Close() })
	return s
}

func next(t *testing.T, s Source) Item {
	t.Helper()
	ctx, cancel := context.WithTimeout(context.Background(), 10*time.Second)
	defer cancel()
	it, err := s.Next(ctx)
	if err != nil {
		t.Fatal(err)
	}
	return it
}

// fault skips readings up to a fault, which has to have the code.
func fault(t *testing.T, s Source, code string) Fault {
	t.Helper()
	for {
		if it := next(t, s); it.Fault != nil {
			if it.Fault.Code != code || it.Fault.Text == "" || it.Fault.Hint == "" {
				t.Fatalf("fault %+v, want %s with a text and a hint", *it.Fault, code)
			}
			return *it.Fault
		}
	}
}

func TestPortReadsLinesAndTapsBytes(t *testing.T) {
	b := newBench(t)
	var mu sync.Mutex
	var tapped strings.Builder
	s := open(t, PortOptions{Name: b.name, Tap: func(_ time.Duration, d []byte) { mu.Lock(); tapped.Write(d); mu.Unlock() }})
	const sent = "ready v2\r\n\x80\xff\r\n10.0 psi\r\n20."
	b.send(sent)
	b.send("5 psi\r\n")
	for _, want := range []float64{10, 20.5} {
		it := next(t, s)
		if it.Fault != nil {
			t.Fatalf("garbage before the first reading is a fault: %+v", *it.Fault)
		}
		if g := float64(it.P.Gauge(decay.DefaultAmbient)) / decay.PSI; math.Abs(g-want) > 1e-9 {
			t.Errorf("read %v psi gauge, want %v", g, want)
		}
	}
	b.send("what?\n")
	fault(t, s, "bad-line")
	mu.Lock()
	defer mu.Unlock()
	if got := tapped.String(); got != sent+"5 psi\r\nwhat?\n" {
		t.Errorf("tapped %q", got)
	}
}

func TestPortSilent(t *testing.T) {
	s := open(t, PortOptions{Name: newBench(t).name})
	f := fault(t, s, "silent")
	if f.At < silentAfter || f.At > silentAfter+time.Second {
		t.Errorf("silence was told at %v", f.At)
	}
}

func TestPortUnplugAndReplug(t *testing.T) {
	b := newBench(t)
	s := open(t, PortOptions{Name: b.name})
	b.send("\n1 psi\n")
	before := next(t, s)
	b.unplug()
	fault(t, s, "unplugged")
	b.plug()
	if f := fault(t, s, "unplugged"); f.State != Ends {
		t.Errorf("back again, but %+v", f)
	}
	fault(t, s, "replugged")
	b.send("\n2 psi\n")
	if after := next(t, s); after.Fault != nil || after.At <= before.At {
		t.Errorf("after the replug came %+v", after)
	}
}

func TestPortCloseWhileReading(t *testing.T) {
	s := open(t, PortOptions{Name: newBench(t).name})
	got := make(chan error)
	go func() { _, err := s.Next(context.Background()); got <- err }()
	s.Close()
	s.Close()
	if err := <-got; !errors.Is(err, ErrClosed) {
		t.Errorf("Next ended with %v", err)
	}
}

func TestOpenMissingPort(t *testing.T) {
	name := filepath.Join(t.TempDir(), "none")
	_, err := Open(PortOptions{Name: name})
	var oe *OpenError
	if !errors.As(err, &oe) || !errors.Is(err, fs.ErrNotExist) || oe.Hint == "" || !strings.Contains(err.Error(), name) {
		t.Errorf("error is %#v", err)
	}
}

// lines feeds a reader one line a call, at its time of arrival.
func feedAll(l *lineReader, every time.Duration, lines ...string) (items []Item) {
	for i, s := range lines {
		items = append(items, l.feed(time.Duration(i)*every, []byte(s+"\n"))...)
	}
	return items
}

func TestUnitOnTheLineWins(t *testing.T) {
	l := newLineReader(PortOptions{Name: "p", Unit: "psi", Ambient: decay.DefaultAmbient}, "psi")
	items := feedAll(l, time.Second, "100 kPa")
	if len(items) != 1 || math.Abs(float64(items[0].P)-(decay.Atmosphere+1e5)) > 1e-6 {
		t.Errorf("a line that says kPa was read as %+v", items)
	}
}

func TestAssumedUnitIsSaid(t *testing.T) {
	l := newLineReader(PortOptions{Name: "p", Ambient: decay.DefaultAmbient}, "psi")
	feedAll(l, time.Second, "10.5")
	if d := l.detail(); !strings.Contains(d, "psi was assumed") || !strings.Contains(d, "gauge was assumed") {
		t.Errorf("about says %q", d)
	}
	feedAll(l, time.Second, "10.5 psi abs")
	if d := l.detail(); strings.Contains(d, "assumed") {
		t.Errorf("of a line that says both, about says %q", d)
	}
	l = newLineReader(PortOptions{Name: "p", Unit: "psi", Stated: true, Ambient: decay.DefaultAmbient}, "psi")
	feedAll(l, time.Second, "10.5")
	if d := l.detail(); strings.Contains(d, "assumed") {
		t.Errorf("of what was stated, about says %q", d)
	}
}

func TestBoardReset(t *testing.T) {
	l := newLineReader(PortOptions{Name: "p", Ambient: decay.DefaultAmbient}, "psi")
	var lines []string
	for i := range 10 {
		lines = append(lines, fmt.Sprintf("t=%.1f p=10 psi", 50+float64(i)/10))
	}
	for i := range 10 {
		lines = append(lines, fmt.Sprintf("t=%.1f p=10 psi", float64(i)/10))
	}
	resets, last := 0, time.Duration(-1)
	for _, it := range feedAll(l, 100*time.Millisecond, lines...) {
		if it.Fault != nil {
			if it.Fault.Code != "board-reset" {
				t.Errorf("fault %+v", *it.Fault)
			}
			resets++
			continue
		}
		if it.At < last {
			t.Errorf("time went back from %v to %v", last, it.At)
		}
		last = it.At
	}
	if resets != 1 || last < 1700*time.Millisecond {
		t.Errorf("%d resets told, last stamp %v", resets, last)
	}
}

// A board whose clock cannot be its clock is complained of now and then, not
// at every line.
func TestAbsurdClockDoesNotFlood(t *testing.T) {
	l := newLineReader(PortOptions{Name: "p", Ambient: decay.DefaultAmbient}, "psi")
	var lines []string
	for i := range 300 {
		lines = append(lines, fmt.Sprintf("t=%d p=10 psi", i*100))
	}
	faults := 0
	for _, it := range feedAll(l, 10*time.Millisecond, lines...) {
		if it.Fault != nil {
			faults++
		}
	}
	if faults != 1 {
		t.Errorf("%d faults in 3 s", faults)
	}
}

func BenchmarkLines(b *testing.B) {
	l := newLineReader(PortOptions{Name: "p", Ambient: decay.DefaultAmbient}, "psi")
	for i := 0; b.Loop(); i++ {
		l.feed(time.Duration(i)*time.Millisecond, fmt.Appendf(nil, "%d,24.531\r\n", i))
	}
}

// A line that was half sent when the port was opened is no reading.
func TestPortLeavesACutFirstLine(t *testing.T) {
	l := newLineReader(PortOptions{Name: "p", Ambient: decay.DefaultAmbient}, "psi")
	l.cut, l.cutUntil = CutFor, CutFor
	if items := l.feed(10*time.Millisecond, []byte("9.8\n29.8\n")); len(items) != 1 || items[0].Raw != "29.8" {
		t.Errorf("right after the opening: %+v", items)
	}
	l.restart(5 * time.Second)
	if items := l.feed(5*time.Second+CutFor, []byte("9.8\n29.8\n")); len(items) != 2 {
		t.Errorf("after a pause, in which a board started: %+v", items)
	}
}
