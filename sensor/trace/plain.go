package trace

import "ebbline/sensor/wire"

// plainRow reads a row of two unquoted plain numbers, the form of nearly all
// rows of nearly all files, several times faster than cell by cell. ok is
// false for any other row, right or wrong.
func plainRow(line []byte, delim byte) (a, b float64, ok bool) {
	mark := byte('.')
	a, pos := plainNumber(line, 0, mark)
	if delim != ',' && pos > 0 && pos < len(line) && line[pos] == ',' {
		mark = ','
		a, pos = plainNumber(line, 0, mark)
	}
	if pos <= 0 || pos >= len(line) || line[pos] != delim {
		return 0, 0, false
	}
	from := pos + 1
	b, pos = plainNumber(line, from, mark)
	if delim != ',' && mark == '.' && pos > 0 && pos < len(line) && line[pos] == ',' {
		b, pos = plainNumber(line, from, ',')
	}
	return a, b, pos == len(line)
}

// plainNumber reads an optional minus, digits, and perhaps mark and digits,
// from pos, and returns where it stopped; -1 when [wire.Number] must look.
func plainNumber(line []byte, pos int, mark byte) (float64, int) {
	neg := pos < len(line) && line[pos] == '-'
	if neg {
		pos++
	}
	start := pos
	var m uint64
	for pos < len(line) && line[pos]-'0' <= 9 {
		m = m*10 + uint64(line[pos]-'0')
		pos++
	}
	digits, frac := pos-start, 0
	if pos < len(line) && line[pos] == mark {
		pos++
		dot := pos
		for pos < len(line) && line[pos]-'0' <= 9 {
			m = m*10 + uint64(line[pos]-'0')
			pos++
		}
		frac = pos - dot
	}
	// Up to fifteen digits are exact in a float64, and so is their power of ten.
	if digits+frac == 0 || digits+frac > 15 {
		return 0, -1
	}
	v := float64(m) / wire.Pow10[frac]
	if neg {
		v = -v
	}
	return v, pos
}
