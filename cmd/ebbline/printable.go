package main

import (
	"bytes"
	"io"
	"sync"
	"unicode/utf8"

	"ebbline/decay/report"
)

// printable is s as one line that cannot steer a terminal.
func printable(s string) string { return report.Printable(s) }

// mostLetters is how long a line of text for people may be: longer than any path,
// sentence or label that is meant to be read.
const mostLetters = 2000

// people is where text for people is printed. Whatever stands in it, each of its
// lines is printable and of a length that can be read. A field that may hold line
// ends, as a label or a file's name, is made printable by itself before that, or
// it could feign lines of the program's own.
type people struct {
	mu   sync.Mutex // what is kept and what is told come from different goroutines
	w    io.Writer
	rest []byte // the beginning of a character whose end has not come

	shown int // letters of the line so far
}

func forPeople(w io.Writer) *people { return &people{w: w} }

func (p *people) Write(b []byte) (int, error) {
	p.mu.Lock()
	defer p.mu.Unlock()
	n := len(b)
	b = append(p.rest, b...)
	whole := len(b)
	for back := 1; back < utf8.UTFMax && back <= len(b); back++ {
		if c := b[len(b)-back]; utf8.RuneStart(c) {
			if !utf8.FullRune(b[len(b)-back:]) {
				whole -= back
			}
			break
		}
	}
	p.rest = bytes.Clone(b[whole:])
	lines := bytes.Split(b[:whole], []byte("\n"))
	for i, l := range lines {
		if i > 0 {
			p.shown = 0
		}
		text := printable(string(l))
		if p.shown <= mostLetters {
			shown := utf8.RuneCountInString(text)
			text, p.shown = clipped(text, mostLetters-p.shown), p.shown+shown
		} else {
			text = ""
		}
		lines[i] = []byte(text)
	}
	if _, err := p.w.Write(bytes.Join(lines, []byte("\n"))); err != nil {
		return 0, err
	}
	return n, nil
}

// clipped is s, cut with a mark when it has more than most letters.
func clipped(s string, most int) string {
	if len(s) <= most {
		return s
	}
	n := 0
	for i := range s {
		if n++; n > most {
			return s[:i] + "…"
		}
	}
	return s
}

// bare is the writer itself, for what steers the terminal on purpose.
func bare(w io.Writer) io.Writer {
	if p, ok := w.(*people); ok {
		return p.w
	}
	return w
}
