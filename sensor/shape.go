package sensor

import (
	"fmt"
	"math"
	"slices"
	"strconv"
	"strings"

	"ebbline/decay"
	"ebbline/sensor/wire"
)

// shapeGuard finds lines with a piece missing that can be read all the same, by
// what a whole line cannot differ in from all those before it: how many figures
// it has, in what unit its value is, and how many digits a board that prints
// trailing zeros prints after a point. Words, signs, exponents and the digits
// before a point are free, and so is a line whose checksum is right. What
// differs again and again is a new format.
type shapeGuard struct {
	cells, says usual
	digits      map[string]*digits // by what stands before a number
	value       float64            // latest, in SI or V
	odd         string             // what the latest odd line differed in
	odds        int                // lines in a row that did
	found       []number           // of the line under way
}

const (
	shapeSure  = 24 // lines of one shape
	shapeNew   = 3  // of another, in a row
	shapeStays = 10 // in a row, after which it is as good as the first
	shapesMost = 64 // numbers of a line that are watched
)

// fits takes a line that was understood and reports whether it is whole, as
// far as that can be told.
func (g *shapeGuard) fits(line string, f wire.Fields) bool {
	if line = strings.TrimSpace(line); line == "" {
		return true
	}
	if line[0] == '$' && strings.Contains(line, "*") {
		g.cells.learn("*", false) // one without is torn
		return true
	}
	named := line[0] == '{' || isLetter(line[0]) && strings.ContainsAny(line, "=:")
	delim, cells := byte(0), "names"
	if !named {
		if delim, cells = figures(line); cells != "" && f.HasTime {
			cells += " and a time"
		}
	}
	says := f.Unit + " " + f.Reference
	value := f.Value * scaleOf(f.Unit)
	g.found = numbers(g.found[:0], line, delim)

	var odd []string
	if !g.cells.knows(cells) {
		odd = append(odd, cells)
	}
	// A board may go over from mV to V by itself: the value tells that from a letter lost.
	if !g.says.knows(says) && (f.Unit == "" || !near(value, g.value)) {
		odd = append(odd, says)
	}
	for _, n := range g.found {
		if d := g.digits[n.key]; d != nil && !d.allow(n) {
			odd = append(odd, fmt.Sprint(n.key, n.decimals, n.whole))
		}
	}
	if len(odd) > 0 {
		if all := strings.Join(odd, "\x00"); all != g.odd {
			g.odd, g.odds = all, 0
		}
		if g.odds++; g.odds < shapeStays {
			return g.odds >= shapeNew // so many torn alike in a row are rare, but they come
		}
	}
	g.odds, g.value = 0, value
	g.cells.learn(cells, len(odd) > 0)
	g.says.learn(says, len(odd) > 0)
	for _, n := range g.found {
		d := g.digits[n.key]
		if d == nil {
			if len(g.digits) >= shapesMost {
				continue
			}
			if g.digits == nil {
				g.digits = map[string]*digits{}
			}
			d = &digits{decimals: n.decimals, figures: n.figures, places: n.places}
			g.digits[n.key] = d
		}
		d.learn(n)
	}
	return true
}

// usual is what lines have in common.
type usual struct {
	seen  []string
	n     int  // lines of it
	mixed bool // the board prints what it likes
}

func (u *usual) knows(s string) bool {
	return s == "" || u.mixed || u.n < shapeSure || slices.Contains(u.seen, s)
}

// learn takes note of a line; add says that it belongs to a new format.
func (u *usual) learn(s string, add bool) {
	switch {
	case s == "" || u.mixed:
		return
	case slices.Contains(u.seen, s):
	case u.n >= shapeSure || add:
		u.seen = append(u.seen, s)
		u.mixed = len(u.seen) > 8
	case u.n > 2:
		u.mixed = true // two shapes so soon
	default:
		u.seen, u.n = append(u.seen[:0], s), 0
	}
	u.n++
}

// digits is how a board prints one of its numbers.
type digits struct {
	n        int
	decimals int
	figures  int // that count: without zeros in front
	places   int // that are printed
	zeros    bool
	nought   bool // it prints 0.5, not .5
	varied   bool // the decimals did
	floating bool // the figures did
	wide     bool // the places did
	last     float64
}

// allow reports whether a number may be whole.
func (d *digits) allow(n number) bool {
	switch {
	case d.varied || d.n < shapeSure || n.exponent:
		return true
	case n.point && !n.whole && d.nought:
		return false
	case n.decimals == d.decimals || !d.zeros:
		return true
	case d.decimals == 1 && n.decimals > 1:
		return true // 25.0 may be the shortest form
	case !d.floating && n.figures == d.figures || !d.wide && n.places == d.places:
		// As many as always: 9.990 and 10.00, 999.9 and 1000, but not 25031.
		return n.point || near(n.value, d.last)
	}
	return false
}

func (d *digits) learn(n number) {
	d.n++
	d.last = n.value
	if n.exponent {
		d.varied = true
	}
	d.varied = d.varied || n.decimals != d.decimals
	d.floating = d.floating || n.figures != d.figures
	d.wide = d.wide || n.places != d.places
	d.zeros = d.zeros || n.trailing
	d.nought = d.nought || n.nought
}

// number is one as it is printed.
type number struct {
	key      string // what stands before it
	value    float64
	decimals int
	figures  int
	places   int
	whole    bool // digits stand before the point
	point    bool
	nought   bool // a single 0 stands before the point
	trailing bool // it ends with a zero after the point
	exponent bool
}

// numbers finds the numbers of a line that stand alone, neither in a word nor in
// a clock time.
func numbers(out []number, line string, delim byte) []number {
	points := "."
	if delim == ';' || delim == '\t' {
		points = ".,"
	}
	cell, nth, from := 0, 0, 0
	for i := 0; i < len(line); {
		c := line[i]
		switch {
		case isLetter(c) || c == '_' || c >= 0x80:
			for i < len(line) && (isLetter(line[i]) || isDigit(line[i]) || line[i] == '_' || line[i] >= 0x80) {
				i++
			}
			continue
		case delim != 0 && c == delim:
			cell, nth = cell+1, 0
		}
		j := i
		for j < len(line) && isDigit(line[j]) {
			j++
		}
		n := number{whole: j > i, nought: j == i+1 && line[i] == '0'}
		k := j
		if j < len(line) && strings.IndexByte(points, line[j]) >= 0 {
			for k++; k < len(line) && isDigit(line[k]); k++ {
			}
			if n.point = k > j+1 || n.whole; n.point {
				n.decimals = k - j - 1
				n.trailing = n.decimals > 0 && line[k-1] == '0'
			}
		}
		if !n.whole && n.decimals == 0 {
			i++
			continue
		}
		n.nought = n.nought && n.point
		text := strings.Replace(line[i:k], ",", ".", 1)
		n.value, _ = strconv.ParseFloat(text, 64) // digits and a point
		n.places = len(strings.Replace(text, ".", "", 1))
		if n.figures = len(strings.Replace(strings.TrimLeft(text, "0."), ".", "", 1)); n.figures == 0 {
			n.figures = n.places
		}
		if k+1 < len(line) && (line[k] == 'e' || line[k] == 'E') {
			e := k + 1
			if line[e] == '-' || line[e] == '+' {
				e++
			}
			for ; e < len(line) && isDigit(line[e]); e++ {
				n.exponent, k = true, e+1
			}
		}
		clock := i > 1 && line[i-1] == ':' && isDigit(line[i-2])
		n.key = strings.Trim(line[from:i], " +-")
		if !strings.ContainsFunc(n.key, func(r rune) bool { return r > 0x7f || isLetter(byte(r)) }) {
			n.key = fmt.Sprint(cell, nth, n.key)
		}
		nth++
		if !clock {
			out = append(out, n)
		}
		i, from = k, k
	}
	return out
}

// figures tells what parts a line and how many cells it has up to the last that
// is no word; nothing of free text.
func figures(line string) (delim byte, shape string) {
	var cells []string
	for _, d := range []byte("\t;,") {
		if strings.IndexByte(line, d) >= 0 {
			delim, cells = d, strings.Split(line, string(d))
			break
		}
	}
	if delim == 0 {
		n, words := 0, 0
		for _, c := range strings.Fields(line) {
			if isWord(c) {
				words++
			} else {
				n++
			}
		}
		if words > 1 {
			return 0, ""
		}
		return 0, strconv.Itoa(n)
	}
	for len(cells) > 0 && isWord(cells[len(cells)-1]) {
		cells = cells[:len(cells)-1]
	}
	return delim, fmt.Sprintf("%c%d", delim, len(cells))
}

// isWord reports a cell that holds neither a number nor what stands for one.
func isWord(cell string) bool {
	cell = strings.Trim(cell, " \t\"+-")
	switch strings.ToLower(cell) {
	case "", "nan", "inf", "infinity", "null", "none", "n/a", "na", "ovf":
		return false
	}
	return isLetter(cell[0])
}

// scaleOf is what a number in a unit is multiplied by, so that those in other
// units can stand beside it.
func scaleOf(unit string) float64 {
	if unit == "mV" {
		return 1e-3
	}
	if u, err := decay.ParsePressureUnit(unit); err == nil {
		return u.Pascal
	}
	return 1
}

// near reports two numbers of about one size.
func near(a, b float64) bool {
	a, b = math.Abs(a), math.Abs(b)
	return a < 3*b && b < 3*a
}

func isDigit(c byte) bool  { return c >= '0' && c <= '9' }
func isLetter(c byte) bool { return c|0x20 >= 'a' && c|0x20 <= 'z' }
