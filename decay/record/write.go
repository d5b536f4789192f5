package record

import (
	"bufio"
	"fmt"
	"io"
	"strconv"
	"strings"

	"ebbline/decay"
)

// Write writes rec. The last line counts the readings, so that a reader knows
// whether the file is whole.
func Write(w io.Writer, rec Record) error {
	rw, err := NewWriter(w, rec)
	if err != nil {
		return err
	}
	for _, s := range rec.Samples {
		rw.Add(s)
	}
	for _, m := range rec.Marks {
		rw.Mark(m)
	}
	rw.Unended = rec.Unended
	return rw.Finish(rec.Result)
}

// Writer writes a record while its test runs, so that a test cut short leaves
// a record that can be read.
type Writer struct {
	b     *bufio.Writer
	extra []KeyValue
	n     int

	Unended bool // what Finish says of the test, see [Record]
}

// NewWriter writes the lines above the readings: all of rec but its readings
// and its result.
func NewWriter(w io.Writer, rec Record) (*Writer, error) {
	for _, kv := range rec.Extra {
		if !isKey(kv.Key) || kv.Key == endKey || kv.Key == markKey {
			return nil, fmt.Errorf("record: %q cannot be a key (small letters, digits, _ and -)", kv.Key)
		}
	}
	b := bufio.NewWriter(w)
	fmt.Fprintf(b, "%s%d\n", Magic, version)
	for _, f := range heading {
		if s := f.get(&rec); s != "" {
			fmt.Fprintf(b, "%s: %s\n", f.key, quote(s))
		}
	}
	for _, kv := range rec.Extra {
		if kv.Key != derivedKey {
			fmt.Fprintf(b, "%s: %s\n", kv.Key, quote(kv.Value))
		}
	}
	fmt.Fprintln(b, samplesLine)
	return &Writer{b: b, extra: rec.Extra}, nil
}

// Add writes a reading. An error shows at the next Flush or Finish.
func (w *Writer) Add(s decay.Sample) {
	w.n++
	w.b.WriteString(formatSeconds(s.At))
	w.b.WriteByte(',')
	w.b.WriteString(formatKilo(float64(s.P)))
	w.b.WriteByte('\n')
}

// Flush hands on what is buffered.
func (w *Writer) Flush() error {
	if err := w.b.Flush(); err != nil {
		return fmt.Errorf("record: %w", err)
	}
	return nil
}

// Finish writes the derived lines and the end line. It does not close the file.
func (w *Writer) Finish(result decay.Result) error {
	rec := Record{Result: result, Unended: w.Unended}
	for _, f := range derived {
		if s := f.get(&rec); s != "" {
			fmt.Fprintf(w.b, "%s: %s\n", derivedKey, quote(f.key+"="+s))
		}
	}
	for _, kv := range w.extra {
		if kv.Key == derivedKey {
			fmt.Fprintf(w.b, "%s: %s\n", derivedKey, quote(kv.Value))
		}
	}
	fmt.Fprintf(w.b, "%s: %d samples\n", endKey, w.n)
	return w.Flush()
}

const (
	derivedKey = "derived"
	endKey     = "end"
)

// isKey reports whether k can stand before the colon of a line.
func isKey(k string) bool {
	for i, r := range k {
		if !(r >= 'a' && r <= 'z' || i > 0 && (r >= '0' && r <= '9' || r == '_' || r == '-')) {
			return false
		}
	}
	return k != ""
}

// quote prints s as it is when it fits on a line and reads back the same, else
// in Go's quotes.
func quote(s string) string {
	if s == "" || strings.TrimSpace(s) != s || strings.HasPrefix(s, `"`) || strings.ContainsFunc(s, func(r rune) bool { return !strconv.IsPrint(r) }) {
		return strconv.Quote(s)
	}
	return s
}
