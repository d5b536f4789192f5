//go:build unix

package endure

import (
	"bytes"
	"io"
	"os"
	"os/exec"
	"strings"
	"sync"
	"sync/atomic"
	"testing"
	"time"

	"github.com/charmbracelet/x/vt"
	"github.com/creack/pty"
)

// frameEnd closes what is to be shown at once (synchronised output).
const frameEnd = "\x1b[?2026l"

// terminal is a terminal with the program in it.
type terminal struct {
	t      testing.TB
	cmd    *exec.Cmd
	master *os.File
	read   chan struct{} // closed when the program's side is gone
	end    chan error    // what the program ended with
	halted atomic.Bool   // it takes nothing, as after ctrl+s

	mu     sync.Mutex
	em     *vt.Emulator
	bytes  int
	frames int
	seen   func(screen string, at time.Time) // called after each whole frame
}

// look is how a terminal behaves.
type look struct {
	cols, rows int
	perSecond  int                               // the bytes it takes a second, 0 for all it gets
	dumb       bool                              // it never answers what the program asks it
	seen       func(screen string, at time.Time) // called after each whole frame
}

// inTerminal starts the command in a terminal.
func inTerminal(t testing.TB, cmd *exec.Cmd, l look) *terminal {
	t.Helper()
	if l.cols == 0 {
		l.cols, l.rows = 100, 30
	}
	x := &terminal{t: t, cmd: cmd, em: vt.NewEmulator(l.cols, l.rows), read: make(chan struct{}), end: make(chan error, 1), seen: l.seen}
	var err error
	if x.master, err = pty.StartWithSize(cmd, &pty.Winsize{Cols: uint16(l.cols), Rows: uint16(l.rows)}); err != nil {
		t.Fatal("no pseudo-terminal: ", err)
	}
	// The emulator's answers must be read or it stops. Its Close races with that
	// reader, so this one goroutine is left behind.
	answers := io.Writer(x.master)
	if l.dumb {
		answers = io.Discard
	}
	go io.Copy(answers, x.em)
	go x.show(l.perSecond)
	go func() { x.end <- cmd.Wait() }()
	t.Cleanup(func() {
		_ = cmd.Process.Kill() // most have ended
		x.halted.Store(false)
		x.master.Close()
		<-x.read
	})
	return x
}

func (x *terminal) show(perSecond int) {
	defer close(x.read)
	b, pending := make([]byte, 1<<16), []byte(nil)
	for {
		for x.halted.Load() {
			time.Sleep(10 * time.Millisecond)
		}
		want := b
		if perSecond > 0 {
			const slice = 20
			time.Sleep(time.Second / slice)
			want = b[:max(1, perSecond/slice)]
		}
		n, err := x.master.Read(want)
		x.mu.Lock()
		x.bytes += n
		pending = append(pending, want[:n]...)
		// Only whole frames are shown, or a look could fall into half of one.
		whole := 0
		if k := bytes.LastIndex(pending, []byte(frameEnd)); k >= 0 {
			whole = k + len(frameEnd)
		}
		screen := ""
		if whole > 0 {
			x.frames += bytes.Count(pending[:whole], []byte(frameEnd))
			x.em.Write(pending[:whole])
			pending = append(pending[:0], pending[whole:]...)
			if x.seen != nil {
				screen = x.em.String()
			}
		}
		seen := x.seen
		x.mu.Unlock()
		if whole > 0 && seen != nil {
			seen(screen, time.Now())
		}
		if err != nil {
			x.mu.Lock()
			x.em.Write(pending) // what the program left on the terminal
			x.mu.Unlock()
			return
		}
	}
}

func (x *terminal) text() string {
	x.mu.Lock()
	defer x.mu.Unlock()
	return x.em.String()
}

// output is how many frames and bytes have come.
func (x *terminal) output() (frames, bytes int) {
	x.mu.Lock()
	defer x.mu.Unlock()
	return x.frames, x.bytes
}

// picture is the screen with its colours, as bytes that draw it again.
func (x *terminal) picture() string {
	x.mu.Lock()
	defer x.mu.Unlock()
	return x.em.Render()
}

// wait looks until the screen says the words.
func (x *terminal) wait(words string, within time.Duration) {
	x.t.Helper()
	for end := time.Now().Add(within); time.Now().Before(end); time.Sleep(5 * time.Millisecond) {
		if strings.Contains(x.text(), words) {
			return
		}
	}
	x.t.Fatalf("the screen never said %q within %v:\n%s", words, within, x.text())
}

// press types keys.
func (x *terminal) press(keys string) {
	x.t.Helper()
	if _, err := x.master.WriteString(keys); err != nil {
		x.t.Fatal(err)
	}
}

// ended waits for the program's end and returns its status, -1 if a signal ended it.
func (x *terminal) ended(within time.Duration) int {
	x.t.Helper()
	select {
	case <-x.end:
		return x.cmd.ProcessState.ExitCode()
	case <-time.After(within):
		x.t.Fatalf("the program did not end within %v:\n%s", within, x.text())
		return 0
	}
}
