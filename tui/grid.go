package tui

import (
	"strings"
	"unicode"

	"github.com/charmbracelet/lipgloss"

	"ebbline/tui/chart"
)

// A style is how a cell looks. There are three weights of text (dim, plain,
// strong); the others are for what is not normal.
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
	styles
)

// palette holds the SGR parameters of each style, from the 256 colours and
// legible on light and dark alike: nothing sets a background of its own.
var palette = [styles]string{
	plain: "", dim: "38;5;244", strong: "1", hatch: "38;5;244",
	warn: "1;38;5;172", bad: "1;38;5;160", banner: "1;7", alarm: "1;7;38;5;160",
}

// mono is the palette for NO_COLOR: weight and reversal only.
var mono = [styles]string{
	plain: "", dim: "2", strong: "1", hatch: "2", warn: "1", bad: "1", banner: "1;7", alarm: "1;7",
}

type cell struct {
	r  rune // 0: the right half of a wide character
	st style
}

// grid is a screen of exactly w×h cells.
type grid struct {
	w, h  int
	cells []cell
}

func newGrid(w, h int) *grid {
	g := &grid{w: max(0, w), h: max(0, h)}
	g.cells = make([]cell, g.w*g.h)
	g.fill(plain)
	return g
}

func (g *grid) fill(st style) {
	for i := range g.cells {
		g.cells[i] = cell{' ', st}
	}
}

// set puts one character of width 1; outside the grid it does nothing.
func (g *grid) set(x, y int, r rune, st style) {
	if x >= 0 && y >= 0 && x < g.w && y < g.h {
		g.cells[y*g.w+x] = cell{r, st}
	}
}

// text writes s at x, y, cut at the right edge and before limit when limit is
// above 0, and returns the column after it. Control characters, which a title
// or a device's line may hold, become a dot so that they cannot steer the
// terminal.
func (g *grid) text(x, y int, s string, st style, limit ...int) int {
	end := g.w
	if len(limit) > 0 {
		end = min(end, limit[0])
	}
	for _, r := range s {
		w := 1
		if r >= 0x7f {
			if joins(r) {
				continue
			}
			w = lipgloss.Width(string(r))
		}
		if unicode.IsControl(r) || w < 1 || w > 2 {
			r, w = '·', 1
		}
		if x+w > end {
			break
		}
		g.set(x, y, r, st)
		if w == 2 {
			if x < 0 {
				g.set(x, y, ' ', st)
			}
			g.set(x+1, y, 0, st)
		}
		x += w
	}
	return x
}

// joins tells of characters that take no cell of their own or melt into their
// neighbours: a terminal and we could disagree on how wide they are, and the
// rest of the line would be out of place.
func joins(r rune) bool {
	return unicode.In(r, unicode.M, unicode.Cf, unicode.Zl, unicode.Zp) ||
		r >= 0x1100 && r <= 0x11ff || r >= 0xa960 && r <= 0xa97f || r >= 0xd7b0 && r <= 0xd7ff || // Hangul parts
		r >= 0x1f1e6 && r <= 0x1f1ff || r >= 0x1f3fb && r <= 0x1f3ff // flags, skin tones
}

// right writes s so that it ends before column end.
func (g *grid) right(end, y int, s string, st style) {
	g.text(end-width(s), y, s, st)
}

// centre writes s in the middle of the row.
func (g *grid) centre(y int, s string, st style) { g.text(max(0, (g.w-width(s))/2), y, s, st) }

// big writes lines of a big word.
func (g *grid) big(x, y int, lines []string, st style) {
	for i, l := range lines {
		g.text(x, y+i, l, st)
	}
}

// glyphs writes a row of a chart drawing.
func (g *grid) glyphs(x, y int, row []chart.Glyph, look func(chart.Class) style) {
	for i, c := range row {
		if c.C != chart.Empty {
			g.set(x+i, y, c.R, look(c.C))
		}
	}
}

// String returns the screen with its styles.
func (g *grid) String() string { return g.render(&palette) }

func (g *grid) render(p *[styles]string) string {
	var b strings.Builder
	b.Grow(g.w*g.h*3 + 64)
	for y := range g.h {
		if y > 0 {
			b.WriteByte('\n')
		}
		cur := plain
		for _, c := range g.cells[y*g.w : (y+1)*g.w] {
			if c.r == 0 {
				continue
			}
			if c.st != cur {
				if p[cur] != "" {
					b.WriteString("\x1b[0m")
				}
				if p[c.st] != "" {
					b.WriteString("\x1b[" + p[c.st] + "m")
				}
				cur = c.st
			}
			b.WriteRune(c.r)
		}
		if p[cur] != "" {
			b.WriteString("\x1b[0m")
		}
	}
	return b.String()
}

// width is how many cells s takes.
func width(s string) int { return lipgloss.Width(s) }

// wrap breaks s into lines of at most w cells between words; a word that is
// longer stands alone and is cut by the grid.
func wrap(s string, w int) []string {
	var out []string
	line := ""
	for _, word := range strings.Fields(s) {
		switch {
		case line == "":
			line = word
		case width(line)+1+width(word) <= w:
			line += " " + word
		default:
			out = append(out, line)
			line = word
		}
	}
	if line != "" {
		out = append(out, line)
	}
	return out
}
