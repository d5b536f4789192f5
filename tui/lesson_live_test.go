//go:build unix

package tui

import (
	"context"
	"testing"
	"time"
)

// TestLessonInATerminal runs the whole screen in an emulated terminal: a trace
// starts, the lesson is left after a yes, and the terminal is as it was.
func TestLessonInATerminal(t *testing.T) {
	g := newGlass(t, 80, 24)
	type end struct {
		lines []string
		err   error
	}
	ended := make(chan end, 1)
	go func() {
		lines, err := RunLesson(context.Background(), LessonOptions{NewRig: testRig, Input: g.tty, Output: g.tty})
		ended <- end{lines, err}
	}()
	g.wait(t, "SIMULATED RIG")
	g.ptm.Write([]byte("ss4"))
	g.wait(t, "time ×10")
	g.wait(t, "A 1.00 mm")
	g.ptm.Write([]byte("q"))
	g.wait(t, "Leave the lesson?")
	g.ptm.Write([]byte("y"))
	select {
	case e := <-ended:
		if e.err != nil || len(e.lines) != 1 {
			t.Errorf("lines %q, error %v", e.lines, e.err)
		}
	case <-time.After(5 * time.Second):
		t.Fatal("the lesson did not end")
	}
	g.leftAltScreen(t)
}

func TestLessonNeedsARig(t *testing.T) {
	if _, err := RunLesson(context.Background(), LessonOptions{}); err == nil {
		t.Error("a lesson without a rig and without a source started")
	}
}
