package tui

import (
	"context"
	"fmt"
	"io"
	"strings"
	"time"

	tea "github.com/charmbracelet/bubbletea"

	"ebbline/decay"
	"ebbline/decay/record"
)

// BookOptions is what the screen of the book is given. Load, Open and Measure
// are required; they are called off the screen's own goroutine.
type BookOptions struct {
	Folder  string                                   // its name, to be shown
	Load    func() ([]BookEntry, error)              // lists the records, the newest first
	Open    func(path string) (record.Record, error) // reads one in whole
	Measure func(record.Record) decay.Result         // judges its readings again
	Unit    decay.PressureUnit                       // shown at first; zero: psi
	Input   io.Reader                                // nil: the terminal
	Output  io.Writer                                // nil: standard output
	Look    Look                                     // of the terminal
}

// RunBook shows the records until the operator quits or ctx ends.
func RunBook(ctx context.Context, o BookOptions) error {
	term := newTerminal(o.Output)
	defer term.close()
	return runScreen(ctx, newBook(o), term, 30, o.Input)
}

// book is the screen of the records: the list, or one test over it.
type book struct {
	o    BookOptions
	w, h int
	pal  *[styles]string
	unit decay.PressureUnit

	loading bool
	fault   string // why the list could not be read
	entries []BookEntry
	hay     []string // what the filter looks in, one for each entry
	shown   []int    // entries that the filter lets through
	at, top int      // in shown: where the cursor is, and the first line on the screen
	filter  entry
	typing  bool
	before  int // entry to be compared with; -1: none

	opening int // counts what was asked for, so that a late answer is passed over
	waiting bool
	test    *bookTest
	detail  bool
	help    bool
	page    int // of the help or the details
	said    string
}

// bookTest is a test that is looked at.
type bookTest struct {
	entry    BookEntry
	rec      record.Record
	err      error // in place of the record
	measured bool
	result   decay.Result // as written, or as measured again
	changes  []BookChange
	past     *past

	older      *bookTest // compared with
	change     decay.Change
	comparable bool
}

func newBook(o BookOptions) *book {
	m := &book{o: o, unit: o.Unit, before: -1, loading: true}
	if m.unit.Pascal <= 0 {
		m.unit = decay.PressureUnits[0]
	}
	return m
}

type bookLoaded struct {
	entries []BookEntry
	err     error
}

type bookOpened struct {
	asked       int
	test, older *bookTest
}

// Init reads the list.
func (m *book) Init() tea.Cmd { return m.load }

func (m *book) load() tea.Msg {
	e, err := m.o.Load()
	return bookLoaded{e, err}
}

// Update takes a message.
func (m *book) Update(msg tea.Msg) (tea.Model, tea.Cmd) {
	switch msg := msg.(type) {
	case tea.WindowSizeMsg:
		m.w, m.h = msg.Width, msg.Height
	case tea.KeyMsg:
		return m, m.press(msg)
	case bookLoaded:
		m.loaded(msg)
	case bookOpened:
		if msg.asked == m.opening {
			m.waiting, m.test = false, msg.test
			if msg.older != nil {
				m.test.compare(msg.older)
			}
		}
	}
	return m, nil
}

// View draws a frame of exactly the terminal's size.
func (m *book) View() string {
	if m.pal == nil {
		m.pal = m.o.Look.palette()
	}
	return m.draw(m.w, m.h).render(m.pal)
}

// loaded takes the list and stays on the record the cursor was on.
func (m *book) loaded(msg bookLoaded) {
	was := ""
	if e, ok := m.current(); ok {
		was = e.Path
	}
	m.loading, m.before = false, -1
	if msg.err != nil {
		m.fault = msg.err.Error()
		return
	}
	m.fault, m.entries = "", msg.entries
	m.hay = make([]string, len(m.entries))
	for i, e := range m.entries {
		m.hay[i] = hay(e)
	}
	m.choose()
	for i, k := range m.shown {
		if m.entries[k].Path == was {
			m.at = i
		}
	}
}

// hay is the text in which the filter looks for its words.
func hay(e BookEntry) string {
	words := []string{e.Date(), e.Verdict(), e.Part(), e.Title(), e.Name, e.State().String()}
	if e.Head.Simulated {
		words = append(words, "simulated")
	}
	return strings.ToLower(strings.Join(words, "\n"))
}

// choose finds the entries that have all words of the filter. A word such as
// 2026-01-01..2026-03-31 is a span of days; either end may be left out.
func (m *book) choose() {
	m.shown = m.shown[:0]
	words := strings.Fields(strings.ToLower(m.filter.text))
	for i, e := range m.entries {
		keep := true
		for _, w := range words {
			if from, to, ok := strings.Cut(w, ".."); ok {
				day, _, _ := strings.Cut(e.Date(), " ")
				keep = keep && day != "" && day >= from && (to == "" || day <= to || strings.HasPrefix(day, to))
				continue
			}
			keep = keep && strings.Contains(m.hay[i], w)
		}
		if keep {
			m.shown = append(m.shown, i)
		}
	}
	m.at = max(0, min(m.at, len(m.shown)-1))
}

// current is the entry the cursor is on.
func (m *book) current() (BookEntry, bool) {
	if m.at >= len(m.shown) {
		return BookEntry{}, false
	}
	return m.entries[m.shown[m.at]], true
}

// open reads the test the cursor is on, and the one to compare it with.
func (m *book) open(measure bool, older *BookEntry) tea.Cmd {
	e, ok := m.current()
	if !ok {
		m.said = "there is no test here"
		return nil
	}
	m.opening++
	m.waiting, m.page = true, 0
	asked := m.opening
	return func() tea.Msg {
		msg := bookOpened{asked: asked, test: m.read(e)}
		if older != nil {
			msg.older = m.read(*older)
			msg.older.measure(m.o.Measure)
		}
		if measure || older != nil {
			msg.test.measure(m.o.Measure)
		}
		return msg
	}
}

// read reads a record in whole.
func (m *book) read(e BookEntry) *bookTest {
	t := &bookTest{entry: e}
	if t.rec, t.err = m.o.Open(e.Path); t.err == nil {
		t.result = t.rec.Result
		t.look()
	}
	return t
}

// look makes the picture.
func (t *bookTest) look() {
	t.past = newPast(Past{Title: t.rec.Label, Setup: t.rec.Setup, Simulated: t.rec.Simulated, Result: t.result, Samples: t.rec.Samples})
}

// measure judges the readings again.
func (t *bookTest) measure(judge func(record.Record) decay.Result) {
	if t.err != nil {
		return
	}
	t.result, t.measured = judge(t.rec), true
	t.changes = BookChanges(t.rec, t.result)
	t.look()
}

// compare sets the test beside an older one; the older by date is the one
// before.
func (t *bookTest) compare(other *bookTest) {
	t.older = other
	if t.err != nil || other.err != nil {
		return
	}
	if t.rec.When.Before(other.rec.When) {
		*t, *other = *other, *t
		t.older, other.older = other, nil
	}
	t.change, t.comparable = decay.Compare(t.older.result, t.result)
}

// state is what the file turned out to be, now that all of it was read.
func (t *bookTest) state() record.State { return record.StateOf(t.rec, t.err) }

// dayWords is a date for a sentence.
func dayWords(when time.Time) string {
	if when.IsZero() {
		return "an unknown day"
	}
	return when.Format("2006-01-02 15:04")
}

// tests counts for a sentence.
func tests(n int) string {
	if n == 1 {
		return "1 test"
	}
	return fmt.Sprintf("%d tests", n)
}
