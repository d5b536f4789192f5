package sensor

import (
	"context"
	"math"
	"sync"
	"time"
	"unicode/utf8"

	"ebbline/decay"
	"ebbline/sensor/wire"
)

// Heard is what a port sent while it was listened to.
type Heard struct {
	Err   error // why it could not be opened; usually an [*OpenError]
	About About

	Bytes    int
	Raw      string // the latest line that made a reading, else the latest bytes; as received
	Fields   wire.Fields
	HasLine  bool // Fields and Raw are of a line that was understood
	Readings int
	Last     decay.Pressure // of the latest reading, absolute

	Noise      float64 // rms, Pa, from differences, so that a steady slope does not enter; 0: not known
	Resolution float64 // smallest step between readings, Pa; 0: none seen
	Faults     []Fault // that are on at the end, and those that came and went
}

// listenWait is how long a first reading is waited for: opening a port starts
// many boards anew, which takes them a second or two.
const listenWait = 4 * time.Second

// Listen opens a port and listens until readings have come for a time, or none
// have for 4 s.
func Listen(ctx context.Context, opt PortOptions, long time.Duration) Heard {
	var h Heard
	var mu sync.Mutex // over what the reading goroutine writes
	var tail []byte
	opt.Tap = func(_ time.Duration, data []byte) {
		mu.Lock()
		defer mu.Unlock()
		h.Bytes += len(data)
		if tail = append(tail, data...); len(tail) > 64 {
			tail = append(tail[:0], tail[len(tail)-64:]...)
		}
	}
	opt.Seen = func(_ time.Duration, line string, f wire.Fields) {
		mu.Lock()
		defer mu.Unlock()
		h.Raw, h.Fields, h.HasLine = line, f, true
	}
	src, err := Open(opt)
	if err != nil {
		return Heard{Err: err}
	}
	ctx, stop := context.WithTimeout(ctx, max(listenWait, long))
	defer stop()
	var faults Faults
	last := ""
	values := make([]float64, 0, 4096)
	var ends <-chan time.Time
	items := make(chan Item)
	go func() {
		defer close(items)
		for {
			it, err := src.Next(ctx)
			if err != nil {
				return
			}
			select {
			case items <- it:
			case <-ctx.Done():
				return
			}
		}
	}()
listening:
	for {
		select {
		case it, ok := <-items:
			switch {
			case !ok:
				break listening
			case it.Fault != nil:
				faults.Take(*it.Fault)
			default:
				h.Readings++
				h.Last, last = it.P, it.Raw
				if len(values) < cap(values) {
					values = append(values, float64(it.P))
				}
				if ends == nil {
					ends = time.After(long)
				}
			}
		case <-ends:
			break listening
		}
	}
	h.About = src.About()
	stop()
	src.Close()       // what was heard stands, however that ends
	for range items { // until the reader has gone
	}
	mu.Lock()
	defer mu.Unlock()
	switch {
	case last != "":
		h.Raw = last
	case !h.HasLine:
		h.Raw = string(tail)
		for len(h.Raw) > 0 && !utf8.RuneStart(h.Raw[0]) {
			h.Raw = h.Raw[1:]
		}
	}
	h.Noise, h.Resolution = spread(values)
	h.Faults = faults.list()
	return h
}

// list is every fault that was seen, each kind once, those that are on first.
func (l *Faults) list() (out []Fault) {
	seen := map[string]bool{}
	for _, on := range []bool{true, false} {
		for _, s := range l.spells {
			if s.over != on && !seen[s.Code] {
				seen[s.Code] = true
				out = append(out, s.Fault)
			}
		}
	}
	return out
}

// spread estimates noise and resolution from values in a row.
func spread(v []float64) (noise, step float64) {
	var d2 []float64
	for i := 1; i < len(v); i++ {
		if d := math.Abs(v[i] - v[i-1]); d > 1e-7*math.Max(1, math.Abs(v[i])) && (step == 0 || d < step) {
			step = d
		}
		if i+1 < len(v) {
			d2 = append(d2, math.Abs(v[i]-(v[i-1]+v[i+1])/2))
		}
	}
	if len(d2) < 6 {
		return 0, step
	}
	sum := 0.0
	for _, x := range d2 {
		sum += x
	}
	// E|e| of a second difference of white noise is sqrt(2/π)·sqrt(3/2)·σ.
	return sum / float64(len(d2)) / (math.Sqrt(2/math.Pi) * math.Sqrt(1.5)), step
}
