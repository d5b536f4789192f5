package record

import (
	"bufio"
	"bytes"
	"crypto/sha256"
	"errors"
	"fmt"
	"hash"
	"io"
	"strconv"
	"strings"
	"time"

	"ebbline/decay"
)

// What is taken from a record, so that no file fills the memory or is read for
// ever. Ten million samples are almost three hours at 1 kHz; of a longer test
// means of neighbouring readings are. A hundred million readings are a day and
// more. Texts are labels, marks and lines of other versions.
const (
	maxLine     = 1 << 20     // bytes
	maxText     = 4 << 20     // bytes of all texts together
	maxSamples  = 10_000_000  // an even number
	maxReadings = 100_000_000 // lines
)

// What a file can be instead of a record this program can read; test with
// errors.Is.
var (
	ErrForeign = errors.New("not a record")
	ErrNewer   = errors.New("of a newer version")
	errTooMuch = errors.New("more than a record may hold")
)

// Read reads a record and checks its digests. A file whose end is missing gives
// what is whole, with Torn set, and one that was changed has Digest set so;
// anything else that is wrong is an error that names the line. It is ErrForeign
// or ErrNewer where that is what is wrong.
func Read(r io.Reader) (Record, error) {
	p := newParser()
	br := bufio.NewReader(r)
	var pending error // what was wrong with the latest line: forgiven when it is the last
	var room []byte
	for {
		line, whole, err := readLine(br, room[:0])
		if err != nil {
			return Record{}, fmt.Errorf("record: line %d: %w", p.n+1, err)
		}
		if !whole && len(line) == 0 {
			break
		}
		if pending != nil {
			return Record{}, pending
		}
		room = line
		if !whole {
			p.n++
			// A line without its end may have lost digits that still parse.
			pending = errors.New("cut line")
			continue
		}
		if err := p.take(line); err != nil {
			if p.n == 1 || errors.Is(err, errAfterEnd) || errors.Is(err, errTooMuch) {
				return Record{}, err
			}
			pending = err
		}
	}
	if p.n == 0 || p.n == 1 && pending != nil {
		return Record{}, fmt.Errorf("record: %w (the first line does not say so)", ErrForeign)
	}
	if pending != nil || !p.ended {
		p.rec.Torn, p.rec.TornLine = true, p.n
	}
	return p.rec, nil
}

// readLine appends a line without its end to b, and tells whether it had one.
func readLine(br *bufio.Reader, b []byte) (line []byte, whole bool, err error) {
	for {
		part, err := br.ReadSlice('\n')
		b = append(b, part...)
		switch {
		case len(b) > maxLine:
			return b, false, fmt.Errorf("longer than %d bytes: %w", maxLine, ErrForeign)
		case err == nil:
			return b[:len(b)-1], true, nil
		case errors.Is(err, io.EOF):
			return b, false, nil
		case !errors.Is(err, bufio.ErrBufferFull):
			return b, false, err
		}
	}
}

var errAfterEnd = errors.New("text after the end line")

// parser takes a record line by line: what stands above the readings, the
// readings with the marks among them, what was derived from them, the digests,
// the end.
type parser struct {
	rec               Record
	version           int
	n                 int  // lines seen
	readings, derived bool // the line above them was seen
	ended             bool
	seen              map[string]bool
	text              int // bytes of texts that are kept

	sums       digester
	want       [2]string // the digests as written: facts, all
	got        [2]string // as computed
	digestLine int       // of the latter
	headOnly   bool      // the readings are passed over
	count      int       // of readings, as the end line has it

	read int          // readings so far
	room int          // samples at most
	per  int          // of how many readings a sample is the mean
	mean decay.Sample // of the readings that are no sample yet
	part int          // how many those are
}

func newParser() *parser {
	return &parser{sums: newDigester(), seen: map[string]bool{}, room: maxSamples, per: 1}
}

// take takes a whole line without its end. An error names the line.
func (p *parser) take(line []byte) error {
	p.n++
	err := p.line(line)
	if err != nil {
		return fmt.Errorf("record: line %d: %w", p.n, err)
	}
	return nil
}

func (p *parser) line(b []byte) error {
	s := string(bytes.TrimSuffix(b, []byte("\r")))
	if p.n == 1 {
		v, ok := strings.CutPrefix(s, Magic)
		n, err := strconv.Atoi(v)
		if !ok || err != nil || n < 1 {
			return fmt.Errorf("%w: a record begins with %q", ErrForeign, Magic+"1")
		}
		if n > version {
			return fmt.Errorf("the record is %w (%d) than this program knows (%d): use a newer program", ErrNewer, n, version)
		}
		p.version = n
		p.sums.line(b, true)
		return nil
	}
	if p.ended {
		return errAfterEnd
	}
	if s == samplesLine && !p.readings {
		p.readings = true
		p.sums.line(b, true)
		return nil
	}
	key, value, ok := strings.Cut(s, ": ")
	if !ok || !isKey(key) {
		if p.readings && !p.derived {
			p.sums.line(b, false)
			return p.sample(s)
		}
		if p.readings {
			return fmt.Errorf("%q stands below the results", clip(s))
		}
		return fmt.Errorf("%q is neither %q nor a key with its value", clip(s), samplesLine)
	}
	if p.text += len(s); p.text > maxText {
		return fmt.Errorf("the lines beside the readings are longer than %d bytes, %w", maxText, errTooMuch)
	}
	if strings.HasPrefix(value, `"`) {
		v, err := strconv.Unquote(value)
		if err != nil {
			return fmt.Errorf("%s: the quotes of %q do not close", key, clip(value))
		}
		value = v
	}
	switch key {
	case endKey, markKey, derivedKey, factsKey, digestKey:
		if !p.readings {
			return fmt.Errorf("%s: stands above the line %q", key, samplesLine)
		}
	default:
		if p.readings {
			return fmt.Errorf("%s: stands below the line %q", clip(key), samplesLine)
		}
		p.sums.line(b, true)
		return p.field(heading, key, key, value, KeyValue{key, value})
	}
	switch key {
	case markKey:
		if p.derived {
			return fmt.Errorf("%s: stands below the results", key)
		}
		p.sums.line(b, false)
		m, err := parseMark(value)
		if err == nil {
			p.rec.Marks = append(p.rec.Marks, m)
		}
		return err
	case derivedKey:
		p.derived = true
		p.sums.line(b, true)
		k, v, _ := strings.Cut(value, "=")
		return p.field(derived, derivedKey+"."+k, k, v, KeyValue{derivedKey, value})
	case factsKey:
		return p.digest(0, key, value, p.sums.facts, b)
	case digestKey:
		p.digestLine = p.n
		return p.digest(1, key, value, p.sums.all, b)
	}
	return p.end(value)
}

// digest takes one of the digests and computes it from the lines so far.
func (p *parser) digest(i int, key, value string, h hash.Hash, line []byte) error {
	if p.want[i] != "" {
		return fmt.Errorf("%s is there twice", key)
	}
	if len(value) != 2*sha256.Size {
		return fmt.Errorf("%s: %q is not a SHA-256 of %d digits", key, clip(value), 2*sha256.Size)
	}
	p.derived = true
	p.want[i], p.got[i] = value, sum(h)
	p.sums.line(line, false)
	return nil
}

// end takes the end line.
func (p *parser) end(value string) error {
	count, err := strconv.Atoi(strings.TrimSuffix(value, " samples"))
	if err != nil || count < 0 {
		return fmt.Errorf("the end line says %q", clip(value))
	}
	p.count = count
	p.rec.Digest = p.fits()
	if p.rec.Digest == DigestFits {
		p.rec.Sum = p.want[1]
	}
	if !p.headOnly && count != p.read {
		if p.version == 1 {
			return fmt.Errorf("the end line says %q, but %d readings were read", clip(value), p.read)
		}
		p.rec.Digest, p.rec.Sum = DigestDiffers, ""
	}
	p.ended = true
	return nil
}

// fits compares the digests.
func (p *parser) fits() Digest {
	switch {
	case p.version == 1 && p.want == [2]string{}:
		return NoDigest
	case p.want[0] == "" || p.want[1] == "" || p.digestLine != p.n-1, p.want[0] != p.got[0]:
		return DigestDiffers
	case !p.headOnly && p.want[1] != p.got[1]:
		return DigestDiffers
	}
	return DigestFits
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
	if p.read == maxReadings {
		return fmt.Errorf("there are more than %d readings, %w", maxReadings, errTooMuch)
	}
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
	p.read++
	p.part++
	p.mean.At += (d - p.mean.At) / time.Duration(p.part)
	p.mean.P += (decay.Pressure(v) - p.mean.P) / decay.Pressure(p.part)
	if p.part < p.per {
		return nil
	}
	if len(p.rec.Samples) == p.room {
		p.halve()
		return nil // the reading is the first of a pair
	}
	p.rec.Samples = append(p.rec.Samples, p.mean)
	p.mean, p.part = decay.Sample{}, 0
	return nil
}

// halve takes neighbouring samples together, two by two.
func (p *parser) halve() {
	all := p.rec.Samples
	for i := range len(all) / 2 {
		a, b := all[2*i], all[2*i+1]
		all[i] = decay.Sample{At: a.At + (b.At-a.At)/2, P: (a.P + b.P) / 2}
	}
	p.rec.Samples = all[:len(all)/2]
	p.per *= 2
	p.rec.MeanOf = p.per
}

// clip shortens a line for an error message.
func clip(s string) string {
	if len(s) > 60 {
		return s[:60] + "…"
	}
	return s
}
