package report

import (
	"strings"
	"unicode"
)

// mostMarks is how many combining marks may stand on one letter. Scripts of the
// world need two or three; a heap of them paints over the lines above and below.
const mostMarks = 3

// Printable is s as one line for a terminal: what could steer it, turn the
// direction of what follows or hide is a dot, and marks that pile up are left
// out. Labels, names and lines of a board were typed or sent by somebody,
// perhaps somewhere else.
func Printable(s string) string {
	plain := true
	for i := 0; i < len(s) && plain; i++ {
		plain = s[i] >= ' ' && s[i] < 0x7f
	}
	if plain {
		return s
	}
	marks := 0
	return strings.Map(func(r rune) rune {
		switch {
		case unicode.Is(unicode.M, r):
			if marks++; marks > mostMarks {
				return -1
			}
			return r
		case steers(r):
			r = '·'
		}
		marks = 0
		return r
	}, s)
}

// steers tells of characters that are no part of a word: control characters,
// format characters, which show nothing and may turn a line round, the line ends
// of Unicode, and what will never be a character.
func steers(r rune) bool {
	return unicode.IsControl(r) || unicode.In(r, unicode.Cf, unicode.Zl, unicode.Zp, unicode.Cs) ||
		r&0xfffe == 0xfffe || r >= 0xfdd0 && r <= 0xfdef || r == 0x115f || r == 0x1160 || r == 0x3164 || r == 0xffa0
}
