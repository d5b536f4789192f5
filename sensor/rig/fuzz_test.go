package rig

import (
	"bytes"
	"encoding/binary"
	"strings"
	"testing"
	"time"
	"unicode/utf8"
)

// FuzzSlave: whatever stands on a Modbus line and however it is cut, the slave
// answers with whole frames of its own or not at all, keeps little, and answers a
// right request that follows after a pause.
func FuzzSlave(f *testing.F) {
	ask := seal([]byte{1, 4, 0, 0, 0, 2})
	for _, b := range [][]byte{ask, ask[:5], append(bytes.Clone(ask), ask...), seal([]byte{1, 3, 0xff, 0xff, 0xff, 0xff}), seal([]byte{1, 16}), seal([]byte{2, 3, 0, 0, 0, 1}), bytes.Repeat([]byte{0}, 600), {}, seal(nil)} {
		f.Add(b, uint8(3), byte(1))
	}
	f.Fuzz(func(t *testing.T, data []byte, cut uint8, unit byte) {
		now := time.Unix(0, 0)
		registers := func() (r [registerCount]uint16, ok bool) { return r, cut%2 == 0 }
		s := &slave{unit: unit}
		check := func(answers [][]byte) {
			for _, a := range answers {
				if len(a) < 5 || len(a) > 256 || a[0] != unit || crc16(a[:len(a)-2]) != binary.LittleEndian.Uint16(a[len(a)-2:]) {
					t.Fatalf("answer %x", a)
				}
			}
			if len(s.buf) > 256 {
				t.Fatalf("%d bytes kept", len(s.buf))
			}
		}
		for rest := data; len(rest) > 0; {
			n := min(len(rest), 1+int(cut))
			check(s.take(now, rest[:n], registers))
			rest = rest[n:]
		}
		now = now.Add(time.Second)
		answers := s.take(now, seal([]byte{unit, 3, 0, 0, 0, 1}), registers)
		check(answers)
		if len(answers) != 1 {
			t.Fatalf("%d answers to a right request after %x", len(answers), data)
		}
	})
}

// FuzzPlan: a fault's plan is within a time that can be reckoned with, or an
// error in words.
func FuzzPlan(f *testing.F) {
	for _, s := range []string{"silence@5+3", "unplug@1m+10s", "stuck@0", "stuck@1e400", "@", "stuck@-1", "stuck@1+0", "stuck@2562047h+2562047h", "stuck@NaN+Inf", "\x1b[2J@1"} {
		f.Add(s)
	}
	f.Fuzz(func(t *testing.T, s string) {
		p, err := ParsePlan(s)
		if err != nil {
			if text := err.Error(); len(text) > 1000 || !utf8.ValidString(text) || strings.ContainsAny(text, "\x1b\x00\n") {
				t.Errorf("%q: the error is %.600q", s, text)
			}
			return
		}
		if p.Fault >= faultCount || p.At < 0 || p.For < 0 || p.At+p.For < p.At {
			t.Errorf("%q is %+v", s, p)
		}
	})
}
