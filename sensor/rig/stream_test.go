package rig

import (
	"bytes"
	"strings"
	"testing"
	"time"
)

// A UART that samples at twice the sender's rate, worked by hand from the bits
// on the line: start bit low, lowest bit first, stop bit high.
func TestMisreadBits(t *testing.T) {
	if got := misread([]byte("U"), 1); !bytes.Equal(got, []byte("U")) {
		t.Errorf("at the right rate %q", got)
	}
	all := make([]byte, 256)
	for i := range all {
		all[i] = byte(i)
	}
	if got := misread(all, 1); !bytes.Equal(got, all) {
		t.Errorf("at the right rate %d bytes of 256 came, or others", len(got))
	}
	// 0x00 is nine low bits and a high one: 18 low bits for the receiver, which
	// takes one byte of zeros with a broken stop bit and waits for the high.
	if got := misread([]byte{0}, 2); !bytes.Equal(got, []byte{0}) {
		t.Errorf("zero: % x", got)
	}
	// 0xff is one low bit: two low bits, then high ones. Start bit, then 0 1111111.
	if got := misread([]byte{0xff}, 2); !bytes.Equal(got, []byte{0xfe}) {
		t.Errorf("ff: % x", got)
	}
	// 0x55: 00 11 00 11 00 11 00 11 00 11. Start bit 0, data 0 1 1 0 0 1 1 0
	// (0x66), stop 0 (broken), high again, next edge at the seventh pair: start
	// 0, data 0 1 1 0 0 1 1 and rest high (0xe6).
	if got := misread([]byte("U"), 2); !bytes.Equal(got, []byte{0x66, 0xe6}) {
		t.Errorf("U: % x", got)
	}
}

func lines(t *testing.T, on Fault, n int) string {
	t.Helper()
	s := newStream(1)
	var out []byte
	for i := range n {
		out = append(out, s.line(strings.Repeat(string(rune('a'+i%26)), 8), 1<<on, time.Duration(i)*10*time.Millisecond)...)
	}
	return string(out)
}

func TestStreamWithoutFaults(t *testing.T) {
	if got := lines(t, Stuck, 3); got != "aaaaaaaa\r\nbbbbbbbb\r\ncccccccc\r\n" {
		t.Errorf("%q", got)
	}
}

func TestStreamFaults(t *testing.T) {
	whole := func(text string) (n int) {
		for l := range strings.SplitSeq(text, "\r\n") {
			if len(l) == 8 && l == strings.Repeat(l[:1], 8) {
				n++
			}
		}
		return n
	}
	const n = 1000
	// Of 1000 lines 300 are hit; where a line end is, the next is too.
	if text := lines(t, HalfLines, n); whole(text) < 500 || whole(text) > 750 || len(text) >= 10*n {
		t.Errorf("half lines: %d are whole, %d bytes", whole(text), len(text))
	}
	if text := lines(t, Garbage, n); whole(text) < 600 || whole(text) > 800 || len(text) <= 10*n {
		t.Errorf("garbage: %d are whole, %d bytes", whole(text), len(text))
	}
	if text := lines(t, WrongBaud, n); whole(text) > 0 || len(text) < n {
		t.Errorf("wrong baud rate: %d are whole, %d bytes", whole(text), len(text))
	}
	text := lines(t, Unsorted, n)
	doubled, swapped := 0, 0
	all := strings.Split(strings.TrimSpace(text), "\r\n")
	for i := 1; i < len(all); i++ {
		switch d := int(all[i][0]) - int(all[i-1][0]); d {
		case 0:
			doubled++
		case -1:
			swapped++
		}
	}
	if doubled < 50 || swapped < 50 || whole(text) != len(all) {
		t.Errorf("unsorted: %d doubled, %d swapped, %d of %d whole", doubled, swapped, whole(text), len(all))
	}
}

// Bursts come every 40 to 250 ms and lose nothing, also when the fault ends.
func TestBursts(t *testing.T) {
	s := newStream(1)
	var out []byte
	last := time.Duration(-1)
	sent := 0
	for at := time.Duration(0); at < 20*time.Second; at += 5 * time.Millisecond {
		b := s.line("12345678", 1<<Bursts, at)
		sent += 10
		if len(b) > 0 {
			if gap := at - last; last >= 0 && (gap < 40*time.Millisecond || gap > 260*time.Millisecond) {
				t.Errorf("a burst after %v", gap)
			}
			last = at
		}
		out = append(out, b...)
	}
	out = append(out, s.send(nil, 0, 20*time.Second)...)
	if len(out) != sent {
		t.Errorf("%d bytes of %d", len(out), sent)
	}
}

// A line that was held back comes although the fault has ended.
func TestHeldLineComes(t *testing.T) {
	s := newStream(1)
	n := 0
	for s.held == nil && n < 1000 {
		s.line("held", 1<<Unsorted, 0)
		n++
	}
	if got := s.line("next", 0, 0); string(got) != "next\r\nheld\r\n" {
		t.Errorf("%q", got)
	}
}
