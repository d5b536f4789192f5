package chart

import "math"

// Column is what fell into one stretch of time: the extremes and how many
// values. N = 0 means nothing did.
type Column struct {
	Min, Max float64
	N        int
}

func (c *Column) add(v float64) {
	if c.N == 0 {
		c.Min, c.Max = v, v
	} else {
		c.Min, c.Max = math.Min(c.Min, v), math.Max(c.Max, v)
	}
	c.N++
}

func (c Column) merged(d Column) Column {
	switch {
	case c.N == 0:
		return d
	case d.N == 0:
		return c
	}
	return Column{math.Min(c.Min, d.Min), math.Max(c.Max, d.Max), c.N + d.N}
}

// Columns follows a trace in a fixed number of columns of equal width. When
// the last one is passed, neighbours are merged and the columns become twice
// as wide, so memory and cost stay the same for hours and no extreme is lost.
type Columns struct {
	start float64
	width float64
	first float64
	cols  []Column
	used  int
	last  float64
	final float64
}

// NewColumns makes n columns (n is made even, at least 2), at first width
// seconds wide.
func NewColumns(n int, width float64) *Columns {
	return &Columns{width: width, first: width, cols: make([]Column, max(2, n+n%2)), last: math.NaN(), final: math.NaN()}
}

// Add takes the value v at t seconds. Values before the first kept column and
// values that are not numbers are left out of the picture and return false.
func (c *Columns) Add(t, v float64) bool {
	if math.IsNaN(v) || math.IsInf(v, 0) || math.IsNaN(t) || math.IsInf(t, 0) || t < c.start {
		return false
	}
	i := (t - c.start) / c.width
	for ; i >= float64(len(c.cols)); i = (t - c.start) / c.width {
		for k := range len(c.cols) / 2 {
			c.cols[k] = c.cols[2*k].merged(c.cols[2*k+1])
		}
		clear(c.cols[len(c.cols)/2:])
		c.used = (c.used + 1) / 2
		c.width *= 2
	}
	c.cols[int(i)].add(v)
	c.used = max(c.used, int(i)+1)
	c.last, c.final = t, v
	return true
}

// Start returns the time of the first kept column.
func (c *Columns) Start() float64 { return c.start }

// Width returns the present width of a column in seconds.
func (c *Columns) Width() float64 { return c.width }

// Last returns the latest time and value; NaN when there is none.
func (c *Columns) Last() (t, v float64) { return c.last, c.final }

// DropBefore forgets the columns that end before t. When nothing is left the
// columns take their first width again.
func (c *Columns) DropBefore(t float64) {
	f := math.Floor((t - c.start) / c.width)
	if !(f >= 1) {
		return
	}
	if f >= float64(c.used) {
		clear(c.cols)
		c.used, c.start, c.width = 0, t, c.first
		return
	}
	k := int(f)
	copy(c.cols, c.cols[k:c.used])
	clear(c.cols[c.used-k:])
	c.used -= k
	c.start += float64(k) * c.width
}

// Range returns the extremes from t0 to t1 seconds; N is 0 when nothing fell
// there. Columns are whole: the answer may include up to a column's width on
// either side.
func (c *Columns) Range(t0, t1 float64) Column {
	var out Column
	i := math.Max(0, math.Floor((t0-c.start)/c.width))
	j := math.Min(float64(c.used)-1, math.Ceil((t1-c.start)/c.width)-1)
	if !(i <= j) {
		if t1 > t0 && i == j+1 && int(i) < c.used {
			return c.cols[int(i)]
		}
		return out
	}
	for k := int(i); k <= int(j); k++ {
		out = out.merged(c.cols[k])
	}
	return out
}
