//go:build unix

package endure

import (
	"bytes"
	"encoding/json"
	"errors"
	"os/exec"
	"path/filepath"
	"strconv"
	"strings"
	"sync"
	"testing"
	"time"

	"ebbline/sensor/replay"
)

// kept is what the book holds of one test, as it was found after a fault.
type kept struct {
	capture, record string    // paths
	begun           time.Time // as the capture's head says
	odd             []string  // lines that no board of ours prints
	run                       // of the first board
	again           run       // of the board that was plugged in after it
}

// run is what a capture holds of one board.
type run struct {
	first, last time.Duration // board's times
	lines       int
	missing     int // between the first and the last
}

// anotherBoard is how far the clock of a board that is plugged in later is
// ahead, so that its lines can be told from those of the first.
const anotherBoard = 1000 * time.Second

// take counts a line in; it returns false when it is of another board.
func (r *run) take(at, period time.Duration) bool {
	if r.lines > 0 {
		if at <= r.last || at > r.last+anotherBoard/2 {
			return false
		}
		r.missing += int((at-r.last)/period) - 1
	} else {
		r.first = at
	}
	r.last = at
	r.lines++
	return true
}

// readBook reads the captures of a book that were made of boards, and fails the
// test where one cannot be read.
func readBook(t testing.TB, book string, hz int) (all []kept) {
	t.Helper()
	captures, err := filepath.Glob(filepath.Join(book, "*.capture"))
	if err != nil {
		t.Fatal(err)
	}
	for _, name := range captures {
		k := kept{capture: name, record: strings.TrimSuffix(name, ".capture") + ".ebbline"}
		data := readFile(t, name)
		c, err := replay.ReadCapture(bytes.NewReader(data))
		if err != nil {
			t.Errorf("%s: %v\n%.400s", name, err, data)
			continue
		}
		if k.begun, err = time.Parse(time.RFC3339Nano, c.Header["date"]); err != nil {
			t.Errorf("%s: %v", name, err)
		}
		var text []byte
		for _, p := range c.Chunks {
			text = append(text, p.Data...)
		}
		period := time.Second / time.Duration(hz)
		for i, line := range strings.SplitAfter(string(text), "\n") {
			stamp, rest, ok := strings.Cut(line, ",")
			ms, err := strconv.ParseInt(stamp, 10, 64)
			if !ok || err != nil || !strings.HasSuffix(rest, " kPa\n") {
				if i > 0 && strings.HasSuffix(line, "\n") { // no piece it began or ended with
					k.odd = append(k.odd, line)
				}
				continue
			}
			if at := time.Duration(ms) * time.Millisecond; k.again.lines > 0 || !k.take(at, period) {
				k.again.take(at, period)
			}
		}
		all = append(all, k)
	}
	return all
}

// judged runs measure on a file of the book, which must be readable.
func judged(t testing.TB, name string) (outcome string, readings int) {
	t.Helper()
	var out, errs bytes.Buffer
	cmd := command(t, "measure", "--json", "--volume", "10L", name)
	cmd.Stdout, cmd.Stderr = &out, &errs
	var exit *exec.ExitError
	if err := cmd.Run(); err != nil && (!errors.As(err, &exit) || exit.ExitCode() == 2 || exit.ExitCode() < 0) {
		t.Errorf("measure %s: %v: %s", name, err, &errs)
		return "", 0
	}
	var r struct {
		Outcome string `json:"outcome"`
		Samples int    `json:"samples"`
	}
	if err := json.Unmarshal(out.Bytes(), &r); err != nil {
		t.Errorf("measure %s: %v: %s", name, err, &out)
	}
	return r.Outcome, r.Samples
}

// checkBook runs book check, which must find each record whole or, where a
// test was cut short, torn or as if it were running still, and returns what it
// said.
func checkBook(t testing.TB, book string) string {
	t.Helper()
	cmd := command(t, "book", "check", "--book", book)
	out, err := cmd.CombinedOutput()
	var exit *exec.ExitError
	if err != nil && (!errors.As(err, &exit) || exit.ExitCode() != 1) {
		t.Errorf("book check: %v: %s", err, out)
	}
	for line := range strings.Lines(string(out)) {
		if !strings.Contains(line, ".ebbline: ") {
			continue
		}
		if !strings.Contains(line, "whole") && !strings.Contains(line, "TORN") && !strings.Contains(line, "RUNNING") {
			t.Errorf("book check: %s", line)
		}
	}
	if out, err := command(t, "book", "list", "--book", book).CombinedOutput(); err != nil {
		t.Errorf("book list: %v: %s", err, out)
	}
	return string(out)
}

// atOnce runs f as subtests, several at a time: most of each is waiting.
func atOnce(t *testing.T, several, all int, f func(t *testing.T, i int)) {
	var wait sync.WaitGroup
	next := make(chan int)
	for range several {
		wait.Go(func() {
			for i := range next {
				t.Run(strconv.Itoa(i), func(t *testing.T) { f(t, i) })
			}
		})
	}
	for i := range all {
		next <- i
	}
	close(next)
	wait.Wait()
}
