package rig

import (
	"encoding/binary"
	"math"
	"strings"
	"testing"
	"time"

	"ebbline/decay"
)

// start is a time.
var start = time.Unix(0, 0)

func example() printed {
	pa := 25.031 * decay.PSI
	return printed{
		millis: 12345, micros: 12345678, celsius: 21.4, bits: 12, unit: decay.PressureUnits[0], scale: 1,
		sensed: sensed{value: pa, ratio: 0.1 + 0.8*pa/(50*decay.PSI), supply: 5},
	}
}

// The examples that people are shown are what is printed.
func TestExamples(t *testing.T) {
	p := example()
	for _, f := range formats {
		if f.line == nil {
			continue
		}
		if got := f.line(&p); got != f.Example {
			t.Errorf("%s: %q, the example is %q", f.Name, got, f.Example)
		}
	}
	if _, err := findFormat("morse"); err == nil || !strings.Contains(err.Error(), "nmea-bar") {
		t.Errorf("%v", err)
	}
}

// The check of the Modbus protocol: the check value of CRC-16/MODBUS for
// "123456789" is 0x4B37 (RevEng catalogue of CRCs); the request 01 03 00 00 00 0A
// ends in C5 CD (common practice).
func TestCRC(t *testing.T) {
	if got := crc16([]byte("123456789")); got != 0x4b37 {
		t.Errorf("%04x", got)
	}
	if got := seal([]byte{1, 3, 0, 0, 0, 10}); got[6] != 0xc5 || got[7] != 0xcd {
		t.Errorf("% x", got)
	}
}

func TestSlave(t *testing.T) {
	p := example()
	ask := func(q ...byte) []byte {
		s := slave{unit: 7}
		a := s.take(start, seal(q), p.registers)
		if len(a) == 0 {
			return nil
		}
		body := a[0][:len(a[0])-2]
		if len(a) > 1 || crc16(body) != binary.LittleEndian.Uint16(a[0][len(a[0])-2:]) {
			t.Errorf("% x: % x", q, a)
		}
		return body
	}
	for _, function := range []byte{3, 4} {
		a := ask(7, function, 0, 0, 0, registerCount)
		if len(a) != 3+2*registerCount || a[0] != 7 || a[1] != function || a[2] != 2*registerCount {
			t.Fatalf("% x", a)
		}
		r := func(i int) uint32 { return uint32(binary.BigEndian.Uint16(a[3+2*i:])) }
		pa := 25.031 * decay.PSI
		f := float64(math.Float32frombits(r(6)<<16 | r(7)))
		if r(0) != 1726 || r(1) != 214 || r(2)<<16|r(3) != 172583 || r(5)<<16|r(4) != 172583 ||
			math.Abs(f-pa/1000) > 1e-4 || r(8) != r(7) || r(9) != r(6) || r(10) != 5000 {
			t.Errorf("function %d: % x", function, a)
		}
		if got := ask(7, function, 0, 4, 0, 2); len(got) != 7 || got[2] != 4 {
			t.Errorf("two registers: % x", got)
		}
	}
	for _, c := range []struct {
		q    []byte
		code byte
	}{
		{[]byte{7, 6, 0, 0, 0, 1}, illegalFunction},
		{[]byte{7, 43, 14, 1, 0}, illegalFunction},
		{[]byte{7, 3, 0, 10, 0, 2}, illegalAddress},
		{[]byte{7, 3, 255, 255, 0, 1}, illegalAddress},
		{[]byte{7, 3, 0, 0, 0, 0}, illegalValue},
		{[]byte{7, 4, 0, 0, 0, 126}, illegalValue},
		{[]byte{7, 3, 0, 0}, illegalValue},
	} {
		if a := ask(c.q...); len(a) != 3 || a[1] != c.q[1]|0x80 || a[2] != c.code {
			t.Errorf("% x: % x, want exception %d", c.q, a, c.code)
		}
	}
	if a := ask(8, 3, 0, 0, 0, 1); a != nil {
		t.Errorf("another slave's request was answered: % x", a)
	}
	// Below zero, in two's complement; and beyond a register, which is a failure.
	p.value = -250
	if a := ask(7, 3, 0, 2, 0, 2); int32(binary.BigEndian.Uint32(a[3:])) != -250 {
		t.Errorf("% x", a)
	}
	p.value = 5e6
	if a := ask(7, 3, 0, 0, 0, 1); len(a) != 3 || a[2] != deviceFailure {
		t.Errorf("50 bar in a register of 16 bits in hPa: % x", a)
	}
}

// Requests may come in pieces and together, after a frame that was broken off,
// and with a wrong check.
func TestSlaveFindsFrames(t *testing.T) {
	p := example()
	q := seal([]byte{1, 4, 0, 2, 0, 2})
	s := slave{unit: 1}
	n := 0
	for _, c := range q {
		n += len(s.take(start, []byte{c}, p.registers))
	}
	if n != 1 {
		t.Errorf("in pieces: %d answers", n)
	}
	if got := s.take(start, append(append([]byte(nil), q...), q...), p.registers); len(got) != 2 {
		t.Errorf("together: %d answers", len(got))
	}
	s.take(start, q[:5], p.registers)
	if got := s.take(start.Add(2*frameGap), q, p.registers); len(got) != 1 {
		t.Errorf("after a piece: %d answers", len(got))
	}
	bad := append([]byte(nil), q...)
	bad[7] ^= 1
	if got := s.take(start.Add(4*frameGap), bad, p.registers); len(got) != 0 {
		t.Errorf("a wrong check: %d answers", len(got))
	}
	if got := s.take(start.Add(6*frameGap), q, p.registers); len(got) != 1 {
		t.Errorf("after a wrong check: %d answers", len(got))
	}
	for range 100 {
		s.take(start.Add(6*frameGap), make([]byte, 100), p.registers)
	}
	if len(s.buf) > 256 {
		t.Errorf("%d bytes are kept", len(s.buf))
	}
}
