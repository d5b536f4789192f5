package tui

import "fmt"

// No text may overwrite another on any screen, a figure least of all: whatever a
// test draws fails where one does. Below the
// smallest layout the words are cut anyway.
func init() {
	overlapped = func(g *grid, x, y int, s string) {
		if g.w < smallW || g.h < smallH {
			return
		}
		row := make([]rune, g.w)
		for i := range row {
			row[i] = g.cells[y*g.w+i].r
		}
		panic(fmt.Sprintf("on a screen of %d by %d, row %d, %q overwrites what stands at column %d: %q", g.w, g.h, y, s, x, string(row)))
	}
}
