package wire

import (
	"encoding/binary"
	"fmt"
)

// The functions of Modbus that read registers (Modbus Application Protocol
// Specification V1.1b3, sections 6.3 and 6.4).
const (
	ReadHoldingRegisters = 3
	ReadInputRegisters   = 4
)

// MaxModbusFrame is the longest frame on a serial line, in bytes (Modbus over
// Serial Line V1.02, section 2.5.1).
const MaxModbusFrame = 256

// crcTable holds the CRC of every byte for the polynomial 0x8005, reflected.
var crcTable = func() (t [256]uint16) {
	for i := range t {
		c := uint16(i)
		for range 8 {
			if c&1 != 0 {
				c = c>>1 ^ 0xA001
			} else {
				c >>= 1
			}
		}
		t[i] = c
	}
	return t
}()

// ModbusCRC is CRC-16/MODBUS (polynomial 0x8005 reflected, start 0xFFFF); a
// frame carries it with the low byte first.
func ModbusCRC(data []byte) uint16 {
	c := uint16(0xFFFF)
	for _, b := range data {
		c = c>>8 ^ crcTable[byte(c)^b]
	}
	return c
}

// ModbusRequest asks one transmitter for registers.
type ModbusRequest struct {
	Address  byte   // 1 to 247
	Function byte   // [ReadHoldingRegisters] or [ReadInputRegisters]
	Register uint16 // the first one, as on the wire: counted from 0
	Count    uint16 // 1 to 125, as many as one answer can hold
}

// Append adds the request's frame to dst.
func (r ModbusRequest) Append(dst []byte) []byte {
	from := len(dst)
	dst = append(dst, r.Address, r.Function)
	dst = binary.BigEndian.AppendUint16(dst, r.Register)
	dst = binary.BigEndian.AppendUint16(dst, r.Count)
	return binary.LittleEndian.AppendUint16(dst, ModbusCRC(dst[from:]))
}

// ParseModbusRequest reads the frame of a request, as a transmitter does.
func ParseModbusRequest(frame []byte) (ModbusRequest, error) {
	if len(frame) != 8 {
		return ModbusRequest{}, &ModbusFrameError{Frame: clip(frame), Msg: fmt.Sprintf("a request to read registers has 8 bytes, not %d", len(frame))}
	}
	if err := checkCRC(frame); err != nil {
		return ModbusRequest{}, err
	}
	r := ModbusRequest{Address: frame[0], Function: frame[1],
		Register: binary.BigEndian.Uint16(frame[2:]), Count: binary.BigEndian.Uint16(frame[4:])}
	if r.Function != ReadHoldingRegisters && r.Function != ReadInputRegisters {
		return ModbusRequest{}, &ModbusFrameError{Frame: clip(frame), Msg: fmt.Sprintf("function %d does not read registers", r.Function)}
	}
	return r, nil
}

// Answer adds the frame of an answer with the registers' values to dst: what a
// transmitter sends.
func (r ModbusRequest) Answer(dst []byte, registers []uint16) []byte {
	from := len(dst)
	dst = append(dst, r.Address, r.Function, byte(2*len(registers)))
	for _, v := range registers {
		dst = binary.BigEndian.AppendUint16(dst, v)
	}
	return binary.LittleEndian.AppendUint16(dst, ModbusCRC(dst[from:]))
}

// Refuse adds the frame of an exception to dst: what a transmitter sends that
// will not answer.
func (r ModbusRequest) Refuse(dst []byte, code byte) []byte {
	from := len(dst)
	dst = append(dst, r.Address, r.Function|0x80, code)
	return binary.LittleEndian.AppendUint16(dst, ModbusCRC(dst[from:]))
}

// ModbusCRCError is a frame whose CRC does not fit its bytes.
type ModbusCRCError struct {
	Sent, Computed uint16
	Frame          []byte
}

func (e *ModbusCRCError) Error() string {
	return fmt.Sprintf("the frame ends in CRC %04X, but its bytes make %04X: it was damaged on the way", e.Sent, e.Computed)
}

// ModbusFrameError is a frame that is no answer to the request.
type ModbusFrameError struct {
	Msg   string
	Frame []byte
}

func (e *ModbusFrameError) Error() string { return e.Msg }

// ModbusException is the answer of a transmitter that will not do what it was
// asked.
type ModbusException struct {
	Address, Function, Code byte
}

// Name is what the standard calls the exception, in lower case (Modbus
// Application Protocol Specification V1.1b3, section 7).
func (e *ModbusException) Name() string {
	switch e.Code {
	case 1:
		return "illegal function"
	case 2:
		return "illegal data address"
	case 3:
		return "illegal data value"
	case 4:
		return "server device failure"
	case 5:
		return "acknowledge"
	case 6:
		return "server device busy"
	case 8:
		return "memory parity error"
	case 10:
		return "gateway path unavailable"
	case 11:
		return "gateway target device failed to respond"
	}
	return "no exception of the standard"
}

// Hint says what to do about the exception.
func (e *ModbusException) Hint() string {
	switch e.Code {
	case 1:
		return "the transmitter does not know this function: try the other one, function=3 or function=4"
	case 2:
		return "the transmitter has no such register: look the number up in its manual; registers count from 0 here, so 40001 and 30001 there are register 0"
	case 3:
		return "the transmitter will not give that many registers: check the type (int16 and uint16 are one register, the others two)"
	case 4, 8:
		return "the transmitter has a fault of its own: switch it off and on, and see its manual"
	case 5, 6:
		return "the transmitter is busy: poll it less often, with a lower rate"
	case 10, 11:
		return "the gateway does not reach the transmitter: check the address and the wires behind it"
	}
	return "see the transmitter's manual"
}

func (e *ModbusException) Error() string {
	return fmt.Sprintf("transmitter %d refuses function %d with exception %d: %s", e.Address, e.Function, e.Code, e.Name())
}

// ModbusLength tells the length of an answer's frame from its first bytes;
// known is false as long as there are too few, or when they are of no answer
// to a request to read registers.
func ModbusLength(head []byte) (n int, known bool) {
	switch {
	case len(head) >= 2 && head[1]&0x80 != 0:
		return 5, true
	case len(head) >= 3 && (head[1] == ReadHoldingRegisters || head[1] == ReadInputRegisters):
		return 5 + int(head[2]), true
	}
	return 0, false
}

func checkCRC(frame []byte) error {
	n := len(frame) - 2
	sent := binary.LittleEndian.Uint16(frame[n:])
	if got := ModbusCRC(frame[:n]); got != sent {
		return &ModbusCRCError{Sent: sent, Computed: got, Frame: clip(frame)}
	}
	return nil
}

// clip copies a frame, no more of it than a frame can have.
func clip(frame []byte) []byte {
	return append([]byte(nil), frame[:min(len(frame), MaxModbusFrame)]...)
}

// Registers reads the answer to the request. Errors are of type
// [*ModbusCRCError], [*ModbusFrameError] or [*ModbusException].
func (r ModbusRequest) Registers(frame []byte) ([]uint16, error) {
	wrong := func(format string, args ...any) error {
		return &ModbusFrameError{Msg: fmt.Sprintf(format, args...), Frame: clip(frame)}
	}
	if len(frame) < 5 {
		return nil, wrong("the answer of %d bytes is shorter than any answer: it was cut off", len(frame))
	}
	if n, ok := ModbusLength(frame); ok && len(frame) < n {
		return nil, wrong("the answer has %d bytes where its head tells of %d: it was cut off", len(frame), n)
	} else if ok && len(frame) > n {
		return nil, wrong("the answer has %d bytes where its head tells of %d: more than one speaks on the line", len(frame), n)
	}
	if err := checkCRC(frame); err != nil {
		return nil, err
	}
	switch {
	case frame[0] != r.Address:
		return nil, wrong("transmitter %d answered, %d was asked", frame[0], r.Address)
	case frame[1] == r.Function|0x80:
		return nil, &ModbusException{Address: frame[0], Function: r.Function, Code: frame[2]}
	case frame[1] != r.Function:
		return nil, wrong("the answer is to function %d, %d was asked", frame[1], r.Function)
	case int(frame[2]) != 2*int(r.Count):
		return nil, wrong("the answer holds %d bytes of registers, %d were asked for", frame[2], 2*int(r.Count))
	}
	out := make([]uint16, r.Count)
	for i := range out {
		out[i] = binary.BigEndian.Uint16(frame[3+2*i:])
	}
	return out, nil
}
