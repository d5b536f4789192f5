package tui

import (
	"unicode"

	"github.com/charmbracelet/bubbles/key"
	tea "github.com/charmbracelet/bubbletea"
)

// A handAction is a key of the screen for readings by eye, with the stages it
// works in. Foot, help and dispatch come from this table.
type handAction struct {
	key.Binding
	in   handStage
	word string // at the foot
	do   func(*hand) tea.Cmd
}

var handActions []handAction

func init() {
	bind := func(in handStage, shown, word, desc string, do func(*hand) tea.Cmd, keys ...string) handAction {
		return handAction{key.NewBinding(key.WithKeys(keys...), key.WithHelp(shown, desc)), in, word, do}
	}
	anywhere := dialAsked | dialReady | dialReads | dialDone
	handActions = []handAction{
		bind(dialAsked, "Enter", "take it", "take the answer that was typed, or the usual one", func(m *hand) tea.Cmd { m.enter(); return nil }, "enter"),
		bind(dialAsked, "← →", "choose", "choose what is under test", nil),
		{Binding: key.NewBinding(key.WithKeys("left")), in: dialAsked, do: func(m *hand) tea.Cmd { m.turn(-1); return nil }},
		{Binding: key.NewBinding(key.WithKeys("right")), in: dialAsked, do: func(m *hand) tea.Cmd { m.turn(1); return nil }},
		bind(dialReady|dialReads, "Enter", "take the reading", "take the reading that was typed", func(m *hand) tea.Cmd { m.enter(); return nil }, "enter"),
		bind(dialDone, "Enter", "leave", "leave: the record is kept", func(*hand) tea.Cmd { return tea.Quit }, "enter", "q"),
		bind(dialReads, "z", "take back", "take the last reading back, or the chosen one", func(m *hand) tea.Cmd { m.undo(); return nil }, "z"),
		bind(dialReads, "e", "end", "end the hold and keep its record", func(m *hand) tea.Cmd { m.finish(); return nil }, "e"),
		bind(anywhere, "u", "unit", "unit of the dial: psi, bar, kPa, hPa", func(m *hand) tea.Cmd { m.nextUnit(); return nil }, "u"),
		bind(anywhere, "b", "bell", "bell: on or off", func(m *hand) tea.Cmd { m.s.bell = !m.s.bell; return nil }, "b"),
		bind(anywhere, "?", "help", "help: this list", func(m *hand) tea.Cmd { m.s.help = !m.s.help; return nil }, "?", "f1"),
		bind(anywhere, "Esc", "clear", "clear what was typed; twice: leave, everything is kept", func(m *hand) tea.Cmd { return m.leave() }, "esc"),
		bind(dialReads, "Up", "an earlier one", "choose an earlier reading to take back; Down: a later one", func(m *hand) tea.Cmd { m.choose(1); return nil }, "up"),
		bind(dialReads, "Down", "", "choose a later reading to take back", func(m *hand) tea.Cmd { m.choose(-1); return nil }, "down"),
		bind(anywhere, "Ctrl+C", "leave", "leave at once, everything is kept", func(*hand) tea.Cmd { return tea.Quit }, "ctrl+c"),
	}
}

// press runs the action of a key, or types it.
func (m *hand) press(k tea.KeyMsg) tea.Cmd {
	leaving := m.leaving
	m.leaving = false
	if k.Type != tea.KeyCtrlC {
		if m.over() { // the alarm takes one key
			m.alarmed = true
			return nil
		}
		if m.s.help {
			m.s.help = false
			return nil
		}
	}
	typing := m.stage != dialDone && len(m.field) > 0 && k.Type == tea.KeyRunes && k.String() != "?" // 2e, too, is what was typed
	for _, a := range handActions {
		if a.in&m.stage != 0 && a.do != nil && !typing && key.Matches(k, a.Binding) {
			if k.Type == tea.KeyEsc {
				m.leaving = leaving
			}
			return a.do(m)
		}
	}
	if m.stage == dialDone || m.stage == dialAsked && m.asks == askPart {
		return nil
	}
	switch k.Type {
	case tea.KeyRunes, tea.KeySpace: // what is no number is refused in whole, by Enter
		for _, r := range k.Runes {
			if unicode.IsPrint(r) && len(m.field) < 12 {
				if len(m.field) == 0 {
					m.keyed, m.problem = m.now, ""
				}
				m.field = append(m.field, r)
			}
		}
	case tea.KeyBackspace:
		if n := len(m.field); n > 0 {
			m.field = m.field[:n-1]
		}
	}
	return nil
}

// leave clears the field, and asked once more with nothing in it leaves.
func (m *hand) leave() tea.Cmd {
	switch {
	case len(m.field) > 0:
		m.field, m.problem = nil, ""
	case m.leaving || m.stage == dialDone:
		return tea.Quit
	default:
		m.leaving = true
	}
	return nil
}

// turn goes to another part, where it is asked for.
func (m *hand) turn(by int) {
	if m.asks == askPart {
		m.of = otherPart(m.of, by)
	}
}

// nextUnit goes through the units dials are marked in.
func (m *hand) nextUnit() {
	c := counter{s: m.s}
	c.nextUnit()
	m.s.unit = c.s.unit
}

// hints are the keys of the present stage.
func (m *hand) hints() []hint {
	var out []hint
	for _, a := range handActions {
		k := a.Help().Key
		if k == "" || k == "← →" && m.asks != askPart {
			continue
		}
		if typed := len(m.field) > 0 && len(k) == 1 && k != "?"; typed || a.in&m.stage == 0 {
			continue
		}
		h := hint{key: k, word: a.word, desc: a.Help().Desc}
		switch {
		case h.word == "bell":
			h.word += map[bool]string{true: " on", false: " off"}[m.s.bell]
		case h.key == "Esc" && m.leaving:
			h.word = "once more: leave"
		case h.key == "Esc" && m.stage == dialDone:
			continue // Enter leaves
		case h.key == "Esc" && len(m.field) == 0:
			h.word = "twice: leave"
		case h.key == "Ctrl+C" || h.key == "Down":
			continue // in the help
		}
		h.always = h.key == "?" || h.key == "Enter" || h.key == "e"
		out = append(out, h)
	}
	return out
}

// helpLines list every key of the present stage, and the cautions.
func (m *hand) helpLines() []fact {
	out := []fact{{"keys here", strong}}
	for _, a := range handActions {
		if a.in&m.stage != 0 && a.Help().Key != "" {
			k := a.Help().Key
			out = append(out, fact{pad(k, 8) + a.Help().Desc, plain})
		}
	}
	out = append(out,
		fact{"digits  type what the dial shows; its time is that of the first digit, or of the beep when typed within 3 s after it; letters after a digit are typed, as in 25psi; one that does not fit to those before is taken by a second Enter", plain},
		fact{"any key closes this help", dim}, fact{"", plain}, fact{cautions[0], strong})
	for _, c := range cautions[1:] {
		out = append(out, fact{c, plain})
	}
	return out
}
