package main

import (
	"bufio"
	"bytes"
	"errors"
	"fmt"
	"io"
	"math"
	"os"
	"time"

	"ebbline/decay"
	"ebbline/sensor/replay"
	"ebbline/sensor/trace"
	"ebbline/sensor/wire"
)

// sized tells a reader's length, so that its whole can be read without growing.
type sized struct {
	io.Reader
	n int
}

func (s sized) Len() int { return s.n }

// load reads a trace, a record or a capture from in.
func load(in io.Reader, name string, opt trace.Options) (trace.Trace, error) {
	b := bufio.NewReader(in)
	if head, _ := b.Peek(len(replay.Magic)); string(head) == replay.Magic {
		return loadCapture(b, name, opt)
	}
	var r io.Reader = b
	if file, ok := in.(*os.File); ok {
		if st, err := file.Stat(); err == nil && st.Mode().IsRegular() {
			r = sized{b, int(st.Size())}
		}
	}
	return trace.Read(r, name, opt)
}

// loadCapture decodes a capture into a table of its readings and reads that.
// The board's own clock is used where it prints one, else the time of arrival.
func loadCapture(r io.Reader, name string, opt trace.Options) (trace.Trace, error) {
	c, err := replay.ReadCapture(r)
	if err != nil {
		return trace.Trace{}, wrong("a capture begins with the line "+replay.Magic+" 1", "%s: %w", name, err)
	}
	stated := wire.Options{Unit: c.Header["unit"], Reference: c.Header["reads"]}
	if opt.Unit != "" {
		stated.Unit = opt.Unit
	}
	if opt.Reads != nil {
		stated.Reference = opt.Reads.String()
	}
	stream := wire.NewStream(stated)
	var table bytes.Buffer
	var unit, ref string
	bad, badFirst := 0, ""
	var before time.Duration
	offset := math.NaN() // from the board's clock to the capture's, s
	take := func(lines []wire.Line) error {
		for i, line := range lines {
			f, err := line.Fields, line.Err
			if err != nil {
				// What a board prints while it starts is no reading lost.
				if !errors.Is(err, wire.ErrSkip) && table.Len() > 0 {
					bad++
					if badFirst == "" {
						badFirst = err.Error()
					}
				}
				continue
			}
			at := before.Seconds() + (line.At-before).Seconds()*float64(i+1)/float64(len(lines))
			if f.HasTime {
				if !(math.Abs(f.Time+offset-at) < 2) { // first, or the board was reset
					offset = at - f.Time
				}
				at = f.Time + offset
			}
			if f.Unit == "" || f.Unit == "V" || f.Unit == "mV" || f.Unit == "counts" {
				return wrong("say what the values are, for example --unit psi", "%s: the lines name no pressure unit (%s)", name, stream.Detected())
			}
			if table.Len() == 0 {
				unit, ref = f.Unit, f.Reference
				fmt.Fprintln(&table, "time_s,pressure")
			}
			fmt.Fprintf(&table, "%.6f,%v\n", at, f.Value)
		}
		return nil
	}
	var lines []wire.Line // that arrived together
	keep := func(l wire.Line) { lines = append(lines, l) }
	for _, chunk := range c.Chunks {
		stream.Feed(chunk.At, chunk.Data, keep)
		// Lines that were held back until they were understood come with later ones.
		for len(lines) > 0 {
			n := 1
			for n < len(lines) && lines[n].At == lines[0].At {
				n++
			}
			if err := take(lines[:n]); err != nil {
				return trace.Trace{}, err
			}
			before = lines[0].At
			lines = lines[n:]
		}
	}
	stream.Flush(false, keep)
	if err := take(lines); err != nil {
		return trace.Trace{}, err
	}
	if table.Len() == 0 {
		return trace.Trace{}, wrong("nothing was received, or nothing that was understood", "%s: the capture holds no readings", name)
	}
	opt.Unit = unit
	switch ref {
	case "gauge", "absolute":
		read := decay.ReadsGauge
		if ref == "absolute" {
			read = decay.ReadsAbsolute
		}
		opt.Reads = &read
	}
	tr, err := trace.Read(&table, name, opt)
	if err != nil {
		return tr, err
	}
	if c.Torn {
		tr.Warnings = append(tr.Warnings, decay.Warning{Code: "torn", Text: "the capture ends in the middle of a line; what is whole was read"})
	}
	if bad > 0 {
		tr.Rows, tr.BadRows = tr.Rows+bad, tr.BadRows+bad
		tr.Flags = join(tr.Flags, []decay.Flag{decay.FlagBadRows})
		tr.Warnings = append(tr.Warnings, decay.Warning{Code: "bad-rows", Text: fmt.Sprintf("%d lines of the capture could not be read, the first: %s", bad, badFirst)})
	}
	return tr, nil
}
