package rig

import (
	"math/rand/v2"
	"slices"
	"time"
)

// stream is the way from the board's lines to the bytes a reader gets, with
// the faults of that way.
type stream struct {
	rng   *rand.Rand
	held  []byte        // a line that comes after the next one
	burst []byte        // what waits for the next burst
	due   time.Duration // of that burst
}

func newStream(seed uint64) *stream { return &stream{rng: rand.New(rand.NewPCG(seed, 0x77697265))} }

// line takes a line without its end and returns the bytes that arrive of it.
func (s *stream) line(text string, on faultSet, now time.Duration) []byte {
	b := append([]byte(text), '\r', '\n')
	held := s.held
	s.held = nil
	switch r := s.rng.Float64(); {
	case len(held) > 0:
		b = append(b, held...)
	case on.has(Unsorted) && r < 0.1:
		b = append(b, b...)
	case on.has(Unsorted) && r < 0.2:
		s.held = b
		return s.send(nil, on, now)
	}
	return s.send(b, on, now)
}

// send takes bytes as the board means them and returns the bytes that arrive.
func (s *stream) send(b []byte, on faultSet, now time.Duration) []byte {
	if on.has(HalfLines) && len(b) > 0 && s.rng.Float64() < 0.3 {
		from := s.rng.IntN(len(b))
		b = slices.Delete(b, from, from+1+s.rng.IntN(len(b)-from))
	}
	if on.has(Garbage) && len(b) > 0 && s.rng.Float64() < 0.3 {
		// Four bytes at least: fewer might all be digits, and make a number.
		b = slices.Insert(b, s.rng.IntN(len(b)), s.noise(4+s.rng.IntN(20))...)
	}
	if on.has(WrongBaud) {
		b = misread(b, 2)
	}
	if !on.has(Bursts) {
		b, s.burst = append(s.burst, b...), nil
		return b
	}
	if len(s.burst) == 0 && len(b) > 0 && now >= s.due {
		s.due = now + 40*time.Millisecond + time.Duration(s.rng.Int64N(int64(210*time.Millisecond)))
	}
	s.burst = append(s.burst, b...)
	if now < s.due {
		return nil
	}
	b, s.burst = s.burst, nil
	return b
}

// noise is n random bytes.
func (s *stream) noise(n int) []byte {
	b := make([]byte, n)
	for i := range b {
		b[i] = byte(s.rng.Uint32())
	}
	return b
}

// misread is what a receiver gets of data (8 data bits, no parity, 1 stop bit)
// when it takes the bits ratio times as fast as they are sent.
func misread(data []byte, ratio int) []byte {
	high := func(i int) bool {
		at := i / ratio // which of the sender's bits
		if at >= 10*len(data) {
			return true // the line rests high
		}
		switch bit := at % 10; bit {
		case 0:
			return false // start bit
		case 9:
			return true // stop bit
		default:
			return data[at/10]>>(bit-1)&1 == 1
		}
	}
	var out []byte
	for i := 0; i < 10*ratio*len(data); {
		if high(i) {
			i++
			continue
		}
		var c byte
		for bit := range 8 {
			if high(i + 1 + bit) {
				c |= 1 << bit
			}
		}
		out = append(out, c)
		for i += 9; !high(i); i++ { // a receiver waits for the line to rest before the next start bit
		}
	}
	return out
}
