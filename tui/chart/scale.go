package chart

import (
	"math"
	"strconv"
)

// Scale maps values onto N equal steps (cells or dots). Step 0 starts at Lo,
// step N−1 ends at Hi; Hi may be below Lo for an axis that runs downwards.
type Scale struct {
	Lo, Hi float64
	N      int
}

// At returns the step in which v lies and whether that is within the scale. A
// value exactly at Hi lies in the last step. NaN, an empty scale and a scale
// without steps have no step.
func (s Scale) At(v float64) (step int, ok bool) {
	if s.N <= 0 || s.Lo == s.Hi || math.IsNaN(v) {
		return 0, false
	}
	f := (v - s.Lo) / (s.Hi - s.Lo) * float64(s.N)
	switch {
	case f < 0:
		return 0, false
	case f > float64(s.N):
		return s.N - 1, false
	}
	return min(int(f), s.N-1), true
}

// Value returns the value in the middle of a step.
func (s Scale) Value(step int) float64 {
	if s.N <= 0 {
		return s.Lo
	}
	return s.Lo + (float64(step)+0.5)/float64(s.N)*(s.Hi-s.Lo)
}

// Step returns the smallest of 1, 2, 5 times a power of ten that divides span
// into at most most parts. It is 0 when there is no such thing.
func Step(span float64, most int) float64 {
	if !(span > 0) || math.IsInf(span, 0) || most <= 0 {
		return 0
	}
	raw := span / float64(most)
	p := math.Pow(10, math.Floor(math.Log10(raw)))
	for _, m := range []float64{1, 2, 5, 10} {
		if m*p >= raw*(1-1e-9) {
			return m * p
		}
	}
	return 10 * p
}

// Ticks returns the multiples of [Step] from lo to hi, both included.
func Ticks(lo, hi float64, most int) []float64 {
	step := Step(hi-lo, most)
	if step == 0 {
		return nil
	}
	var out []float64
	for k := math.Ceil(lo/step - 1e-9); k*step <= hi+step*1e-9; k++ {
		out = append(out, k*step+0) // + 0 turns a negative zero into zero
	}
	return out
}

// TimeStep returns a step in seconds that people count in (1, 2, 5, 10, 15, 30
// seconds, the same in minutes, hours) and that divides span seconds into at
// most most parts.
func TimeStep(span float64, most int) float64 {
	if !(span > 0) || math.IsInf(span, 0) || most <= 0 {
		return 0
	}
	for _, s := range []float64{1, 2, 5, 10, 15, 30, 60, 120, 300, 600, 900, 1800, 3600, 7200, 14400, 28800} {
		if span/s <= float64(most) {
			return s
		}
	}
	return 86400 * math.Ceil(span/86400/float64(most))
}

// TimeSpan returns the smallest span in seconds of a time axis that holds t
// seconds, from a short list, so that the axis stays still for a while.
func TimeSpan(t float64) float64 {
	s := 30.0
	for _, next := range []float64{60, 120, 180, 300, 600, 900, 1800} {
		if t <= s {
			return s
		}
		s = next
	}
	for t > s && s < math.MaxFloat64/2 {
		s *= 2
	}
	return s
}

// Number prints v with as many decimals as ticks of the given step need.
func Number(v, step float64) string {
	d := 0
	if step > 0 && step < 1 {
		d = int(math.Ceil(-math.Log10(step) - 1e-9))
	}
	return strconv.FormatFloat(v, 'f', d, 64)
}
