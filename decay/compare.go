package decay

import "math"

// Difference is a − b, of estimates whose errors are independent: the
// distances to the bounds add in quadrature, each side on its own. Errors that
// both share, such as that of the volume, partly cancel in truth, so the
// interval errs on the wide side. The result may be negative.
func Difference(a, b Interval) Interval {
	return Interval{
		Value: a.Value - b.Value,
		Low:   a.Value - b.Value - math.Hypot(a.Value-a.Low, b.High-b.Value),
		High:  a.Value - b.Value + math.Hypot(a.High-a.Value, b.Value-b.Low),
		Level: level(a, b),
	}
}

// Sum adds estimates whose errors are independent, in quadrature as
// [Difference] does. Of nothing it is zero.
func Sum(parts ...Interval) Interval {
	var s Interval
	var low, high float64
	for _, p := range parts {
		s.Value += p.Value
		low, high = math.Hypot(low, p.Value-p.Low), math.Hypot(high, p.High-p.Value)
		s.Level = p.Level
	}
	s.Low, s.High, s.Level = s.Value-low, s.Value+high, level(parts...)
	return s
}

// Share is part/whole of independent estimates, as a fraction, with the bounds
// of E. C. Fieller (J. R. Stat. Soc. B 16 (1954) 175–185), each side with the
// distances that pull that way. The lower bound is never below zero unless that
// of the part is; the upper bound is +Inf when the whole may be zero, and the value is NaN when the whole is not
// above zero.
func Share(part, whole Interval) Interval {
	out := Interval{Value: part.Value / whole.Value, High: math.Inf(1), Level: level(part, whole)}
	if !(whole.Value > 0) {
		out.Value = math.NaN()
		return out
	}
	// Both bounds solve (p − θ·w)² = dp² + θ²·dw².
	bound := func(dp, dw, side float64) float64 {
		p, w := part.Value, whole.Value
		a := w*w - dw*dw
		if !(a > 0) || math.IsInf(dp, 0) {
			return math.NaN()
		}
		return (p*w + side*math.Sqrt(math.Max(0, p*p*w*w-a*(p*p-dp*dp)))) / a
	}
	switch low := bound(part.Value-part.Low, whole.High-whole.Value, -1); {
	case low > 0, low < 0 && part.Low < 0:
		out.Low = low
	case math.IsNaN(low) && part.Low < 0:
		out.Low = math.Inf(-1)
	}
	if high := bound(part.High-part.Value, whole.Value-whole.Low, 1); !math.IsNaN(high) {
		out.High = high
	}
	return out
}

// level is the lowest of the intervals' levels: that of what is made of them.
func level(of ...Interval) float64 {
	l := 0.0
	for i, iv := range of {
		if i == 0 || iv.Level < l {
			l = iv.Level
		}
	}
	return l
}

// Repair is what a second test says of a repair between two. The zero value is
// RepairUnclear.
type Repair int

// The verdicts on a repair.
const (
	RepairUnclear Repair = iota // no difference can be told
	RepairMended                // smaller, and it holds against the limit now
	RepairSmaller               // smaller, but it leaks still or is undecided
	RepairLarger                // larger than before
)

func (r Repair) String() string {
	return [...]string{"unclear", "mended", "smaller", "larger"}[r]
}

// Change is what lies between two results of one duct.
type Change struct {
	HasArea bool     // Before, After and Less are effective areas, m²; else rates K, 1/s
	Before  Interval //
	After   Interval //
	Less    Interval // before − after: positive where the leak got smaller
	Left    Interval // after/before
	Repair  Repair
}

// Compare tells how a leak changed from one result to the next. Areas are
// compared where both results have them, else rates, which is right only while
// the volume is the same. It reports false when either has no estimate.
func Compare(before, after Result) (Change, bool) {
	if !before.HasFit || !after.HasFit {
		return Change{}, false
	}
	c := Change{HasArea: before.HasVolume && after.HasVolume, Before: before.Rate, After: after.Rate}
	if c.HasArea {
		c.Before, c.After = before.Area, after.Area
	}
	c.Less = Difference(c.Before, c.After)
	c.Left = Share(c.After, c.Before)
	switch {
	case c.Less.Low > 0 && after.Outcome == Holds:
		c.Repair = RepairMended
	case c.Less.Low > 0:
		c.Repair = RepairSmaller
	case c.Less.High < 0:
		c.Repair = RepairLarger
	}
	return c, true
}
