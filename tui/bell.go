package tui

import "time"

// A ringing is a pattern of bells, so that ceiling, phase and verdict can be
// told apart without looking: when each bell sounds after the first.
type ringing []time.Duration

// The patterns: one bell for a phase, two slow ones for the verdict, three quick
// ones for the ceiling, again every second while it is passed.
var (
	ringPhase   = ringing{0}
	ringVerdict = ringing{0, 500 * time.Millisecond}
	ringCeiling = ringing{0, 160 * time.Millisecond, 320 * time.Millisecond}
)

// ring plans a pattern. The ceiling's takes the place of any other.
func (m *model) ring(r ringing) {
	if !m.s.bell {
		return
	}
	if len(r) == len(ringCeiling) {
		m.bells = m.bells[:0]
	} else if m.s.st.OverCeiling {
		return
	}
	from := m.now
	if n := len(m.bells); n > 0 {
		from = m.bells[n-1].Add(700 * time.Millisecond) // patterns do not run together
	}
	for _, d := range r {
		m.bells = append(m.bells, from.Add(d))
	}
}

// sound rings the bells that are due.
func (m *model) sound() {
	for len(m.bells) > 0 && !m.bells[0].After(m.now) {
		m.bells = m.bells[1:]
		if m.s.bell {
			m.term.bell()
		}
	}
}
