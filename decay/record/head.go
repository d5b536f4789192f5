package record

import (
	"bytes"
	"errors"
	"fmt"
	"io"
)

// Head is a record without its readings and marks, as a list needs it. Its
// Digest says whether what stands above and below the readings is as it was
// written; the readings themselves were not looked at.
type Head struct {
	Record
	Count int // of readings, as the end line has it; 0 when torn
}

// chunk is what is read of either end of a record at first: more than what
// stands above the readings, and below them, of a usual record.
const chunk = 2 << 10

// ReadHead reads both ends of a record of size bytes and passes the readings
// over, so that its cost does not depend on the length of the test. It judges
// as [Read] does, but for what is wrong among the readings.
func ReadHead(r io.ReaderAt, size int64) (Head, error) {
	p := newParser()
	p.headOnly, p.sums.all = true, nil
	finish := func() (Head, error) {
		p.rec.Torn = !p.ended
		return Head{p.rec, p.count}, nil
	}

	// Down to the line above the readings.
	at := int64(0)
	var buf []byte
	for want := int64(chunk); !p.readings; want = min(2*want, maxLine) {
		buf = grown(buf, min(want, size-at))
		if err := readAt(r, buf, at); err != nil {
			return Head{}, err
		}
		rest := buf
		for !p.readings {
			line, after, whole := bytes.Cut(rest, lineFeed)
			if !whole {
				break
			}
			rest = after
			if err := p.take(line); err != nil {
				if p.n > 1 && at+int64(len(buf)-len(rest)) == size { // the last line: torn
					return finish()
				}
				return Head{}, err
			}
		}
		used := int64(len(buf) - len(rest))
		at += used
		if p.readings {
			break
		}
		if at+int64(len(rest)) == size { // all was read
			if p.n == 0 {
				return Head{}, fmt.Errorf("record: %w (the first line does not say so)", ErrForeign)
			}
			return finish()
		}
		if used == 0 && int64(len(buf)) == maxLine {
			return Head{}, fmt.Errorf("record: line %d: longer than %d bytes: %w", p.n+1, maxLine, ErrForeign)
		}
	}

	// Up to the first of the results. A file torn among the readings has none.
	var tail []byte
	for want := int64(chunk); ; want *= 2 {
		from := max(at, size-want)
		buf = grown(buf, size-from)
		if err := readAt(r, buf, from); err != nil {
			return Head{}, err
		}
		cut := buf[bytes.LastIndexByte(buf, '\n')+1:] // a line without its end
		start := len(buf) - len(cut)
		if len(cut) == 0 && start > 0 {
			// Of a torn file the last line may be whole and make no sense.
			if last := bytes.LastIndexByte(buf[:start-1], '\n') + 1; (last > 0 || from == at) && !isResult(buf[last:start]) {
				start = last
			}
		}
		bottom := start
		for start > 0 {
			above := bytes.LastIndexByte(buf[:start-1], '\n') + 1
			if above == 0 && from > at || !isResult(buf[above:start]) {
				break
			}
			start = above
		}
		// The line above what was found has to be seen whole, or be the one above the readings.
		if from == at || bytes.IndexByte(buf[:max(0, start-1)], '\n') >= 0 {
			if start < bottom {
				tail = buf[start:]
			}
			break
		}
		if want > 2*maxLine {
			return Head{}, fmt.Errorf("record: more than %d bytes of results: %w", maxLine, ErrForeign)
		}
	}
	for len(tail) > 0 {
		line, after, whole := bytes.Cut(tail, lineFeed)
		if !whole {
			return finish()
		}
		if err := p.take(line); err != nil {
			if len(after) == 0 && !errors.Is(err, errAfterEnd) {
				return finish()
			}
			return Head{}, errors.New("record: below the readings: " + errors.Unwrap(err).Error())
		}
		tail = after
	}
	return finish()
}

// results begin the lines that can stand below the readings.
var results = [][]byte{[]byte(derivedKey + ": "), []byte(factsKey + ": "), []byte(digestKey + ": "), []byte(endKey + ": ")}

// isResult tells whether a line can stand below the readings.
func isResult(line []byte) bool {
	for _, k := range results {
		if bytes.HasPrefix(line, k) {
			return true
		}
	}
	return false
}

// grown is b with room for n bytes.
func grown(b []byte, n int64) []byte {
	if int64(cap(b)) < n {
		return make([]byte, n)
	}
	return b[:n]
}

// readAt fills b.
func readAt(r io.ReaderAt, b []byte, at int64) error {
	if n, err := r.ReadAt(b, at); n < len(b) {
		return fmt.Errorf("record: %w", err)
	}
	return nil
}
