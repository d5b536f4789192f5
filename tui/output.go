package tui

import (
	"io"
	"os"
	"time"
)

// Each frame goes out between these two, so that a terminal that knows
// synchronized output shows it whole; others ignore them.
const (
	frameBegin = "\x1b[?2026h"
	frameEnd   = "\x1b[?2026l"
)

// terminal is where frames and bells go. Only close waits for it.
type terminal interface {
	io.Writer       // takes a frame
	io.StringWriter // takes what goes between frames
	bell()
	behind() bool           // it has not taken everything yet
	current(time.Time) bool // what it is sent now it shows soon
	close()                 // waits for it, with patience
}

// frames is the terminal's queue.
type frames struct{ q *Queue }

// Write takes a frame and sends it with its brackets in one piece.
func (f frames) Write(p []byte) (int, error) {
	b := make([]byte, 0, len(p)+len(frameBegin)+len(frameEnd))
	b = append(append(append(b, frameBegin...), p...), frameEnd...)
	return len(p), f.q.put(b, true)
}

func (f frames) WriteString(s string) (int, error) { return f.q.Write([]byte(s)) }
func (f frames) bell()                             { f.q.ring() }
func (f frames) behind() bool                      { return f.q.late() }
func (f frames) current(now time.Time) bool        { return f.q.low(now) }
func (f frames) close()                            { f.q.Close(giveUp) }

// fileFrames keeps the file at hand, so that bubbletea still sees a terminal and
// its size.
type fileFrames struct {
	*os.File
	frames
}

// Both have these: they are the queue's.
func (f fileFrames) Write(p []byte) (int, error)       { return f.frames.Write(p) }
func (f fileFrames) WriteString(s string) (int, error) { return f.frames.WriteString(s) }

// Close leaves the file open: it is not ours.
func (f fileFrames) Close() error { return nil }

func newTerminal(w io.Writer) terminal {
	if w == nil {
		w = os.Stdout
	}
	f := frames{NewQueue(w)}
	if file, ok := w.(*os.File); ok {
		return fileFrames{file, f}
	}
	return f
}
