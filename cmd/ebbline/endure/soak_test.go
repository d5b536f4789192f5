//go:build linux

package endure

import (
	"bytes"
	"encoding/json"
	"errors"
	"fmt"
	"math"
	"os"
	"os/exec"
	"path/filepath"
	"strconv"
	"strings"
	"testing"
	"time"

	"ebbline/sensor/replay"
)

const (
	residentBar = 60_000 // kB
	// What the memory may grow by in eight hours, kB: as much as Go's heap swings
	// by between two collections when it is small (4 MB), so that a test of an
	// hour can tell a leak from that.
	growthBar = 4_000
)

// A real hour at 200 readings a second on a large screen: memory and
// descriptors do not grow, and every line is in the capture.
func TestSoak(t *testing.T) {
	t.Parallel()
	const hz, hold = 200, 20 * time.Minute
	long, each := amount(15*time.Second, time.Hour), amount(time.Second, 10*time.Second)
	warm := long / 12 // until buffers, trace and history have their size
	b, book := newBoard(t, hz, again(holding(3*time.Second, 7200), hold)), t.TempDir()
	x := inTerminal(t, command(t, "hold", "--yes", "--port", b.name, "--volume", "10L", "--book", book), look{cols: 200, rows: 60})
	x.wait("ceiling 30.00 psi gauge", 30*time.Second)

	var hours, resident []float64
	began, first := time.Now(), resourcesOf(t, x.cmd.Process.Pid)
	framesBefore, bytesBefore := x.output()
	r, most := first, first
	for next := began.Add(each); time.Since(began) < long; next = next.Add(each) {
		time.Sleep(time.Until(next))
		r = resourcesOf(t, x.cmd.Process.Pid)
		at := time.Since(began)
		if at < warm {
			first = r
		} else {
			hours, resident = append(hours, at.Hours()), append(resident, float64(r.resident))
		}
		most.resident, most.files, most.threads = max(most.resident, r.resident), max(most.files, r.files), max(most.threads, r.threads)
		t.Logf("%6.0f s: %d kB, %d descriptors, %d threads, %.2f s of a core, %d lines sent", at.Seconds(), r.resident, r.files, r.threads, r.cpu.Seconds(), b.sent.Load())
	}
	took := time.Since(began)
	frames, written := x.output()
	t.Logf("memory %d kB at the end, %d at most; descriptors %d then %d; threads %d then %d",
		r.resident, most.resident, first.files, r.files, first.threads, r.threads)
	t.Logf("%.1f %% of a core; %.1f frames and %.0f bytes a second to the terminal", 100*r.cpu.Seconds()/took.Seconds(),
		float64(frames-framesBefore)/took.Seconds(), float64(written-bytesBefore)/took.Seconds())
	if most.resident > residentBar {
		t.Errorf("%d kB resident, the bar is %d", most.resident, residentBar)
	}
	if most.files > first.files {
		t.Errorf("descriptors grew from %d to %d", first.files, most.files)
	}
	if *full { // a slice is all warming up
		slope, doubt := line(hours, resident)
		t.Logf("memory grows by %.0f ± %.0f kB an hour", slope, doubt)
		if 8*slope > growthBar {
			t.Errorf("memory would grow by %.0f kB in 8 hours, the bar is %d", 8*slope, growthBar)
		}
	}

	sure := b.sent.Load() // these must be kept, but for what is under way just now
	time.Sleep(time.Second)
	x.press("q")
	if status := x.ended(60 * time.Second); status != 0 && status != 1 {
		t.Errorf("status %d", status)
	}
	kept := inCapture(t, one(t, book, "*.capture"), hz)
	t.Logf("%d lines sent before the key, %d in the capture", sure, kept.lines)
	if kept.last < sure-1 {
		t.Errorf("the capture ends with line %d, %d had been sent a second before", kept.last, sure)
	}
	// A first line that the opening of the port may have cut is left out.
	for _, pattern := range []string{"*.capture", "*.ebbline"} {
		if n := readings(t, one(t, book, pattern)); n < kept.lines-1 || n > kept.lines {
			t.Errorf("measure reads %d readings in %s, the capture has %d lines", n, pattern, kept.lines)
		}
	}
}

// again repeats a level, and lets the air out within the last ten seconds of
// each period.
func again(p level, period time.Duration) level {
	return func(at time.Duration) float64 {
		at %= period
		return p(at) * math.Min(1, (period-at).Seconds()/10)
	}
}

// one is the one file in a folder that fits.
func one(t *testing.T, folder, pattern string) string {
	t.Helper()
	names, err := filepath.Glob(filepath.Join(folder, pattern))
	if err != nil || len(names) != 1 {
		t.Fatalf("%d files fit %s: %v", len(names), pattern, err)
	}
	return names[0]
}

type lines struct {
	lines int   // whole ones
	last  int64 // number of the last one
}

// inCapture reads the lines of a board from a capture, the first of which may
// be cut: each must follow the one before it.
func inCapture(t *testing.T, name string, hz int) (out lines) {
	t.Helper()
	f, err := os.Open(name)
	if err != nil {
		t.Fatal(err)
	}
	defer f.Close()
	c, err := replay.ReadCapture(f)
	if err != nil || c.Torn {
		t.Fatalf("%s: torn %v, %v", name, c.Torn, err)
	}
	for _, n := range c.Notes {
		if n.Code == "silent" {
			t.Logf("the board, or the machine, paused: %+v", n)
			continue
		}
		t.Errorf("a fault was seen: %+v", n)
	}
	var all []byte
	for _, k := range c.Chunks {
		all = append(all, k.Data...)
	}
	if k := bytes.LastIndexByte(all, '\n'); k >= 0 {
		all = all[:k+1]
	}
	gap := int64(1000 / hz)
	for text := range strings.Lines(string(all)) {
		stamp, _, ok := strings.Cut(text, ",")
		ms, err := strconv.ParseInt(stamp, 10, 64)
		if !ok || err != nil {
			if out.lines == 0 {
				continue // the program began to read within it
			}
			t.Fatalf("%s: after line %d comes %q", name, out.last, text)
		}
		if n := ms / gap; out.lines > 0 && n != out.last+1 {
			t.Fatalf("%s: after line %d comes line %d", name, out.last, n)
		}
		out.last = ms / gap
		out.lines++
	}
	return out
}

// readings is how many readings measure finds in a file.
func readings(t *testing.T, name string) int {
	t.Helper()
	out, err := command(t, "measure", "--json", "--volume", "10L", name).Output()
	var exit *exec.ExitError
	if err != nil && (!errors.As(err, &exit) || exit.ExitCode() == 2) {
		t.Fatalf("measure %s: %v", name, err)
	}
	var r struct{ Samples int }
	if err := json.Unmarshal(out, &r); err != nil {
		t.Fatal(fmt.Errorf("measure %s: %w: %s", name, err, out))
	}
	return r.Samples
}
