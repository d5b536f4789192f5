//go:build linux

package endure

import (
	"fmt"
	"math/rand/v2"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"sync"
	"testing"
	"time"

	"golang.org/x/sys/unix"
)

// pull unplugs a board; with handed it first falls silent until the system has
// handed the program all that came.
func (b *board) pull(handed bool) {
	b.once.Do(func() {
		close(b.stop)
		select {
		case <-b.done:
		case <-time.After(time.Second): // nobody reads, and it waits to write
		}
		if handed {
			time.Sleep(500 * time.Millisecond) // for what is under way within the system
		}
		for empty := 0; handed && empty < 30; time.Sleep(5 * time.Millisecond) {
			waits, err := unix.IoctlGetInt(int(b.slave.Fd()), unix.TIOCINQ)
			if err != nil {
				b.t.Error(err)
				break
			}
			if empty++; waits > 0 {
				empty = 0
			}
		}
		b.master.Close()
		<-b.done
		b.slave.Close()
	})
}

// plugInto gives the board's port a name that outlives it.
func (b *board) plugInto(name string) {
	b.t.Helper()
	if err := os.Symlink(b.name, name); err != nil {
		b.t.Error(err)
	}
}

// A port that is unplugged at any moment: it is said with what to do, all that
// came is kept, and when the board comes back the test goes on by itself.
func TestFaultsUnplug(t *testing.T) {
	t.Parallel() // most of it is waiting
	var mu sync.Mutex
	outcomes := map[string]int{}
	var missed []time.Duration
	atOnce(t, 5, amount(9, 200), func(t *testing.T, i int) {
		r := rand.New(rand.NewPCG(20261127, uint64(i)))
		within := func(from, to time.Duration) time.Duration {
			return from + time.Duration(r.Int64N(int64(to-from)))
		}
		form, back := []string{"plain", "json", "screen"}[i%3], i%2 == 0
		after := within(100*time.Millisecond, 8*time.Second)
		book, port := t.TempDir(), filepath.Join(t.TempDir(), "board")
		began := time.Now()
		b := newBoard(t, hzOfFaults, holding(time.Second, 60))
		b.plugInto(port)
		l := startHold(t, form, port, book)
		time.Sleep(after)
		os.Remove(port)
		// Every other time at once, with lines under way that no program can have.
		handed := i%4 < 2 && after > 2*time.Second
		b.pull(handed)
		told := time.Now()
		l.says(10*time.Second, "went away", "there is no such port", "not a serial port", "input/output error")
		said := time.Since(told)
		if !strings.Contains(l.text(), "went away") {
			if status, said := l.ended(10 * time.Second); status != 2 || !strings.Contains(said, "hint: ") {
				t.Errorf("unplugged after %v, before it was opened: status %d:\n%s", after, status, said)
			}
			mu.Lock()
			defer mu.Unlock()
			outcomes["before it was opened"]++
			return
		}
		l.says(2*time.Second, "lug the board in again")
		outcome := "stayed away"
		if back {
			outcome = "came back"
			time.Sleep(within(0, 1500*time.Millisecond))
			newBoard(t, hzOfFaults, holding(time.Second-time.Since(began), 60), func(b *board) { b.ahead = anotherBoard }).plugInto(port)
			if form == "screen" {
				l.silentOn("went away", 10*time.Second)
			} else {
				l.says(10*time.Second, "the port is back")
			}
			time.Sleep(2 * time.Second)
		}
		status, last := l.leave()
		if status < 0 || status == 2 || strings.Contains(last, "panic") || strings.Contains(last, "goroutine") {
			t.Errorf("unplugged after %v: status %d:\n%s", after, status, last)
		}
		all := readBook(t, book, hzOfFaults)
		if len(all) != 1 {
			t.Fatalf("%d captures", len(all))
		}
		k := all[0]
		if k.missing > 0 || len(k.odd) > 1 { // a piece of a line may end where the other board begins
			t.Errorf("%d lines missing, odd are %q", k.missing, k.odd)
		}
		lost := time.Duration(b.sent.Load())*time.Second/hzOfFaults - k.last - time.Second/hzOfFaults
		if k.lines > 0 && (handed && lost > 0 || lost > 3*time.Second) {
			t.Errorf("unplugged after %v: what came in the last %v is not in the capture", after, lost)
		}
		if back && k.lines > 0 && k.again.lines < hzOfFaults/4 {
			t.Errorf("%d lines of the board that came back", k.again.lines)
		}
		if k.lines > 20 { // before that the form of the lines may not be known
			judged(t, k.capture)
			judged(t, k.record)
		}
		if said := checkBook(t, book); !strings.Contains(said, "1 of 1 whole") {
			t.Errorf("book check: %s", said)
		}
		mu.Lock()
		defer mu.Unlock()
		outcomes[outcome]++
		if k.lines > 0 {
			missed = append(missed, max(0, lost))
		}
		if said > time.Second {
			t.Logf("said after %v", said)
		}
	})
	slices.Sort(missed)
	if len(missed) == 0 {
		t.Fatal("no test was begun")
	}
	t.Logf("%v; of what the board had sent was not kept: median %v, worst %v", outcomes, missed[len(missed)/2], missed[len(missed)-1])
}

// Of several programs on one port one reads all lines, and the others say that
// it is in use.
func TestFaultsOnePortTwice(t *testing.T) {
	t.Parallel() // most of it is waiting
	b, book := newBoard(t, hzOfFaults, holding(time.Second, 60)), t.TempDir()
	first := startHold(t, "plain", b.name, book)
	first.says(10*time.Second, "psi gauge")
	for _, form := range []string{"screen", "plain", "json"} {
		status, said := startHold(t, form, b.name, book).ended(10 * time.Second)
		if status != 2 || !tells(said, "another program has it open") || !tells(said, "close the other program") {
			t.Errorf("%s: status %d: %s", form, status, said)
		}
	}
	time.Sleep(time.Second)
	if status, said := first.leave(); status == 2 || status < 0 {
		t.Errorf("status %d: %s", status, said)
	}
	wholeBook(t, book, b, first)

	// The port is free again, and of many that ask at once one has it.
	var all []*live
	for range amount(4, 12) {
		all = append(all, startHold(t, "plain", b.name, book, "--for", "4s"))
	}
	had := 0
	for _, l := range all {
		if status, said := l.ended(20 * time.Second); status != 2 {
			had++
		} else if !strings.Contains(said, "another program has it open") {
			t.Errorf("status %d: %s", status, said)
		}
	}
	if had != 1 {
		t.Errorf("%d of %d had the port", had, len(all))
	}
}

// Several programs that begin at once with one folder and one label do not
// meet, and the book reads what each of them wrote.
func TestFaultsOneBookTwice(t *testing.T) {
	t.Parallel() // most of it is waiting
	book, n := t.TempDir(), amount(4, 12)
	var all []*live
	for range n {
		b := newBoard(t, hzOfFaults, holding(time.Second, 60))
		all = append(all, startHold(t, "json", b.name, book, "--for", "4s", "--label", "left hose"))
	}
	for _, l := range all {
		if status, said := l.ended(30 * time.Second); status == 2 || status < 0 {
			t.Errorf("status %d: %s", status, said)
		}
	}
	if said := checkBook(t, book); !strings.Contains(said, fmt.Sprintf("%d of %d whole", n, n)) {
		t.Errorf("book check: %s", said)
	}
	for _, k := range readBook(t, book, hzOfFaults) {
		if k.missing != 0 || len(k.odd) > 0 || k.lines < hzOfFaults {
			t.Errorf("%+v", k)
		}
		judged(t, k.capture)
		judged(t, k.record)
	}
	if out, err := command(t, "book", "list", "--book", book).Output(); err != nil || strings.Count(string(out), "left hose") != n {
		t.Errorf("%v: %s", err, out)
	}
}
