package chart

import (
	"math"
	"strconv"
)

// Ruler is a logarithmic ruler of W cells from Lo to Hi, both above zero.
type Ruler struct {
	Lo, Hi float64
	W      int
}

// At returns the cell of v, and −1 or +1 when v lies below or above the ruler
// (the cell is then the nearest end). Zero and below are below; NaN is below.
func (r Ruler) At(v float64) (cell, beyond int) {
	if r.W <= 0 || !(r.Lo > 0) || !(r.Hi > r.Lo) {
		return 0, -1
	}
	f := math.Log(v/r.Lo) / math.Log(r.Hi/r.Lo)
	switch {
	case !(v > 0) || !(f >= -1e-9):
		return 0, -1
	case f > 1+1e-9:
		return r.W - 1, 1
	}
	return min(max(0, int(math.Round(f*float64(r.W-1)))), r.W-1), 0
}

// A Glyph is one character of a class; a Row of them is one line of a drawing.
type Glyph struct {
	R rune
	C Class
}

func blank(w int) []Glyph {
	g := make([]Glyph, max(0, w))
	for i := range g {
		g[i] = Glyph{' ', Empty}
	}
	return g
}

func write(g []Glyph, x int, s string, c Class) {
	for _, r := range s {
		if x >= 0 && x < len(g) {
			g[x] = Glyph{r, c}
		}
		x++
	}
}

// Limit draws the line above the ruler: a mark pointing down at v with its
// words beside it, on the side where there is room.
func (r Ruler) Limit(v float64, words string) []Glyph {
	g := blank(r.W)
	x, beyond := r.At(v)
	if r.W <= 0 {
		return g
	}
	mark := [...]string{"◀", "▼", "▶"}[beyond+1]
	write(g, x, mark, Limit)
	if n := len([]rune(words)); x+2+n <= r.W {
		write(g, x+2, words, Limit)
	} else if x-1-n >= 0 {
		write(g, x-1-n, words, Limit)
	}
	return g
}

// Line draws the ruler's line with ticks at 1…9 times each power of ten, the
// interval from low to high as a heavy bar and the point as a dot on it; where
// the interval leaves the ruler the bar ends in an arrow. A NaN point draws the
// bare line. The limit cuts the line as a heavy upright.
func (r Ruler) Line(point, low, high, limit float64) []Glyph {
	g := blank(r.W)
	if r.W <= 0 {
		return g
	}
	for i := range g {
		g[i] = Glyph{'─', Axis}
	}
	for _, t := range r.ticks(false) {
		if x, out := r.At(t); out == 0 {
			g[x] = Glyph{'┴', Axis}
		}
	}
	if math.IsNaN(point) {
		if x, out := r.At(limit); out == 0 {
			g[x] = Glyph{'┃', Limit}
		}
		return g
	}
	a, outA := r.At(low)
	b, outB := r.At(high)
	if !(outA == 1 || outB == -1) {
		for i := a; i <= b; i++ {
			g[i] = Glyph{'━', Bar}
		}
	}
	if x, out := r.At(limit); out == 0 {
		g[x] = Glyph{'┃', Limit}
	}
	if outA == -1 {
		g[a] = Glyph{'◀', Bar}
	}
	if outB == 1 {
		g[b] = Glyph{'▶', Bar}
	}
	if x, out := r.At(point); out == 0 {
		g[x] = Glyph{'●', Point}
	}
	return g
}

// Labels draws the numbers 1, 2, 5 times each power of ten under the ruler
// with the unit after the last.
func (r Ruler) Labels(unit string) []Glyph {
	g := blank(r.W)
	free := 0
	ticks := r.ticks(true)
	for i, t := range ticks {
		s := strconv.FormatFloat(t, 'g', -1, 64)
		if i == len(ticks)-1 {
			s += " " + unit
		}
		x, _ := r.At(t)
		x = max(0, min(x-len(s)/2, r.W-len([]rune(s))))
		if x < free && i > 0 {
			continue
		}
		write(g, x, s, Label)
		free = x + len([]rune(s)) + 1
	}
	return g
}

// ticks lists 1…9 (or, when few, 1, 2, 5) times each power of ten on the ruler.
func (r Ruler) ticks(few bool) []float64 {
	if !(r.Lo > 0) || !(r.Hi > r.Lo) || math.IsInf(r.Hi, 0) {
		return nil
	}
	var out []float64
	for e := math.Floor(math.Log10(r.Lo)); e <= math.Ceil(math.Log10(r.Hi)); e++ {
		for m := 1; m <= 9; m++ {
			if few && m != 1 && m != 2 && m != 5 {
				continue
			}
			t, err := strconv.ParseFloat(strconv.Itoa(m)+"e"+strconv.Itoa(int(e)), 64)
			if err == nil && t >= r.Lo*(1-1e-9) && t <= r.Hi*(1+1e-9) {
				out = append(out, t)
			}
		}
	}
	return out
}
