package tui

import (
	"math"
	"slices"
	"strings"

	"ebbline/decay"
	"ebbline/tui/chart"
)

// drawTraces draws the traces over one another in a room from row top to row
// bottom: time since isolation along the floor, the ceiling above, each line
// with its letter along it and its name at its end.
func (m *lesson) drawTraces(g *grid, left, top, right, bottom int) {
	const gutter = 5
	x0 := left + gutter
	names := labels(m.traces)
	margin, most := 0, (right-x0)/3
	for i, n := range names {
		if g.width(n) >= most { // on a narrow screen the unit gives way: the keys' line has it
			names[i] = strings.Replace(n, " mm ", " ", 1)
		}
		margin = max(margin, g.width(names[i])+1)
	}
	margin = min(max(margin, 12), most)
	w, h := right-x0-margin, bottom-top-2
	if w < 8 || h < 2 {
		return
	}
	ceiling := float64(m.set.Ceiling)
	lo, hi := 0.0, ceiling
	t1 := m.span()
	for _, t := range m.traces {
		if seen := t.cols.Range(t.iso, t.iso+t1); seen.N > 0 {
			hi = math.Max(hi, seen.Max*1.02)
		}
	}
	m.drawCeiling(g, x0, top, w, h, hi)
	p := picture{x0, top + 1, w, h, right, t1, lo, hi}
	owner := m.drawLines(g, p)
	m.drawNames(g, p, owner, names)
	m.drawUnchoke(g, p, owner)
	m.drawLetters(g, p)
	m.drawFill(g, p)
	drawWall(g, x0, top+1, h, lo, hi, ceiling*0.999, m.unit.Pascal)
	drawClock(g, x0, bottom-1, w, 0, t1, 0)
	g.right(right, bottom-1, " since isolation", dim)
}

// picture is the place of the traces on the screen and what it spans.
type picture struct {
	x0, top, w, h int
	right         int // end of the names beside it
	t1            float64
	lo, hi        float64 // Pa gauge, at the floor and at the top edge
}

// row is the row of a pressure, from the top; false outside the picture.
func (p picture) row(v float64) (int, bool) {
	return chart.Scale{Lo: p.hi, Hi: p.lo, N: p.h}.At(v)
}

// dot is the height of a dot, Pa.
func (p picture) dot() float64 { return (p.hi - p.lo) / float64(4*p.h) }

// free tells whether no trace runs through any of n cells from x, y.
func (p picture) free(owner []int, x, y, n int) bool {
	if x < 0 || y < 0 || y >= p.h || x+n > p.w {
		return false
	}
	for k := range n {
		if owner[y*p.w+x+k] > 0 {
			return false
		}
	}
	return true
}

// span is how long the time axis is, s.
func (m *lesson) span() float64 {
	long := m.o.Hold.Seconds()
	if m.real() {
		long = 30
	}
	for _, t := range m.traces {
		long = math.Max(long, t.seconds())
	}
	if !m.real() && long <= m.o.Hold.Seconds()*1.01 {
		return m.o.Hold.Seconds()
	}
	return chart.TimeSpan(long)
}

// drawCeiling draws the ceiling's line with its value, and hatches the warning
// band under it.
func (m *lesson) drawCeiling(g *grid, x0, top, w, h int, hi float64) {
	ceiling := float64(m.set.Ceiling)
	c := chart.NewCanvas(w, h)
	band, _ := chart.Scale{Lo: hi, Hi: 0, N: 4 * h}.At(decay.WarningBand * ceiling)
	c.Band(0, max(band/4*4, 4)-1)
	for y := range h {
		for x := range w {
			if r, k := c.At(x, y); k == chart.Hatch {
				g.set(x0+x, top+1+y, r, hatch)
			}
		}
	}
	for x := range w {
		g.set(x0+x, top, '━', plain)
	}
	g.text(x0+2, top, " ceiling "+m.set.Ceiling.Format(m.unit)+" ", plain, x0+w)
}

// drawUnchoke marks where the hole of the latest trace is choked no longer.
func (m *lesson) drawUnchoke(g *grid, p picture, owner []int) {
	v := Duct{Ambient: m.set.NominalAmbient()}.unchokes()
	if t := m.latest(); t != nil && t.sim {
		if t.duct.Seep || t.duct.Hole == 0 {
			return
		}
		v = t.duct.unchokes()
	}
	y, ok := p.row(float64(v))
	if !ok {
		return
	}
	for x := range p.w {
		if p.free(owner, x, y, 1) && !g.ascii { // its dots would look like a trace's
			g.set(p.x0+x, p.top+y, '┈', dim)
		}
	}
	if m.real() && len(m.traces) == 0 {
		return // the cautions stand there
	}
	words := " choked above " + v.Format(m.unit) + " "
	for x := 2; x+width(words) <= p.w; x++ {
		if p.free(owner, x-1, y, width(words)+1) {
			g.text(p.x0+x, p.top+y, words, dim)
			return
		}
	}
}

// latest is the trace under way or last made; nil when there is none.
func (m *lesson) latest() *lessonTrace { return m.cur }

// drawLines draws the traces, the latest on top, two dots thick so that it is
// seen from the last row of a class. It returns which trace each cell shows,
// counted from 1.
func (m *lesson) drawLines(g *grid, p picture) []int {
	owner := make([]int, p.w*p.h)
	bits := make([]rune, p.w*p.h)
	c := chart.NewCanvas(p.w, p.h)
	for i, t := range m.traces {
		c.Clear()
		c.Trace(t.cols, t.iso, t.iso+p.t1, p.lo, p.hi)
		past := p.w
		if !t.running() {
			past = int(t.seconds() / p.t1 * float64(p.w))
		}
		for y := range p.h {
			for x := range min(p.w, past) {
				r, _ := c.At(x, y)
				above, _ := c.At(x, y-1)
				if r = thick(r, above); r != 0 {
					owner[y*p.w+x] = i + 1
					bits[y*p.w+x] |= r
				}
			}
		}
	}
	for k, o := range owner {
		if o > 0 {
			g.set(p.x0+k%p.w, p.top+k/p.w, bits[k], m.lineStyle(o-1))
		}
	}
	return owner
}

// thick is a braille cell with every dot of it, and of the cell above, doubled
// downwards; 0 when there is none. A blank counts as no dots.
func thick(r, above rune) rune {
	dots := func(c rune) rune { return max(0, c-0x2800) }
	b, a := dots(r), dots(above)
	b |= (b&0x01)<<1 | (b&0x08)<<1 | (b&0x02)<<1 | (b&0x10)<<1 | (b&0x04)<<4 | (b&0x20)<<2 | (a&0x40)>>6 | (a&0x80)>>4
	if b == 0 {
		return 0
	}
	return 0x2800 | b
}

// lineStyle is the style of a trace's line.
func (m *lesson) lineStyle(i int) style { return trace1 + style(m.traces[i].slot) }

// nameStyle is that of its name, which has more weight for the latest.
func (m *lesson) nameStyle(i int) style {
	if m.traces[i] == m.latest() {
		return strong
	}
	return m.lineStyle(i)
}

// drawLetters sets each trace's letter along its line, each at its own times
// so that they do not meet.
func (m *lesson) drawLetters(g *grid, p picture) {
	const every = 4 // letters a line
	for i, t := range m.traces {
		for k := range every {
			x := int((float64(k) + (float64(i)+0.5)/float64(maxTraces)) / every * float64(p.w))
			at := (float64(x) + 0.5) / float64(p.w) * p.t1
			if at > t.seconds() {
				break
			}
			col := t.cols.Range(t.iso+at, t.iso+at+p.t1/float64(2*p.w))
			if col.N == 0 {
				continue
			}
			y, ok := p.row(math.Max(p.lo, (col.Min+col.Max-p.dot())/2))
			if !ok {
				continue
			}
			st := m.lineStyle(i)
			if t == m.latest() {
				st = banner
			}
			g.text(p.x0+x, p.top+y, t.letter(), st)
		}
	}
}

// drawNames writes the name of each trace where its line ends: in the picture
// when no line is in the way, else beside it, as near as the other names let
// it.
func (m *lesson) drawNames(g *grid, p picture, owner []int, names []string) {
	type tag struct{ i, y int }
	var beside []tag
	taken := make([]bool, p.h) // rows with a name in the picture
	for i, t := range m.traces {
		_, v := t.cols.Last()
		if col := t.cols.Range(t.iso+t.seconds()-1, t.iso+t.seconds()); col.N > 0 {
			v = (col.Min + col.Max - p.dot()) / 2
		}
		y, ok := p.row(math.Max(p.lo, v))
		if !ok {
			y = p.h - 1
		}
		x := int(t.seconds()/p.t1*float64(p.w)) + 1
		n := g.width(names[i])
		if !taken[y] && p.free(owner, x+1, y, n+1) {
			g.text(p.x0+x, p.top+y, " "+names[i]+" ", m.nameStyle(i))
			taken[y] = true
			for k := range n + 2 { // what is drawn later goes round it
				if x+k < p.w {
					owner[y*p.w+x+k] = i + 1
				}
			}
			continue
		}
		beside = append(beside, tag{i, y})
	}
	slices.SortStableFunc(beside, func(a, b tag) int { return a.y - b.y })
	// Downwards where two want one row, then up again from the floor.
	for k := 1; k < len(beside); k++ {
		beside[k].y = max(beside[k].y, beside[k-1].y+1)
	}
	for k := len(beside) - 1; k >= 0; k-- {
		most := p.h - 1
		if k < len(beside)-1 {
			most = beside[k+1].y - 1
		}
		beside[k].y = min(beside[k].y, most)
		if beside[k].y >= 0 {
			g.text(p.x0+p.w+1, p.top+beside[k].y, names[beside[k].i], m.nameStyle(beside[k].i), p.right)
		}
	}
}

// drawFill shows the pressure of a duct that is not isolated yet as a bar at
// the wall, where its line will start.
func (m *lesson) drawFill(g *grid, p picture) {
	st := m.state()
	t := m.latest()
	if t == nil || !st.Seen || st.Lost || !math.IsNaN(t.iso) {
		return
	}
	y, ok := p.row(float64(st.P))
	if !ok {
		return
	}
	for k := y; k < p.h; k++ {
		g.set(p.x0, p.top+k, '┃', strong)
	}
}
