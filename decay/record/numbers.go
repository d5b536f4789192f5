package record

import (
	"bytes"
	"fmt"
	"strconv"
	"strings"
	"time"
)

// formatSeconds prints d in seconds with every nanosecond kept.
func formatSeconds(d time.Duration) string {
	var room [24]byte
	b, n := room[:0], uint64(d)
	if d < 0 {
		b, n = append(b, '-'), -n
	}
	b = strconv.AppendUint(b, n/1e9, 10)
	part := n % 1e9
	if part == 0 {
		return string(b)
	}
	point := len(b)
	b = strconv.AppendUint(b, 1e9+part, 10) // ten digits, the first of which gives its place to the point
	b[point] = '.'
	return string(bytes.TrimRight(b, "0"))
}

// parseSeconds reads what formatSeconds prints, digit by digit, since a float
// would lose nanoseconds in long tests.
func parseSeconds(s string) (time.Duration, error) {
	whole, frac, _ := strings.Cut(strings.TrimPrefix(s, "-"), ".")
	if len(frac) > 9 {
		frac = frac[:9]
	}
	n, err1 := strconv.ParseUint(whole, 10, 63)
	f, err2 := strconv.ParseUint(frac+strings.Repeat("0", 9-len(frac)), 10, 63)
	if err1 != nil || err2 != nil || n > 9e9 {
		return 0, fmt.Errorf("%q is not a time in seconds", clip(s))
	}
	d := time.Duration(n*1e9 + f)
	if strings.HasPrefix(s, "-") {
		d = -d
	}
	return d, nil
}

// formatKilo prints v pascals in kilopascals so that parseKilo gives exactly v.
func formatKilo(v float64) string {
	s := strconv.FormatFloat(v/1e3, 'f', -1, 64)
	if back, err := parseKilo(s); err == nil && back == v {
		return s
	}
	m, e, ok := strings.Cut(strconv.FormatFloat(v, 'e', -1, 64), "e")
	if !ok {
		return m // NaN or an infinity
	}
	n, _ := strconv.Atoi(e) // FormatFloat prints a whole exponent
	return m + "e" + strconv.Itoa(n-3)
}

// parseKilo reads kilopascals and returns pascals, shifting the decimal
// exponent so that no rounding creeps in.
func parseKilo(s string) (float64, error) {
	m, e, _ := strings.Cut(s, "e")
	n := 0
	var err error
	if e != "" {
		n, err = strconv.Atoi(e)
	}
	if err != nil || len(e) > 6 {
		return 0, fmt.Errorf("%q is not a pressure in kilopascals", clip(s))
	}
	v, err := strconv.ParseFloat(m+"e"+strconv.Itoa(n+3), 64)
	if err != nil {
		if v, err = strconv.ParseFloat(m, 64); err != nil || e != "" || v == v && v-v == 0 {
			return 0, fmt.Errorf("%q is not a pressure in kilopascals", clip(s))
		}
	}
	return v, nil
}
