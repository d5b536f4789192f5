package wire

import (
	"errors"
	"fmt"
	"strings"
)

// bare reads a line that has no names on it: a number, a number with its
// unit, or a time and a number.
func (d *LineDecoder) bare(line string) (Fields, error) {
	delim := delimiter(line)
	if delim == 0 {
		if f := strings.Fields(line); len(f) > 1 && allNumbers(f) {
			delim = ' '
		}
	}
	if delim == ',' && (d.opt.DecimalComma || oneComma(line)) {
		whole, err := d.comma.see(line, d.opt.DecimalComma)
		if err != nil {
			return Fields{}, err
		}
		if whole {
			return d.single(line)
		}
	}
	if delim == ',' {
		// "0,1 29,8": blanks part the cells and commas are decimal.
		if f := strings.Fields(line); len(f) == 2 && oneComma(f[1]) && allNumbers(f) {
			delim = ' '
		}
	}
	if delim == 0 {
		return d.single(line)
	}
	cells := split(line, delim)
	if len(cells) > 1 && cells[len(cells)-1] == "" {
		cells = cells[:len(cells)-1]
	}
	comma := delim != ','
	var f Fields
	var plain []float64
	found := false
	for _, c := range cells {
		v, rest, err := leadingNumber(c, comma)
		if err != nil {
			if at, _, ok := Clock(c); ok {
				f.Time, f.HasTime = at.Seconds(), true
				continue
			}
			return Fields{}, err
		}
		if at, _, ok := Clock(c); ok && rest != "" {
			f.Time, f.HasTime = at.Seconds(), true
			continue
		}
		if rest == "" {
			plain = append(plain, v)
			continue
		}
		col := ParseColumn(rest)
		u, ref, isUnit := ParseUnit(rest)
		switch scale, isTime := timeUnits[strings.ToLower(rest)]; {
		case isUnit && !found:
			f.Value, f.Unit, f.Reference, found = v, u, ref, true
		case isUnit: // the first pressure is the one meant
		case isTime:
			f.Time, f.HasTime = v*scale, true
		case col.Quantity == Temperature, oneLetterTemperature[strings.ToLower(rest)] != "":
			unit := col.Unit
			if unit == "" {
				unit = oneLetterTemperature[strings.ToLower(rest)]
			}
			f.Temp, f.HasTemp = celsius(v, unit), true
		default:
			return Fields{}, fmt.Errorf("%.40q is not a unit known here", rest)
		}
	}
	how := "values with their units, because units stand after the numbers"
	switch {
	case found && len(plain) == 0:
	case found && len(plain) == 1 && !f.HasTime, !found && len(plain) == 2 && !f.HasTime:
		f.Time, f.HasTime = d.time.seconds(plain[0])
		if err := d.time.check(); err != nil {
			return Fields{}, err
		}
		how = "time and value, because the first number rises from line to line" + d.time.why()
		if !f.HasTime {
			how = "two numbers, taken for time and value until the next lines show it"
		}
		if !found {
			f.Value = plain[1]
		}
	case !found && len(plain) == 1:
		f.Value = plain[0]
		how = "one number a line"
	default:
		return Fields{}, fmt.Errorf("%d numbers on a line and no names: a header or the columns' names are needed to tell which is the pressure", len(plain))
	}
	return d.finish(f, how)
}

// single reads a number with or without a unit.
func (d *LineDecoder) single(line string) (Fields, error) {
	f, err := d.cell(Fields{}, unquote(line))
	if err != nil {
		return Fields{}, err
	}
	how := "one number a line, because nothing else is on it"
	if f.Unit != "" {
		how = "number and unit, because a unit stands after the number"
	}
	return d.finish(f, how)
}

func allNumbers(cells []string) bool {
	for _, c := range cells {
		if _, ok := Number(c, true); !ok {
			return false
		}
	}
	return true
}

// oneComma reports whether s is digits, one comma and digits, perhaps with a
// unit: either one number with a decimal comma or two whole numbers.
func oneComma(s string) bool {
	s = strings.TrimLeft(s, "+-")
	a, b, ok := strings.Cut(s, ",")
	if !ok || a == "" || b == "" || strings.ContainsAny(b, ",.") {
		return false
	}
	for i := 0; i < len(a); i++ {
		if a[i] < '0' || a[i] > '9' {
			return false
		}
	}
	return b[0] >= '0' && b[0] <= '9'
}

// commaGuess decides whether "1234,29" is two numbers or one.
type commaGuess struct {
	seen    bool
	decided bool
	whole   bool
	last    float64
}

var errUndecidedComma = fmt.Errorf("the comma may be decimal or may part two numbers, the next line will tell: %w", ErrSkip)

// see takes the next such line. A clock rises from line to line and falls
// only to start anew near zero; the whole part of a pressure stays or falls.
func (c *commaGuess) see(line string, stated bool) (whole bool, err error) {
	if stated {
		return true, nil
	}
	a, _, _ := strings.Cut(line, ",")
	v, ok := Number(a, false)
	if !ok {
		return false, fmt.Errorf("%.40q does not start with a number", line)
	}
	defer func() { c.last, c.seen = v, true }()
	switch {
	case !c.seen:
		return false, errUndecidedComma
	case !c.decided:
		c.decided, c.whole = true, v <= c.last
	case !c.whole && v < c.last && v > c.last/2:
		c.whole = true
	}
	return c.whole, nil
}

// stepClock turns a rising whole number into seconds: milliseconds, or
// microseconds when the steps are too long for milliseconds; a number with
// decimals is seconds.
type stepClock struct {
	n     int
	last  float64
	scale float64 // 0: not known
	still int     // lines on which it did not rise, before it was known
}

// microStep is the step from which a whole number is taken for microseconds:
// as milliseconds it would be more than five seconds between lines.
const microStep = 5000

func (c *stepClock) seconds(v float64) (s float64, ok bool) {
	defer func() { c.last = v; c.n++ }()
	if c.scale == 0 && c.n > 0 {
		step := v - c.last
		switch {
		case step <= 0:
			c.still++
		case v != float64(int64(v)) || c.last != float64(int64(c.last)):
			c.scale = 1
		case step >= microStep:
			c.scale = 1e-6
		default:
			c.scale = 1e-3
		}
	}
	return v * c.scale, c.scale != 0
}

func (c *stepClock) check() error {
	if c.scale == 0 && c.still >= 3 {
		return errors.New("two numbers on a line and the first does not rise as a clock would: the columns' names are needed to tell which is the pressure")
	}
	return nil
}

func (c *stepClock) why() string {
	switch c.scale {
	case 1e-3:
		return " in whole steps (milliseconds)"
	case 1e-6:
		return " in steps too long for milliseconds (microseconds)"
	case 1:
		return " (seconds, since it has decimals)"
	}
	return ""
}
