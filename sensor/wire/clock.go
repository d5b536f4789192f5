package wire

import (
	"strings"
	"time"
)

// Clock reads a clock time ("12:34:56.7", "1:02:03 PM", "34:56.7" as minutes
// and seconds, "12:34" as hours and minutes; a stopwatch may pass 24 hours) or a date and time (ISO 8601
// with T or a space, with or without zone; year first, or 31.12.2025, or
// 12/31/2025). The result counts from midnight, or, when dated is true, from
// 1970-01-01 in the zone as written (none: UTC).
func Clock(text string) (at time.Duration, dated, ok bool) {
	s := strings.TrimSpace(text)
	if len(s) > 48 {
		return 0, false, false
	}
	var days int64
	if d, rest, has := cutDate(s); has {
		days, s, dated = d, strings.TrimLeft(rest, " Tt,"), true
		if s == "" {
			return 0, false, false // a date alone tells no time
		}
	}
	s, zone, ok := cutZone(s, dated)
	if !ok {
		return 0, false, false
	}
	half := -1
	if n := len(s); n > 2 {
		switch strings.ToLower(s[n-2:]) {
		case "am":
			half, s = 0, strings.TrimSpace(s[:n-2])
		case "pm":
			half, s = 12, strings.TrimSpace(s[:n-2])
		}
	}
	var part [3]int64
	n := 0
	for {
		v, rest, ok := cutInt(s)
		if !ok || n == 3 || v > 1e4 {
			return 0, false, false
		}
		part[n], s = v, rest
		n++
		if s == "" || s[0] != ':' {
			break
		}
		s = s[1:]
	}
	var nanos int64
	frac := false
	if s != "" && (s[0] == '.' || s[0] == ',') && n >= 2 {
		frac = true
		scale := int64(1e8)
		for s = s[1:]; s != "" && s[0] >= '0' && s[0] <= '9'; s = s[1:] {
			nanos += int64(s[0]-'0') * scale
			scale /= 10
		}
	}
	if s != "" || n < 2 {
		return 0, false, false
	}
	h, m, sec := part[0], part[1], part[2]
	if n == 2 && frac {
		h, m, sec = 0, part[0], part[1]
	}
	if half >= 0 {
		if h < 1 || h > 12 {
			return 0, false, false
		}
		h = h%12 + int64(half)
	}
	if m > 59 || sec > 60 || h > 24 && (dated || h > 999) {
		return 0, false, false
	}
	total := (days*86400+h*3600+m*60+sec)*1e9 + nanos
	return time.Duration(total) - zone, dated, true
}

// cutInt takes one to nine digits off the front of s.
func cutInt(s string) (v int64, rest string, ok bool) {
	i := 0
	for i < len(s) && i < 9 && s[i] >= '0' && s[i] <= '9' {
		v = v*10 + int64(s[i]-'0')
		i++
	}
	return v, s[i:], i > 0
}

// cutDate takes a date off the front of s and returns days since 1970-01-01.
func cutDate(s string) (days int64, rest string, ok bool) {
	a, r, ok := cutInt(s)
	if !ok || r == "" || strings.IndexByte("-/.", r[0]) < 0 {
		return 0, s, false
	}
	sep := r[0]
	b, r, ok := cutInt(r[1:])
	if !ok || r == "" || r[0] != sep {
		return 0, s, false
	}
	c, r, ok := cutInt(r[1:])
	if !ok {
		return 0, s, false
	}
	y, m, d := a, b, c
	if a < 1000 {
		y, m, d = c, a, b
		// With slashes the month comes first unless it cannot be one; with dots the day does.
		if sep != '/' || a > 12 {
			m, d = b, a
		}
	}
	if y < 1950 || y > 2095 || m < 1 || m > 12 || d < 1 || d > 31 {
		return 0, s, false
	}
	return civilDays(y, m, d), r, true
}

// civilDays counts days from 1970-01-01 in the Gregorian calendar.
func civilDays(y, m, d int64) int64 {
	if m <= 2 {
		y--
		m += 12
	}
	return 365*y + y/4 - y/100 + y/400 + (153*(m-3)+2)/5 + d - 1 - 719468
}

// cutZone takes Z, +hh:mm, +hhmm or +hh off the end of a dated time.
func cutZone(s string, dated bool) (rest string, zone time.Duration, ok bool) {
	if !dated {
		return s, 0, true
	}
	if n := len(s); n > 0 && (s[n-1] == 'Z' || s[n-1] == 'z') {
		return s[:n-1], 0, true
	}
	i := strings.LastIndexAny(s, "+-")
	if i < 0 {
		return s, 0, true
	}
	h, r, ok := cutInt(s[i+1:])
	var m int64
	if ok && r == "" && len(s)-i == 5 {
		h, m = h/100, h%100
	} else if ok && r != "" {
		if r[0] != ':' {
			return s, 0, false
		}
		if m, r, ok = cutInt(r[1:]); r != "" {
			ok = false
		}
	}
	if !ok || h > 18 || m > 59 {
		return s, 0, false
	}
	zone = time.Duration(h*60+m) * time.Minute
	if s[i] == '-' {
		zone = -zone
	}
	return strings.TrimSpace(s[:i]), zone, true
}
