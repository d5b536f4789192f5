package main

import (
	"bufio"
	"fmt"
	"io"
	"os"

	"ebbline/decay"
	"ebbline/decay/record"
	"ebbline/sensor/trace"
)

// sized tells a reader's length, so that its whole can be read without growing.
type sized struct {
	io.Reader
	n int
}

func (s sized) Len() int { return s.n }

// load reads a trace, or a record of this program, from in.
func load(in io.Reader, name string, opt trace.Options) (trace.Trace, error) {
	b := bufio.NewReader(in)
	if head, _ := b.Peek(len(record.Magic)); string(head) == record.Magic {
		return loadRecord(b, name)
	}
	var r io.Reader = b
	if file, ok := in.(*os.File); ok {
		if st, err := file.Stat(); err == nil && st.Mode().IsRegular() {
			r = sized{b, int(st.Size())}
		}
	}
	return trace.Read(r, name, opt)
}

func loadRecord(r io.Reader, name string) (trace.Trace, error) {
	rec, err := record.Read(r)
	if err != nil {
		return trace.Trace{}, wrong("the file is not a whole record; the capture beside it holds the same test", "%s: %w", name, err)
	}
	tr := trace.Trace{Samples: rec.Samples, Reads: rec.Setup.Reads, ReadsStated: true, Unit: "kPa", Rows: len(rec.Samples), Setup: &rec.Setup}
	if rec.Torn {
		tr.Warnings = append(tr.Warnings, decay.Warning{Code: "torn",
			Text: fmt.Sprintf("the record ends at line %d without its last line; what is whole was read", rec.TornLine)})
	}
	return tr, nil
}
