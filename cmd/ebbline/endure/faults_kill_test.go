//go:build unix

package endure

import (
	"bytes"
	"errors"
	"math/rand/v2"
	"os"
	"path/filepath"
	"slices"
	"sync"
	"syscall"
	"testing"
	"time"

	"golang.org/x/sys/unix"
)

// unread silences a board whose reader is dead, and returns how many of its
// lines wait still: those that a busy machine never handed to the program.
func (b *board) unread() (lines int64) {
	b.once.Do(func() {
		close(b.stop)
		fd := int(b.slave.Fd())
		for buf := make([]byte, 4096); ; {
			ready, err := unix.Poll([]unix.PollFd{{Fd: int32(fd), Events: unix.POLLIN}}, 100)
			if errors.Is(err, unix.EINTR) {
				continue
			}
			if err != nil || ready == 0 {
				break
			}
			n, err := unix.Read(fd, buf)
			if err != nil || n == 0 {
				break
			}
			lines += int64(bytes.Count(buf[:n], []byte("\n")))
		}
		b.master.Close()
		<-b.done
		b.slave.Close()
	})
	return lines
}

// A program that is killed at any moment of a test (its start, the fill, the
// hold, its end, while the record is saved) loses at most a second of readings,
// and what is left can be read.
func TestFaultsKill(t *testing.T) {
	t.Parallel() // most of it is waiting
	const hz = 100
	var mu sync.Mutex
	var lost []time.Duration
	var behind time.Duration
	moments := map[string]int{}
	whole := 0
	atOnce(t, 5, amount(10, 200), func(t *testing.T, i int) {
		r := rand.New(rand.NewPCG(20261126, uint64(i)))
		within := func(from, to time.Duration) time.Duration {
			return from + time.Duration(r.Int64N(int64(to-from)))
		}
		// From the port's first line: rest until 1 s, fill until 3 s, then the hold.
		moment := []string{"start", "fill", "hold", "end", "saving"}[i%5]
		var after, dying time.Duration
		switch moment {
		case "start":
			after = within(0, 1200*time.Millisecond)
		case "fill":
			after = within(1200*time.Millisecond, 3*time.Second)
		case "hold":
			after = within(3*time.Second, 8*time.Second)
		case "end": // it was asked to end, and winds up
			after, dying = within(time.Second, 8*time.Second), within(0, 10*time.Millisecond)
		case "saving":
			after, dying = within(time.Second, 8*time.Second), within(0, 100*time.Millisecond)
		}
		b, book := newBoard(t, hz, holding(time.Second, 60)), t.TempDir()
		args := []string{"hold", "--yes", "--port", b.name, "--volume", "10L", "--book", book}
		var kill, end func()
		if i%3 == 0 {
			x := inTerminal(t, command(t, args...), look{})
			kill = func() { x.cmd.Process.Kill(); x.ended(5 * time.Second) }
			end = func() { x.press("q") }
		} else {
			cmd := command(t, append(args, "--json")...)
			var out bytes.Buffer
			cmd.Stdout, cmd.Stderr = &out, &out
			if err := cmd.Start(); err != nil {
				t.Fatal(err)
			}
			kill = func() { cmd.Process.Kill(); cmd.Wait() }
			end = func() { cmd.Process.Signal(syscall.SIGTERM) }
			t.Cleanup(func() { cmd.Process.Kill() })
		}
		time.Sleep(after)
		if dying > 0 {
			end()
			time.Sleep(dying)
		}
		killed := time.Now()
		kill()
		unread := b.unread()
		reached := time.Duration(b.sent.Load()-unread) * time.Second / hz

		all := readBook(t, book, hz)
		if len(all) == 0 {
			if moment != "start" {
				t.Errorf("killed %v after the start (%s), and the book is empty", after, moment)
			}
			return
		}
		k := all[0]
		loss := reached - k.last - time.Second/hz
		if k.lines == 0 { // what came before the port was opened is not its
			loss = min(loss, killed.Sub(k.begun))
		}
		if k.missing != 0 || len(k.odd) > 0 {
			t.Errorf("%d lines are missing in the midst of the capture; odd ones: %q", k.missing, k.odd)
		}
		if loss > 500*time.Millisecond {
			t.Logf("killed in %s after %v: of %d lines %v lost", moment, after, k.lines, loss)
		}
		if loss > time.Second {
			t.Errorf("killed in %s after %v: %v of readings lost", moment, after, loss)
		}
		if k.lines > 0 {
			judged(t, k.capture)
		}
		if k.lines > 2*hz {
			if _, n := judged(t, k.record); n < k.lines-3*hz { // the capture is what counts
				t.Errorf("%d lines in the capture, %d readings in the record", k.lines, n)
			}
		}
		if info, err := os.Stat(k.record); err != nil || info.Size() == 0 {
			t.Errorf("the record: %v", err)
		}
		said := checkBook(t, book)
		if n, _ := filepath.Glob(filepath.Join(book, "*.ebbline")); len(n) != 1 || len(all) != 1 {
			t.Errorf("%d records, %d captures", len(n), len(all))
		}
		mu.Lock()
		defer mu.Unlock()
		lost = append(lost, max(0, loss))
		behind = max(behind, time.Duration(unread)*time.Second/hz)
		moments[moment]++
		if bytes.Contains([]byte(said), []byte("1 of 1 whole")) {
			whole++
		}
	})
	if len(lost) == 0 {
		t.Fatal("no test was begun")
	}
	slices.Sort(lost)
	t.Logf("%d killed %v, %d of them with a whole record; of what had reached the program was lost: median %v, worst %v; up to %v had not reached it", len(lost), moments, whole, lost[len(lost)/2].Round(time.Millisecond), lost[len(lost)-1].Round(time.Millisecond), behind)
}
