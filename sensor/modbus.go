package sensor

import (
	"bytes"
	"errors"
	"fmt"
	"io"
	"time"

	"ebbline/sensor/wire"
)

// modbusRest is how long the rest of an answer may take once it has begun: USB
// adapters pass bytes on every 16 ms.
const modbusRest = 100 * time.Millisecond

// errNoAnswer is a poll that nothing came back from.
var errNoAnswer = errors.New("no answer")

// modbusDevice is what polling needs of an open port.
type modbusDevice interface {
	io.ReadWriter
	SetReadTimeout(time.Duration) error // a Read that nothing came to returns 0, nil
	ResetInputBuffer() error
	ResetOutputBuffer() error
}

// linkError is a device that is gone.
type linkError struct{ error }

// modbusLink asks one transmitter over an open port. It is used from one
// goroutine.
type modbusLink struct {
	request wire.ModbusRequest
	frame   []byte        // of the request
	timeout time.Duration // for the first byte of an answer
	buf     [2 * wire.MaxModbusFrame]byte
	dirty   bool // bytes of an earlier answer may still come
}

func newModbusLink(m wire.ModbusMap) *modbusLink {
	m = m.WithDefaults()
	r := m.Request()
	return &modbusLink{request: r, frame: r.Append(nil), timeout: m.Timeout}
}

// ask sends the request and waits for the answer. The frame is what came,
// valid until the next call, whether or not it is an answer.
func (l *modbusLink) ask(dev modbusDevice) (registers []uint16, frame []byte, err error) {
	if l.dirty {
		// A late answer to an earlier request must not be taken for this one's.
		_ = dev.ResetInputBuffer()
		_ = dev.ResetOutputBuffer()
	}
	l.dirty = true
	if _, err := dev.Write(l.frame); err != nil {
		return nil, nil, linkError{err}
	}
	got := 0
	began := time.Now()
	wait := l.timeout
	for {
		left := wait - time.Since(began)
		if left <= 0 {
			break
		}
		if err := dev.SetReadTimeout(left); err != nil {
			return nil, nil, linkError{err}
		}
		n, err := dev.Read(l.buf[got:])
		if err != nil {
			return nil, nil, linkError{err}
		}
		if n == 0 {
			continue
		}
		if got == 0 {
			began, wait = time.Now(), modbusRest
		}
		got += n
		if frame, whole := l.answer(l.buf[:got]); whole || got == len(l.buf) {
			registers, err := l.request.Registers(frame)
			var refused *wire.ModbusException
			l.dirty = err != nil && !errors.As(err, &refused)
			return registers, frame, err
		}
	}
	frame, _ = l.answer(l.buf[:got])
	if len(frame) == 0 {
		return nil, nil, errNoAnswer
	}
	registers, err = l.request.Registers(frame)
	return registers, frame, err
}

// answer cuts the echo of the request off, which some adapters give back, and
// reports whether the rest is a whole frame.
func (l *modbusLink) answer(got []byte) (frame []byte, whole bool) {
	if n := min(len(got), len(l.frame)); bytes.Equal(got[:n], l.frame[:n]) {
		got = got[n:]
	}
	n, known := wire.ModbusLength(got)
	return got, known && len(got) >= n
}

// modbusGap is the silence between two frames: three and a half characters
// (Modbus over Serial Line V1.02, section 2.5.1.1).
func modbusGap(baud int) time.Duration {
	return time.Duration(3.5 * 11 / float64(baud) * float64(time.Second))
}

// poll asks the transmitter until Close. A device that goes away is waited
// for. Each answer becomes a line of text with the value and the frame, which
// takes the way of a board's lines from there.
func (p *port) poll(id identity) {
	m := p.opt.Modbus.WithDefaults()
	link := newModbusLink(m)
	period := time.Duration(float64(time.Second) / m.Rate)
	gap := modbusGap(p.opt.Baud)
	timer := time.NewTimer(0)
	defer timer.Stop()
	complaints := modbusComplaints{name: p.opt.Name, m: m}
	due := time.Now()
	for {
		select {
		case <-p.done:
			return
		case <-timer.C:
		}
		dev := p.device()
		if dev == nil {
			return
		}
		asked := time.Since(p.began)
		registers, frame, err := link.ask(dev)
		at := time.Since(p.began)
		if p.closed() {
			return
		}
		var gone linkError
		if errors.As(err, &gone) {
			if id, err = p.replug(at, id, gone.error); err != nil {
				return
			}
			link.dirty = true
			complaints.since(time.Since(p.began))
			due = time.Now()
			timer.Reset(0)
			continue
		}
		value := 0.0
		if err == nil {
			value, err = m.Value(registers)
		}
		var text string
		if err == nil {
			// The transmitter took its value between question and answer.
			text = m.Line(asked+(at-asked)/2, value, frame)
		} else {
			text = m.Remark(err, frame)
		}
		if !p.take(at, []byte(text+"\n"), func(it Item) {
			if it.Fault == nil || it.Fault.Code == FaultUncalibrated {
				complaints.last = at
			}
		}) {
			return
		}
		for _, f := range complaints.poll(at, err) {
			if !p.put(Item{Fault: &f}) {
				return
			}
		}
		if due = due.Add(period); time.Until(due) < gap {
			// Behind, or no pause left: the line needs its silence.
			due = time.Now().Add(gap)
		}
		timer.Reset(time.Until(due))
	}
}

// modbusComplaints tells of polls that make no reading: at once, and then no
// more often than a person wants to hear it.
type modbusComplaints struct {
	name string
	m    wire.ModbusMap

	last    time.Duration // latest reading
	silent  bool          // no answer was told
	damaged int           // frames since the last complaint
	broken  error         // of the latest poll, when an answer came that made no reading
	said    time.Duration // latest complaint of a damaged frame
	refused string        // the exception under way, "" for none
}

// since starts the count of silence anew.
func (c *modbusComplaints) since(at time.Duration) {
	*c = modbusComplaints{name: c.name, m: c.m, last: at}
}

func (c *modbusComplaints) poll(at time.Duration, err error) (out []Fault) {
	var refused *wire.ModbusException
	if err == nil && c.refused != "" {
		c.refused = ""
		out = append(out, Fault{At: at, Code: FaultRefused, State: Ends, Text: c.name + ": the transmitter gives its value again", Hint: "the test goes on"})
	}
	if errors.As(err, &refused) {
		c.last = at // it is not silent
		if c.refused != refused.Error() {
			c.refused = refused.Error()
			out = append(out, Fault{At: at, Code: FaultRefused, State: Begins, Text: fmt.Sprintf("%s: %v", c.name, refused), Hint: refused.Hint()})
		}
		return out
	}
	c.broken = nil
	if err != nil && !errors.Is(err, errNoAnswer) {
		c.broken = err
		c.damaged++
		if c.said == 0 || at-c.said > repeatAfter {
			out = append(out, Fault{At: at, Code: FaultBadFrame,
				Text: fmt.Sprintf("%s: %d answer(s) of transmitter %d make no reading: %v", c.name, c.damaged, c.m.Address, err), Hint: frameHint(err)})
			c.damaged, c.said = 0, at
		}
	}
	if c.silent && at-c.last < silentAfter {
		c.silent = false
		out = append(out, Fault{At: at, Code: FaultSilent, State: Ends, Text: c.name + ": the transmitter answers again", Hint: "the test goes on; the readings in between are missing"})
	}
	if at-c.last >= silentAfter && !c.silent {
		c.silent = true
		out = append(out, Fault{At: at, Code: FaultSilent, State: Begins,
			Text: fmt.Sprintf("%s: no answer from transmitter %d for %.0f s", c.name, c.m.Address, (at - c.last).Seconds()),
			Hint: fmt.Sprintf("check its power, that A and B of the cable are not swapped, its address (asked: %d), the baud rate (--baud) and parity=%s, and on a long cable the end resistors (120 Ω)", c.m.Address, c.m.Parity)})
	}
	return out
}

func frameHint(err error) string {
	var crc *wire.ModbusCRCError
	var frame *wire.ModbusFrameError
	switch {
	case errors.As(err, &crc):
		return "one now and then is noise on the cable; many mean a wrong baud rate or parity, a missing end resistor, or two transmitters with one address"
	case errors.As(err, &frame):
		return "check the baud rate and the parity, and that no other program asks on the same cable"
	}
	return "look up in the transmitter's manual the type of the value and the order of its words"
}
