package tui

import "time"

const (
	// room is less than what a system takes for a terminal that reads nothing: Linux
	// takes 16 896 bytes for a pseudo-terminal (measured), and lets a write that
	// waits for room go on only when nearly all of that was read.
	room = 8 << 10
	// stalled is how long a write takes that had to wait for a terminal. A busy
	// machine alone rarely delays one so long.
	stalled = 150 * time.Millisecond
	// careful is the share of its rate that a terminal is sent, so that what is on
	// the way grows less.
	careful = 0.9
	// remembered is how long a terminal is taken to be slow since it last stalled.
	remembered = 5 * time.Minute
)

// drain guesses how much a slow terminal has not shown yet of what the system took
// for it, which nothing tells. Frames that are sent only when that is little are
// fewer, but none is old when it is shown, and the alarm has no queue before it.
type drain struct {
	rate  float64   // bytes a second the terminal takes; 0: it was never behind
	level float64   // bytes it has not shown
	at    time.Time // of level
	full  time.Time // when a write had waited for room last
	sent  float64   // bytes since then
}

// wrote notes a write of n bytes.
func (d *drain) wrote(n int, began, done time.Time) {
	d.ebb(done)
	d.level, d.sent = d.level+float64(n), d.sent+float64(n)
	if done.Sub(began) < stalled {
		return
	}
	// Between two such moments what went in came out. Where less went in than there
	// is room for, it was the machine that was late and not the terminal.
	switch {
	case d.full.IsZero():
	case d.sent < room:
		return
	default:
		d.rate = d.sent / done.Sub(d.full).Seconds()
	}
	d.level, d.full, d.sent = float64(n), done, 0
}

// ebb lets time pass.
func (d *drain) ebb(now time.Time) {
	if now.Sub(d.full) > remembered {
		d.rate, d.full = 0, time.Time{}
	}
	d.level = max(0, d.level-careful*d.rate*now.Sub(d.at).Seconds())
	d.at = now
}

// low reports whether a frame that is sent now is shown soon.
func (d *drain) low(now time.Time) bool {
	d.ebb(now)
	return d.rate == 0 || d.level < d.rate/10
}
