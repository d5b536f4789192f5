package wire

import (
	"bytes"
	"testing"
)

// FuzzModbusRequest: a frame that is read as a request is the frame that the
// request makes, and no other bytes make it panic.
func FuzzModbusRequest(f *testing.F) {
	f.Add(ModbusRequest{Address: 1, Function: ReadHoldingRegisters, Register: 0, Count: 2}.Append(nil))
	f.Add([]byte{})
	f.Add(bytes.Repeat([]byte{0xff}, 300))
	f.Fuzz(func(t *testing.T, frame []byte) {
		r, err := ParseModbusRequest(frame)
		if err != nil {
			if len(err.Error()) > 400 {
				t.Errorf("an error of %d letters", len(err.Error()))
			}
			return
		}
		if back := r.Append(nil); !bytes.Equal(back, frame) {
			t.Errorf("%x comes back as %x", frame, back)
		}
	})
}
