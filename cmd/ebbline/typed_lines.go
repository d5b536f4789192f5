package main

import (
	"bufio"
	"errors"
	"io"
)

// longestLine is how long, in bytes, a typed line may be. What goes on for
// noLine without an end was not typed at all.
const (
	longestLine = 4096
	noLine      = 1 << 20
)

// typedLines gives each line of in to take until take says no more. Of a line
// that is too long to be meant only the beginning is given, and cut is true.
func typedLines(in io.Reader, take func(text string, cut bool) (more bool)) error {
	r := bufio.NewReaderSize(in, longestLine)
	for {
		text, cut, err := r.ReadLine()
		line := string(text)
		long := len(line)
		for rest := cut; rest && err == nil; {
			text, rest, err = r.ReadLine()
			if long += len(text); long > noLine {
				return wrong("type one reading on each line", "what is typed has no line end within %d bytes", noLine)
			}
		}
		if err != nil && !cut {
			if errors.Is(err, io.EOF) {
				return nil
			}
			return err
		}
		if !take(line, cut) {
			return nil
		}
	}
}
