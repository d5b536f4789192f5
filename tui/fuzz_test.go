package tui

import (
	"errors"
	"strings"
	"testing"
	"unicode"
	"unicode/utf8"

	tea "github.com/charmbracelet/bubbletea"
	"github.com/charmbracelet/lipgloss"

	"ebbline/decay"
)

// steps are the keys that a control character of a fuzzed text stands for.
var steps = map[rune]tea.KeyType{
	'\r': tea.KeyEnter, '\n': tea.KeyEnter, 0x1b: tea.KeyEsc, '\t': tea.KeyTab, 0x7f: tea.KeyBackspace, 0x15: tea.KeyCtrlU,
	1: tea.KeyUp, 2: tea.KeyDown, 3: tea.KeyLeft, 4: tea.KeyRight, 5: tea.KeyHome, 6: tea.KeyEnd, 7: tea.KeyPgDown, 8: tea.KeyPgUp,
}

// FuzzKeys: whatever is typed, scanned or pasted into a screen, each key by
// itself or all at once, the screen stays exactly as large as the terminal and
// holds nothing that steers it.
func FuzzKeys(f *testing.F) {
	for _, s := range []string{
		"51x600\r", "left hose\r\r", "\x1b[2J\x1b]0;x\a", "\u202etxt.exe\u200b", "e\u0301\u0301\u0301\u0301", "/leaks 2026-01-01..2026-13-45\r", "hm\u4f60\u597d\rs",
		"job 12\r10L\r25psi\r0.5mm\r", "Ann 1.2\r", strings.Repeat("W", 500), "\xff\xfe\x00", "?\x02\x02d\x01", "c\x02c", "1e400L\rNaN\r",
	} {
		for screen := range byte(4) {
			f.Add(s, screen, false, uint8(80), uint8(24))
			f.Add(s, screen, true, uint8(20), uint8(6))
		}
	}
	f.Fuzz(func(t *testing.T, text string, screen byte, paste bool, w, h uint8) {
		if len(text) > 600 {
			return // what is longer is only more of it
		}
		var m tea.Model
		switch screen % 4 {
		case 0:
			m = newBench(Options{Title: text, Apply: func(Texts) (decay.Setup, error) { return decay.Setup{}, errors.New(text) }}).model
		case 1:
			m = newCounter(CounterOptions{Source: newHose(), Parts: append([]Part{{Label: text, Volume: decay.Litre}}, shop...),
				Find:  func(s string) (Part, error) { return Part{}, errors.New(s) },
				Begin: func(Part) (CounterTest, error) { return CounterTest{}, errors.New(text) }}, &deaf{})
		case 2:
			m = shelfOf(3)
		case 3:
			m = openClass(t, LessonOptions{Title: text}).m
		}
		m, _ = m.Update(tea.WindowSizeMsg{Width: int(w), Height: int(h)})
		check := func() {
			t.Helper()
			v := m.View()
			if w == 0 || h == 0 {
				return
			}
			lines := strings.Split(v, "\n")
			if len(lines) != int(h) {
				t.Fatalf("%d lines on a screen of %d", len(lines), h)
			}
			for _, l := range lines {
				if lipgloss.Width(l) != int(w) {
					t.Fatalf("%d cells on a screen of %d: %q", lipgloss.Width(l), w, l)
				}
			}
			marks := 0
			for _, r := range shown(v) {
				if marks++; !unicode.Is(unicode.M, r) {
					marks = 0
				}
				if r != '\n' && unicode.IsControl(r) || unicode.In(r, unicode.Cf, unicode.Zl, unicode.Zp) || marks > 3 {
					t.Fatalf("%q stands on the screen", r)
				}
			}
		}
		check()
		if paste {
			m, _ = m.Update(tea.KeyMsg{Type: tea.KeyRunes, Runes: []rune(text), Paste: true})
			check()
			return
		}
		for i, r := range []rune(text) {
			k := tea.KeyMsg{Type: tea.KeyRunes, Runes: []rune{r}}
			if step, ok := steps[r]; ok {
				k = tea.KeyMsg{Type: step}
			} else if r == ' ' {
				k.Type = tea.KeySpace
			}
			if m, _ = m.Update(k); i < 8 || i%64 == 0 {
				check()
			}
		}
		check()
	})
}

// shown is a screen without the sequences that set a style, which are ours.
func shown(v string) string {
	var b strings.Builder
	for {
		before, after, ok := strings.Cut(v, "\x1b[")
		b.WriteString(before)
		if !ok {
			return b.String()
		}
		i := strings.IndexFunc(after, func(r rune) bool { return r != ';' && (r < '0' || r > '9') })
		if i < 0 || after[i] != 'm' {
			b.WriteByte(0x1b) // none of ours
			v = after
			continue
		}
		v = after[i+1:]
	}
}

// FuzzDial: what is typed from a dial or guessed in front of a class is a number
// in its range or an error in words.
func FuzzDial(f *testing.F) {
	for _, s := range []string{"25.5", "25,5 psi", "1.2 bar", "-3", "1e400", "NaN", "Ann 1.2", "1,2 mm Ben", "0x10", "\u0663", "½", "mm"} {
		f.Add(s)
	}
	psi, _ := decay.ParsePressureUnit("psi")
	f.Fuzz(func(t *testing.T, s string) {
		wordsOf := func(err error) {
			if text := err.Error(); text == "" || len(text) > 400 || !utf8.ValidString(text) || strings.ContainsAny(text, "\x1b\x00\n") {
				t.Errorf("%q: the error is %.500q", s, text)
			}
		}
		if g, err := ParseDial(s, psi); err != nil {
			wordsOf(err)
		} else if !finite(float64(g)) {
			t.Errorf("%q is %v", s, g)
		}
		g, err := parseGuess(s)
		if err != nil {
			wordsOf(err)
		} else if !(g.size >= 0 && g.size <= largestGuess) {
			t.Errorf("%q is a hole of %v", s, g.size)
		}
		JobAndSection(s)
		BookEntry{Name: s}.ID()
		_ = BookEntry{Name: s}.When()
	})
}
