package decay

import (
	"fmt"
	"math"
	"strings"
)

// A Piece is a part of ducting whose volume follows from its dimensions, or is
// known as such.
type Piece struct {
	Text    string // as written
	Volume  Volume
	HalfOf  Volume // half-width of its 95 % interval
	Assumed bool   // a tolerance was not written and had to be assumed
}

// Tolerances at 95 % of what is measured on rubber with a calliper and a tape,
// where none is written: common practice, no source.
const (
	AssumedBore   = Length(0.5 * Millimetre)
	AssumedLength = Length(5 * Millimetre)
	AssumedShare  = 0.05 // of a volume
)

// ParsePiece reads a piece of ducting:
//
//	51x600mm          bore by length
//	51-63x200mm       a cone from one bore to another
//	2inx24in          each with its own unit
//	51±0.5x600±5mm    each with its tolerance, at 95 %
//	51x600mm±3%       or the whole with one
//	+1.2L, 1.2L±5%    a volume that is known
//
// Where no tolerance is written, [AssumedBore], [AssumedLength] and
// [AssumedShare] are taken.
func ParsePiece(s string) (Piece, error) {
	text := strings.TrimPrefix(strings.TrimSpace(s), "+")
	text = strings.NewReplacer("+-", "±", "+/-", "±", "×", "x", "⌀", "", " ", "", "X", "x").Replace(text)
	part := Piece{Text: strings.TrimSpace(s)}
	bores, length, isTube := strings.Cut(text, "x")
	if !isTube {
		v, tol, err := ParseVolume(text)
		if err != nil {
			return part, fmt.Errorf("%.60q is neither bore x length, as 51x600mm, nor a volume, as +1.2L: %w", s, err)
		}
		part.Volume, part.HalfOf = v, Volume(float64(v)*tol)
		if !strings.Contains(text, "±") {
			part.HalfOf, part.Assumed = v*AssumedShare, true
		}
		return part, nil
	}
	whole := -1.0 // relative tolerance of the volume, when one is written
	if main, tol, ok := cutLast(length, "±"); ok && strings.HasSuffix(tol, "%") {
		rel, err := ParseRelative(tol)
		if err != nil {
			return part, fmt.Errorf("%.60q: %w", s, err)
		}
		whole, length = rel, main
	}
	l, dl, unit, plainL, err := dimension(length, "", AssumedLength)
	if err != nil {
		return part, fmt.Errorf("%.60q: length: %w", s, err)
	}
	first, second, cone := strings.Cut(bores, "-")
	d1, dd1, _, plain1, err := dimension(first, unit, AssumedBore)
	if err != nil {
		return part, fmt.Errorf("%.60q: bore: %w", s, err)
	}
	d2, dd2, plain2 := d1, 0.0, plain1
	if cone {
		if d2, dd2, _, plain2, err = dimension(second, unit, AssumedBore); err != nil {
			return part, fmt.Errorf("%.60q: bore: %w", s, err)
		}
	}
	// A frustum: π/12·L·(d₁² + d₁·d₂ + d₂²), which is π/4·d²·L for a tube.
	third := d1*d1 + d1*d2 + d2*d2
	v := math.Pi / 12 * l * third
	half := math.Hypot(v*dl/l, math.Pi/12*l*math.Hypot((2*d1+d2)*dd1, (2*d2+d1)*dd2))
	if !cone { // one bore, not two that err apart
		half = math.Hypot(v*dl/l, v*2*dd1/d1)
	}
	part.Assumed = plainL || plain1 || plain2
	if whole >= 0 {
		half, part.Assumed = v*whole, false
	}
	part.Volume, part.HalfOf = Volume(v), Volume(half)
	if !(v >= 1e-6 && v <= 100) {
		return part, fmt.Errorf("%.60q is %.3g L, which is no duct's volume: check the unit", s, v/Litre)
	}
	return part, nil
}

// cutLast cuts s at the last sep.
func cutLast(s, sep string) (before, after string, found bool) {
	if i := strings.LastIndex(s, sep); i >= 0 {
		return s[:i], s[i+len(sep):], true
	}
	return s, "", false
}

// dimension reads "600±5mm", "600mm±5mm" or, with fallback as the unit,
// "51±0.5". It returns metres, the unit it found, and whether the tolerance had
// to be assumed.
func dimension(s, fallback string, otherwise Length) (v, half float64, unit string, assumed bool, err error) {
	main, tol, hasTol := strings.Cut(s, "±")
	unit = unitOf(main)
	if unit == "" && hasTol {
		unit = unitOf(tol)
	}
	if unit == "" {
		unit = fallback
	}
	if unit == "" {
		unit = "mm" // as hoses are sold by
	}
	with := func(x string) (float64, error) {
		if unitOf(x) == "" {
			x += unit
		}
		l, err := ParseLength(x)
		return float64(l), err
	}
	if v, err = with(main); err != nil {
		return 0, 0, "", false, err
	}
	if !hasTol {
		return v, math.Min(float64(otherwise), 0.5*v), unit, true, nil
	}
	if half, err = with(tol); err != nil {
		return 0, 0, "", false, err
	}
	if half >= v {
		return 0, 0, "", false, fmt.Errorf("%.60q: the tolerance is as large as the length", s)
	}
	return v, half, unit, false, nil
}

// unitOf is what follows the number in s.
func unitOf(s string) string {
	return strings.TrimLeft(s, "0123456789.,/")
}

// SumOfPieces is the volume of all parts, whose errors are independent, at
// 95 %.
func SumOfPieces(parts []Piece) Interval {
	sum, square := 0.0, 0.0
	for _, p := range parts {
		sum += float64(p.Volume)
		square += float64(p.HalfOf) * float64(p.HalfOf)
	}
	half := math.Sqrt(square)
	return Interval{sum, math.Max(sum-half, 0), sum + half, 0.95}
}
