package wire

import (
	"errors"
	"time"
)

// stepClock finds the unit of a clock whose name does not tell it. Where the
// times of arrival are known, the unit is the one that agrees with them. Where
// not, a number with decimals is seconds, and a whole number is milliseconds,
// or microseconds when the steps are too long for milliseconds.
type stepClock struct {
	n         int
	last      float64
	scale     float64 // seconds in one; 0: not known
	how       string
	still     int // lines on which it did not rise, before it was known
	anchored  bool
	anchor    float64 // the clock on the last line of the first arrival
	anchorAt  time.Duration
	arrived   bool
	hurry     bool // decide now, with what is known
	numberSet bool // the unit was stated
}

const (
	// microStep is the step from which a whole number is taken for
	// microseconds when nothing else is known: as milliseconds it would be
	// more than five seconds between lines.
	microStep = 5000
	// microLeast is the least step of a microsecond clock: shorter ones would
	// be more than 2000 lines a second.
	microLeast = 500
	// arrivalSlack is by how much arrival may be early or late, in seconds, and
	// arrivalFactor by how much a clock may then disagree with it.
	arrivalSlack  = 0.25
	arrivalFactor = 4
)

var errNoClock = errors.New("two numbers on a line and the first does not rise as a clock would: the columns' names are needed to tell which is the pressure")

// timeScales are the names of the units a clock can be stated in.
var timeScales = map[string]float64{"s": 1, "ms": 1e-3, "us": 1e-6}

func (c *stepClock) state(unit string) {
	if s, ok := timeScales[unit]; ok {
		c.scale, c.how, c.numberSet = s, " (in "+unit+", as stated)", true
	}
}

// seconds takes the next number. at is the time of arrival, if hasAt.
func (c *stepClock) seconds(v float64, at time.Duration, hasAt bool) (s float64, ok bool) {
	if c.scale == 0 {
		if c.n > 0 {
			c.learn(v, at, hasAt)
		}
		if !c.anchored || v < c.last || !c.arrived && at == c.anchorAt {
			c.anchored, c.anchor, c.anchorAt, c.arrived = true, v, at, false
		} else if at != c.anchorAt {
			c.arrived = true
		}
	}
	c.last = v
	c.n++
	return v * c.scale, c.scale != 0
}

func (c *stepClock) learn(v float64, at time.Duration, hasAt bool) {
	step := v - c.last
	if step <= 0 {
		c.still++
		return
	}
	whole := v == float64(int64(v)) && c.last == float64(int64(c.last))
	if hasAt && whole {
		if at > c.anchorAt && v > c.anchor {
			c.byArrival(v-c.anchor, (at - c.anchorAt).Seconds(), step)
		}
		if c.scale != 0 || !c.hurry {
			return
		}
	}
	switch {
	case !whole:
		c.scale, c.how = 1, " (seconds, since it has decimals)"
	case step >= microStep:
		c.scale, c.how = 1e-6, " in steps too long for milliseconds (microseconds)"
	default:
		c.scale, c.how = 1e-3, " in whole steps (milliseconds)"
	}
}

// byArrival takes the unit that alone agrees with the time of arrival.
func (c *stepClock) byArrival(board, arrival, step float64) {
	left := 0
	var found float64
	for _, s := range [...]float64{1, 1e-3, 1e-6} {
		b := board * s
		if b > arrivalFactor*(arrival+arrivalSlack) || b < (arrival-arrivalSlack)/arrivalFactor || s == 1e-6 && step < microLeast {
			continue
		}
		left++
		found = s
	}
	if left != 1 {
		return
	}
	c.scale = found
	switch found {
	case 1:
		c.how = " (seconds, as the times of arrival show)"
	case 1e-3:
		c.how = " (milliseconds, as the times of arrival show)"
	default:
		c.how = " (microseconds, as the times of arrival show)"
	}
}

func (c *stepClock) check() error {
	if c.scale == 0 && c.still >= 3 {
		return errNoClock
	}
	return nil
}

// rewind makes the clock ready for the same lines from their start.
func (c *stepClock) rewind() { c.still = 0 }
