package tui

import (
	"strings"
	"time"

	"github.com/charmbracelet/bubbles/key"
	tea "github.com/charmbracelet/bubbletea"

	"ebbline/decay"
)

// A counterAction is a key of the counter with the stages it works in; one that
// is shown as "" stands in the words of another. The
// foot, the help and the dispatch come from this table.
type counterAction struct {
	key.Binding
	in stage
	do func(*counter) tea.Cmd
}

var counterActions []counterAction

func init() {
	bind := func(in stage, shown, desc string, do func(*counter) tea.Cmd, keys ...string) counterAction {
		return counterAction{key.NewBinding(key.WithKeys(keys...), key.WithHelp(shown, desc)), in, do}
	}
	counterActions = []counterAction{
		bind(choosing, "Enter", "test this part", func(m *counter) tea.Cmd { m.choose(); return nil }, "enter"),
		bind(cautioned, "Enter", "understood, go on", func(m *counter) tea.Cmd { m.warned = true; m.begin(); return nil }, "enter"),
		bind(answered, "Enter", "next customer", func(m *counter) tea.Cmd { m.next(); return nil }, "enter"),
		bind(choosing, "↓", "the list", func(m *counter) tea.Cmd { m.move(1); return nil }, "down", "tab"),
		bind(choosing, "↑", "the list", func(m *counter) tea.Cmd { m.move(-1); return nil }, "up", "shift+tab"),
		bind(choosing, "Esc", "clear, or leave", func(m *counter) tea.Cmd { return m.leave() }, "esc"),
		bind(cautioned, "Esc", "another part", func(m *counter) tea.Cmd { m.turn(choosing); return nil }, "esc"),
		bind(underTest, "Esc", "stop, what came is kept", func(m *counter) tea.Cmd { return m.stop() }, "esc"),
		bind(answered, "Esc", "from the slip back to the result, from there the next customer", func(m *counter) tea.Cmd { m.back(); return nil }, "esc"),
		bind(answered, "a", "test it again", func(m *counter) tea.Cmd { m.begin(); return nil }, "a"),
		bind(answered, "s", "slip, in full", func(m *counter) tea.Cmd { m.full, m.top = !m.full, 0; return nil }, "s"),
		bind(answered, "↓", "down the slip; PgDn by a page, End to its end", func(m *counter) tea.Cmd { m.scroll(5); return nil }, "down"),
		bind(answered, "↑", "up the slip; PgUp, Home", func(m *counter) tea.Cmd { m.scroll(-5); return nil }, "up"),
		bind(answered, "", "", func(m *counter) tea.Cmd { m.scroll(m.page()); return nil }, "pgdown", " "),
		bind(answered, "", "", func(m *counter) tea.Cmd { m.scroll(-m.page()); return nil }, "pgup"),
		bind(answered, "", "", func(m *counter) tea.Cmd { m.scroll(len(m.kept.Slip)); return nil }, "end"),
		bind(answered, "", "", func(m *counter) tea.Cmd { m.scroll(-len(m.kept.Slip)); return nil }, "home"),
		bind(underTest|answered, "u", "unit", func(m *counter) tea.Cmd { m.nextUnit(); return nil }, "u"),
		bind(underTest|answered, "b", "bell", func(m *counter) tea.Cmd { m.s.bell = !m.s.bell; return nil }, "b"),
		bind(choosing|cautioned|underTest|answered, "?", "help", func(m *counter) tea.Cmd { m.s.help = !m.s.help; return nil }, "?", "f1"),
		bind(choosing|cautioned|underTest|answered, "Ctrl+C", "leave, every test is kept", func(*counter) tea.Cmd { return tea.Quit }, "ctrl+c"),
	}
}

// unread is how long the cautions and the answer stand before Enter takes them
// away, so that a key pressed twice does not.
const unread = 600 * time.Millisecond

// A scanner types a label like a person, but a letter every few milliseconds, and
// what it typed may come in more than one read.
const (
	burst       = 100 * time.Millisecond // after which a letter was the last of its burst
	manyLetters = 4                      // are a label without an Enter too
)

// press takes a key. Where letters are keys, or may belong to what was refused, they
// wait for the end of their burst, so that a label does none of what its letters
// would, and takes the place of one that was refused.
func (m *counter) press(k tea.KeyMsg) tea.Cmd {
	switch {
	case (k.Type == tea.KeyRunes || k.Type == tea.KeySpace) && !k.Alt && (m.stage != choosing || m.s.help || m.problem != "" || len(m.burst) > 0):
		m.burst, m.burstAt = append(m.burst, k.Runes...), m.now
		return nil
	case k.Type == tea.KeyEnter && len(m.burst) > 1:
		if m.label() {
			m.choose()
		}
		return nil
	}
	return tea.Batch(m.endBurst(), m.key(k))
}

// endBurst does what the letters say that came together and no Enter with them.
func (m *counter) endBurst() tea.Cmd {
	if n := len(m.burst); n == 0 {
		return nil
	} else if n >= manyLetters && strings.Trim(string(m.burst), string(m.burst[:1])) != "" { // no key that is held down
		m.label()
		return nil
	}
	held := m.burst
	m.burst = nil
	var out []tea.Cmd
	for _, r := range held {
		out = append(out, m.key(tea.KeyMsg{Type: tea.KeyRunes, Runes: []rune{r}}))
	}
	return tea.Batch(out...)
}

// label takes the letters that came together for the next part, and reports
// whether it can be chosen now.
func (m *counter) label() bool {
	text := m.burst
	m.burst = nil
	m.s.help = false
	if m.stage == underTest {
		m.problem = "a label was read in the middle of a test: read it again after the answer"
		return false
	}
	m.next()
	m.typed(text)
	return true
}

// typed adds letters to the field.
func (m *counter) typed(text []rune) {
	for _, r := range text {
		if r >= ' ' && r != 0x7f && len(m.field) < 60 {
			m.field = append(m.field, r)
		}
	}
	m.problem = ""
	m.offer()
}

// key runs the action of a key, or types it.
func (m *counter) key(k tea.KeyMsg) tea.Cmd {
	leaving := m.leaving
	m.leaving = false
	if m.s.help && k.Type != tea.KeyCtrlC {
		m.s.help = false
		return nil
	}
	if k.Type == tea.KeyEnter && m.stage&(cautioned|answered) != 0 && m.now.Sub(m.entered) < unread {
		return nil // meant for the screen before: nobody has read this one yet
	}
	for _, a := range counterActions {
		if a.in&m.stage != 0 && key.Matches(k, a.Binding) {
			if k.Type == tea.KeyEsc {
				m.leaving = leaving
			}
			return a.do(m)
		}
	}
	if m.stage != choosing {
		return nil
	}
	switch k.Type {
	case tea.KeyRunes, tea.KeySpace:
		m.typed(k.Runes)
	case tea.KeyBackspace:
		m.field = m.field[:max(0, len(m.field)-1)]
		m.typed(nil)
	}
	return nil
}

// back leaves the slip for the result, and that for the next customer.
func (m *counter) back() {
	if m.full {
		m.full, m.top = false, 0
		return
	}
	m.next()
}

// move goes through the parts that are offered.
func (m *counter) move(by int) {
	if n := len(m.offers); n > 0 {
		m.pick = min(max(m.pick+by, -1), n-1)
	}
}

// scroll moves the slip by lines, at most to where its last page is shown.
func (m *counter) scroll(by int) { m.top = max(0, min(m.top+by, len(m.kept.Slip)-m.page())) }

// page is how many lines of the slip any layout shows.
func (m *counter) page() int { return max(1, m.h-5) }

// leave clears the field, and asked once more with nothing in it leaves.
func (m *counter) leave() tea.Cmd {
	switch {
	case len(m.field) > 0:
		m.field = nil
		m.problem = ""
		m.offer()
	case m.leaving:
		return tea.Quit
	default:
		m.leaving = true
	}
	return nil
}

// nextUnit goes through the units a counter reads pressures in.
func (m *counter) nextUnit() {
	order := []string{"psi", "bar", "kPa", "hPa"}
	at := 0
	for i, n := range order {
		if n == m.s.unit.Name {
			at = (i + 1) % len(order)
		}
	}
	if u, err := decay.ParsePressureUnit(order[at]); err == nil {
		m.s.unit = u
	}
}

// foot is the line of keys of the present stage, the most wanted first: as many
// as w cells hold, and always the one for the help.
func (m *counter) foot(w int) string {
	var out []string
	help := ""
	for _, a := range counterActions {
		if a.in&m.stage == 0 {
			continue
		}
		k, desc := a.Help().Key, a.Help().Desc
		switch {
		case k == "↑", k == "", k == "Ctrl+C", k == "Esc" && m.stage == answered && !m.full:
			continue // beside ↓; in the help, beside Esc; the same as Enter
		case k == "Esc" && m.stage == answered:
			desc = "back to the result"
		case k == "s" && m.full:
			continue
		case k == "↓" && (m.stage == choosing && len(m.offers) == 0 || m.stage == answered && !m.full):
			continue
		case k == "↓":
			k = "↓↑"
			desc, _, _ = strings.Cut(desc, ";")
		case k == "?":
			help = k + " " + desc
			continue
		case desc == "bell":
			desc += map[bool]string{true: " on", false: " off"}[m.s.bell]
		}
		if m.leaving && k == "Esc" {
			desc = "once more: leave"
		}
		out = append(out, k+" "+desc)
	}
	for n := len(out); n > 0; n-- {
		for _, gap := range []string{"   ", "  "} {
			if s := strings.Join(append(out[:n:n], help), gap); width(s) <= w {
				return s
			}
		}
	}
	return help
}

// keyList is one line for each key of the present stage, for the help.
func (m *counter) keyList() []fact {
	out := []fact{{"keys here", strong}}
	for _, a := range counterActions {
		if k := a.Help().Key; a.in&m.stage != 0 && k != "" {
			out = append(out, fact{k + strings.Repeat(" ", max(1, 8-width(k))) + a.Help().Desc, plain})
		}
	}
	if m.stage == choosing {
		out = append(out, fact{"letters a label of the list of parts, or bore x length in mm, as 51x600", plain})
	}
	out = append(out, fact{"any key closes this help", dim}, fact{"", plain}, fact{cautions[0], strong})
	for _, c := range counterCautions {
		out = append(out, fact{c, plain})
	}
	return out
}
