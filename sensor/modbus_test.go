//go:build linux

package sensor

import (
	"errors"
	"math"
	"os"
	"strings"
	"sync"
	"testing"
	"time"

	"github.com/creack/pty"

	"ebbline/decay"
	"ebbline/sensor/wire"
)

// transmitter answers polls on a bench's pseudo-terminal: each with what
// answer makes of the request.
func transmitter(t testing.TB, master *os.File, answer func(n int, r wire.ModbusRequest) []byte) {
	go func() {
		var got []byte
		buf := make([]byte, 64)
		for n := 0; ; {
			k, err := master.Read(buf)
			if err != nil {
				return
			}
			got = append(got, buf[:k]...)
			for len(got) >= 8 {
				r, err := wire.ParseModbusRequest(got[:8])
				got = got[8:]
				if err != nil {
					t.Errorf("the request is wrong: %v", err)
					return
				}
				if _, err := master.Write(answer(n, r)); err != nil {
					return
				}
				n++
			}
		}
	}()
}

var barMap = wire.ModbusMap{Address: 3, Type: "float32", Unit: "bar", Reference: "absolute", Rate: 200, Timeout: 100 * time.Millisecond}

func words(t testing.TB, m wire.ModbusMap, v float64) []uint16 {
	t.Helper()
	w, ok := m.Words(v)
	if !ok {
		t.Fatalf("%v does not fit", v)
	}
	return w
}

func TestModbusFaultsHaveNames(t *testing.T) {
	b := newBench(t)
	transmitter(t, b.master, func(n int, r wire.ModbusRequest) []byte {
		good := r.Answer(nil, words(t, barMap, 2))
		switch n {
		case 1: // damaged
			good[4] ^= 0x40
		case 2: // cut off
			return good[:6]
		case 3, 4: // busy
			return r.Refuse(nil, 6)
		case 5: // another transmitter
			r.Address = 9
			return r.Answer(nil, words(t, barMap, 7))
		case 6: // the adapter gives back what it sent
			return append(r.Append(nil), good...)
		}
		return good
	})
	s := open(t, PortOptions{Name: b.name, Modbus: &barMap})
	var codes []string
	readings := 0
	until(t, s, func(it Item) bool {
		if it.Fault == nil {
			readings++
			if math.Abs(float64(it.P)-2*decay.Bar) > 1e-6 {
				t.Fatalf("read %v, which was not sent", it.P)
			}
			if !strings.Contains(it.Raw, "frame=x0304") {
				t.Errorf("the frame is not kept: %q", it.Raw)
			}
			return readings == 4
		}
		if it.Fault.Text == "" || it.Fault.Hint == "" {
			t.Errorf("fault without words: %+v", *it.Fault)
		}
		codes = append(codes, it.Fault.Code+" "+it.Fault.State.String())
		return false
	})
	if got := strings.Join(codes, ", "); got != "bad-frame once, refused begins, refused ends" {
		t.Errorf("faults: %s", got)
	}
	if d := s.About(); !strings.Contains(d.Detail, "address=3") || d.Clock != "the moment of each poll" {
		t.Errorf("about: %+v", d)
	}
}

// An answer that comes after its poll was given up is not taken for the next
// one's.
func TestModbusLateAnswerIsDropped(t *testing.T) {
	master, slave, err := pty.Open()
	if err != nil {
		t.Fatal("no pseudo-terminals here:", err)
	}
	defer master.Close()
	defer slave.Close()
	dev, err := openSerial(slave.Name(), PortOptions{Baud: DefaultModbusBaud})
	if err != nil {
		t.Fatal(err)
	}
	defer dev.Close()
	m := barMap
	m.Timeout = 20 * time.Millisecond
	l := newModbusLink(m)
	if _, _, err := l.ask(dev); !errors.Is(err, errNoAnswer) {
		t.Fatalf("nobody answers: %v", err)
	}
	var b [64]byte
	if _, err := master.Read(b[:]); err != nil {
		t.Fatal(err)
	}
	if _, err := master.Write(l.request.Answer(nil, words(t, m, 1))); err != nil { // late
		t.Fatal(err)
	}
	transmitter(t, master, func(_ int, r wire.ModbusRequest) []byte { return r.Answer(nil, words(t, m, 2)) })
	// A slow machine may need more than one poll; none may give the late value.
	for range 100 {
		regs, _, err := l.ask(dev)
		if errors.Is(err, errNoAnswer) {
			continue
		}
		if v, errV := m.Value(regs); err != nil || errV != nil || v != 2 {
			t.Fatalf("got %v, %v, %v; want 2", v, err, errV)
		}
		return
	}
	t.Fatal("no answer in 100 polls")
}

func TestModbusUnplugAndReplug(t *testing.T) {
	b := newBench(t)
	answer := func(_ int, r wire.ModbusRequest) []byte { return r.Answer(nil, words(t, barMap, 2)) }
	transmitter(t, b.master, answer)
	s := open(t, PortOptions{Name: b.name, Modbus: &barMap})
	before := until(t, s, func(it Item) bool { return it.Fault == nil })
	b.unplug()
	until(t, s, func(it Item) bool { return it.Fault != nil && it.Fault.Code == FaultUnplugged })
	b.plug()
	transmitter(t, b.master, answer)
	until(t, s, func(it Item) bool { return it.Fault != nil && it.Fault.Code == FaultReplugged })
	if after := until(t, s, func(it Item) bool { return it.Fault == nil }); after.At <= before.At {
		t.Errorf("stamps went from %v to %v", before.At, after.At)
	}
}

// What is captured of polls decodes to what was read.
func TestModbusCaptureHoldsLines(t *testing.T) {
	b := newBench(t)
	transmitter(t, b.master, func(n int, r wire.ModbusRequest) []byte {
		if n == 2 {
			return r.Refuse(nil, 6)
		}
		return r.Answer(nil, words(t, barMap, 2.5))
	})
	var mu sync.Mutex
	var tape strings.Builder
	s := open(t, PortOptions{Name: b.name, Modbus: &barMap, Tap: func(_ time.Duration, d []byte) { mu.Lock(); tape.Write(d); mu.Unlock() }})
	n := 0
	until(t, s, func(it Item) bool {
		if it.Fault == nil {
			n++
		}
		return n == 5
	})
	s.Close()
	mu.Lock()
	defer mu.Unlock()
	read := 0
	st := wire.NewStream(wire.Options{})
	st.Feed(0, []byte(tape.String()), func(l wire.Line) {
		if errors.Is(l.Err, wire.ErrSkip) {
			if !strings.Contains(l.Text, "busy") || !strings.Contains(l.Text, "frame=x038406") {
				t.Errorf("remark %q", l.Text)
			}
			return
		}
		read++
		if l.Err != nil || l.Fields.Value != 2.5 || l.Fields.Unit != "bar" || l.Fields.Reference != "absolute" || !l.Fields.HasTime {
			t.Errorf("%q: %+v, %v", l.Text, l.Fields, l.Err)
		}
	})
	if read < 5 {
		t.Errorf("%d readings on the tape", read)
	}
}

func BenchmarkModbusPoll(b *testing.B) {
	master, slave, err := pty.Open()
	if err != nil {
		b.Fatal("no pseudo-terminals here:", err)
	}
	defer master.Close()
	defer slave.Close()
	dev, err := openSerial(slave.Name(), PortOptions{Baud: DefaultModbusBaud})
	if err != nil {
		b.Fatal(err)
	}
	defer dev.Close()
	w := words(b, barMap, 2)
	transmitter(b, master, func(_ int, r wire.ModbusRequest) []byte { return r.Answer(nil, w) })
	l := newModbusLink(barMap)
	for b.Loop() {
		if _, _, err := l.ask(dev); err != nil {
			b.Fatal(err)
		}
	}
	b.ReportMetric(float64(b.N)/b.Elapsed().Seconds(), "polls/s")
}

// BenchmarkModbusSource polls as fast as the source allows, at 115200 baud,
// with the silence between frames that the standard asks for, and decodes.
func BenchmarkModbusSource(b *testing.B) {
	master, slave, err := pty.Open()
	if err != nil {
		b.Fatal("no pseudo-terminals here:", err)
	}
	defer master.Close()
	defer slave.Close()
	w := words(b, barMap, 2)
	transmitter(b, master, func(_ int, r wire.ModbusRequest) []byte { return r.Answer(nil, w) })
	m := barMap
	m.Rate = 1000
	s, err := Open(PortOptions{Name: slave.Name(), Baud: DefaultBaud, Modbus: &m})
	if err != nil {
		b.Fatal(err)
	}
	defer s.Close()
	for b.Loop() {
		if it, err := s.Next(b.Context()); err != nil || it.Fault != nil {
			b.Fatal(it.Fault, err)
		}
	}
	b.ReportMetric(float64(b.N)/b.Elapsed().Seconds(), "polls/s")
}
