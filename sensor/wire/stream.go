package wire

import (
	"errors"
	"fmt"
	"time"
)

// Line is one line of a stream, and what it tells.
type Line struct {
	At      time.Duration // of arrival of its end
	Text    string        // without its end, as received
	Partial bool          // nothing was received before it, so its beginning may be missing
	Fields  Fields        // when Err is nil
	Err     error         // an [ErrSkip] for lines that hold no reading and are not wrong
}

// ErrTooLong is the error of a line of more than [MaxLine] bytes.
var ErrTooLong = fmt.Errorf("the line is longer than %d bytes", MaxLine)

// A stream holds lines back, until the next ones explain them, no further
// than this.
const (
	maxHeld = 64
	maxWait = 3 * time.Second
)

// Stream turns bytes as they arrive into lines and their meaning. Lines whose
// meaning hangs on the next ones (is the first number a clock, in which unit,
// is a comma decimal) are held back until that is known, so that the first
// lines, too, get their times; a line is held for a few lines at most.
// However a stream is cut into chunks, the lines are the same.
type Stream struct {
	split *Splitter
	dec   *LineDecoder
	first bool // the next line is the first
	held  []Line
	at    time.Duration
}

// NewStream returns a stream that has seen nothing yet.
func NewStream(opt Options) *Stream {
	return &Stream{split: NewSplitter(), dec: NewLineDecoder(opt), first: true}
}

// Detected says in plain words what format the lines have, as
// [LineDecoder.Detected] does.
func (s *Stream) Detected() string { return s.dec.Detected() }

// Feed takes the bytes that arrived at a time, since any moment that stays the
// same, and yields the lines that are complete and understood, in order.
func (s *Stream) Feed(at time.Duration, data []byte, yield func(Line)) {
	s.at = at
	s.split.Feed(data, func(text string, tooLong bool) { s.line(text, tooLong, yield) })
}

// Flush yields what was held back, and with tail set also what stands in the
// buffer without a line end: the end of a stream. Without its end a line may
// have been cut in the middle of a number.
func (s *Stream) Flush(tail bool, yield func(Line)) {
	if tail {
		s.split.Flush(func(text string, tooLong bool) { s.line(text, tooLong, yield) })
	}
	if len(s.held) > 1 && !s.dec.comma.undecided() {
		// No more comes to explain them: the steps alone have to do.
		s.dec.time.hurry = true
		s.dec.Rewind()
		for _, l := range s.held {
			if !errors.Is(l.Err, ErrTooLong) {
				_, _ = s.dec.DecodeAt(l.At, l.Text)
			}
		}
		s.explain(yield)
	}
	s.release(yield)
}

func (s *Stream) line(text string, tooLong bool, yield func(Line)) {
	l := Line{At: s.at, Text: text, Partial: s.first}
	s.first = false
	if tooLong {
		l.Err = ErrTooLong
	} else {
		if len(s.held) >= maxHeld || len(s.held) > 0 && s.at-s.held[0].At > maxWait {
			s.dec.time.hurry = true
		}
		l.Fields, l.Err = s.dec.DecodeAt(s.at, text)
	}
	switch pending := !tooLong && s.dec.pending; {
	case pending && len(s.held) < 2*maxHeld, len(s.held) > 0 && (tooLong || l.Err != nil) && !errors.Is(l.Err, errNoClock) && len(s.held) < 2*maxHeld:
		s.held = append(s.held, l)
	case len(s.held) == 0:
		yield(l)
	case errors.Is(l.Err, errNoClock):
		for i := range s.held {
			if s.held[i].Err == nil {
				s.held[i].Fields, s.held[i].Err = Fields{}, errNoClock
			}
		}
		s.held = append(s.held, l)
		s.release(yield)
	default:
		s.held = append(s.held, l)
		s.explain(yield)
	}
}

// explain decodes the held lines anew, now that their format is known.
func (s *Stream) explain(yield func(Line)) {
	held := s.held
	s.held = nil
	known := s.dec.time.scale != 0 || s.dec.comma.decided
	if known {
		s.dec.Rewind()
	}
	for _, l := range held {
		if known && !errors.Is(l.Err, ErrTooLong) {
			l.Fields, l.Err = s.dec.DecodeAt(l.At, l.Text)
		}
		yield(l)
	}
}

func (s *Stream) release(yield func(Line)) {
	for _, l := range s.held {
		yield(l)
	}
	s.held = nil
}
