//go:build unix

package endure

import (
	"bytes"
	"os"
	"os/exec"
	"strings"
	"sync"
	"syscall"
	"testing"
	"time"
)

// live is a hold under way, on a screen or as lines.
type live struct {
	t   testing.TB
	x   *terminal // nil: lines
	cmd *exec.Cmd
	out *output // of the lines, errors among them
	end chan error
}

// output takes what a program prints, and may be looked at meanwhile.
type output struct {
	mu sync.Mutex
	b  bytes.Buffer
}

func (o *output) Write(p []byte) (int, error) {
	o.mu.Lock()
	defer o.mu.Unlock()
	return o.b.Write(p)
}

func (o *output) String() string {
	o.mu.Lock()
	defer o.mu.Unlock()
	return o.b.String()
}

// startHold begins a hold on a port; form is "screen", "plain" or "json".
func startHold(t testing.TB, form, port, book string, more ...string) *live {
	t.Helper()
	args := append([]string{"hold", "--yes", "--port", port, "--volume", "10L", "--book", book}, more...)
	if form == "screen" {
		x := inTerminal(t, command(t, args...), look{})
		return &live{t: t, x: x, cmd: x.cmd}
	}
	l := &live{t: t, cmd: command(t, append(args, "--"+form)...), out: &output{}, end: make(chan error, 1)}
	l.cmd.Stdout, l.cmd.Stderr = l.out, l.out
	if err := l.cmd.Start(); err != nil {
		t.Fatal(err)
	}
	go func() { l.end <- l.cmd.Wait() }()
	t.Cleanup(func() { _ = l.cmd.Process.Kill() }) // most have ended
	return l
}

func (l *live) text() string {
	if l.x != nil {
		return l.x.text()
	}
	return l.out.String()
}

// says waits until any of the words are there, and fails the test if none come.
func (l *live) says(within time.Duration, words ...string) {
	l.t.Helper()
	for end := time.Now().Add(within); time.Now().Before(end); time.Sleep(10 * time.Millisecond) {
		for _, w := range words {
			if strings.Contains(l.text(), w) {
				return
			}
		}
	}
	l.t.Fatalf("none of %q within %v:\n%s", words, within, l.text())
}

// silentOn waits until the words are gone from the screen.
func (l *live) silentOn(words string, within time.Duration) {
	l.t.Helper()
	for end := time.Now().Add(within); time.Now().Before(end); time.Sleep(10 * time.Millisecond) {
		if !strings.Contains(l.text(), words) {
			return
		}
	}
	l.t.Fatalf("%q still there after %v:\n%s", words, within, l.text())
}

// leave ends the hold in order and returns its status and all that it left.
func (l *live) leave() (status int, said string) {
	l.t.Helper()
	if l.x != nil {
		l.x.press("q")
	} else if err := l.cmd.Process.Signal(syscall.SIGTERM); err != nil {
		l.t.Fatal(err)
	}
	return l.ended(15 * time.Second)
}

// ended waits for the end.
func (l *live) ended(within time.Duration) (status int, said string) {
	l.t.Helper()
	if l.x != nil {
		status = l.x.ended(within)
		<-l.x.read
		return status, l.x.text()
	}
	select {
	case <-l.end:
		return l.cmd.ProcessState.ExitCode(), l.out.String()
	case <-time.After(within):
		l.t.Fatalf("no end within %v:\n%s", within, l.out)
		return 0, ""
	}
}

// tells reports whether a text holds the words, however a terminal wrapped it.
func tells(text, words string) bool {
	bare := func(s string) string { return strings.Join(strings.Fields(s), "") }
	return strings.Contains(bare(text), bare(words))
}

func readFile(t testing.TB, name string) []byte {
	t.Helper()
	b, err := os.ReadFile(name)
	if err != nil {
		t.Fatal(err)
	}
	return b
}
