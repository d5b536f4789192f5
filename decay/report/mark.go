package report

import (
	"fmt"
	"math"
	"time"

	"ebbline/decay"
	"ebbline/decay/record"
)

// Mark is a mark of the hunt in one line, in u: how long the duct was held, its
// pressure, what was lost, the word. The hold began at isolated, 0 without one.
func Mark(m record.Mark, isolated time.Duration, u decay.PressureUnit) string {
	rate := "no rate"
	if !math.IsNaN(m.Rate) && !math.IsInf(m.Rate, 0) {
		rate = digits3(-m.Rate*60/u.Pascal) + " " + u.Name + "/min lost"
	}
	return Held(m.At, isolated) + ", " + m.P.Format(u) + ", " + rate + ": " + Printable(m.Word)
}

// Held is the one clock of a mark: the time since isolation, or before that the
// time of the record.
func Held(at, isolated time.Duration) string {
	if isolated <= 0 || at < isolated {
		return fmt.Sprintf("at %.1f s", at.Seconds())
	}
	s := int((at - isolated).Seconds())
	return fmt.Sprintf("held %d:%02d", s/60, s%60)
}
