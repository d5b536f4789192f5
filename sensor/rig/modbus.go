package rig

import (
	"encoding/binary"
	"math"
	"time"

	"ebbline/decay"
)

// ModbusRegisters says what stands where in the slave's registers. Holding and
// input registers are the same.
const ModbusRegisters = "0 int16 in hPa; 1 int16 temperature in 0.1 °C; 2–3 int32 in Pa, high word first; " +
	"4–5 the same, low word first; 6–7 float32 in kPa, high word first; 8–9 the same, low word first; 10 supply in mV"

// DefaultModbusUnit is the slave's address on the line.
const DefaultModbusUnit = 1

// Exceptions of the Modbus application protocol.
const (
	illegalFunction = 1
	illegalAddress  = 2
	illegalValue    = 3
	deviceFailure   = 4
)

const registerCount = 11

// slave takes the bytes of a Modbus RTU line and answers what is asked of it.
type slave struct {
	unit byte
	buf  []byte
	last time.Time // latest bytes
}

// frameGap ends a frame that was begun. A pseudo-terminal has no bit times, so
// it is far longer than the 3.5 characters of a real line.
const frameGap = 50 * time.Millisecond

// take takes bytes that came at now and returns the answers to the requests
// that they complete. registers is asked for the present values, where ok is
// false for what no register can hold.
func (s *slave) take(now time.Time, data []byte, registers func() (r [registerCount]uint16, ok bool)) [][]byte {
	if now.Sub(s.last) > frameGap {
		s.buf = s.buf[:0]
	}
	s.last = now
	s.buf = append(s.buf, data...)
	var answers [][]byte
	for {
		n := s.frame()
		if n == 0 {
			break
		}
		if a := s.answer(s.buf[:n-2], registers); a != nil {
			answers = append(answers, seal(a))
		}
		s.buf = s.buf[:copy(s.buf, s.buf[n:])]
	}
	if len(s.buf) > 256 { // no frame is longer
		s.buf = s.buf[:0]
	}
	return answers
}

// frame is the length of the request at the front of the buffer, 0 while there
// is none: most requests have eight bytes, and any is known by its check.
func (s *slave) frame() int {
	for _, n := range [...]int{8, len(s.buf)} {
		if n >= 4 && n <= len(s.buf) && crc16(s.buf[:n-2]) == binary.LittleEndian.Uint16(s.buf[n-2:]) {
			return n
		}
	}
	return 0
}

// answer is the answer to a request, both without check; nil when the request is
// another slave's.
func (s *slave) answer(q []byte, registers func() ([registerCount]uint16, bool)) []byte {
	if q[0] != s.unit {
		return nil
	}
	refuse := func(code byte) []byte { return []byte{q[0], q[1] | 0x80, code} }
	if q[1] != 3 && q[1] != 4 {
		return refuse(illegalFunction)
	}
	if len(q) != 6 {
		return refuse(illegalValue)
	}
	from, n := int(binary.BigEndian.Uint16(q[2:])), int(binary.BigEndian.Uint16(q[4:]))
	switch {
	case n == 0 || n > 125:
		return refuse(illegalValue)
	case from+n > registerCount:
		return refuse(illegalAddress)
	}
	r, ok := registers()
	if !ok {
		return refuse(deviceFailure)
	}
	a := []byte{q[0], q[1], byte(2 * n)}
	for _, v := range r[from : from+n] {
		a = binary.BigEndian.AppendUint16(a, v)
	}
	return a
}

func seal(frame []byte) []byte { return binary.LittleEndian.AppendUint16(frame, crc16(frame)) }

// crc16 is CRC-16/MODBUS, bit by bit: polynomial 0x8005 reflected, start 0xFFFF.
func crc16(data []byte) uint16 {
	crc := uint16(0xffff)
	for _, b := range data {
		crc ^= uint16(b)
		for range 8 {
			out := crc & 1
			crc >>= 1
			if out == 1 {
				crc ^= 0xa001
			}
		}
	}
	return crc
}

// registers are the present values. ok is false when a value is beyond what its
// register can hold.
func (p *printed) registers() (r [registerCount]uint16, ok bool) {
	pa := p.value * p.scale
	whole, hecto, deci := math.Round(pa), math.Round(pa/decay.Hectopascal), math.Round(p.celsius*10)
	if math.Abs(whole) > math.MaxInt32 || math.Abs(hecto) > math.MaxInt16 || math.Abs(deci) > math.MaxInt16 {
		return r, false
	}
	i, f := uint32(int32(whole)), math.Float32bits(float32(pa/1000))
	return [registerCount]uint16{
		uint16(int16(hecto)), uint16(int16(deci)),
		uint16(i >> 16), uint16(i), uint16(i), uint16(i >> 16),
		uint16(f >> 16), uint16(f), uint16(f), uint16(f >> 16),
		uint16(math.Round(p.supply * 1000)),
	}, true
}
