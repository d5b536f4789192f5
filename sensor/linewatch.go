package sensor

import (
	"errors"
	"fmt"
	"strings"
	"time"
	"unicode/utf8"

	"ebbline/sensor/wire"
)

// lineWatch finds from the lines what is wrong with the way they come: a wrong
// baud rate, noise, half lines, a board that starts anew. It keeps no clock,
// and its memory is constant.
type lineWatch struct {
	name   string
	baud   int
	polled bool // the lines are ours, made of a transmitter's answers

	classes [lineWindow]lineClass
	n       int // lines seen
	known   [256]bool
	valid   bool          // a reading has come
	good    int           // readings in a row
	goodAt  time.Duration // of the latest
	step    time.Duration // shortest time between two readings that did not come together; 0 not known
	since   time.Duration // first byte after the latest reading
	bytes   int           // that came after it
	noise   int           // of them no text
	active  map[string]bool
	badSaid time.Duration
	bad     int
	reset   time.Duration // latest that was told
}

type lineClass uint8

const (
	lineGood lineClass = iota
	lineOdd            // words that are no reading
	lineHalf           // a piece of one
	lineBinary
)

// Constants of the watch over the lines.
const (
	lineWindow = 32
	linesBegin = 4 // of the window
	linesEnd   = 0
	baudBytes  = 60
	baudShare  = 0.25
	baudSpan   = 1500 * time.Millisecond
	goodAgain  = 3
	bootGap    = 500 * time.Millisecond // without a reading, and five periods
)

func newLineWatch(name string, baud int) *lineWatch {
	return &lineWatch{name: name, baud: baud, active: map[string]bool{}}
}

// restart forgets what belonged to a board that was unplugged.
func (w *lineWatch) restart(at time.Duration) (out []Fault) {
	for _, c := range []string{FaultWrongBaud, FaultBinaryNoise, FaultHalfLines} {
		out = w.end(out, at, c, "the board was plugged in again")
	}
	*w = lineWatch{name: w.name, baud: w.baud, polled: w.polled, active: w.active, badSaid: w.badSaid, reset: w.reset}
	return out
}

func (w *lineWatch) begin(out []Fault, at time.Duration, code, text, hint string) []Fault {
	if w.active[code] {
		return out
	}
	w.active[code] = true
	return append(out, Fault{At: at, Code: code, State: Begins, Text: w.name + ": " + text, Hint: hint})
}

func (w *lineWatch) end(out []Fault, at time.Duration, code, text string) []Fault {
	if !w.active[code] {
		return out
	}
	delete(w.active, code)
	return append(out, Fault{At: at, Code: code, State: Ends, Text: w.name + ": " + text, Hint: "the test goes on"})
}

// chunk takes bytes as they arrived.
func (w *lineWatch) chunk(at time.Duration, data []byte) (out []Fault) {
	if len(data) == 0 || w.polled {
		return nil
	}
	if w.bytes == 0 {
		w.since = at
	}
	w.bytes += len(data)
	for _, b := range data {
		if b < ' ' && b != '\r' && b != '\n' && b != '\t' || b >= 0x7f {
			w.noise++
		}
	}
	if w.bytes >= baudBytes && at-w.since >= baudSpan && float64(w.noise) >= baudShare*float64(w.bytes) {
		out = w.begin(out, at, FaultWrongBaud, fmt.Sprintf("what arrives at %d baud is no text", w.baud),
			"set --baud to the rate of the board's program; usual are "+otherRates(w.baud))
	}
	return out
}

// otherRates lists the usual rates other than one.
func otherRates(baud int) string {
	var out []string
	for _, r := range []string{"9600", "19200", "38400", "57600", "115200", "230400"} {
		if r != fmt.Sprint(baud) {
			out = append(out, r)
		}
	}
	return strings.Join(out, ", ")
}

// line takes one line and what the decoder made of it.
func (w *lineWatch) line(at time.Duration, text string, err error) (out []Fault) {
	if err == nil {
		return w.reading(at, text)
	}
	binary := !utf8.ValidString(text) || strings.ContainsFunc(text, func(r rune) bool { return r < ' ' && r != '\t' || r == 0x7f })
	if !w.valid || w.polled {
		return nil // before the first reading a board may print anything
	}
	gap := at - w.goodAt
	anew := gap >= bootGap && gap >= 5*w.step
	if errors.Is(err, wire.ErrSkip) {
		if anew && strings.TrimSpace(text) != "" {
			out = w.booted(out, at, text)
		}
		return out
	}
	w.good = 0
	class := lineOdd
	switch {
	case binary:
		class = lineBinary
	case w.piece(text):
		class = lineHalf
	}
	if anew && class == lineOdd {
		return w.booted(out, at, text)
	}
	out = w.count(out, at, class)
	w.bad++
	if w.active[FaultHalfLines] || w.active[FaultBinaryNoise] || w.active[FaultWrongBaud] || anew {
		w.bad = 0
		return out
	}
	if w.badSaid == 0 || at-w.badSaid > repeatAfter {
		out = append(out, Fault{At: at, Code: FaultBadLine,
			Text: fmt.Sprintf("%s: %d line(s) that make no reading, such as %.40q: %v", w.name, w.bad, text, err),
			Hint: "a few after plugging in are usual; many mean a wrong baud rate or format"})
		w.bad, w.badSaid = 0, at
	}
	return out
}

// reading takes a line that made one.
func (w *lineWatch) reading(at time.Duration, text string) (out []Fault) {
	for i := range len(text) {
		w.known[text[i]] = true
	}
	if d := at - w.goodAt; w.valid && d > 0 && (w.step == 0 || d < w.step) {
		w.step = d
	}
	w.valid, w.goodAt, w.bytes, w.noise = true, at, 0, 0
	if w.good++; w.good >= goodAgain {
		out = w.end(out, at, FaultWrongBaud, "readings come again")
	}
	return w.count(out, at, lineGood)
}

// count enters a line into the window and judges it.
func (w *lineWatch) count(out []Fault, at time.Duration, c lineClass) []Fault {
	w.classes[w.n%lineWindow] = c
	w.n++
	var of [lineBinary + 1]int
	for _, c := range w.classes[:min(w.n, lineWindow)] {
		of[c]++
	}
	if of[lineBinary] >= linesBegin && of[lineGood] >= linesBegin {
		out = w.begin(out, at, FaultBinaryNoise, fmt.Sprintf("%d of the last %d lines hold bytes that are no text", of[lineBinary], min(w.n, lineWindow)),
			"check ground and screen of the cable, keep it away from ignition and motors, and check --baud")
	} else if of[lineBinary] <= linesEnd {
		out = w.end(out, at, FaultBinaryNoise, "the lines are clean again")
	}
	if of[lineHalf] >= linesBegin && of[lineGood] >= linesBegin {
		out = w.begin(out, at, FaultHalfLines, fmt.Sprintf("parts are missing of %d of the last %d lines", of[lineHalf], min(w.n, lineWindow)),
			"let the board print less often or at a higher baud rate; check the cable")
	} else if of[lineHalf] <= linesEnd {
		out = w.end(out, at, FaultHalfLines, "the lines are whole again")
	}
	return out
}

// piece reports whether a line that makes no reading holds no other characters
// than those of lines that did.
func (w *lineWatch) piece(text string) bool {
	for i := range len(text) {
		if b := text[i]; !w.known[b] && (b < '0' || b > '9') {
			return false
		}
	}
	return true
}

// booted tells of a board that started anew, unless its clock has told.
func (w *lineWatch) booted(out []Fault, at time.Duration, text string) []Fault {
	if w.reset != 0 && at-w.reset < repeatAfter {
		return out
	}
	w.reset = at
	return append(out, Fault{At: at, Code: FaultBoardReset,
		Text: fmt.Sprintf("%s: after a pause the board printed %.40q: it has started anew", w.name, text),
		Hint: "check its supply and its cable; the test goes on, the readings in between are missing"})
}

// clockJumped tells of a board whose clock was set back.
func (w *lineWatch) clockJumped(out []Fault, at time.Duration) []Fault {
	if w.reset != 0 && at-w.reset < repeatAfter {
		return out
	}
	w.reset = at
	return append(out, Fault{At: at, Code: FaultBoardReset,
		Text: w.name + ": the board's clock jumped: it has started anew", Hint: "check its supply and its cable; the test goes on"})
}

// watchdog notices that no reading comes.
type watchdog struct {
	name string
	last time.Duration // latest reading
	on   bool
}

// silentFor is how long a silence may be, for a board of a rate, 0 if unknown.
func silentFor(rate float64) time.Duration {
	if rate > 0 {
		return max(silentAfter, min(time.Minute, time.Duration(4e9/rate)))
	}
	return silentAfter
}

// check is called again and again; rate is the board's, bytes tells whether
// anything came since the latest reading, garbled that a wrong baud rate was
// told as the reason.
func (w *watchdog) check(now time.Duration, rate float64, bytes, garbled bool) *Fault {
	if w.on || garbled || now-w.last < silentFor(rate) {
		return nil
	}
	w.on = true
	f := &Fault{At: now, Code: FaultSilent, State: Begins,
		Text: fmt.Sprintf("%s: no reading for %.0f s", w.name, (now - w.last).Seconds()),
		Hint: "check the cable, the board's power and the baud rate (--baud); over RS-485 also whether A and B are swapped; a Modbus transmitter speaks only when asked: --modbus"}
	if bytes {
		f.Text += ", though something is sent"
		f.Hint = "check the baud rate (--baud) and what the board's program prints: `ebbline ports` shows it"
	}
	return f
}

// heard takes note of a reading; a silence then ends.
func (w *watchdog) heard(at time.Duration) *Fault {
	gap := at - w.last
	w.last = at
	if !w.on {
		return nil
	}
	w.on = false
	return &Fault{At: at, Code: FaultSilent, State: Ends,
		Text: fmt.Sprintf("%s: readings come again, after %.1f s without", w.name, gap.Seconds()),
		Hint: "the test goes on; the readings in between are missing"}
}

// supplyWatch finds a sagging supply where the board sends it.
type supplyWatch struct {
	name      string
	nominal   float64 // V; 0: the median of the first ones
	firsts    []float64
	low, back int
	on        bool
	code      string
}

const (
	supplySag   = 0.95
	supplyBack  = 0.97
	supplyFirst = 9
)

// add takes a supply voltage. corrected tells whether readings are corrected by it.
func (s *supplyWatch) add(at time.Duration, v float64, corrected bool) *Fault {
	if s.nominal == 0 {
		s.firsts = append(s.firsts, v)
		if len(s.firsts) < supplyFirst {
			return nil
		}
		s.nominal = median(s.firsts)
		s.firsts = nil
	}
	switch {
	case v < supplySag*s.nominal:
		s.low, s.back = s.low+1, 0
	case v > supplyBack*s.nominal:
		s.low, s.back = 0, s.back+1
	}
	switch {
	case !s.on && s.low == 3:
		s.on, s.code = true, FaultSag
		f := &Fault{At: at, Code: FaultSag, State: Begins,
			Text: fmt.Sprintf("%s: the transducer's supply fell to %.2f V, from %.2f V", s.name, v, s.nominal),
			Hint: "check the board's power and the supply wire; the readings are not corrected for it"}
		if corrected {
			f.Code, f.Hint = FaultSupplyLow, "check the board's power and the supply wire; the readings are corrected for it"
			s.code = f.Code
		}
		return f
	case s.on && s.back == 3:
		s.on = false
		return &Fault{At: at, Code: s.code, State: Ends, Text: fmt.Sprintf("%s: the supply is back at %.2f V", s.name, v), Hint: "the test goes on"}
	}
	return nil
}
