package record

import (
	"bufio"
	"fmt"
	"io"
	"slices"
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
	sums  digester
	room  []byte // of the line being made
	extra []KeyValue
	n     int

	Unended bool // what Finish says of the test, see [Record]
}

// NewWriter writes the lines above the readings: all of rec but its readings
// and its result.
func NewWriter(w io.Writer, rec Record) (*Writer, error) {
	for _, kv := range rec.Extra {
		if !isKey(kv.Key) || slices.Contains([]string{endKey, markKey, factsKey, digestKey}, kv.Key) {
			return nil, fmt.Errorf("record: %q cannot be a key (small letters, digits, _ and -)", kv.Key)
		}
	}
	out := &Writer{b: bufio.NewWriter(w), sums: newDigester(), extra: rec.Extra}
	out.put(true, Magic, strconv.Itoa(version))
	for _, f := range heading {
		if s := f.get(&rec); s != "" {
			out.put(true, f.key, ": ", quote(s))
		}
	}
	for _, kv := range rec.Extra {
		if kv.Key != derivedKey {
			out.put(true, kv.Key, ": ", quote(kv.Value))
		}
	}
	out.put(true, samplesLine)
	return out, nil
}

// put writes a line made of parts. An error shows at the next Flush.
func (w *Writer) put(isFact bool, parts ...string) {
	w.room = w.room[:0]
	for _, p := range parts {
		w.room = append(w.room, p...)
	}
	w.sums.line(w.room, isFact)
	w.b.Write(w.room)
	w.b.WriteByte('\n')
}

// Add writes a reading. An error shows at the next Flush or Finish.
func (w *Writer) Add(s decay.Sample) {
	w.n++
	w.put(false, formatSeconds(s.At), ",", formatKilo(float64(s.P)))
}

// Flush hands on what is buffered.
func (w *Writer) Flush() error {
	if err := w.b.Flush(); err != nil {
		return fmt.Errorf("record: %w", err)
	}
	return nil
}

// Finish writes the derived lines, the digests and the end line. It does not close the file.
func (w *Writer) Finish(result decay.Result) error {
	rec := Record{Result: result, Unended: w.Unended}
	for _, f := range derived {
		if s := f.get(&rec); s != "" {
			w.put(true, derivedKey, ": ", quote(f.key+"="+s))
		}
	}
	for _, kv := range w.extra {
		if kv.Key == derivedKey {
			w.put(true, derivedKey, ": ", quote(kv.Value))
		}
	}
	w.put(false, factsKey, ": ", sum(w.sums.facts))
	w.put(false, digestKey, ": ", sum(w.sums.all))
	w.put(false, endKey, ": ", strconv.Itoa(w.n), " samples")
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
