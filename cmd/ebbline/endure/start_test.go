//go:build unix

package endure

import (
	"fmt"
	"os/exec"
	"slices"
	"strings"
	"testing"
	"time"
)

// What a start may take, on a usual terminal and on one that is silent, slow of
// wit or unknown.
const (
	startBar    = 150 * time.Millisecond
	anyStartBar = 500 * time.Millisecond
)

// inTerm gives a command another TERM; "" takes it away.
func inTerm(cmd *exec.Cmd, name string) *exec.Cmd {
	cmd.Env = slices.DeleteFunc(cmd.Env, func(e string) bool { return strings.HasPrefix(e, "TERM=") })
	if name != "" {
		cmd.Env = append(cmd.Env, "TERM="+name)
	}
	return cmd
}

// firstFrame starts the program and returns how long it took until a frame with
// words stood, and what of it the machine was late by.
func firstFrame(t testing.TB, m *machine, name string, dumb bool) (took, late, queued time.Duration) {
	shown := make(chan time.Time, 1)
	began := time.Now()
	cmd := inTerm(command(t, "hold"), name)
	x := inTerminal(t, cmd, look{dumb: dumb, seen: func(screen string, at time.Time) {
		if strings.Contains(screen, "SIMULATED") {
			select {
			case shown <- at:
			default:
			}
		}
	}})
	m.begin(cmd)
	select {
	case at := <-shown:
		took = at.Sub(began)
	case <-time.After(20 * time.Second):
		t.Fatalf("no frame within 20 s:\n%s", x.text())
	}
	late, queued = m.end()
	_ = cmd.Process.Kill()
	<-x.end
	return took, late, queued
}

// checkMedian holds a bar for the middle one of several starts: a single one may
// wait for the machine's disk as well, which no figure here tells.
func (d *delays) checkMedian(t testing.TB, what string, bar time.Duration) {
	t.Helper()
	own := make([]time.Duration, len(d.took))
	for i := range own {
		own[i] = d.took[i] - max(d.late[i], d.queued[i])
	}
	if m := of(own, 0.5); m > bar {
		t.Errorf("%s came after %v in the median, without what the machine delayed; the bar is %v", what, m, bar)
	}
}

func TestStart(t *testing.T) {
	m := watchMachine(t)
	for _, term := range []struct {
		name, term string
		dumb       bool
		bar        time.Duration
	}{
		{"usual", "xterm-256color", false, startBar},
		{"answers nothing", "xterm-256color", true, anyStartBar},
		{"TERM=dumb", "dumb", true, anyStartBar},
		{"TERM=linux", "linux", true, anyStartBar},
		{"TERM=screen-256color", "screen-256color", true, anyStartBar},
		{"no TERM", "", true, anyStartBar},
	} {
		t.Run(term.name, func(t *testing.T) {
			var d delays
			for range amount(3, 30) {
				d.add(firstFrame(t, m, term.term, term.dumb))
			}
			t.Log("first frame ", &d)
			d.checkMedian(t, "the first frame", term.bar)
		})
	}
}

// A command that asks nothing of the terminal waits for no answer of it.
func TestStartOfVersion(t *testing.T) {
	m := watchMachine(t)
	for _, name := range []string{"xterm-256color", "dumb", ""} {
		var d delays
		for range amount(3, 30) {
			began := time.Now()
			cmd := inTerm(command(t, "--version"), name)
			x := inTerminal(t, cmd, look{dumb: true})
			m.begin(cmd)
			for n := 0; n == 0 && time.Since(began) < 20*time.Second; time.Sleep(100 * time.Microsecond) {
				_, n = x.output()
			}
			took := time.Since(began)
			late, queued := m.end()
			d.add(took, late, queued)
			if status := x.ended(20 * time.Second); status != 0 {
				t.Errorf("status %d", status)
			}
		}
		t.Log(fmt.Sprintf("--version with TERM=%q ", name), &d)
		d.checkMedian(t, "the version", anyStartBar)
	}
}
