package wire

import (
	"bytes"
	"encoding/hex"
	"errors"
	"math"
	"strings"
	"testing"
	"time"

	"pgregory.net/rapid"
)

func unhex(t testing.TB, s string) []byte {
	t.Helper()
	b, err := hex.DecodeString(strings.ReplaceAll(s, " ", ""))
	if err != nil {
		t.Fatal(err)
	}
	return b
}

func TestModbusCRC(t *testing.T) {
	// The check value of CRC-16/MODBUS in the catalogue of parametrised CRC
	// algorithms (reveng): 0x4B37 for "123456789".
	if got := ModbusCRC([]byte("123456789")); got != 0x4B37 {
		t.Errorf("check value %04X, want 4B37", got)
	}
	// Whole frames printed in public texts on Modbus RTU. The first request is
	// the specification's example of section 6.3, sent to unit 17.
	for _, f := range []string{"11 03 00 6B 00 03 76 87", "01 03 00 02 00 01 25 CA", "10 06 02 02 00 03 6A F2"} {
		if err := checkCRC(unhex(t, f)); err != nil {
			t.Errorf("%s: %v", f, err)
		}
	}
}

// The examples of the Modbus Application Protocol Specification V1.1b3,
// sections 6.3 and 6.4: registers 108 to 110 hold 555, 0 and 100; input
// register 9 holds 10. Address and CRC are added, as the serial line does.
func TestModbusExamplesOfTheSpecification(t *testing.T) {
	for _, c := range []struct {
		r         ModbusRequest
		request   string
		answer    string
		registers []uint16
	}{
		{ModbusRequest{17, 3, 107, 3}, "11 03 00 6B 00 03", "11 03 06 02 2B 00 00 00 64", []uint16{555, 0, 100}},
		{ModbusRequest{1, 4, 8, 1}, "01 04 00 08 00 01", "01 04 02 00 0A", []uint16{10}},
	} {
		frame := c.r.Append(nil)
		if !bytes.Equal(frame[:6], unhex(t, c.request)) || len(frame) != 8 {
			t.Errorf("request % X", frame)
		}
		if back, err := ParseModbusRequest(frame); err != nil || back != c.r {
			t.Errorf("read back %+v, %v", back, err)
		}
		answer := c.r.Answer(nil, c.registers)
		if !bytes.Equal(answer[:len(answer)-2], unhex(t, c.answer)) {
			t.Errorf("answer % X", answer)
		}
		got, err := c.r.Registers(answer)
		if err != nil || len(got) != len(c.registers) {
			t.Fatalf("%v, %v", got, err)
		}
		for i := range got {
			if got[i] != c.registers[i] {
				t.Errorf("register %d: %d", i, got[i])
			}
		}
	}
}

func TestModbusAnswersThatAreNone(t *testing.T) {
	r := ModbusRequest{7, 4, 0, 2}
	good := r.Answer(nil, []uint16{1, 2})
	damaged := bytes.Clone(good)
	damaged[4] ^= 1
	other := ModbusRequest{8, 4, 0, 2}
	function := ModbusRequest{7, 3, 0, 2}
	for name, c := range map[string]struct {
		frame []byte
		says  string
	}{
		"nothing":         {nil, "shorter"},
		"short":           {good[:4], "shorter"},
		"cut":             {good[:7], "cut off"},
		"long":            {append(bytes.Clone(good), 0), "more than one"},
		"damaged":         {damaged, "damaged"},
		"other address":   {other.Answer(nil, []uint16{1, 2}), "transmitter 8 answered, 7 was asked"},
		"other function":  {function.Answer(nil, []uint16{1, 2}), "function 3, 4 was asked"},
		"fewer registers": {r.Answer(nil, []uint16{1}), "2 bytes of registers, 4"},
	} {
		_, err := r.Registers(c.frame)
		if err == nil || !strings.Contains(err.Error(), c.says) {
			t.Errorf("%s: %v", name, err)
		}
		var crc *ModbusCRCError
		var frame *ModbusFrameError
		if isCRC := errors.As(err, &crc); isCRC != (name == "damaged") || !isCRC && !errors.As(err, &frame) {
			t.Errorf("%s: error of type %T", name, err)
		}
	}
	// The names of section 7 of the specification.
	for code, name := range map[byte]string{1: "illegal function", 2: "illegal data address", 3: "illegal data value", 4: "server device failure",
		5: "acknowledge", 6: "server device busy", 8: "memory parity error", 10: "gateway path unavailable",
		11: "gateway target device failed to respond", 77: "no exception of the standard"} {
		_, err := r.Registers(r.Refuse(nil, code))
		var e *ModbusException
		if !errors.As(err, &e) || e.Code != code || e.Name() != name || e.Hint() == "" || !strings.Contains(err.Error(), name) {
			t.Errorf("exception %d: %v", code, err)
		}
	}
}

func TestModbusValues(t *testing.T) {
	for _, c := range []struct {
		text string
		regs []uint16
		want float64
	}{
		// 1.0, -2.0 and the value next above 1 are the examples of IEEE 754 binary32.
		{"type=float32 unit=bar", []uint16{0x3F80, 0}, 1},
		{"type=float32 order=little unit=bar", []uint16{0, 0xC000}, -2},
		{"type=float32 unit=bar", []uint16{0x3F8C, 0xCCCD}, 1.1},
		{"type=float32 unit=bar scale=2 offset=-1", []uint16{0x3F80, 0}, 1},
		{"type=int16 unit=mbar scale=0.1", []uint16{0xFFFF}, -0.1},
		{"type=uint16 unit=mbar", []uint16{0xFFFF}, 65535},
		{"type=int32 unit=Pa", []uint16{0xFFFF, 0xFFFE}, -2},
		{"type=int32 order=little unit=Pa", []uint16{0xFFFE, 0xFFFF}, -2},
		{"type=uint32 unit=Pa", []uint16{1, 0}, 65536},
		{"type=uint32 order=little unit=Pa", []uint16{1, 0}, 1},
	} {
		m, err := ParseModbusMap(c.text)
		if err != nil {
			t.Fatal(err)
		}
		if got, err := m.Value(c.regs); err != nil || math.Abs(got-c.want) > 1e-15 {
			t.Errorf("%s %04X: %v, %v; want %v", c.text, c.regs, got, err, c.want)
		}
	}
	m := ModbusMap{Unit: "bar"}
	for _, regs := range [][]uint16{{0x7FC0, 0}, {0x7F80, 0}, {0xFF80, 0}, {0, 0x3F80}, {0xDA09, 0}, {1}, {1, 2, 3}, nil} {
		if v, err := m.Value(regs); err == nil {
			t.Errorf("%04X was taken for %v", regs, v)
		}
	}
}

func TestModbusMapText(t *testing.T) {
	m, err := ParseModbusMap("address=1 function=4 register=0x10 type=float32 order=big unit=barg scale=1 rate=20")
	want := ModbusMap{Address: 1, Function: 4, Register: 16, Type: "float32", Order: "big", Unit: "bar", Reference: "gauge", Scale: 1, Rate: 20, Parity: "none", Timeout: 300 * time.Millisecond}
	if err != nil || m != want {
		t.Errorf("got %+v, %v", m, err)
	}
	if short, err := ParseModbusMap("unit=counts"); err != nil || short != (ModbusMap{Unit: "counts"}).WithDefaults() {
		t.Errorf("got %+v, %v", short, err)
	}
	for text, says := range map[string]string{
		"": "unit is missing", "address=1": "unit is missing", "unit": "key=value", "unit=": "key=value", "unit=bar speed=3": "keys are",
		"unit=bar unit=psi": "twice", "unit=MPa": "not a unit", "unit=°C": "not a unit", "unit=bar address=0": "all transmitters", "unit=bar address=248": "1 to 247",
		"unit=bar address=x": "whole number", "unit=bar function=0": "function=3", "unit=bar function=6": "function=3", "unit=bar register=-1": "0 to 65535",
		"unit=bar register=65535": "0 to 65535", "unit=bar type=real": "float32", "unit=bar order=mixed": "big", "unit=bar scale=0": "every reading 0",
		"unit=bar scale=nan": "no number", "unit=bar scale=1e300": "out of range", "unit=bar rate=0": "0.1 and 1000", "unit=bar rate=1001": "0.1 and 1000",
		"unit=bar rate=-5": "0.1 and 1000", "unit=bar parity=mark": "even", "unit=bar timeout=3": "300ms", "unit=bar timeout=1ms": "10ms",
		"unit=bar reference=both": "gauge", "unit=bara reference=gauge": "otherwise",
	} {
		if m, err := ParseModbusMap(text); err == nil || !strings.Contains(err.Error(), says) {
			t.Errorf("%q: %+v, %v; want it to say %q", text, m, err, says)
		}
	}
	if m, err := ParseModbusMap("unit=bar type=uint16 register=65535"); err != nil || m.Register != 65535 {
		t.Errorf("the last register: %v", err)
	}
}

func drawMap(t *rapid.T) ModbusMap {
	m := ModbusMap{
		Address: rapid.IntRange(1, 247).Draw(t, "address"), Function: rapid.SampledFrom([]int{3, 4}).Draw(t, "function"),
		Register: rapid.IntRange(0, 65534).Draw(t, "register"), Type: rapid.SampledFrom([]string{"int16", "uint16", "int32", "uint32", "float32"}).Draw(t, "type"),
		Order: rapid.SampledFrom([]string{"big", "little"}).Draw(t, "order"), Unit: rapid.SampledFrom([]string{"psi", "bar", "kPa", "Pa", "kgf/cm²", "V", "mV", "counts"}).Draw(t, "unit"),
		Scale: rapid.SampledFrom([]float64{1, 0.1, -0.001, 3}).Draw(t, "scale"), Offset: rapid.SampledFrom([]float64{0, -1, 0.25}).Draw(t, "offset"),
		Rate: rapid.SampledFrom([]float64{0.5, 20, 1000}).Draw(t, "rate"), Parity: rapid.SampledFrom([]string{"none", "even", "odd"}).Draw(t, "parity"),
		Timeout: rapid.SampledFrom([]time.Duration{10 * time.Millisecond, time.Second}).Draw(t, "timeout"),
	}
	if !raw(m.Unit) {
		m.Reference = rapid.SampledFrom([]string{"", "gauge", "absolute"}).Draw(t, "reference")
	}
	return m
}

// A map, a value, an answer and a captured line all go out and come back.
func TestModbusGoesThereAndBack(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		m := drawMap(t)
		back, err := ParseModbusMap(m.String())
		if err != nil || back != m {
			t.Fatalf("%s came back as %+v, %v", m, back, err)
		}
		regs := make([]uint16, m.registers())
		for i := range regs {
			regs[i] = rapid.Uint16().Draw(t, "word")
		}
		r := m.Request()
		frame := r.Answer(nil, regs)
		got, err := r.Registers(frame)
		if err != nil {
			t.Fatal(err)
		}
		v, err := m.Value(got)
		if err != nil { // not a number, or infinite
			return
		}
		if w, ok := m.Words(v); ok {
			if again, err := m.Value(w); err != nil || math.Abs(again-v) > 1e-6*math.Abs(v)+1e-6 {
				t.Fatalf("%v became %v, %v", v, again, err)
			}
		} else if m.Type != "float32" {
			t.Fatalf("%v does not fit where it came from", v)
		}
		f, err := NewLineDecoder(Options{}).Decode(m.Line(1500*time.Millisecond, v, frame))
		if want := (Fields{HasTime: true, Time: 1.5, Value: v, Unit: m.Unit, Reference: m.Reference}); err != nil || f != want {
			t.Fatalf("%q: %+v, %v; want %+v", m.Line(1500*time.Millisecond, v, frame), f, err, want)
		}
	})
}

// No frame with damaged bits is taken for an answer: the CRC finds every error
// of up to three bits in frames this short, and every burst of up to 16.
func TestModbusDamageIsSeen(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		r := ModbusRequest{3, 4, 0, 2}
		frame := r.Answer(nil, []uint16{rapid.Uint16().Draw(t, "a"), rapid.Uint16().Draw(t, "b")})
		bits := rapid.SliceOfNDistinct(rapid.IntRange(0, 8*len(frame)-1), 1, 3, rapid.ID[int]).Draw(t, "bits")
		for _, b := range bits {
			frame[b/8] ^= 1 << (b % 8)
		}
		if got, err := r.Registers(frame); err == nil {
			t.Fatalf("% X gave %v", frame, got)
		}
	})
}

var fuzzMaps = []ModbusMap{
	{Address: 7, Unit: "bar"}, {Address: 7, Unit: "bar", Order: "little", Scale: 1e12}, {Address: 7, Unit: "Pa", Type: "int32"},
	{Address: 7, Unit: "V", Type: "uint32", Function: 3}, {Address: 7, Unit: "counts", Type: "int16"}, {Address: 7, Unit: "counts", Type: "uint16", Function: 3},
}

func FuzzModbusAnswer(f *testing.F) {
	r := ModbusRequest{7, 4, 0, 2}
	f.Add(r.Answer(nil, []uint16{0x3F80, 0}), uint8(0))
	f.Add(r.Refuse(nil, 2), uint8(1))
	f.Add([]byte{7, 4, 4}, uint8(2))
	f.Fuzz(func(t *testing.T, b []byte, which uint8) { checkAnswer(t, b, which) })
}

func checkAnswer(t testing.TB, b []byte, which uint8) {
	t.Helper()
	m := fuzzMaps[int(which>>1)%len(fuzzMaps)]
	r := m.Request()
	if which&1 != 0 && len(b) > 0 { // a right CRC, so that what stands behind it is reached
		crc := ModbusCRC(b)
		b = append(b[:len(b):len(b)], byte(crc), byte(crc>>8))
	}
	regs, err := r.Registers(b)
	if err != nil {
		if regs != nil {
			t.Fatalf("both %v and %v", regs, err)
		}
		var x *ModbusException
		if errors.As(err, &x) && (len(b) != 5 || x.Name() == "" || x.Hint() == "") {
			t.Fatalf("% X: %v", b, err)
		}
		_ = m.Remark(err, b)
		return
	}
	if again := r.Answer(nil, regs); !bytes.Equal(again, b) {
		t.Fatalf("% X was read as %v, which is % X", b, regs, again)
	}
	v, err := m.Value(regs)
	if err != nil {
		return
	}
	if !finite(v) {
		t.Fatalf("% X gave %v", b, v)
	}
	if got, err := NewLineDecoder(Options{}).Decode(m.Line(0, v, b)); err != nil || got.Value != v {
		t.Fatalf("%q gave %+v, %v", m.Line(0, v, b), got, err)
	}
	if req, err := ParseModbusRequest(b); err == nil && !bytes.Equal(req.Append(nil), b) {
		t.Fatalf("% X was read as the request %+v", b, req)
	}
}

func FuzzModbusMap(f *testing.F) {
	f.Add("address=1 function=4 register=0 type=float32 order=big unit=bar scale=1 rate=20")
	f.Add("unit=kPaA,parity=even timeout=1s offset=-0.1e2")
	f.Add("unit=counts type=uint16 register=0xffff")
	f.Fuzz(func(t *testing.T, s string) { checkMap(t, s) })
}

func checkMap(t testing.TB, s string) {
	t.Helper()
	m, err := ParseModbusMap(s)
	if err != nil {
		return
	}
	if err := m.Validate(); err != nil {
		t.Fatalf("%q was taken, and is not valid: %v", s, err)
	}
	if back, err := ParseModbusMap(m.String()); err != nil || back != m {
		t.Fatalf("%q became %+v, came back as %+v, %v", s, m, back, err)
	}
	if r := m.Request(); r.Count < 1 || r.Count > 2 || r.Address == 0 {
		t.Fatalf("%q asks %+v", s, r)
	}
}

func BenchmarkModbusAnswer(b *testing.B) {
	m := ModbusMap{Address: 7, Unit: "bar"}
	r := m.Request()
	frame := r.Answer(nil, []uint16{0x3F80, 0})
	b.ReportAllocs()
	for b.Loop() {
		regs, err := r.Registers(frame)
		if err != nil {
			b.Fatal(err)
		}
		if _, err := m.Value(regs); err != nil {
			b.Fatal(err)
		}
	}
}
