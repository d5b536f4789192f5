//go:build linux

package endure

import (
	"encoding/json"
	"math"
	"os"
	"path/filepath"
	"strings"
	"syscall"
	"testing"
	"time"

	"ebbline/decay"
	"ebbline/sensor/rig"
)

// hole is the hole that measure finds in a file, mm.
func hole(t testing.TB, name string) (value, low, high float64) {
	t.Helper()
	out, _ := command(t, "measure", "--json", "--volume", "10L", name).Output() // its status is the verdict
	var r struct {
		Hole struct{ Value, Low, High float64 } `json:"hole_mm"`
	}
	if err := json.Unmarshal(out, &r); err != nil {
		t.Fatalf("measure %s: %v: %s", name, err, out)
	}
	return r.Hole.Value, r.Hole.Low, r.Hole.High
}

// leaking is a duct of 10 L with a hole of 1 mm, which is filled and isolated
// after a rest; it lasts for a minute.
func leaking(rest, fill time.Duration) level {
	const step = 10 * time.Millisecond
	r := rig.New(rig.Default())
	var kpa []float64
	for at := time.Duration(0); at < time.Minute; at += step {
		switch at {
		case rest:
			r.Fill()
		case rest + fill:
			r.Isolate()
		}
		kpa = append(kpa, float64(r.Pressure().Gauge(rig.Default().Ambient))/decay.Kilopascal)
		r.Advance(step)
	}
	return func(at time.Duration) float64 { return kpa[min(int(at/step), len(kpa)-1)] }
}

// A program that was stopped in mid-hold (SIGSTOP, a laptop's lid) finds the
// lines of that time waiting, all at once or with a part of them lost. That is
// no fall of the pressure: the hole is the true one.
func TestFaultsStopped(t *testing.T) {
	t.Parallel() // most of it is waiting
	stopped := amount(4*time.Second, 20*time.Second)
	type way struct {
		form             string
		clockless, loses bool
	}
	ways := []way{{"plain", false, false}, {"plain", true, false}, {"screen", false, true}, {"plain", true, true}}
	if *full {
		ways = append(ways, way{"json", true, true}, way{"screen", true, false}, way{"screen", true, true}, way{"plain", false, true})
	}
	atOnce(t, 4, len(ways), func(t *testing.T, i int) {
		w := ways[i]
		const want = 1.0 // mm, as the rig has it
		book := t.TempDir()
		b := newBoard(t, hzOfFaults, leaking(1500*time.Millisecond, 2500*time.Millisecond), func(b *board) { b.clockless = w.clockless })
		l := startHold(t, w.form, b.name, book)
		time.Sleep(7 * time.Second)
		send := func(s syscall.Signal) {
			if err := l.cmd.Process.Signal(s); err != nil {
				t.Error(err)
			}
		}
		send(syscall.SIGSTOP)
		for waits := b.sent.Load() + hzOfFaults; b.sent.Load() < waits; { // what the system keeps
			time.Sleep(10 * time.Millisecond)
		}
		b.loses.Store(w.loses)
		time.Sleep(stopped * 3 / 4)
		b.loses.Store(false)
		send(syscall.SIGCONT)
		time.Sleep(5 * time.Second)
		status, said := l.leave()
		if status < 0 || status == 2 {
			t.Errorf("status %d:\n%s", status, said)
		}
		names, _ := filepath.Glob(filepath.Join(book, "*.ebbline"))
		if len(names) != 1 {
			t.Fatalf("%d records", len(names))
		}
		got, low, high := hole(t, names[0])
		t.Logf("%+v: %.3f mm (%.3f to %.3f), in truth %.3f mm", w, got, low, high, want)
		most := 0.1
		if w.loses { // what is left tells less
			most = 0.25
		}
		if math.Abs(got/want-1) > most || low > want || high < want {
			t.Errorf("%+v: %.3f mm (%.3f to %.3f), in truth %.3f mm:\n%s", w, got, low, high, want, said)
		}
		// Without a clock nothing tells at once how much was lost, and the phase
		// may be taken wrongly; the result is not.
		if strings.Contains(said, "release") && !(w.clockless && w.loses) {
			t.Errorf("%+v: taken for a release:\n%s", w, said)
		}
		if said := checkBook(t, book); !strings.Contains(said, "1 of 1 whole") {
			t.Errorf("book check: %s", said)
		}
	})
}

// Every way in which a test is told to end keeps it whole: the terminal closed,
// the program told to end, the reader of its output gone. Ctrl+Z ends nothing:
// a duct under pressure stays watched.
func TestFaultsToldToEnd(t *testing.T) {
	t.Parallel() // most of it is waiting
	ways := []struct {
		form string
		end  func(l *live)
	}{
		{"screen", func(l *live) { l.x.master.Close() }},
		{"screen", func(l *live) { _ = l.cmd.Process.Signal(syscall.SIGHUP) }},
		{"screen", func(l *live) { _ = l.cmd.Process.Signal(syscall.SIGTERM) }},
		{"screen", func(l *live) { l.x.press("\x03") }},
		{"screen", func(l *live) { l.x.press("\x1a"); time.Sleep(time.Second); l.x.press("q") }},
		{"plain", func(l *live) { _ = l.cmd.Process.Signal(syscall.SIGHUP) }},
		{"json", func(l *live) { _ = l.cmd.Process.Signal(syscall.SIGTERM) }},
		{"plain", func(l *live) { _ = l.cmd.Process.Signal(syscall.SIGINT) }},
	}
	atOnce(t, 4, len(ways), func(t *testing.T, i int) {
		b, book := newBoard(t, hzOfFaults, holding(time.Second, 60)), t.TempDir()
		l := startHold(t, ways[i].form, b.name, book)
		time.Sleep(5 * time.Second)
		ways[i].end(l)
		status, said := l.ended(15 * time.Second)
		if status < 0 || status == 2 {
			t.Errorf("way %d: status %d:\n%s", i, status, said)
		}
		wholeBook(t, book, b, l)
	})
}

// A reader of the output that has gone (hold | head) ends the test in order.
func TestFaultsOutputClosed(t *testing.T) {
	t.Parallel() // most of it is waiting
	b, book := newBoard(t, hzOfFaults, holding(time.Second, 60)), t.TempDir()
	r, w, err := os.Pipe()
	if err != nil {
		t.Fatal(err)
	}
	cmd := command(t, "hold", "--plain", "--port", b.name, "--volume", "10L", "--book", book)
	cmd.Stdout = w
	if err := cmd.Start(); err != nil {
		t.Fatal(err)
	}
	w.Close()
	l := &live{t: t, cmd: cmd, out: &output{}, end: make(chan error, 1)}
	go func() { l.end <- cmd.Wait() }()
	t.Cleanup(func() { _ = cmd.Process.Kill() })
	time.Sleep(4 * time.Second)
	r.Close()
	if status, _ := l.ended(10 * time.Second); status < 0 {
		t.Errorf("status %d", status)
	}
	wholeBook(t, book, b, l)
}
