package wire

import (
	"errors"
	"fmt"
	"strings"
)

// bare reads a line that has no names on it: a number, a number with its
// unit, or a time and a number.
func (d *LineDecoder) bare(line string) (Fields, error) {
	delim := d.parted(line)
	if delim == 0 && d.opt.Delim == "" {
		if f := strings.Fields(line); len(f) > 1 && allNumbers(f) {
			delim = ' '
		}
	}
	if delim == ',' && d.opt.Delim == "" && !d.opt.DecimalPoint && (d.opt.DecimalComma || oneComma(line)) {
		whole, err := d.comma.see(line, d.opt.DecimalComma)
		if err != nil {
			d.pending = errors.Is(err, ErrSkip)
			return Fields{}, err
		}
		if whole {
			return d.single(line)
		}
	}
	if delim == ',' && d.opt.Delim == "" && !d.opt.DecimalPoint {
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
	comma := delim != ',' && !d.opt.DecimalPoint
	var f Fields
	var t clock
	var plain []float64
	found := false
	for _, c := range cells {
		v, rest, err := leadingNumber(c, comma)
		if err != nil {
			if at, dated, ok := Clock(c); ok {
				t = ofDay(at, dated)
				continue
			}
			return Fields{}, err
		}
		if at, dated, ok := Clock(c); ok && rest != "" {
			t = ofDay(at, dated)
			continue
		}
		if rest == "" {
			plain = append(plain, v)
			continue
		}
		col := d.column(rest)
		u, ref, isUnit := ParseUnit(rest)
		switch scale, isTime := timeUnits[strings.ToLower(rest)]; {
		case isUnit && !found:
			f.Value, f.Unit, f.Reference, found = v, u, ref, true
		case isUnit: // the first pressure is the one meant
		case isTime:
			t = counter(v, scale, " (its unit stands after it)")
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
	if delim == ',' && len(cells) > 1 && strings.Contains(line, ".") {
		d.comma.part() // the point is the decimal mark
	}
	say := said{how: "values with their units", why: "because units stand after the numbers", delim: delim}
	if f.HasTemp {
		say.temp = "the value with its unit"
	}
	switch {
	case found && len(plain) == 0:
	case found && len(plain) == 1 && !t.has, !found && len(plain) == 2 && !t.has:
		t = d.unnamed(plain[0])
		if err := d.time.check(); err != nil {
			d.pending = false
			return Fields{}, err
		}
		say.how, say.why = "time and value", "because the first number rises from line to line"
		if !t.has {
			say.how, say.why = "two numbers", "taken for time and value until the next lines show it"
		}
		if !found {
			f.Value = plain[1]
		}
	case !found && len(plain) == 1:
		f.Value = plain[0]
		say.how, say.why = "one number a line", "because no other number is on it"
	default:
		return Fields{}, fmt.Errorf("%d numbers on a line and no names: a header or the columns' names are needed to tell which is the pressure", len(plain))
	}
	return d.finish(f, t, say)
}

// single reads a number with or without a unit.
func (d *LineDecoder) single(line string) (Fields, error) {
	f, err := d.cell(Fields{}, unquote(line))
	if err != nil {
		return Fields{}, err
	}
	say := said{how: "one number a line", why: "because nothing else is on it"}
	if f.Unit != "" {
		say = said{how: "number and unit", why: "because a unit stands after the number"}
	}
	return d.finish(f, clock{}, say)
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
	parts   bool // is certain
	last    float64
}

var errUndecidedComma = fmt.Errorf("the comma may be decimal or may part two numbers, the next line will tell: %w", ErrSkip)

// undecided reports that such a line came and its meaning is open.
func (c *commaGuess) undecided() bool { return c.seen && !c.decided }

// part says that another line has shown commas to part numbers.
func (c *commaGuess) part() { c.seen, c.decided, c.whole, c.parts = true, true, false, true }

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
	case !c.whole && !c.parts && v < c.last && v > c.last/2:
		c.whole = true
	}
	return c.whole, nil
}
