package tui

import (
	"io"
	"os"
	"sync"
)

// Each frame goes out between these two, so that a terminal that knows
// synchronized output shows it whole; others ignore them.
const (
	frameBegin = "\x1b[?2026h"
	frameEnd   = "\x1b[?2026l"
)

// terminal is where frames and bells go. The lock keeps a bell from landing
// inside a frame.
type terminal interface {
	io.Writer
	bell()
}

// syncFile embeds the file so that bubbletea still sees a terminal and its
// size.
type syncFile struct {
	*os.File
	mu sync.Mutex
}

func (f *syncFile) Write(p []byte) (int, error) {
	f.mu.Lock()
	defer f.mu.Unlock()
	return writeFrame(f.File, p)
}

func (f *syncFile) bell() {
	f.mu.Lock()
	defer f.mu.Unlock()
	// A bell that cannot be rung must not end a test.
	_, _ = f.File.WriteString("\a")
}

// syncWriter is the same for anything that is no file.
type syncWriter struct {
	w  io.Writer
	mu sync.Mutex
}

func (f *syncWriter) Write(p []byte) (int, error) {
	f.mu.Lock()
	defer f.mu.Unlock()
	return writeFrame(f.w, p)
}

func (f *syncWriter) bell() {
	f.mu.Lock()
	defer f.mu.Unlock()
	_, _ = io.WriteString(f.w, "\a")
}

// writeFrame sends p and its brackets in one write and reports p's length.
func writeFrame(w io.Writer, p []byte) (int, error) {
	b := make([]byte, 0, len(p)+len(frameBegin)+len(frameEnd))
	b = append(append(append(b, frameBegin...), p...), frameEnd...)
	n, err := w.Write(b)
	if err != nil {
		return max(0, min(n-len(frameBegin), len(p))), err
	}
	return len(p), nil
}

func newTerminal(w io.Writer) terminal {
	if w == nil {
		w = os.Stdout
	}
	if f, ok := w.(*os.File); ok {
		return &syncFile{File: f}
	}
	return &syncWriter{w: w}
}
