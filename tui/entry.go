package tui

import (
	"strings"
	"unicode"
	"unicode/utf8"

	tea "github.com/charmbracelet/bubbletea"
)

// entryMost bounds what can be typed into a line.
const entryMost = 120

// entry is one line that is being typed.
type entry struct {
	text  string
	whole bool // the first letter typed replaces the text, which is shown as chosen
}

// type takes a key; it reports whether the key was one for the line.
func (e *entry) press(k tea.KeyMsg) bool {
	switch k.Type {
	case tea.KeyRunes, tea.KeySpace:
		if k.Alt {
			return false
		}
		if e.whole {
			e.text = ""
		}
		for _, r := range k.Runes {
			if unicode.IsPrint(r) && utf8.RuneCountInString(e.text) < entryMost {
				e.text += string(r)
			}
		}
	case tea.KeyBackspace:
		if _, n := utf8.DecodeLastRuneInString(e.text); n > 0 {
			e.text = e.text[:len(e.text)-n]
		}
	case tea.KeyCtrlU:
		e.text = ""
	default:
		return false
	}
	e.whole = false
	return true
}

// draw writes the line with a cursor after it; of a long one its end is shown.
func (e *entry) draw(g *grid, x, y, right int) {
	room := right - x - 1
	t := strings.ReplaceAll(e.text, "\t", " ")
	if width(t) > room {
		for width(t) > room-1 && t != "" {
			_, n := utf8.DecodeRuneInString(t)
			t = t[n:]
		}
		t = "…" + t
	}
	st := strong
	if e.whole && t != "" {
		st = chosen
	}
	x = g.text(x, y, t, st, right)
	if x < right {
		g.set(x, y, ' ', chosen)
	}
}
