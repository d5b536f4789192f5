package wire

import (
	"errors"
	"fmt"
	"math"
	"strconv"
	"strings"
	"time"
)

// ModbusMap says where in a Modbus transmitter the pressure is, and how often
// to ask for it. The zero value of a field means its default.
type ModbusMap struct {
	Address   int           // of the transmitter on the line: 1 to 247; default 1
	Function  int           // 3 (holding registers) or 4 (input registers); default 4
	Register  int           // the first one, counted from 0 as on the wire: 0 to 65535
	Type      string        // int16, uint16, int32, uint32 or float32; default float32
	Order     string        // of two registers: big (high word first) or little (low word first); default big
	Unit      string        // of the scaled value: of pressure, or V, mV, counts; needed
	Reference string        // gauge or absolute, where the transmitter's manual says so; "": the profile decides
	Scale     float64       // value = register · Scale + Offset; default 1
	Offset    float64       // in Unit
	Rate      float64       // polls a second: 0.1 to 1000; default 20
	Parity    string        // none, even or odd; default none
	Timeout   time.Duration // for an answer: 10 ms to 10 s; default 300 ms
}

// WithDefaults fills in what is not stated.
func (m ModbusMap) WithDefaults() ModbusMap {
	if m.Address == 0 {
		m.Address = 1
	}
	if m.Function == 0 {
		m.Function = ReadInputRegisters
	}
	if m.Type == "" {
		m.Type = "float32"
	}
	if m.Order == "" {
		m.Order = "big"
	}
	if m.Scale == 0 {
		m.Scale = 1
	}
	if m.Rate == 0 {
		m.Rate = 20
	}
	if m.Parity == "" {
		m.Parity = "none"
	}
	if m.Timeout == 0 {
		m.Timeout = 300 * time.Millisecond
	}
	return m
}

// modbusKeys are the keys of the compact form, in the order of String.
var modbusKeys = []string{"address", "function", "register", "type", "order", "unit", "reference", "scale", "offset", "rate", "parity", "timeout"}

// ParseModbusMap reads the compact form: key=value pairs parted by blanks or
// commas, as "address=1 function=4 register=0 type=float32 order=big unit=bar
// scale=1 rate=20". Only the unit has to be there. The result is valid.
func ParseModbusMap(text string) (ModbusMap, error) {
	var m ModbusMap
	if len(text) > MaxLine {
		return m, fmt.Errorf("%d bytes are too long to say where a register is", len(text))
	}
	seen := map[string]bool{}
	for _, pair := range strings.FieldsFunc(text, func(r rune) bool { return r == ' ' || r == ',' || r == '\t' || r == '\n' || r == '\r' }) {
		key, v, ok := strings.Cut(pair, "=")
		if !ok || v == "" {
			return m, fmt.Errorf("%.40q is not key=value", pair)
		}
		key = strings.ToLower(key)
		if seen[key] {
			return m, fmt.Errorf("%s is stated twice", key)
		}
		seen[key] = true
		var err error
		switch key {
		case "address":
			m.Address, err = whole(key, v)
			if err == nil && m.Address == 0 {
				err = errors.New("address=0 asks all transmitters at once, and none answers: 1 to 247 are addresses")
			}
		case "function":
			m.Function, err = whole(key, v)
			if err == nil && m.Function == 0 {
				err = errNotAFunction(0)
			}
		case "register":
			m.Register, err = whole(key, v)
		case "type":
			m.Type = strings.ToLower(v)
		case "order":
			m.Order = strings.ToLower(v)
		case "unit":
			m.Unit = v
		case "reference":
			m.Reference = strings.ToLower(v)
		case "scale":
			m.Scale, err = number(key, v)
			if err == nil && m.Scale == 0 {
				err = errors.New("scale=0 makes every reading 0")
			}
		case "offset":
			m.Offset, err = number(key, v)
		case "rate":
			m.Rate, err = number(key, v)
			if err == nil && m.Rate == 0 {
				err = errNotARate(0)
			}
		case "parity":
			m.Parity = strings.ToLower(v)
		case "timeout":
			if m.Timeout, err = time.ParseDuration(v); err != nil || m.Timeout == 0 {
				err = fmt.Errorf("timeout=%.40s is no time: write for example timeout=300ms", v)
			}
		default:
			return m, fmt.Errorf("%.40q is not a key: the keys are %s", key, strings.Join(modbusKeys, ", "))
		}
		if err != nil {
			return m, err
		}
	}
	m = m.WithDefaults()
	if err := m.Validate(); err != nil {
		return m, err
	}
	if u, ref, ok := ParseUnit(m.Unit); ok { // "barg" says both
		m.Unit = u
		if m.Reference == "" {
			m.Reference = ref
		}
	}
	return m, nil
}

func whole(key, text string) (int, error) {
	v, err := strconv.ParseInt(text, 0, 32) // hexadecimal as 0x10, since manuals print it
	if err != nil {
		return 0, fmt.Errorf("%s=%.40s is no whole number", key, text)
	}
	return int(v), nil
}

func number(key, text string) (float64, error) {
	v, ok := Number(text, false)
	if !ok {
		return 0, fmt.Errorf("%s=%.40s is no number", key, text)
	}
	return v, nil
}

func errNotAFunction(f int) error {
	return fmt.Errorf("function=%d does not read registers: write function=3 (holding registers) or function=4 (input registers)", f)
}

func errNotARate(r float64) error {
	return fmt.Errorf("rate=%g is not within 0.1 and 1000 polls a second", r)
}

// Validate reports a map that cannot be meant. Fields at zero stand for their
// defaults.
func (m ModbusMap) Validate() error {
	m = m.WithDefaults()
	if m.Address < 1 || m.Address > 247 {
		return fmt.Errorf("address=%d is no transmitter's: 1 to 247 are addresses", m.Address)
	}
	if m.Function != ReadHoldingRegisters && m.Function != ReadInputRegisters {
		return errNotAFunction(m.Function)
	}
	n := m.registers()
	if n == 0 {
		return fmt.Errorf("type=%.40s is not known: int16, uint16, int32, uint32 and float32 are", m.Type)
	}
	if m.Register < 0 || m.Register+n > 65536 {
		return fmt.Errorf("register=%d is outside of the transmitter: registers count from 0 to 65535", m.Register)
	}
	if m.Order != "big" && m.Order != "little" {
		return fmt.Errorf("order=%.40s is neither big (high word first) nor little (low word first)", m.Order)
	}
	if m.Unit == "" {
		return errors.New("the unit is missing: add for example unit=bar")
	}
	_, ref, ok := ParseUnit(m.Unit)
	if !ok {
		return fmt.Errorf("unit=%.40s is not a unit known here: psi, bar, mbar, hPa, kPa, Pa, inHg, V, mV and counts are", m.Unit)
	}
	switch m.Reference {
	case "", "gauge", "absolute":
	default:
		return fmt.Errorf("reference=%.40s is neither gauge nor absolute", m.Reference)
	}
	if ref != "" && m.Reference != "" && ref != m.Reference {
		return fmt.Errorf("unit=%s says %s and reference=%s says otherwise", m.Unit, ref, m.Reference)
	}
	if !finite(m.Scale) || !finite(m.Offset) || math.Abs(m.Scale) > 1e12 || math.Abs(m.Offset) > 1e12 {
		return fmt.Errorf("scale=%g offset=%g are out of range", m.Scale, m.Offset)
	}
	if !(m.Rate >= 0.1 && m.Rate <= 1000) {
		return errNotARate(m.Rate)
	}
	switch m.Parity {
	case "none", "even", "odd":
	default:
		return fmt.Errorf("parity=%.40s is neither none nor even nor odd", m.Parity)
	}
	if m.Timeout < 10*time.Millisecond || m.Timeout > 10*time.Second {
		return fmt.Errorf("timeout=%v is not within 10ms and 10s", m.Timeout)
	}
	return nil
}

// registers is how many the value takes, 0 for a type that is not known.
func (m ModbusMap) registers() int {
	switch m.Type {
	case "int16", "uint16":
		return 1
	case "int32", "uint32", "float32":
		return 2
	}
	return 0
}

// String is the compact form with every default written out.
func (m ModbusMap) String() string {
	m = m.WithDefaults()
	var b strings.Builder
	fmt.Fprintf(&b, "address=%d function=%d register=%d type=%s order=%s unit=%s", m.Address, m.Function, m.Register, m.Type, m.Order, m.Unit)
	if m.Reference != "" {
		fmt.Fprintf(&b, " reference=%s", m.Reference)
	}
	fmt.Fprintf(&b, " scale=%v", m.Scale)
	if m.Offset != 0 {
		fmt.Fprintf(&b, " offset=%v", m.Offset)
	}
	fmt.Fprintf(&b, " rate=%v", m.Rate)
	if m.Parity != "none" {
		fmt.Fprintf(&b, " parity=%s", m.Parity)
	}
	fmt.Fprintf(&b, " timeout=%v", m.Timeout)
	return b.String()
}

// Request is the question that a poll asks.
func (m ModbusMap) Request() ModbusRequest {
	m = m.WithDefaults()
	return ModbusRequest{Address: byte(m.Address), Function: byte(m.Function), Register: uint16(m.Register), Count: uint16(m.registers())}
}

// bits joins the registers' words.
func (m ModbusMap) bits(registers []uint16) uint32 {
	if len(registers) == 1 {
		return uint32(registers[0])
	}
	if m.Order == "little" {
		return uint32(registers[1])<<16 | uint32(registers[0])
	}
	return uint32(registers[0])<<16 | uint32(registers[1])
}

// The numbers a transmitter can mean: beyond them words are in the wrong order.
// 1e9 Pa is ten thousand bar.
const (
	floatMost  = 1e9
	floatLeast = 1e-30
)

// Value turns registers into the value in Unit. A float32 that no transmitter
// can mean is an error.
func (m ModbusMap) Value(registers []uint16) (float64, error) {
	m = m.WithDefaults()
	if len(registers) != m.registers() || len(registers) == 0 {
		return 0, fmt.Errorf("%d registers where a value of type %.40q takes %d", len(registers), m.Type, m.registers())
	}
	var v float64
	switch b := m.bits(registers); m.Type {
	case "int16":
		v = float64(int16(b))
	case "uint16":
		v = float64(uint16(b))
	case "int32":
		v = float64(int32(b))
	case "uint32":
		v = float64(b)
	case "float32":
		// By way of the shortest decimal that means this float32, so that 1.1 stays 1.1.
		f := math.Float32frombits(b)
		if f != f || f > math.MaxFloat32 || f < -math.MaxFloat32 {
			return 0, fmt.Errorf("the transmitter gives %v for its value: it has a fault, or the type or the order of its words is another one", f)
		}
		if a := math.Abs(float64(f)); a > floatMost || a < floatLeast && a != 0 {
			return 0, fmt.Errorf("the transmitter's value would be %v: the type or the order of its words is another one", f)
		}
		v = float64(f)
		if text := strconv.FormatFloat(v, 'g', -1, 32); m.Scale == 1 && m.Offset == 0 {
			v, _ = strconv.ParseFloat(text, 64)
		}
	}
	v = v*m.Scale + m.Offset
	if !finite(v) {
		return 0, errors.New("the transmitter's value is out of range once it is scaled")
	}
	return v, nil
}

// Words is the opposite of Value: the registers that hold a value in Unit as
// near as the type can. ok is false when the type cannot hold it.
func (m ModbusMap) Words(value float64) (registers []uint16, ok bool) {
	m = m.WithDefaults()
	v := (value - m.Offset) / m.Scale
	var b uint32
	in := func(low, high float64) bool { v = math.Round(v); return v >= low && v <= high }
	switch m.Type {
	case "int16":
		ok = in(math.MinInt16, math.MaxInt16)
		b = uint32(uint16(int16(v)))
	case "uint16":
		ok = in(0, math.MaxUint16)
		b = uint32(uint16(v))
	case "int32":
		ok = in(math.MinInt32, math.MaxInt32)
		b = uint32(int32(v))
	case "uint32":
		ok = in(0, math.MaxUint32)
		b = uint32(v)
	case "float32":
		ok = math.Abs(v) <= math.MaxFloat32
		b = math.Float32bits(float32(v))
	}
	switch {
	case !ok:
		return nil, false
	case m.registers() == 1:
		return []uint16{uint16(b)}, true
	case m.Order == "little":
		return []uint16{uint16(b), uint16(b >> 16)}, true
	}
	return []uint16{uint16(b >> 16), uint16(b)}, true
}

// Line writes a poll as a line of text that [LineDecoder] reads: its time, the
// value with its unit, and the frame it came in, so that a capture keeps all.
func (m ModbusMap) Line(at time.Duration, value float64, frame []byte) string {
	b := make([]byte, 0, 96)
	b = append(b, "t_s="...)
	b = strconv.AppendFloat(b, at.Seconds(), 'f', 6, 64)
	b = append(b, ' ')
	switch m.Unit {
	case "V", "mV":
		b = append(b, "voltage="...)
	case "counts":
		b = append(b, "counts="...)
	default:
		b = append(b, "pressure="...)
	}
	b = strconv.AppendFloat(b, value, 'g', -1, 64)
	if m.Unit != "counts" {
		b = append(b, ' ')
		b = append(b, m.Unit...)
		if m.Reference != "" && !raw(m.Unit) {
			b = append(b, ' ')
			b = append(b, m.Reference...)
		}
	}
	b = append(b, " frame=x"...) // the x keeps the digits from being read as a number
	return string(appendHex(b, frame))
}

// Remark writes what came in answer to a poll and made no reading, as a line
// that [LineDecoder] passes over.
func (m ModbusMap) Remark(why error, frame []byte) string {
	b := fmt.Appendf(nil, "# no reading: %.200s; frame=x", strings.Map(func(r rune) rune {
		if r == '\n' || r == '\r' {
			return ' '
		}
		return r
	}, why.Error()))
	return string(appendHex(b, frame[:min(len(frame), 64)]))
}

func appendHex(b, data []byte) []byte {
	const digits = "0123456789abcdef"
	for _, c := range data {
		b = append(b, digits[c>>4], digits[c&15])
	}
	return b
}
