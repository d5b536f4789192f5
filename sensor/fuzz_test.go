package sensor

import (
	"encoding/binary"
	"math"
	"testing"
	"time"
)

// FuzzStamps: whatever a board's clock says and however its lines come in, the
// times given to readings grow, and stay near their arrival.
func FuzzStamps(f *testing.F) {
	line := func(gap uint16, board float64) []byte {
		return binary.LittleEndian.AppendUint64(binary.LittleEndian.AppendUint16(nil, gap), math.Float64bits(board))
	}
	var steady []byte
	for i := range 40 {
		steady = append(steady, line(20, float64(i)*0.02)...)
	}
	f.Add(steady)
	f.Add(append(append([]byte{}, steady...), line(20, -1e300)...))
	for _, v := range []float64{math.NaN(), math.Inf(1), math.Inf(-1), 1e18, -1e18, 4294967.295, 0} {
		f.Add(append(append(line(5, v), line(0, 0)...), line(60000, v)...))
	}
	f.Fuzz(func(t *testing.T, data []byte) {
		var s Stamper
		at, last := time.Duration(0), time.Duration(-1)
		var batch []Slot
		for ; len(data) >= 10; data = data[10:] {
			gap, board := binary.LittleEndian.Uint16(data), math.Float64frombits(binary.LittleEndian.Uint64(data[2:]))
			if gap != 0 && len(batch) > 0 {
				for i, st := range s.Batch(at, batch) {
					if batch[i].Lost {
						continue
					}
					if st.At <= last || st.At < 0 || st.At > at+time.Hour {
						t.Fatalf("stamp %v after %v, arrived at %v", st.At, last, at)
					}
					last = st.At
				}
				batch = batch[:0]
			}
			at += time.Duration(gap) * time.Millisecond
			batch = append(batch, Slot{HasTime: gap%3 != 0, Board: board, Lost: gap%11 == 5})
		}
	})
}
