package wire

import (
	"fmt"
	"math"
)

// The numbers at which the clocks of boards start anew: counters of 16 and 32
// bits, and a clock time at midnight. A counter in milliseconds or
// microseconds is often printed in seconds.
var (
	counterTurns = []float64{1 << 16, 1 << 32}
	secondsTurns = []float64{1 << 16 * 1e-3, 1 << 32 * 1e-6, 1 << 16, 1 << 32 * 1e-3, 1 << 32}
	clockTurns   = []float64{24 * 3600}
)

// Of a roll-over: it is one when the clock then stands no further on than
// this many of its usual steps or, for counters that turn seldom, this long.
const (
	turnSteps  = 16
	turnGap    = 5.0   // s
	turnFirst  = 3.0   // s, while no step is known
	turnSeldom = 600.0 // s
	backAtOnce = 0.5   // s: a clock that goes back by more was reset
)

// boardClock makes a clock that starts anew at a fixed number go on growing,
// and tells such a roll-over from the reset of a board.
type boardClock struct {
	seen  bool
	raw   float64 // latest number, as printed
	top   float64 // largest since the last turn or reset, as printed
	add   float64 // what the turns so far add to it
	step  float64 // latest step forward
	scale float64 // seconds in one
	turns int
	turn  float64 // the number of the latest turn
}

// next takes the number printed on a line, in units of scale seconds, and
// returns the seconds since the board's clock began. reset is true when the
// clock went back and that is no roll-over: the time then counts from the
// reset.
func (c *boardClock) next(raw, scale float64, turns []float64) (s float64, reset bool) {
	if c.seen && c.scale != scale {
		*c = boardClock{} // another clock: nothing is known of it
	}
	step := raw - c.raw
	switch {
	case !c.seen, step == 0:
	case step > 0:
		c.step = step
	default:
		if m := c.turned(raw, scale, turns); m != 0 {
			c.add += m
			c.step = step + m
			c.top, c.turn = raw, m
			c.turns++
		} else if -step > math.Abs(c.raw)/2 || -step*scale > backAtOnce {
			*c = boardClock{turns: c.turns, turn: c.turn}
			c.top = raw
			reset = true
		}
	}
	c.seen, c.raw, c.scale = true, raw, scale
	c.top = max(c.top, raw)
	return (raw + c.add) * scale, reset
}

// turned returns the number at which the clock rolled over, 0 for none.
func (c *boardClock) turned(raw, scale float64, turns []float64) float64 {
	for _, m := range turns {
		if c.top >= m {
			continue
		}
		// A signed counter turns from the half to minus the half.
		if raw < 0 && (raw < -m/2 || c.raw >= m/2) {
			continue
		}
		window := turnSteps * c.step
		if c.step == 0 {
			window = turnFirst / scale
		}
		if m*scale >= turnSeldom {
			window = max(window, turnGap/scale)
		}
		if ahead := raw - c.raw + m; ahead > 0 && ahead <= min(window, m/4) {
			return m
		}
	}
	return 0
}

// says tells of roll-overs.
func (c *boardClock) says() string {
	switch {
	case c.turns == 0:
		return ""
	case c.turns == 1:
		return fmt.Sprintf("; its clock rolled over once at %.0f, and the time goes on", c.turn)
	}
	return fmt.Sprintf("; its clock rolled over %d times, the last at %.0f, and the time goes on", c.turns, c.turn)
}
