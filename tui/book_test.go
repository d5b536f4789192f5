package tui

import (
	"errors"
	"fmt"
	"strings"
	"testing"
	"time"

	tea "github.com/charmbracelet/bubbletea"
	"github.com/charmbracelet/lipgloss"
	"pgregory.net/rapid"

	"ebbline/decay"
	"ebbline/decay/record"
)

// shelfOf makes a book whose records are in memory.
func shelfOf(n int) *book {
	day := time.Date(2026, 3, 4, 9, 30, 0, 0, time.FixedZone("", 3600))
	recs := map[string]record.Record{}
	var entries []BookEntry
	for i := range n {
		rec := record.Record{Label: fmt.Sprintf("job %d: upper hose", 4700+i), When: day.Add(-time.Duration(i) * 7 * time.Hour), Program: "ebbline 1.0",
			Source: "/dev/ttyUSB0", Digest: record.DigestFits, Sum: strings.Repeat("7b", 32), Setup: decay.Setup{Volume: 0.01, Of: decay.PartManifold, Ambient: 101325}}
		hole := []float64{0.0012, 0.0003, 0.0005}[i%3]
		area := hole * hole
		rec.Result = decay.Result{Outcome: []decay.Outcome{decay.Leaks, decay.Holds, decay.Undecided}[i%3], HasFit: true, HasVolume: true, Cd: 0.62,
			Hole:  decay.Interval{Value: hole, Low: 0.95 * hole, High: 1.05 * hole, Level: 0.95},
			Area:  decay.Interval{Value: area, Low: 0.9 * area, High: 1.1 * area, Level: 0.95},
			Limit: 0.0005, Hold: decay.Hold{Span: decay.Span{Start: 6 * time.Second, End: 40 * time.Second}, StartAbs: 270000, StartGauge: 168675}, Volume: 0.01, Ambient: 101325}
		for k := range 400 {
			p := 101325 + min(float64(k)*3000, 168000)
			if k > 60 {
				p = 269325 - float64(k-60)*hole*1e5
			}
			rec.Samples = append(rec.Samples, decay.Sample{At: time.Duration(k) * 100 * time.Millisecond, P: decay.Pressure(p)})
		}
		path := fmt.Sprintf("/book/%d", i)
		recs[path] = rec
		head := rec
		head.Samples = nil
		entries = append(entries, BookEntry{Path: path, Name: fmt.Sprintf("shop/%s-%08x", record.Stem(rec.When, rec.Label), 0xabc0+i), Head: record.Head{Record: head, Count: 400}})
	}
	bad := []BookEntry{
		{Path: "/book/torn", Name: "torn", Head: record.Head{Record: record.Record{Label: "job 9\x1b[2J", When: day.Add(-time.Hour), Torn: true}}},
		{Path: "/book/changed", Name: "changed", Head: record.Head{Record: record.Record{Label: "job 8", When: day.Add(-2 * time.Hour), Digest: record.DigestDiffers}}},
		{Path: "/book/newer", Name: "newer", Err: fmt.Errorf("record: line 1: %w", record.ErrNewer)},
		{Path: "/book/foreign", Name: "shopping list", Err: fmt.Errorf("record: %w", record.ErrForeign)},
	}
	recs["/book/torn"], recs["/book/changed"] = bad[0].Head.Record, bad[1].Head.Record
	entries = append(entries, bad...)
	m := newBook(BookOptions{Folder: "/book",
		Load: func() ([]BookEntry, error) { return entries, nil },
		Open: func(path string) (record.Record, error) {
			if r, ok := recs[path]; ok {
				return r, nil
			}
			return record.Record{}, fmt.Errorf("record: line 1: \x07 %w", record.ErrForeign)
		},
		Measure: func(r record.Record) decay.Result {
			r.Result.Outcome = decay.Leaks
			return r.Result
		}})
	m.w, m.h = 80, 24
	m.Update(m.load())
	return m
}

// keysOf presses keys, and runs what they ask for.
func keysOf(m *book, keys ...string) *book {
	for _, k := range keys {
		msg := tea.KeyMsg{Type: tea.KeyRunes, Runes: []rune(k)}
		for name, typ := range map[string]tea.KeyType{"enter": tea.KeyEnter, "esc": tea.KeyEsc, "down": tea.KeyDown, "up": tea.KeyUp, "end": tea.KeyEnd, "home": tea.KeyHome, "pgdn": tea.KeyPgDown, "pgup": tea.KeyPgUp} {
			if k == name {
				msg = tea.KeyMsg{Type: typ}
			}
		}
		_, cmd := m.Update(msg)
		for cmd != nil {
			next := cmd()
			cmd = nil
			if batch, ok := next.(tea.BatchMsg); ok {
				for _, c := range batch {
					m.Update(c())
				}
				continue
			}
			if _, quit := next.(tea.QuitMsg); !quit {
				_, cmd = m.Update(next)
			}
		}
	}
	return m
}

func bookMoments() map[string]*book {
	return map[string]*book{
		"book-list":    shelfOf(40),
		"book-bad":     keysOf(shelfOf(3), "end"),
		"book-choose":  keysOf(shelfOf(40), "/", "leaks hose 2026-03-01..2026-03-03"),
		"book-none":    keysOf(shelfOf(3), "/", "wonder", "enter"),
		"book-test":    keysOf(shelfOf(3), "enter"),
		"book-details": keysOf(shelfOf(3), "enter", "d"),
		"book-again":   keysOf(shelfOf(3), "down", "m"),
		"book-compare": keysOf(shelfOf(3), "c", "down", "c"),
		"book-torn":    keysOf(shelfOf(3), "end", "up", "up", "up", "enter"),
		"book-foreign": keysOf(shelfOf(3), "end", "enter"),
		"book-help":    keysOf(shelfOf(3), "?"),
	}
}

func TestBookScreensMatchTheGoldenOnes(t *testing.T) {
	for name, m := range bookMoments() {
		for _, wh := range sizes {
			golden(t, name, wh, m.draw(wh[0], wh[1]).render(&none)+"\n")
		}
	}
}

func TestBookFillsTheScreenExactly(t *testing.T) {
	all := bookMoments()
	var names []string
	for n := range all {
		names = append(names, n)
	}
	rapid.Check(t, func(t *rapid.T) {
		m := all[rapid.SampledFrom(names).Draw(t, "moment")]
		m.w, m.h = rapid.IntRange(1, 220).Draw(t, "w"), rapid.IntRange(1, 70).Draw(t, "h")
		m.o.Look.ASCII = rapid.Bool().Draw(t, "ascii")
		lines := strings.Split(m.View(), "\n")
		if len(lines) != m.h {
			t.Fatalf("%d lines on a screen of %d", len(lines), m.h)
		}
		for i, l := range lines {
			if got := lipgloss.Width(l); got != m.w {
				t.Fatalf("line %d is %d cells wide on a screen of %d: %q", i, got, m.w, l)
			}
		}
	})
}

// bookText is what the screen shows.
func bookText(m *book) string { return m.draw(m.w, m.h).render(&none) }

func TestBookKeys(t *testing.T) {
	has := func(m *book, words ...string) {
		t.Helper()
		for _, w := range words {
			if !strings.Contains(bookText(m), w) {
				t.Errorf("no %q on\n%s", w, bookText(m))
			}
		}
	}
	m := shelfOf(40)
	has(m, "44 tests in /book", "job 4700")
	keysOf(m, "end")
	has(m, "shopping list     FOREIGN  this file is no record")
	keysOf(m, "home", "/", "leaks job")
	if len(m.shown) != 14 {
		t.Errorf("%d shown", len(m.shown))
	}
	keysOf(m, "enter", "enter")
	has(m, "LEAKS", "1.20", "whole", "ceiling")
	keysOf(m, "down") // to the next one that leaks
	has(m, "job 4703")
	keysOf(m, "esc", "esc")
	if m.test != nil || len(m.shown) != 44 {
		t.Errorf("Esc left %d shown", len(m.shown))
	}

	// The older of two is the one before, whichever was kept first.
	for _, keys := range [][]string{{"home", "c", "down", "c"}, {"home", "down", "c", "up", "c"}} {
		m = keysOf(shelfOf(40), keys...)
		if m.test == nil || m.test.older == nil || !m.test.older.rec.When.Before(m.test.rec.When) {
			t.Fatal("not compared, or the wrong way round")
		}
		has(m, "before: 2026-03-04 02:30", "LARGER than before", "dotted: before")
	}
	m = keysOf(shelfOf(3), "c", "c")
	has(m, "no longer kept")

	m = keysOf(shelfOf(3), "down", "m")
	has(m, "measured again; by ebbline 1.0 verdict was holds")
	m = keysOf(shelfOf(3), "m")
	has(m, "measured again: the same as written by ebbline 1.0")

	// An answer that comes after the next question is passed over.
	m = shelfOf(3)
	_, first := m.Update(tea.KeyMsg{Type: tea.KeyEnter})
	m.Update(tea.KeyMsg{Type: tea.KeyEsc})
	m.Update(first())
	if m.test != nil {
		t.Error("a test opened after Esc")
	}
	if _, cmd := m.Update(tea.KeyMsg{Type: tea.KeyRunes, Runes: []rune("q")}); cmd == nil {
		t.Error("q does not leave")
	}
}

func TestBookSaysWhyItCannotBeRead(t *testing.T) {
	m := newBook(BookOptions{Folder: "/book"})
	m.w, m.h = 80, 24
	if !strings.Contains(bookText(m), "reading /book") {
		t.Error("nothing says that it is being read")
	}
	m.Update(bookLoaded{err: errors.New("permission denied")})
	if !strings.Contains(bookText(m), "The book cannot be read: permission denied") {
		t.Error(bookText(m))
	}
	m.Update(bookLoaded{})
	if !strings.Contains(bookText(m), "No test was recorded yet") {
		t.Error(bookText(m))
	}
	keysOf(m, "enter", "c", "m", "down", "pgdn", "end")
}

func TestBookScreenHoldsNoControlCharacter(t *testing.T) {
	for name, m := range bookMoments() {
		if i := strings.IndexFunc(bookText(m), func(r rune) bool { return r < ' ' && r != '\n' || r == 0x7f }); i >= 0 {
			t.Errorf("%s: control character at %d", name, i)
		}
	}
}
