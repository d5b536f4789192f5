package main

import (
	"bufio"
	"errors"
	"io"
)

// longestLine is how long, in bytes, a typed line may be.
const longestLine = 4096

// typedLines gives each line of in to take until take says no more. Of a line
// that is too long to be meant only the beginning is given, and cut is true.
func typedLines(in io.Reader, take func(text string, cut bool) (more bool)) error {
	r := bufio.NewReaderSize(in, longestLine)
	for {
		text, cut, err := r.ReadLine()
		line := string(text)
		for rest := cut; rest && err == nil; {
			_, rest, err = r.ReadLine()
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
