package tui

import (
	"strconv"
	"strings"
)

// Colours is how many colours a terminal shows.
type Colours uint8

// The colour modes. The zero value is the most common one.
const (
	Colours256 Colours = iota
	ColoursNone
	Colours16
	ColoursTrue
)

// Background is whether a terminal's own background is dark or light. No
// screen sets a background, so this only chooses how light the colours are.
type Background uint8

// The backgrounds. Where it is not known, colours are used that can be read on
// both.
const (
	BackgroundUnknown Background = iota
	BackgroundDark
	BackgroundLight
)

// Look is how a terminal can be drawn on. The zero value is a UTF-8 terminal
// of 256 colours on a background that is not known.
type Look struct {
	Colours    Colours
	Background Background
	ASCII      bool // only the 95 printable characters of ASCII
}

// DetectLook guesses the look from the environment: getenv gives a variable,
// goos is the system's name as Go writes it, and codePage is that of a Windows
// console, else 0.
func DetectLook(getenv func(string) string, goos string, codePage uint32) Look {
	var l Look
	term := strings.ToLower(getenv("TERM"))
	modern := getenv("WT_SESSION") != "" // set by a Windows console that draws everything
	colour := strings.ToLower(getenv("COLORTERM"))
	basic := false // terminals of few colours, whose characters are few as well
	for _, name := range []string{"linux", "vt", "ansi", "cons", "dumb", "cygwin", "sun"} {
		basic = basic || strings.HasPrefix(term, name)
	}
	switch {
	case getenv("NO_COLOR") != "", term == "dumb":
		l.Colours = ColoursNone
	case colour == "truecolor", colour == "24bit", modern, strings.HasSuffix(term, "-direct"):
		l.Colours = ColoursTrue
	case strings.Contains(term, "256"):
	case basic, term == "xterm", term == "screen", term == "rxvt", strings.Contains(term, "16color"):
		l.Colours = Colours16
	}

	locale := ""
	for _, name := range []string{"LC_ALL", "LC_CTYPE", "LANG"} { // the order of POSIX
		if locale = strings.ToLower(getenv(name)); locale != "" {
			break
		}
	}
	utf8 := strings.Contains(locale, "utf-8") || strings.Contains(locale, "utf8")
	switch {
	case goos == "windows":
		// Its old console takes any character but its font has no braille.
		l.ASCII = !modern && !utf8 && codePage != 65001
	case basic:
		l.ASCII = true
	default:
		// No locale at all is common in containers, whose terminal is UTF-8.
		l.ASCII = locale != "" && !utf8
	}

	if parts := strings.Split(getenv("COLORFGBG"), ";"); len(parts) > 1 {
		if n, err := strconv.Atoi(parts[len(parts)-1]); err == nil {
			l.Background = BackgroundDark
			if n == 7 || n > 8 {
				l.Background = BackgroundLight
			}
		}
	}
	return l
}

// A style is how a cell looks. There are three weights of text (dim, plain,
// strong); the others are for what is not normal, and for traces that are laid
// over one another.
type style uint8

const (
	plain  style = iota
	dim          // secondary: words and lines one may ignore
	strong       // what is to be read first
	hatch        // the warning band when nobody is near it
	warn         // in the warning band, a leak, a lost sensor
	bad          // past the ceiling, in the picture
	banner       // reversed: no real pressure, a notice not to be missed
	alarm        // the whole screen past the ceiling
	chosen       // reversed: the line or field the keys work on
	trace1       // six traces on one chart; their names stand beside them
	trace2
	trace3
	trace4
	trace5
	trace6
	styles
)

// reversed reports whether a blank in the style is seen.
func (s style) reversed() bool { return s == banner || s == alarm || s == chosen }

// hue is a colour in each mode and on each background.
type hue struct {
	c16  [3]string // SGR parameters; unknown, dark, light background
	c256 [3]int
	rgb  [3]string
}

var (
	grey   = &hue{[3]string{"2", "2", "2"}, [3]int{244, 246, 242}, [3]string{"128;128;128", "150;150;150", "96;96;96"}}
	amber  = &hue{[3]string{"33", "93", "35"}, [3]int{172, 214, 130}, [3]string{"205;120;0", "255;176;46", "150;84;0"}}
	red    = &hue{[3]string{"31", "91", "31"}, [3]int{160, 203, 160}, [3]string{"215;0;0", "255;95;90", "190;0;20"}}
	series = [6]*hue{
		{[3]string{"36", "96", "36"}, [3]int{37, 80, 30}, [3]string{"0;150;160", "95;215;215", "0;110;120"}},
		{[3]string{"35", "95", "35"}, [3]int{134, 177, 91}, [3]string{"160;90;200", "205;140;255", "120;40;160"}},
		{[3]string{"32", "92", "32"}, [3]int{71, 114, 28}, [3]string{"80;150;80", "135;215;135", "0;115;30"}},
		{[3]string{"34", "94", "34"}, [3]int{68, 111, 25}, [3]string{"80;125;200", "135;175;255", "0;75;160"}},
		{[3]string{"33", "33", "33"}, [3]int{137, 180, 94}, [3]string{"160;125;80", "215;175;135", "120;80;10"}},
		{[3]string{"31", "31", "31"}, [3]int{132, 175, 89}, [3]string{"170;90;135", "215;135;175", "125;20;85"}},
	}
)

// styleTable is what every style is made of: a weight or a reversal that is
// there without colours too, and a hue.
var styleTable = [styles]struct {
	attr, mono string // mono replaces attr where there are no colours
	hue        *hue
}{
	plain: {}, dim: {mono: "2", hue: grey}, strong: {attr: "1", mono: "1"}, hatch: {mono: "2", hue: grey},
	warn: {"1", "1", amber}, bad: {"1", "1", red}, banner: {attr: "1;7", mono: "1;7"}, alarm: {"1;7", "1;7", red},
	chosen: {attr: "7", mono: "7"},
	trace1: {"1", "1", series[0]}, trace2: {hue: series[1]}, trace3: {hue: series[2]},
	trace4: {hue: series[3]}, trace5: {hue: series[4]}, trace6: {hue: series[5]},
}

// palette is the SGR parameters of each style in this look.
func (l Look) palette() *[styles]string {
	var p [styles]string
	for i, s := range styleTable {
		if l.Colours == ColoursNone {
			p[i] = s.mono
			continue
		}
		p[i] = s.attr
		if s.hue == nil {
			continue
		}
		b := min(l.Background, BackgroundLight)
		var c string
		switch l.Colours {
		case Colours16:
			c = s.hue.c16[b]
		case ColoursTrue:
			c = "38;2;" + s.hue.rgb[b]
		default:
			c = "38;5;" + strconv.Itoa(s.hue.c256[b])
		}
		if p[i] != "" {
			c = p[i] + ";" + c
		}
		p[i] = c
	}
	return &p
}

// spelt replaces what one character of ASCII cannot say.
var spelt = strings.NewReplacer("±", "+/-", "°C", "C", "τ", "tau", "∞", "inf", "≤", "<=", "≥", ">=", "µ", "u", "→", "->")

// plainRune is the character of ASCII that looks most like r.
func plainRune(r rune) rune {
	switch {
	case r < 0x7f:
		return r
	case r >= 0x2800 && r <= 0x28ff:
		return plainDots(r - 0x2800)
	}
	switch r {
	case '█':
		return '#'
	case '▀':
		return '"'
	case '▄':
		return 'o'
	case '━', '═':
		return '='
	case '─', '–', '−', '—':
		return '-'
	case '┴', '┬', '┼', '├', '┤':
		return '+'
	case '┃', '│':
		return '|'
	case '┊':
		return ':'
	case '●':
		return 'O'
	case '◀', '←':
		return '<'
	case '▶', '→':
		return '>'
	case '▼', '↓':
		return 'v'
	case '▲', '↑':
		return '^'
	case '╱':
		return '/'
	case '…':
		return '~'
	case '·':
		return '.'
	case '×', '✖':
		return 'x'
	case '²':
		return '2'
	case '³':
		return '3'
	case '‘', '’':
		return '\''
	case '“', '”':
		return '"'
	}
	return '?'
}

// plainDots is a braille cell by the rows its dots are in.
func plainDots(bits rune) rune {
	if bits == 0 {
		return ' '
	}
	first, last := -1, 0
	for y, row := range [4]rune{0x09, 0x12, 0x24, 0xc0} {
		if bits&row != 0 {
			if last = y; first < 0 {
				first = y
			}
		}
	}
	switch {
	case last-first >= 2:
		return '|'
	case last <= 1 && first == 0:
		return '\''
	case first >= 2:
		return '.'
	}
	return '-'
}
