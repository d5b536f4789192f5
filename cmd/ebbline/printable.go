package main

import (
	"strings"
	"unicode"
)

// printable is s with a dot for each character that could steer a terminal:
// labels and file names were typed by somebody, perhaps somewhere else.
func printable(s string) string {
	return strings.Map(func(r rune) rune {
		if unicode.IsControl(r) || unicode.In(r, unicode.Cf, unicode.Zl, unicode.Zp) {
			return '·'
		}
		return r
	}, s)
}
