package tui

import "time"

// bells are planned patterns of a screen, and sound on its ticks.
type bells struct{ due []time.Time }

// ring plans a pattern from now on, after those that are planned already. The
// ceiling's takes the place of any other.
func (b *bells) ring(r ringing, now time.Time) {
	if len(r) == len(ringCeiling) {
		b.due = b.due[:0]
	}
	from := now
	if n := len(b.due); n > 0 {
		from = b.due[n-1].Add(700 * time.Millisecond) // patterns do not run together
	}
	for _, d := range r {
		b.due = append(b.due, from.Add(d))
	}
}

// sound rings what is due.
func (b *bells) sound(now time.Time, on bool, term terminal) {
	for len(b.due) > 0 && !b.due[0].After(now) {
		b.due = b.due[1:]
		if on {
			term.bell()
		}
	}
}
