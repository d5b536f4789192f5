package calib

import (
	"errors"
	"fmt"
	"math"
	"slices"
)

// Line is a straight line through points: pressure = Offset + Slope·signal.
type Line struct {
	Slope     float64   // Pa for one unit of signal
	Offset    float64   // Pa at no signal
	Residuals []float64 // Pa, line less reference at each point: above zero, the line reads high
	SD        float64   // Pa, scatter about the line; 0 for two points, which a line always meets
}

// At is the pressure at a signal, Pa.
func (l Line) At(signal float64) float64 { return l.Offset + l.Slope*signal }

// Worst is the index of the largest residual by size.
func (l Line) Worst() int {
	w := 0
	for i, r := range l.Residuals {
		if math.Abs(r) > math.Abs(l.Residuals[w]) {
			w = i
		}
	}
	return w
}

// TooCloseError says that two points cannot tell a slope.
type TooCloseError struct {
	A, B int     // indices
	Gap  float64 // Pa between them
	Need float64 // Pa wanted
}

func (e *TooCloseError) Error() string {
	return fmt.Sprintf("points %d and %d are only %.3g kPa apart: at least %.3g kPa is wanted", e.A+1, e.B+1, e.Gap/1e3, e.Need/1e3)
}

// Closest returns an error when two of the points are less than need apart in
// pressure, or have one and the same signal.
func Closest(points []Point, need float64) error {
	for b := range points {
		for a := range b {
			gap := math.Abs(points[a].Pressure - points[b].Pressure)
			if gap < need || gap == 0 {
				return &TooCloseError{A: a, B: b, Gap: gap, Need: need}
			}
			if points[a].Signal == points[b].Signal {
				return fmt.Errorf("points %d and %d have the same signal, %g, at pressures %.4g kPa apart: the transducer did not follow the pressure", a+1, b+1, points[a].Signal, gap/1e3)
			}
		}
	}
	return nil
}

// Fit lays a line through two points, or by least squares of the pressures
// through more. Ordinary least squares as in any text, e.g. NIST/SEMATECH
// e-Handbook of Statistical Methods, section 4.4.3.1.
func Fit(points []Point) (Line, error) {
	if len(points) < 2 {
		return Line{}, errors.New("a line needs two points")
	}
	n := float64(len(points))
	var mx, mp float64
	for _, p := range points {
		mx += p.Signal / n
		mp += p.Pressure / n
	}
	var sxx, sxp float64
	for _, p := range points {
		sxx += (p.Signal - mx) * (p.Signal - mx)
		sxp += (p.Signal - mx) * (p.Pressure - mp)
	}
	l := Line{Slope: sxp / sxx}
	l.Offset = mp - l.Slope*mx
	if math.IsNaN(l.Slope) || math.IsInf(l.Slope, 0) || l.Slope == 0 || math.IsInf(l.Offset, 0) || math.IsNaN(l.Offset) {
		return Line{}, errors.New("the points give no line: the signal did not change with the pressure")
	}
	var ss float64
	for _, p := range points {
		r := l.At(p.Signal) - p.Pressure
		l.Residuals = append(l.Residuals, r)
		ss += r * r
	}
	if len(points) > 2 {
		l.SD = math.Sqrt(ss / (n - 2))
	}
	return l, nil
}

// SetLine gives c the line, drawn between the pressures bottom and top, and
// sets its zero back.
func (c *Calibration) SetLine(l Line, bottom, top float64) error {
	c.Low = Point{(bottom - l.Offset) / l.Slope, bottom}
	c.High = Point{(top - l.Offset) / l.Slope, top}
	c.Zero = 0
	return c.Check()
}

// Mean gathers raw values into their mean and noise. It keeps running sums
// only, so it may run for any time.
type Mean struct {
	n        int
	mean, m2 float64 // Welford (1962)
	min, max float64

	last, before float64   // values
	bends        float64   // squares of second differences, summed
	bent         []float64 // their sizes
}

// Add takes a value.
func (m *Mean) Add(v float64) {
	if m.n++; m.n == 1 {
		m.min, m.max = v, v
	}
	d := v - m.mean
	m.mean += d / float64(m.n)
	m.m2 += d * (v - m.mean)
	m.min, m.max = min(m.min, v), max(m.max, v)
	if m.n > 2 {
		b := v - 2*m.last + m.before
		m.bends += b * b
		m.bent = append(m.bent, math.Abs(b))
	}
	m.before, m.last = m.last, v
}

// Count is how many values were taken.
func (m *Mean) Count() int { return m.n }

// Value is the mean.
func (m *Mean) Value() float64 { return m.mean }

// Noise is the standard deviation of one value.
func (m *Mean) Noise() float64 {
	if m.n < 2 {
		return 0
	}
	return math.Sqrt(m.m2 / float64(m.n-1))
}

// Steady is the standard deviation of one value, by second differences: a slow
// movement is not in it. White noise makes them sqrt(6) times as large.
func (m *Mean) Steady() float64 {
	if m.n < 3 {
		return 0
	}
	return math.Sqrt(m.bends / 6 / float64(m.n-2))
}

// Quiet is [Mean.Steady] without the largest fifth of the second differences: a
// spike, which spoils three of them, is no noise.
func (m *Mean) Quiet() float64 {
	n := len(m.bent)
	keep := n - max(3, n/5)
	if keep < 4 {
		return m.Steady()
	}
	s := slices.Clone(m.bent)
	slices.Sort(s)
	sum := 0.0
	for _, b := range s[:keep] {
		sum += b
	}
	// The mean of a half-normal that is cut off where the share q of it lies.
	q := float64(keep) / float64(n)
	z := math.Sqrt2 * math.Erfinv(q)
	cut := math.Sqrt(2/math.Pi) * (1 - math.Exp(-z*z/2)) / q
	return sum / float64(keep) / cut / math.Sqrt(6)
}

// Swing is the standard deviation of what moved slowly.
func (m *Mean) Swing() float64 {
	return math.Sqrt(max(0, m.Noise()*m.Noise()-m.Steady()*m.Steady()))
}

// Ends are the smallest and the largest value.
func (m *Mean) Ends() (lowest, highest float64) { return m.min, m.max }
