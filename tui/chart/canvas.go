package chart

// A Class says what a cell or a run of text is. Higher classes win where two
// want one cell.
type Class uint8

// The classes.
const (
	Empty   Class = iota
	Hatch         // the warning band
	Axis          // ruler lines, ticks, ceiling line
	Label         // small words
	Bar           // an interval
	Limit         // the limit mark
	Trace         // the readings
	Point         // a point estimate
	classes       // how many
)

// Canvas is a picture of W×H cells with 2×4 braille dots each. A cell shows
// the dots of its highest class only, so a hatch never muddies the trace.
type Canvas struct {
	W, H  int
	dots  []uint8
	class []Class
}

// NewCanvas makes an empty canvas; negative sizes are empty.
func NewCanvas(w, h int) *Canvas {
	w, h = max(0, w), max(0, h)
	return &Canvas{w, h, make([]uint8, w*h), make([]Class, w*h)}
}

// Clear empties the canvas.
func (c *Canvas) Clear() {
	clear(c.dots)
	clear(c.class)
}

// brailleBit is the bit of the dot at column x (0, 1) and row y (0 … 3, from
// the top) in the block U+2800.
var brailleBit = [4][2]uint8{{0x01, 0x08}, {0x02, 0x10}, {0x04, 0x20}, {0x40, 0x80}}

// Dot sets the dot x from the left and y from the top. Dots outside are
// ignored.
func (c *Canvas) Dot(x, y int, k Class) {
	if x < 0 || y < 0 || x >= 2*c.W || y >= 4*c.H {
		return
	}
	i := y/4*c.W + x/2
	if k < c.class[i] {
		return
	}
	if k > c.class[i] {
		c.class[i], c.dots[i] = k, 0
	}
	c.dots[i] |= brailleBit[y%4][x%2]
}

// Column sets the dots from y0 to y1 (either order, both included) at x.
func (c *Canvas) Column(x, y0, y1 int, k Class) {
	if y0 > y1 {
		y0, y1 = y1, y0
	}
	for y := max(0, y0); y <= min(y1, 4*c.H-1); y++ {
		c.Dot(x, y, k)
	}
}

// Band hatches the dot rows from y0 to y1, both included, with slanting lines.
func (c *Canvas) Band(y0, y1 int) {
	for y := max(0, y0); y <= min(y1, 4*c.H-1); y++ {
		for x := 3 - y%4; x < 2*c.W; x += 4 {
			c.Dot(x, y, Hatch)
		}
	}
}

// At returns the character and the class of a cell; an empty cell is a blank.
func (c *Canvas) At(x, y int) (rune, Class) {
	if x < 0 || y < 0 || x >= c.W || y >= c.H || c.dots[y*c.W+x] == 0 {
		return ' ', Empty
	}
	i := y*c.W + x
	return rune(0x2800) + rune(c.dots[i]), c.class[i]
}

// Trace draws the columns from t0 to t1 seconds across the canvas with the
// values from lo at the bottom to hi at the top. Neighbouring columns are
// joined so that a steep rise leaves no gap; a stretch without readings leaves
// one. Values outside lo … hi are drawn at the edge only when they come from a
// column that reaches into the picture.
func (c *Canvas) Trace(cs *Columns, t0, t1, lo, hi float64) {
	if c.W == 0 || c.H == 0 || !(t1 > t0) || !(hi > lo) {
		return
	}
	last, _ := cs.Last()
	ys := Scale{hi, lo, 4 * c.H}
	dt := (t1 - t0) / float64(2*c.W)
	prev, gap := Column{}, 0
	for x := range 2 * c.W {
		a := t0 + float64(x)*dt
		if a > last {
			break
		}
		col := cs.Range(a, a+dt)
		if col.N == 0 {
			// Readings may be rarer than dots: bridge up to a second of them.
			if gap++; float64(gap)*dt > max(1, 2*cs.Width()) {
				prev = Column{}
			}
			continue
		}
		if prev.N > 0 && gap > 0 {
			for k := 1; k <= gap; k++ {
				f := float64(k) / float64(gap+1)
				y, _ := ys.At((prev.Min+prev.Max)/2*(1-f) + (col.Min+col.Max)/2*f)
				c.Dot(x-gap-1+k, y, Trace)
			}
		}
		gap = 0
		top, okTop := ys.At(col.Max)
		bottom, okBottom := ys.At(col.Min)
		if !okTop && !okBottom && (col.Min > hi || col.Max < lo) {
			prev = Column{}
			continue
		}
		if prev.N > 0 {
			if col.Min > prev.Max {
				bottom, _ = ys.At(prev.Max)
				bottom = max(top, bottom-1)
			} else if col.Max < prev.Min {
				top, _ = ys.At(prev.Min)
				top = min(bottom, top+1)
			}
		}
		c.Column(x, top, bottom, Trace)
		prev = col
	}
}
