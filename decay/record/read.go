package record

import (
	"bufio"
	"errors"
	"fmt"
	"io"
	"strconv"
	"strings"

	"ebbline/decay"
)

// maxLine bounds a line, so that a file of another kind cannot fill the memory.
const maxLine = 1 << 20

// Read reads a record. A file whose end is missing gives what is whole, with
// Torn set; anything else that is wrong is an error that names the line.
func Read(r io.Reader) (Record, error) {
	var p parser
	br := bufio.NewReader(r)
	var pending error // what was wrong with the latest line: forgiven when it is the last
	for {
		line, whole, err := readLine(br)
		if err != nil {
			return Record{}, fmt.Errorf("record: line %d: %w", p.n+1, err)
		}
		if !whole && line == "" {
			break
		}
		if pending != nil {
			return Record{}, pending
		}
		p.n++
		if !whole {
			// A line without its end may have lost digits that still parse.
			pending = errors.New("cut line")
			continue
		}
		if err := p.line(strings.TrimSuffix(line, "\r")); err != nil {
			if p.n == 1 || errors.Is(err, errAfterEnd) {
				return Record{}, fmt.Errorf("record: line %d: %w", p.n, err)
			}
			pending = fmt.Errorf("record: line %d: %w", p.n, err)
		}
	}
	if p.n == 0 || p.n == 1 && pending != nil {
		return Record{}, errors.New("record: not a record (the first line does not say so)")
	}
	if pending != nil || !p.ended {
		p.rec.Torn, p.rec.TornLine = true, p.n
	}
	return p.rec, nil
}

// readLine returns a line without its end, and whether it had one.
func readLine(br *bufio.Reader) (line string, whole bool, err error) {
	var b []byte
	for {
		part, err := br.ReadSlice('\n')
		b = append(b, part...)
		switch {
		case len(b) > maxLine:
			return "", false, fmt.Errorf("longer than %d bytes: not a record", maxLine)
		case err == nil:
			return string(b[:len(b)-1]), true, nil
		case errors.Is(err, io.EOF):
			return string(b), false, nil
		case !errors.Is(err, bufio.ErrBufferFull):
			return "", false, err
		}
	}
}

var errAfterEnd = errors.New("text after the end line")

type parser struct {
	rec     Record
	n       int // lines seen
	samples bool
	ended   bool
	seen    map[string]bool
}

func (p *parser) line(s string) error {
	if p.n == 1 {
		v, ok := strings.CutPrefix(s, Magic)
		n, err := strconv.Atoi(v)
		if !ok || err != nil || n < 1 {
			return fmt.Errorf("not a record: a record begins with %q", Magic+"1")
		}
		if n > version {
			return fmt.Errorf("record version %d is newer than this program knows (%d): use a newer program", n, version)
		}
		return nil
	}
	if p.ended {
		return errAfterEnd
	}
	if s == samplesLine && !p.samples {
		p.samples = true
		return nil
	}
	key, value, ok := strings.Cut(s, ": ")
	if !ok || !isKey(key) {
		if p.samples {
			return p.sample(s)
		}
		return fmt.Errorf("%q is neither %q nor a key with its value", clip(s), samplesLine)
	}
	if strings.HasPrefix(value, `"`) {
		v, err := strconv.Unquote(value)
		if err != nil {
			return fmt.Errorf("%s: the quotes of %q do not close", key, clip(value))
		}
		value = v
	}
	switch key {
	case endKey:
		count, err := strconv.Atoi(strings.TrimSuffix(value, " samples"))
		if err != nil || count != len(p.rec.Samples) {
			return fmt.Errorf("the end line says %q, but %d readings were read", clip(value), len(p.rec.Samples))
		}
		p.ended = true
		return nil
	case markKey:
		m, err := parseMark(value)
		if err == nil {
			p.rec.Marks = append(p.rec.Marks, m)
		}
		return err
	case derivedKey:
		k, v, _ := strings.Cut(value, "=")
		return p.field(derived, derivedKey+"."+k, k, v, KeyValue{derivedKey, value})
	}
	return p.field(heading, key, key, value, KeyValue{key, value})
}

// field sets the field of that name, or keeps the line when there is none.
func (p *parser) field(fields []field, id, key, value string, line KeyValue) error {
	for _, f := range fields {
		if f.key != key {
			continue
		}
		if p.seen[id] {
			return fmt.Errorf("%s is there twice", key)
		}
		if p.seen == nil {
			p.seen = map[string]bool{}
		}
		p.seen[id] = true
		if err := f.set(&p.rec, value); err != nil {
			return fmt.Errorf("%s: %w", key, err)
		}
		return nil
	}
	p.rec.Extra = append(p.rec.Extra, line)
	return nil
}

func (p *parser) sample(s string) error {
	at, pressure, ok := strings.Cut(s, ",")
	if !ok {
		return fmt.Errorf("%q is not a reading (%s)", clip(s), samplesLine)
	}
	d, err := parseSeconds(at)
	if err != nil {
		return err
	}
	v, err := parseKilo(pressure)
	if err != nil {
		return err
	}
	p.rec.Samples = append(p.rec.Samples, decay.Sample{At: d, P: decay.Pressure(v)})
	return nil
}

// clip shortens a line for an error message.
func clip(s string) string {
	if len(s) > 60 {
		return s[:60] + "…"
	}
	return s
}
