package chart

import (
	"math"
	"strings"
)

// strokes holds our glyphs as pen strokes: each stroke is a list of points,
// each point two digits, the first across (0 … 4) and the second down (0 … 6).
// Round shapes are cut at the corners. Drawn with a thick pen they can be set
// at any size.
var strokes = map[rune]string{
	'0': "10 30 41 45 36 16 05 01 10",
	'1': "11 20 26,16 36",
	'2': "01 10 30 41 42 06 46",
	'3': "00 40 23 33 44 45 36 16 05",
	'4': "30 04 44,30 36",
	'5': "40 00 02 32 43 45 36 06",
	'6': "40 20 02 05 16 36 45 44 33 03",
	'7': "00 40 41 16",
	'8': "10 30 41 42 33 44 45 36 16 05 04 13 02 01 10,13 33",
	'9': "43 13 02 01 10 30 41 44 26 06",
	'.': "26",
	'-': "13 33",
	'−': "13 33",
	'?': "01 10 30 41 42 23 24,26",
	'A': "06 02 20 42 46,04 44",
	'B': "00 30 41 42 33 44 45 36 06 00,03 33",
	'C': "41 30 10 01 05 16 36 45",
	'D': "00 20 42 44 26 06 00",
	'E': "40 00 06 46,03 33",
	'F': "40 00 06,03 33",
	'G': "41 30 10 01 05 16 36 45 43 33",
	'H': "00 06,40 46,03 43",
	'I': "20 26,10 30,16 36",
	'K': "00 06,40 13 46,03 13",
	'L': "00 06 46",
	'M': "06 00 23 40 46",
	'N': "06 00 46 40",
	'O': "10 30 41 45 36 16 05 01 10",
	'P': "06 00 30 41 42 33 03",
	'R': "06 00 30 41 42 33 03,23 46",
	'S': "41 30 10 01 02 13 33 44 45 36 16 05",
	'T': "00 40,20 26",
	'U': "00 05 16 36 45 40",
	'V': "00 03 26 43 40",
	'W': "00 06 23 46 40",
	'Y': "00 23 40,23 26",
}

// narrow glyphs take less room than the others.
func glyphWidth(r rune, w int) int {
	switch r {
	case '.':
		return max(2, pen(w)) // a dot is a pen wide
	case ' ':
		return max(2, w/2)
	}
	return w
}

// pen is the thickness of a stroke, in half-cells, for glyphs w cells wide.
func pen(w int) int { return max(1, int(math.Round(float64(w)/3.4))) }

// BigWidth returns how many cells wide Big sets s with glyphs w cells wide.
func BigWidth(s string, w int) int {
	n := 0
	for _, r := range s {
		n += glyphWidth(r, w) + max(1, pen(w)/2+pen(w)%2)
	}
	return max(0, n-max(1, pen(w)/2+pen(w)%2))
}

// Big sets s in glyphs w cells wide and h lines high, in half and full blocks,
// one string for each line, all equally wide. Characters without a glyph leave
// a blank of their width.
func Big(s string, w, h int) []string {
	if w <= 0 || h <= 0 {
		return nil
	}
	total := BigWidth(s, w)
	rows := 2 * h
	px := make([]bool, total*rows)
	x0 := 0
	for _, r := range s {
		gw := glyphWidth(r, w)
		draw(px, total, x0, gw, rows, pen(w), r)
		x0 += gw + max(1, pen(w)/2+pen(w)%2)
	}
	out := make([]string, h)
	var b strings.Builder
	for y := range h {
		b.Reset()
		for x := range total {
			switch up, down := px[2*y*total+x], px[(2*y+1)*total+x]; {
			case up && down:
				b.WriteRune('█')
			case up:
				b.WriteRune('▀')
			case down:
				b.WriteRune('▄')
			default:
				b.WriteByte(' ')
			}
		}
		out[y] = b.String()
	}
	return out
}

// draw sets the half-cells of one glyph: those whose middle lies within half a
// pen of a stroke.
func draw(px []bool, total, x0, w, h, pen int, r rune) {
	s, ok := strokes[r]
	if !ok {
		return
	}
	t := float64(pen)
	at := func(p string) (x, y float64) {
		fx, fy := float64(p[0]-'0')/4, float64(p[1]-'0')/6
		if r == '.' {
			fx = 0.5
		}
		return t/2 + fx*(float64(w)-t), t/2 + fy*(float64(h)-t)
	}
	for _, stroke := range strings.Split(s, ",") {
		pts := strings.Fields(stroke)
		for i := range pts {
			ax, ay := at(pts[max(0, i-1)])
			bx, by := at(pts[i])
			for y := range h {
				for x := range w {
					if near(float64(x)+0.5, float64(y)+0.5, ax, ay, bx, by) <= t/2+0.05 {
						px[y*total+x0+x] = true
					}
				}
			}
		}
	}
}

// near is the distance of a point from a line segment, in the chessboard sense
// along a pure horizontal or vertical, which keeps their ends square.
func near(x, y, ax, ay, bx, by float64) float64 {
	dx, dy := bx-ax, by-ay
	l := dx*dx + dy*dy
	u := 0.0
	if l > 0 {
		u = math.Min(1, math.Max(0, ((x-ax)*dx+(y-ay)*dy)/l))
	}
	ex, ey := math.Abs(x-ax-u*dx), math.Abs(y-ay-u*dy)
	if dx == 0 || dy == 0 {
		return math.Max(ex, ey)
	}
	return math.Hypot(ex, ey)
}
