package tui

import (
	"strings"
	"unicode"

	"github.com/charmbracelet/lipgloss"

	"ebbline/tui/chart"
)

type cell struct {
	r    rune // 0: the right half of a wide character
	st   style
	word bool // of a text, which no other text may overwrite
}

// overlapped is called when a text is about to overwrite another. The tests let
// it fail, whatever they draw.
var overlapped = func(g *grid, x, y int, s string) {}

// grid is a screen of exactly w×h cells.
type grid struct {
	w, h  int
	cells []cell
	ascii bool // words are spelt in ASCII
}

func newGrid(w, h int) *grid {
	g := &grid{w: max(0, w), h: max(0, h)}
	g.cells = make([]cell, g.w*g.h)
	g.fill(plain)
	return g
}

func (g *grid) fill(st style) {
	for i := range g.cells {
		g.cells[i] = cell{r: ' ', st: st}
	}
}

// set puts one character of width 1; outside the grid it does nothing.
func (g *grid) set(x, y int, r rune, st style) {
	if x >= 0 && y >= 0 && x < g.w && y < g.h {
		g.cells[y*g.w+x] = cell{r: r, st: st}
	}
}

// letter is set for a character of the text s.
func (g *grid) letter(x, y int, r rune, st style, s string) {
	if x < 0 || y < 0 || x >= g.w || y >= g.h {
		return
	}
	if was := g.cells[y*g.w+x]; was.word {
		overlapped(g, x, y, s)
	}
	g.cells[y*g.w+x] = cell{r, st, r != ' '}
}

// clear blanks the row from x to before end, for a text that takes the place of
// what is there.
func (g *grid) clear(x, y, end int) {
	for ; x < end; x++ {
		g.set(x, y, ' ', plain)
	}
}

// text writes s at x, y and returns the column after it. What does not fit
// before the right edge, or before limit when limit is above 0, is cut and ends
// in an ellipsis. Control characters, which a title or a device's line may hold,
// become a dot so that they cannot steer the terminal.
func (g *grid) text(x, y int, s string, st style, limit ...int) int {
	end := g.w
	if len(limit) > 0 {
		end = min(end, limit[0])
	}
	if g.ascii {
		s = spelt.Replace(s)
	}
	room := x // where the text so far leaves a cell for an ellipsis
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
			if room < end {
				for i := room; i < x; i++ {
					g.set(i, y, ' ', st)
				}
				g.letter(room, y, '…', st, s)
				return room + 1
			}
			break
		}
		g.letter(x, y, r, st, s)
		if w == 2 {
			g.letter(x+1, y, 0, st, s)
		}
		if x += w; x < end {
			room = x
		}
	}
	return x
}

// joins tells of characters that take no cell of their own or melt into their
// neighbours: a terminal and we could disagree on how wide they are, and the
// rest of the line would be out of place.
func joins(r rune) bool {
	return unicode.In(r, unicode.M, unicode.Cf, unicode.Zl, unicode.Zp) ||
		r >= 0x1100 && r <= 0x11ff || r >= 0xa960 && r <= 0xa97f || r >= 0xd7b0 && r <= 0xd7ff || // Hangul parts
		r == 0xff9e || r == 0xff9f || // halfwidth sound marks
		r >= 0x1f1e6 && r <= 0x1f1ff || r >= 0x1f3fb && r <= 0x1f3ff // flags, skin tones
}

// right writes s so that it ends before column end.
func (g *grid) right(end, y int, s string, st style) {
	g.text(end-g.width(s), y, s, st, end)
}

// centre writes s in the middle of the row.
func (g *grid) centre(y int, s string, st style) { g.text(max(0, (g.w-g.width(s))/2), y, s, st) }

// width is how many cells s takes as it will be spelt.
func (g *grid) width(s string) int {
	if g.ascii {
		s = spelt.Replace(s)
	}
	return width(s)
}

// big writes lines of a big word; blanks leave what is there.
func (g *grid) big(x, y int, lines []string, st style) {
	for i, l := range lines {
		k := x
		for _, r := range l {
			if r != ' ' {
				g.set(k, y+i, r, st)
			}
			k++
		}
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

// render returns the screen with its styles in a palette, see [Look].
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
				if !g.ascii {
					continue
				}
				c.r = '?' // as the left half is
			}
			// A blank between words needs no change there and back: a fifth of a frame's
			// bytes went into those.
			if c.st != cur && !(c.r == ' ' && c.st == plain && !cur.reversed()) {
				if p[cur] != "" {
					b.WriteString("\x1b[0m")
				}
				if p[c.st] != "" {
					b.WriteString("\x1b[" + p[c.st] + "m")
				}
				cur = c.st
			}
			if g.ascii {
				c.r = plainRune(c.r)
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

// clause is s, or as much of its beginning as ends with a clause and fits w
// cells; a first clause that is longer is cut by the grid.
func clause(s string, w int) string {
	for width(s) > w {
		i := max(strings.LastIndex(s, "; "), strings.LastIndex(s, ", "), strings.LastIndex(s, ": "), strings.LastIndex(s, " ("))
		if i <= 0 {
			break
		}
		s = s[:i]
	}
	return s
}

// wrap breaks s into lines of at most w cells between words; a word that is
// longer, such as a path, is broken where the line ends.
func wrap(s string, w int) []string {
	var out []string
	line := ""
	for _, word := range strings.Fields(s) {
		for w > 1 && width(word) > w {
			if line != "" {
				line += " "
			}
			n := 0
			for i := range word {
				if width(line)+width(word[:i]) > w {
					break
				}
				n = i
			}
			if n == 0 && line == "" { // not even one
				n = len(word)
			}
			out, line, word = append(out, strings.TrimRight(line+word[:n], " ")), "", word[n:]
		}
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
