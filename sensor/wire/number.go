package wire

import (
	"fmt"
	"math"
	"strconv"
	"strings"
)

// Pow10 holds the powers of ten that a float64 holds exactly.
var Pow10 = [...]float64{1, 1e1, 1e2, 1e3, 1e4, 1e5, 1e6, 1e7, 1e8, 1e9, 1e10, 1e11,
	1e12, 1e13, 1e14, 1e15, 1e16, 1e17, 1e18, 1e19, 1e20, 1e21, 1e22}

// Number reads a decimal number, spaces around it allowed. With comma set, a
// decimal comma is understood too, and a number with both marks is read with
// the last one as the decimal mark when the other cuts groups of three. NaN,
// infinities, hexadecimals and numbers out of range are refused. It does not
// allocate in the ordinary case.
func Number[T ~string | ~[]byte](text T, comma bool) (float64, bool) {
	i, n := 0, len(text)
	for i < n && (text[i] == ' ' || text[i] == '\t') {
		i++
	}
	for n > i && (text[n-1] == ' ' || text[n-1] == '\t') {
		n--
	}
	start := i
	neg := false
	if i < n && (text[i] == '-' || text[i] == '+') {
		neg = text[i] == '-'
		i++
	}
	var mant uint64
	digits, frac, mark := 0, 0, byte(0)
	for ; i < n; i++ {
		c := text[i]
		switch {
		case c >= '0' && c <= '9':
			if mant > 1e17 {
				return slowNumber(string(text[start:n]), comma)
			}
			mant = mant*10 + uint64(c-'0')
			digits++
			if mark != 0 {
				frac++
			}
		case (c == '.' || c == ',' && comma) && mark == 0:
			mark = c
		default:
			return slowNumber(string(text[start:n]), comma)
		}
	}
	if digits == 0 {
		return 0, false
	}
	if mant >= 1<<53 || frac >= len(Pow10) {
		return slowNumber(string(text[start:n]), comma)
	}
	// Both operands are exact, so the quotient is the nearest float64.
	v := float64(mant) / Pow10[frac]
	if neg {
		v = -v
	}
	return v, true
}

// slowNumber reads the numbers that are not plain digits with one mark.
func slowNumber(s string, comma bool) (float64, bool) {
	for i := 0; i < len(s); i++ {
		if strings.IndexByte("+-0123456789.,eE", s[i]) < 0 {
			return 0, false
		}
	}
	if strings.Contains(s, ",") {
		if !comma {
			return 0, false
		}
		dot, com := strings.LastIndexByte(s, '.'), strings.LastIndexByte(s, ',')
		switch {
		case dot < 0 && strings.Count(s, ",") == 1:
			s = strings.Replace(s, ",", ".", 1)
		case dot >= 0 && com > dot && strings.Count(s, ",") == 1 && grouped(s[:com], '.'):
			s = strings.ReplaceAll(s[:com], ".", "") + "." + s[com+1:]
		case com >= 0 && dot > com && strings.Count(s, ".") == 1 && grouped(s[:dot], ','):
			s = strings.ReplaceAll(s, ",", "")
		default:
			return 0, false
		}
	}
	v, err := strconv.ParseFloat(s, 64)
	if err != nil || math.IsInf(v, 0) || math.IsNaN(v) {
		return 0, false
	}
	return v, true
}

// grouped reports whether sep cuts the whole number s into groups of three.
func grouped(s string, sep byte) bool {
	parts := strings.Split(strings.TrimLeft(s, "+-"), string(sep))
	for i, p := range parts {
		if i > 0 && len(p) != 3 || len(p) == 0 || len(p) > 3 {
			return false
		}
		for j := 0; j < len(p); j++ {
			if p[j] < '0' || p[j] > '9' {
				return false
			}
		}
	}
	return true
}

// leadingNumber cuts "29.8 psi" into 29.8 and "psi".
func leadingNumber(s string, comma bool) (v float64, rest string, err error) {
	s = strings.TrimSpace(s)
	i := 0
	for i < len(s) {
		c := s[i]
		if c >= '0' && c <= '9' || c == '.' || c == ',' && comma ||
			(c == '+' || c == '-') && (i == 0 || s[i-1] == 'e' || s[i-1] == 'E') {
			i++
			continue
		}
		// An e is an exponent only between digits.
		if (c == 'e' || c == 'E') && i > 0 && i+1 < len(s) && strings.IndexByte("+-0123456789", s[i+1]) >= 0 {
			i++
			continue
		}
		break
	}
	v, ok := Number(s[:i], comma)
	if !ok {
		return 0, "", fmt.Errorf("%.40q does not start with a number", s)
	}
	return v, strings.TrimSpace(s[i:]), nil
}
