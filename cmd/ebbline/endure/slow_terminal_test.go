//go:build unix

package endure

import (
	"io"
	"os"
	"path/filepath"
	"regexp"
	"slices"
	"strconv"
	"sync"
	"syscall"
	"testing"
	"time"

	"github.com/charmbracelet/x/term"
	"github.com/creack/pty"
)

// keeping follows the one capture of a book while it grows, and finds how far it
// is behind the board.
type keeping struct {
	stop chan struct{}
	done sync.WaitGroup

	worst time.Duration // a line was not in the file for so long
	last  int           // the number of the latest line in it
}

// lineOf finds the number of a line in a capture.
var lineOf = regexp.MustCompile(`(\d+),[-0-9.]+ kPa\\n`)

func watchCapture(book string, b *board) *keeping {
	k := &keeping{stop: make(chan struct{})}
	k.done.Add(1)
	go func() {
		defer k.done.Done()
		type mark struct {
			sent int64
			at   time.Time
		}
		var sent []mark
		tick := time.NewTicker(20 * time.Millisecond)
		defer tick.Stop()
		for {
			select {
			case <-k.stop:
				return
			case <-tick.C:
			}
			sent = append(sent, mark{b.sent.Load(), time.Now()})
			n, ok := lastLine(book)
			if !ok {
				sent = sent[len(sent)-1:] // the test has not begun
				continue
			}
			k.last = n
			// The first line that is not in the file yet went out after this mark at the
			// latest.
			i, _ := slices.BinarySearchFunc(sent, int64(n+2), func(m mark, n int64) int { return int(m.sent - n) })
			if i < len(sent) {
				k.worst = max(k.worst, time.Since(sent[i].at))
				sent = sent[i:]
			}
		}
	}()
	return k
}

// lastLine is the number of the latest line in the capture of a book.
func lastLine(book string) (n int, ok bool) {
	names, _ := filepath.Glob(filepath.Join(book, "*.capture"))
	if len(names) != 1 {
		return 0, false
	}
	f, err := os.Open(names[0])
	if err != nil {
		return 0, false
	}
	defer f.Close()
	size, _ := f.Seek(0, io.SeekEnd)
	tail := make([]byte, min(size, 4096))
	if _, err := f.ReadAt(tail, size-int64(len(tail))); err != nil {
		return 0, false
	}
	all := lineOf.FindAllSubmatch(tail, -1)
	if len(all) == 0 {
		return 0, false
	}
	n, err = strconv.Atoi(string(all[len(all)-1][1]))
	return n, err == nil
}

func (k *keeping) end(t testing.TB) {
	t.Helper()
	close(k.stop)
	k.done.Wait()
	t.Logf("%d lines in the capture, none later than %v", k.last, k.worst.Round(time.Millisecond))
	if k.last < 1000 {
		t.Errorf("only %d lines came", k.last)
	}
	// The sleeper's share is small beside the bar; a busy machine gets a second more.
	if k.worst > 2*time.Second {
		t.Errorf("the capture was %v behind the board; the bar is 1 s", k.worst)
	}
}

// kernelQueue is how many bytes the system takes for a terminal that reads
// nothing.
func kernelQueue(t testing.TB) int {
	master, slave, err := pty.Open()
	if err != nil {
		t.Fatal("no pseudo-terminal: ", err)
	}
	defer master.Close()
	if _, err := term.MakeRaw(slave.Fd()); err != nil {
		t.Fatal(err)
	}
	var mu sync.Mutex
	n := 0
	go func() {
		defer slave.Close()
		for {
			k, err := slave.Write(make([]byte, 256))
			mu.Lock()
			n += k
			mu.Unlock()
			if err != nil {
				return
			}
		}
	}()
	for before := -1; ; {
		time.Sleep(200 * time.Millisecond)
		mu.Lock()
		now := n
		mu.Unlock()
		if now == before {
			go io.Copy(io.Discard, master) // lets the writer go
			return now
		}
		before = now
	}
}

// checkRecord has the program say whether its one record is whole.
func checkRecord(t testing.TB, book string) {
	t.Helper()
	if out, err := command(t, "book", "check", "--book", book).CombinedOutput(); err != nil {
		t.Errorf("book check: %v\n%s", err, out)
	}
	if names, _ := filepath.Glob(filepath.Join(book, "*.ebbline")); len(names) != 1 {
		t.Errorf("%d records", len(names))
	}
}

// A terminal that takes a thousand bytes a second delays neither the recorder nor,
// beyond what the system queues for it, the alarm.
func TestSlowTerminal(t *testing.T) {
	t.Parallel()
	rate := amount(8000, 1000)
	b, book := newBoard(t, 1000, holding(time.Second, 1200)), t.TempDir()
	var mu sync.Mutex
	on := make(chan time.Time, 1)
	is := false
	x := inTerminal(t, command(t, "hold", "--yes", "--port", b.name, "--volume", "10L", "--book", book), look{perSecond: rate,
		seen: func(screen string, at time.Time) {
			mu.Lock()
			defer mu.Unlock()
			if now := alarmed(screen); now && !is {
				is = true
				on <- at
			} else {
				is = now
			}
		}})
	k := watchCapture(book, b)
	x.wait("leak at first", 60*time.Second)
	// By then the program has seen twice how slowly it is taken, and sends no more.
	time.Sleep(amount(8*time.Second, 90*time.Second))
	passed := b.pass()
	_, before := x.output()
	select {
	case at := <-on:
		_, after := x.output()
		queue := kernelQueue(t)
		t.Logf("at %d bytes a second the alarm stood after %v, %d bytes later; the system's own queue is %d bytes", rate, at.Sub(passed).Round(10*time.Millisecond), after-before, queue)
		// A frame under way and the alarm's own are of a screen of 3000 cells.
		if frames := 20000; after-before > queue+frames {
			t.Errorf("%d bytes came before the alarm was whole; the system queues %d and two frames are under %d", after-before, queue, frames)
		}
	case <-time.After(60 * time.Second):
		t.Fatalf("no alarm:\n%s", x.text())
	}
	b.over.Store(false)
	k.end(t)
	began := time.Now()
	x.press("q")
	x.ended(20 * time.Second)
	t.Logf("q ended it after %v", time.Since(began).Round(10*time.Millisecond))
	checkRecord(t, book)
}

// A terminal that takes nothing at all, as after ctrl+s, stops the screen only; a
// signal ends the program, and the record is whole.
func TestStoppedTerminal(t *testing.T) {
	t.Parallel()
	b, book := newBoard(t, 1000, holding(time.Second, 1200)), t.TempDir()
	x := inTerminal(t, command(t, "hold", "--yes", "--port", b.name, "--volume", "10L", "--book", book), look{})
	k := watchCapture(book, b)
	x.wait("leak at first", 30*time.Second)
	x.halted.Store(true)
	time.Sleep(amount(5*time.Second, 3*time.Minute))
	k.end(t)
	endBySignal(t, x.cmd.Process, x.end, book)
}

// When it goes on, a terminal that was stopped shows what is now.
func TestStoppedTerminalGoesOn(t *testing.T) {
	t.Parallel()
	b, book := newBoard(t, 1000, holding(time.Second, 1200)), t.TempDir()
	x := inTerminal(t, command(t, "hold", "--yes", "--port", b.name, "--volume", "10L", "--book", book), look{})
	x.wait("leak at first", 30*time.Second)
	x.halted.Store(true)
	time.Sleep(3 * time.Second)
	b.pass()
	time.Sleep(time.Second)
	began := time.Now()
	x.halted.Store(false)
	x.wait("ceiling 30.00 psi gauge", 5*time.Second)
	for end := time.Now().Add(5 * time.Second); !alarmed(x.text()); time.Sleep(5 * time.Millisecond) {
		if time.Now().After(end) {
			t.Fatalf("no alarm:\n%s", x.text())
		}
	}
	t.Logf("the alarm stood %v after the terminal went on", time.Since(began).Round(time.Millisecond))
	x.press("q")
	x.ended(20 * time.Second)
	checkRecord(t, book)
}

// A pipe that nobody reads stops neither the recorder nor the end by a signal.
func TestStoppedPipe(t *testing.T) {
	t.Parallel()
	for _, flag := range []string{"--plain", "--json"} {
		t.Run(flag, func(t *testing.T) {
			b, book := newBoard(t, 1000, holding(time.Second, 1200)), t.TempDir()
			cmd := command(t, "hold", flag, "--port", b.name, "--volume", "10L", "--book", book)
			r, w, err := os.Pipe()
			if err != nil {
				t.Fatal(err)
			}
			defer r.Close()
			fill(t, w)
			cmd.Stdout = w
			if err := cmd.Start(); err != nil {
				t.Fatal(err)
			}
			w.Close()
			end := make(chan error, 1)
			go func() { end <- cmd.Wait() }()
			t.Cleanup(func() { _ = cmd.Process.Kill() })
			k := watchCapture(book, b)
			time.Sleep(amount(6*time.Second, 3*time.Minute))
			k.end(t)
			endBySignal(t, cmd.Process, end, book)
		})
	}
}

// fill fills a pipe.
func fill(t testing.TB, w *os.File) {
	t.Helper()
	if err := w.SetWriteDeadline(time.Now().Add(300 * time.Millisecond)); err != nil {
		t.Fatal(err)
	}
	for {
		if _, err := w.Write([]byte{'\n'}); err != nil {
			return
		}
	}
}

func endBySignal(t testing.TB, p *os.Process, end chan error, book string) {
	t.Helper()
	began := time.Now()
	if err := p.Signal(syscall.SIGTERM); err != nil {
		t.Fatal(err)
	}
	select {
	case <-end:
		t.Logf("the signal ended it after %v", time.Since(began).Round(10*time.Millisecond))
	case <-time.After(20 * time.Second):
		t.Fatal("the signal did not end it within 20 s")
	}
	checkRecord(t, book)
}
