package tui

import (
	"math"

	"ebbline/decay"
	"ebbline/decay/report"
	"ebbline/tui/chart"
)

// drawRoom draws the test as a line in a room from row top to row bottom: the
// ceiling line above, the band hatched under it all the time, time along the
// floor.
func (s *scene) drawRoom(g *grid, left, top, right, bottom int) {
	const gutter = 5
	x0 := left + gutter
	w, h := right-x0, bottom-top-2 // the ceiling's row above, the time's below
	if w < 8 || h < 2 {
		return
	}
	u := s.unit.Pascal
	ceiling := float64(s.set.Ceiling)
	t0, t1 := s.window()
	seen := chart.Column{}
	if s.trace != nil {
		seen = s.trace.Range(t0, t1)
	}
	lo, hi := 0.0, ceiling
	if seen.N > 0 {
		lo = math.Min(lo, seen.Min)
		// A passed ceiling stays in the picture with what went above it; a reading
		// that was found to be in doubt passed none.
		if seen.Max > ceiling && (s.st.OverCeiling || s.st.Result.Peak > s.set.Ceiling) {
			hi = min(ceiling+(seen.Max-ceiling)*1.1, 2*ceiling) // one wild reading shall not flatten the rest
		}
		if lo < -0.02*ceiling {
			lo = max(lo*1.1, -ceiling/2)
		} else {
			lo = 0
		}
	}

	c := chart.NewCanvas(w, h)
	dots := chart.Scale{Lo: hi, Hi: lo, N: 4 * h}
	band, _ := dots.At(decay.WarningBand * ceiling)
	rows := chart.Scale{Lo: hi, Hi: lo, N: h}
	// The ceiling's row lies above the room, or in it when it was passed; under
	// it the band takes one whole row at the least, so that it reads as one; in a
	// room so low that a row is twice the band or more that row would lie.
	cy := -1
	if hi > ceiling {
		cy, _ = rows.At(ceiling)
	}
	low := (hi-lo)/float64(h) >= 2*(1-decay.WarningBand)*ceiling
	if !low {
		band = max(band, 4*(cy+2))
	}
	c.Band(0, band-1)
	if s.trace != nil {
		c.Trace(s.trace, t0, t1, lo, hi)
	}

	s.drawBefore(g, c, x0, top, w, h, t0, t1, lo, hi)

	bandRows := (band + 3) / 4
	for y := range h {
		for x := range w {
			r, k := c.At(x, y)
			switch k {
			case chart.Hatch:
				g.set(x0+x, top+1+y, r, s.hatchStyle())
			case chart.Trace:
				st := strong
				if y < bandRows && (!low || y < band/4) {
					st = warn
				}
				g.set(x0+x, top+1+y, r, st)
			}
		}
	}

	// Marks stand only where no reading is drawn.
	for i, m := range s.marks {
		x, ok := chart.Scale{Lo: t0, Hi: t1, N: w}.At(m.at)
		if !ok || m.at <= t0 {
			continue
		}
		for y := bandRows; y < h; y++ {
			if _, k := c.At(x, y); k == chart.Empty {
				g.set(x0+x, top+1+y, '┊', dim)
			}
		}
		next := w
		if i+1 < len(s.marks) {
			if nx, ok := (chart.Scale{Lo: t0, Hi: t1, N: w}).At(s.marks[i+1].at); ok {
				next = nx
			}
		}
		word := m.to.String()
		if x+1+len(word) < next && !s.covers(c, x+1, h-1, len(word)) {
			g.text(x0+x+1, top+h, word, dim)
		}
	}

	// The ceiling: a heavy line with its value, at its own height when it was
	// passed.
	for x := range w {
		if _, k := c.At(x, cy); k != chart.Trace {
			g.set(x0+x, top+1+cy, '━', s.ceilingStyle())
		}
	}
	words := " ceiling " + s.set.Ceiling.Format(s.unit) + " "
	if low && w > 60 {
		words = " ceiling " + s.set.Ceiling.Format(s.unit) + ", warning band from " + (s.set.Ceiling * decay.WarningBand).Number(s.unit) + " "
	}
	at := 2
	for cy >= 0 && at+width(words) < w && s.covers(c, at, cy, width(words)) {
		at += 4
	}
	end := g.text(x0+at, top+1+cy, words, s.ceilingStyle(), right)
	if dotted := " dotted: before "; s.before != nil && end+width(dotted) <= right {
		g.right(right, top+1+cy, dotted, trace2)
	}
	if w > 60 && !low && !s.covers(c, w-15, cy+1, 14) {
		g.text(right-15, top+2+cy, " warning band ", s.hatchStyle(), right)
	}

	below := math.Inf(1)
	if cy < 0 {
		below = ceiling * 0.999 // its own words are there
	}
	drawWall(g, x0, top+1, h, lo, hi, below, u)
	s.drawTime(g, x0, bottom-1, w, t0, t1)

	if s.st.Phase == decay.PhaseReady && !s.st.Lost {
		s.drawCautions(g, x0, top+1+bandRows, right, bottom-1)
	}
}

// covers tells whether the trace runs through any of n cells from x, y.
func (s *scene) covers(c *chart.Canvas, x, y, n int) bool {
	for k := range n {
		if _, class := c.At(x+k, y); class == chart.Trace {
			return true
		}
	}
	return false
}

// isolatedAt is when the duct was last isolated.
func (s *scene) isolatedAt() (float64, bool) {
	for i := len(s.marks) - 1; i >= 0; i-- {
		switch s.marks[i].to {
		case decay.PhaseFill:
			return 0, false
		case decay.PhaseSettle, decay.PhaseHold:
			if i > 0 && isolated(s.marks[i-1].to) {
				continue
			}
			return s.marks[i].at, true
		}
	}
	return 0, false
}

// drawLens magnifies the isolated part of the test, on which the room's height
// leaves a slow leak no more than a few dots. It says where the ceiling is.
func (s *scene) drawLens(g *grid, left, top, right, bottom int) {
	const gutter = 5
	x0 := left + gutter
	w, h := right-x0, bottom-top-2
	t0, ok := s.isolatedAt()
	if !ok || s.trace == nil || w < 20 || h < 3 {
		return
	}
	last, _ := s.trace.Last()
	for i := len(s.marks) - 1; i >= 0; i-- {
		if s.marks[i].to.Emptied() && s.marks[i].at > t0 {
			last = s.marks[i].at
		}
	}
	seen := s.trace.Range(t0+s.trace.Width(), last)
	if seen.N == 0 || !(last > t0) {
		return
	}
	// Less than half a per cent of the pressure is not blown up further, or
	// noise would look like a leak.
	mid, half := (seen.Min+seen.Max)/2, (seen.Max-seen.Min)*0.54
	half = math.Max(half, math.Max(0.0025*math.Abs(mid), 50))
	lo, hi := mid-half, mid+half
	t1 := t0 + chart.TimeSpan(last-t0)
	c := chart.NewCanvas(w, h)
	c.Trace(s.trace, t0, t1, lo, hi)
	title := "the hold, magnified"
	if gap := decay.Gauge(float64(s.set.Ceiling) - hi); gap > 0 {
		title += "; the ceiling is " + gap.Number(s.unit) + " " + s.unit.Name + " above this edge"
	}
	g.text(x0, top, title, dim, right)
	for y := range h {
		for x := range w {
			if r, k := c.At(x, y); k == chart.Trace {
				g.set(x0+x, top+1+y, r, strong)
			}
		}
	}
	u := s.unit.Pascal
	rows := chart.Scale{Lo: hi, Hi: lo, N: h}
	step := chart.Step((hi-lo)/u, max(2, h/3))
	for _, v := range chart.Ticks(lo/u, hi/u, max(2, h/3)) {
		if r, ok := rows.At(v * u); ok {
			n := chart.Number(v, step)
			g.text(max(0, x0-1-width(n)), top+1+r, n, dim, x0)
		}
	}
	s.drawTime(g, x0, bottom-1, w, t0, t1)
}

// drawWall writes the numbers of the pressures from lo to hi, in units of u,
// up the wall of a room of h rows; those above below are left out.
func drawWall(g *grid, x0, top, h int, lo, hi, below, u float64) {
	rows := chart.Scale{Lo: hi, Hi: lo, N: h}
	step := chart.Step((hi-lo)/u, max(2, h/3))
	usedRow := -1
	for _, v := range chart.Ticks(lo/u, hi/u, max(2, h/3)) {
		r, ok := rows.At(v * u)
		if !ok || r == usedRow || v*u > below {
			continue
		}
		usedRow = r
		g.right(x0-1, top+r, chart.Number(v, step), dim)
	}
}

// drawBefore draws the trace of the test before, its isolation at the same
// place, where the present one leaves room.
func (s *scene) drawBefore(g *grid, c *chart.Canvas, x0, top, w, h int, t0, t1, lo, hi float64) {
	p := s.before
	if p == nil || p.trace == nil {
		return
	}
	shift := s.origin() - p.start
	if at, ok := s.isolatedAt(); ok && p.hold > 0 {
		shift = at - p.hold
	}
	old := chart.NewCanvas(w, h)
	old.Trace(p.trace, t0-shift, t1-shift, lo, hi)
	for y := range h {
		for x := range w {
			if _, k := c.At(x, y); k == chart.Trace {
				continue
			}
			if r, k := old.At(x, y); k == chart.Trace && x%2 == 0 {
				g.set(x0+x, top+1+y, r, trace2)
			}
		}
	}
}

// drawTime writes the time axis.
func (s *scene) drawTime(g *grid, x0, y, w int, t0, t1 float64) {
	drawClock(g, x0, y, w, t0, t1, s.origin())
}

// drawClock writes a time axis from t0 to t1 seconds that counts from origin.
func drawClock(g *grid, x0, y, w int, t0, t1, origin float64) {
	step := chart.TimeStep(t1-t0, max(2, w/14))
	if step == 0 {
		return
	}
	sc := chart.Scale{Lo: t0, Hi: t1, N: w}
	free := 0
	for t := math.Ceil((t0-origin)/step) * step; ; t += step {
		x, ok := sc.At(origin + t)
		if !ok {
			break
		}
		word := clock(t)
		if t < 0 {
			word = "−" + clock(-t)
		}
		if x < free {
			continue
		}
		if x+width(word) > w {
			break
		}
		g.text(x0+x, y, word, dim)
		free = x + width(word) + 1
	}
}

// drawCautions writes the cautions into the still empty room.
func (s *scene) drawCautions(g *grid, left, top, right, bottom int) {
	lines := cautions
	if bottom-top < len(lines)+1 {
		lines = lines[1:]
	}
	n := min(len(lines), max(0, bottom-top-1))
	y := top + max(0, (bottom-top-1-n)/2)
	for i := range n {
		st := plain
		if len(lines) == len(cautions) && i == 0 {
			st = strong
		}
		g.text(left+3, y+i, lines[i], st, right)
	}
}

func (s *scene) hatchStyle() style {
	if s.st.InBand {
		return warn
	}
	return hatch
}

func (s *scene) ceilingStyle() style {
	if s.st.InBand {
		return warn
	}
	return plain
}

// origin is the time the axis counts from: the start of the fill, when there
// was one.
func (s *scene) origin() float64 {
	for _, m := range s.marks {
		if m.to == decay.PhaseFill {
			return m.at
		}
	}
	if s.trace != nil {
		return s.trace.Start()
	}
	return 0
}

// window is the stretch of time on the chart. Its length comes from a short
// list, so the picture stays still while the line grows into it.
func (s *scene) window() (t0, t1 float64) {
	if s.trace == nil {
		return 0, 30
	}
	t0 = s.trace.Start()
	last, _ := s.trace.Last()
	if math.IsNaN(last) {
		return t0, t0 + 30
	}
	if o := s.origin(); o > t0 {
		// A little of the time before the fill shows the zero.
		span := chart.TimeSpan((last - o) * 1.04)
		if from := o - span/25; from > t0 {
			t0 = from
		}
	}
	return t0, t0 + chart.TimeSpan(last-t0)
}

// drawRuler draws the floor of the room: hole sizes on a logarithmic ruler,
// with the limit, the interval and the estimate.
func (s *scene) drawRuler(g *grid, left, y, right int) {
	r := chart.Ruler{Lo: ruleLo, Hi: ruleHi, W: right - left - 5}
	x := left + 5
	if r.W < 20 {
		return
	}
	res := s.found(s.st.Result)
	limit := float64(s.set.Limit) / decay.Millimetre
	point, low, high := math.NaN(), 0.0, 0.0
	known := res.HasFit && res.HasVolume
	if known {
		point, low, high = res.Hole.Value/decay.Millimetre, res.Hole.Low/decay.Millimetre, res.Hole.High/decay.Millimetre
	}
	g.text(left, y+1, "hole", dim)
	look := func(c chart.Class) style {
		switch c {
		case chart.Axis, chart.Label:
			return dim
		case chart.Bar, chart.Point:
			switch {
			case s.st.FirstGuess():
				return dim
			case known && low > limit:
				return warn
			}
			return strong
		}
		return plain
	}
	limitRow := r.Limit(limit, "limit "+mm(limit*decay.Millimetre)+" mm")
	g.glyphs(x, y, limitRow, look)
	g.glyphs(x, y+1, r.Line(point, low, high, limit), look)
	g.glyphs(x, y+2, r.Labels("mm"), look)
	s.drawRulerWords(g, x, y, r, limitRow)
}

// drawRulerWords writes the estimate, or why there is none, above the ruler
// on the side where the limit's words leave room.
func (s *scene) drawRulerWords(g *grid, x, y int, r chart.Ruler, limitRow []chart.Glyph) {
	res := s.found(s.st.Result)
	words := ""
	switch {
	case res.HasFit && res.HasVolume:
		words = mm(res.Hole.Value) + " mm, 95 %: " + mm(res.Hole.Low) + " to " + mm(res.Hole.High)
		if u, ok := report.Under(res); ok {
			words = u
		}
		if s.st.FirstGuess() {
			words = "first guess " + words
		}
	case res.HasFit:
		words = "K " + three(res.Rate.Value*1000) + "/1000 s; state --volume for a hole"
	case s.set.Volume == 0:
		words = "no volume stated: no hole size"
	case isolated(s.st.Phase):
		words = "reading …"
	default:
		return
	}
	first, last := len(limitRow), -1
	for i, c := range limitRow {
		if c.C != chart.Empty {
			first, last = min(first, i), i
		}
	}
	n := width(words)
	switch {
	case last+3+n <= r.W:
		g.text(x+r.W-n, y, words, s.guessStyle())
	case n+2 <= first:
		g.text(x, y, words, s.guessStyle())
	}
}
