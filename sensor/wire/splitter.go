// Package wire turns what a board sends into numbers: bytes into lines, lines
// into a time, a value and a unit. It knows nothing of ports, of calibration
// or of ducts.
package wire

// MaxLine is the longest line kept, in bytes without its end.
const MaxLine = 512

// Splitter cuts a stream of byte chunks into lines that end in LF, CRLF or CR.
// However the stream is cut into chunks, the lines are the same.
type Splitter struct {
	buf     []byte
	over    bool // the line in buf grew past MaxLine
	afterCR bool // a CR just ended a line, so a LF now belongs to it
}

// NewSplitter returns an empty Splitter.
func NewSplitter() *Splitter { return &Splitter{buf: make([]byte, 0, 128)} }

// Feed takes the next chunk and yields each line that it completes, without
// its end. A line longer than [MaxLine] is yielded once, when it ends, as its
// first MaxLine bytes with tooLong set.
func (s *Splitter) Feed(chunk []byte, yield func(line string, tooLong bool)) {
	for len(chunk) > 0 {
		if s.afterCR {
			s.afterCR = false
			if chunk[0] == '\n' {
				chunk = chunk[1:]
				continue
			}
		}
		i := 0
		for i < len(chunk) && chunk[i] != '\n' && chunk[i] != '\r' {
			i++
		}
		s.keep(chunk[:i])
		if i == len(chunk) {
			return
		}
		s.afterCR = chunk[i] == '\r'
		chunk = chunk[i+1:]
		s.emit(yield)
	}
}

// Flush yields what stands in the buffer without a line end, if anything: the
// end of a stream, or of patience with it.
func (s *Splitter) Flush(yield func(line string, tooLong bool)) {
	if len(s.buf) > 0 {
		s.emit(yield)
	}
}

func (s *Splitter) keep(b []byte) {
	if room := MaxLine - len(s.buf); len(b) > room {
		b, s.over = b[:room], true
	}
	s.buf = append(s.buf, b...)
}

func (s *Splitter) emit(yield func(line string, tooLong bool)) {
	line, over := string(s.buf), s.over
	s.buf, s.over = s.buf[:0], false
	yield(line, over)
}
