package tui

import (
	"strings"

	"github.com/charmbracelet/bubbles/key"
	tea "github.com/charmbracelet/bubbletea"

	"ebbline/decay/record"
)

// bookPlace is where a key of the book works.
type bookPlace uint8

const (
	inBook bookPlace = iota // in the list and over a test
	inList
	inTest
)

// bookAction is a key of the book with what it does. As on the other screens
// dispatch, the foot and the help come from this table.
type bookAction struct {
	key.Binding
	in bookPlace
	do func(*book) tea.Cmd // nil: only its line in the help
}

// bookActions is the table of keys.
var bookActions []bookAction

func init() {
	bind := func(in bookPlace, show, help string, do func(*book) tea.Cmd, keys ...string) {
		bookActions = append(bookActions, bookAction{key.NewBinding(key.WithKeys(keys...), key.WithHelp(show, help)), in, do})
	}
	step := func(n func(*book) int) func(*book) tea.Cmd {
		return func(m *book) tea.Cmd { return m.move(n(m)) }
	}
	by := func(n int) func(*book) tea.Cmd { return step(func(*book) int { return n }) }
	bind(inList, "↑ ↓", "move: to another test; PgUp, PgDn, Home and End too", nil)
	bind(inTest, "↑ ↓", "move: to the test above or below in the list", nil)
	bind(inBook, "", "", by(-1), "up", "k")
	bind(inBook, "", "", by(1), "down", "j")
	bind(inBook, "", "", step(func(m *book) int { return -m.rows() }), "pgup")
	bind(inBook, "", "", step((*book).rows), "pgdown")
	bind(inBook, "", "", step(func(m *book) int { return -len(m.shown) }), "home")
	bind(inBook, "", "", step(func(m *book) int { return len(m.shown) }), "end")
	bind(inList, "Enter", "open: the test with its trace", func(m *book) tea.Cmd { return m.open(false, nil) }, "enter")
	bind(inList, "/", "choose: type words of job, verdict, part, state or date", func(m *book) tea.Cmd { m.typing = true; return nil }, "/")
	bind(inBook, "c", "compare: this test with another, before and after a repair", (*book).mark, "c")
	bind(inBook, "m", "measure: judge the readings again and say what changed", (*book).again, "m")
	bind(inTest, "d", "details: the numbers for a specialist", func(m *book) tea.Cmd { m.detail, m.page = !m.detail, 0; return nil }, "d")
	bind(inTest, "u", "unit: psi, bar, kPa and the others in turn", func(m *book) tea.Cmd {
		m.unit = nextOf(m.unit, "psi", "bar", "kPa", "mbar", "hPa", "inHg", "kgf/cm²")
		return nil
	}, "u")
	bind(inList, "r", "read: the folder again, for tests that came since", func(m *book) tea.Cmd {
		m.loading = true
		return m.load
	}, "r")
	bind(inBook, "?", "help: this list, page by page", func(m *book) tea.Cmd { m.turn(); return nil }, "?", "h")
	bind(inBook, "Esc", "back: to the list; there it takes back what was chosen", func(m *book) tea.Cmd { m.back(); return nil }, "esc")
	bind(inBook, "q", "quit: leave the book", func(*book) tea.Cmd { return tea.Quit }, "q", "ctrl+c")
}

// here tells whether an action works where the screen is.
func (m *book) here(a bookAction) bool {
	return a.in == inBook || (a.in == inTest) == (m.test != nil)
}

// press takes a key. Keys that came in one read are one message and are taken
// one by one.
func (m *book) press(k tea.KeyMsg) tea.Cmd {
	if m.typing {
		m.typed(k)
		if k.Type == tea.KeyCtrlC {
			return tea.Quit
		}
		return nil
	}
	if cmd, ok := apart(k, m.press); ok {
		return cmd
	}
	m.said = ""
	for _, a := range bookActions {
		if a.do != nil && m.here(a) && key.Matches(k, a.Binding) {
			if m.help && a.Help().Key != "?" && a.Help().Key != "q" {
				m.help = false
				if a.Help().Key == "Esc" {
					return nil
				}
			}
			return a.do(m)
		}
	}
	return nil
}

// typed takes a key for the filter.
func (m *book) typed(k tea.KeyMsg) {
	switch k.Type {
	case tea.KeyEnter:
		m.typing = false
	case tea.KeyEsc:
		m.typing, m.filter.text = false, ""
		m.choose()
	default:
		if m.filter.press(k) {
			m.at, m.top = 0, 0
			m.choose()
		}
	}
}

// move goes up or down the list; over a test it opens the one it comes to.
func (m *book) move(by int) tea.Cmd {
	if m.test != nil && m.detail && (by > 1 || by < -1) {
		m.page = max(0, m.page+map[bool]int{true: 1, false: -1}[by > 0])
		return nil
	}
	was := m.at
	m.at = max(0, min(m.at+by, len(m.shown)-1))
	if m.test != nil && m.at != was {
		return m.open(false, nil)
	}
	return nil
}

// mark keeps the test for a comparison, and with a second one compares.
func (m *book) mark() tea.Cmd {
	e, ok := m.current()
	switch {
	case !ok:
		m.said = "there is no test here"
		return nil
	case m.before < 0:
		m.before, m.test = m.shown[m.at], nil
		m.said = "go to the other test and press c"
		return nil
	case m.entries[m.before].Path == e.Path:
		m.before = -1
		m.said = "no longer kept for a comparison"
		return nil
	}
	older := m.entries[m.before]
	m.before = -1
	return m.open(true, &older)
}

// again measures the test.
func (m *book) again() tea.Cmd {
	if m.test != nil && m.test.older != nil {
		m.said = "both tests were measured again for the comparison"
		return nil
	}
	return m.open(true, nil)
}

// turn shows the help, turns its page, and after the last goes back.
func (m *book) turn() {
	switch {
	case !m.help:
		m.help, m.page = true, 0
	case (m.page+1)*max(1, m.h-3) < len(m.helpRows()):
		m.page++
	default:
		m.help, m.page = false, 0
	}
}

// back leaves what lies over the list, and then what was chosen in it.
func (m *book) back() {
	switch {
	case m.waiting:
		m.opening++
		m.waiting = false
	case m.test != nil && m.detail:
		m.detail, m.page = false, 0
	case m.test != nil:
		m.test = nil
	case m.before >= 0:
		m.before = -1
	case m.filter.text != "":
		m.filter.text = ""
		m.choose()
	default:
		m.said = "q leaves"
	}
}

// foot is the keys that work here.
func (m *book) foot() []hint {
	var out []hint
	for _, a := range bookActions {
		h := a.Help()
		if h.Key == "" || !m.here(a) {
			continue
		}
		word, _, _ := strings.Cut(h.Desc, ":")
		out = append(out, hint{h.Key, word, h.Desc, h.Key == "?" || h.Key == "q"})
	}
	return out
}

// helpLines are all keys, and what the words on the screen mean.
func (m *book) helpLines() []fact {
	out := []fact{{"keys", strong}}
	seen := map[string]bool{}
	for _, a := range bookActions {
		h := a.Help()
		if h.Key == "" || seen[h.Key] && a.in == inTest {
			continue
		}
		seen[h.Key] = true
		where := map[bookPlace]string{inList: "list", inTest: "test", inBook: ""}[a.in]
		out = append(out, fact{pad(h.Key, 7) + pad(where, 6) + h.Desc, plain})
	}
	out = append(out, fact{"", plain}, fact{"what a file can be", strong})
	for _, s := range []struct {
		state record.State
		words string
	}{
		{record.StateWhole, "as it was written, by its SHA-256"},
		{record.StateNoDigest, "an early version wrote it: a change cannot be told"},
		{record.StateRunning, "the test runs still: r reads the list again"},
		{record.StateTorn, "its end is missing: the test was cut short"},
		{record.StateChanged, "it was changed after it was written"},
		{record.StateDamaged, "a line makes no sense"},
		{record.StateNewer, "a later version of this program wrote it"},
		{record.StateForeign, "it is no record"},
		{record.StateUnreadable, "it cannot be opened"},
	} {
		out = append(out, fact{pad(s.state.String(), 13) + s.words, plain})
	}
	return append(out, fact{"", plain},
		fact{"The list checks what it shows. Whether the readings were changed", plain},
		fact{"is seen when a test is opened, or by ebbline book check.", plain},
		fact{"/ takes words, all of which must be there: leaks hose 2026-03", plain},
		fact{"or a span of days: 2026-01-01..2026-03-31", plain})
}
