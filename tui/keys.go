package tui

import (
	"slices"
	"strings"

	"github.com/charmbracelet/bubbles/key"
	tea "github.com/charmbracelet/bubbletea"

	"ebbline/decay"
)

// action is a key with what it does. Dispatch, the line at the foot and the
// help all come from the one table, so they cannot disagree.
type action struct {
	key.Binding
	rig bool // only where the valves can be worked from here
	do  func(*model) tea.Cmd
}

// actions is the table of keys.
var actions []action

func init() {
	actions = []action{
		{key.NewBinding(key.WithKeys("f"), key.WithHelp("f", "fill: open the supply valve of the rig")), true,
			func(m *model) tea.Cmd { m.s.auto = false; m.o.Controls.Fill(); return nil }},
		{key.NewBinding(key.WithKeys("i"), key.WithHelp("i", "isolate: shut the valve of the rig, or say that yours is shut")), false,
			func(m *model) tea.Cmd { m.isolate(); return nil }},
		{key.NewBinding(key.WithKeys("r"), key.WithHelp("r", "release: open the vent of the rig")), true,
			func(m *model) tea.Cmd { m.s.auto = false; m.o.Controls.Release(); return nil }},
		{key.NewBinding(key.WithKeys("h"), key.WithHelp("h", "hunt: the leak's rate, joint by joint; again goes back")), false,
			func(m *model) tea.Cmd { m.toggle(viewHunt); return nil }},
		{key.NewBinding(key.WithKeys("s"), key.WithHelp("s", "split: which section the leak is in; a adds a section")), false,
			func(m *model) tea.Cmd { m.toggle(viewSplit); return nil }},
		{key.NewBinding(key.WithKeys("n"), key.WithHelp("n", "next: end this test and go to the next one's start card")), false,
			func(m *model) tea.Cmd { m.nextTest(); return nil }},
		{key.NewBinding(key.WithKeys("t"), key.WithHelp("t", "retest: the same again after a repair, compared with this")), false,
			func(m *model) tea.Cmd { m.retest(); return nil }},
		{key.NewBinding(key.WithKeys("u"), key.WithHelp("u", "unit: psi, bar, kPa and the others in turn")), false,
			func(m *model) tea.Cmd { m.nextUnit(); return nil }},
		{key.NewBinding(key.WithKeys("d"), key.WithHelp("d", "details: the numbers for a specialist")), false,
			func(m *model) tea.Cmd { m.s.detail, m.s.help = !m.s.detail, false; return nil }},
		{key.NewBinding(key.WithKeys("b"), key.WithHelp("b", "bell: sound on or off")), false,
			func(m *model) tea.Cmd { m.s.bell = !m.s.bell; m.refreshKeys(); return nil }},
		{key.NewBinding(key.WithKeys("m"), key.WithHelp("m", "mark: keep a word with the rate at this moment")), false,
			func(m *model) tea.Cmd { m.startMark(); return nil }},
		{key.NewBinding(key.WithKeys("p"), key.WithHelp("p", "pinch: press the rig's leak half shut, or let go")), true,
			func(m *model) tea.Cmd { m.pinch(); return nil }},
		{key.NewBinding(key.WithKeys("?"), key.WithHelp("?", "help: this list, page by page")), false,
			func(m *model) tea.Cmd { m.nextHelp(); return nil }},
		{key.NewBinding(key.WithKeys("q", "ctrl+c"), key.WithHelp("q", "quit: save the record and leave")), false,
			func(m *model) tea.Cmd { return m.quit() }},
		{key.NewBinding(key.WithKeys("esc"), key.WithHelp("Esc", "back: to the picture of the test; it ends nothing")), false,
			func(m *model) tea.Cmd { m.back(); return nil }},
	}
}

// apart gives keys that came in one read, which are one message, one by one to
// press; false when k is a single key or was pasted.
func apart(k tea.KeyMsg, press func(tea.KeyMsg) tea.Cmd) (tea.Cmd, bool) {
	if k.Type != tea.KeyRunes || len(k.Runes) < 2 || k.Paste {
		return nil, false
	}
	var out []tea.Cmd
	for _, r := range k.Runes {
		if c := press(tea.KeyMsg{Type: tea.KeyRunes, Runes: []rune{r}, Alt: k.Alt}); c != nil {
			out = append(out, c)
		}
	}
	return tea.Batch(out...), true
}

// press takes a key: first whoever waits for one, then the table.
func (m *model) press(k tea.KeyMsg) tea.Cmd {
	if cmd, ok := apart(k, m.press); ok {
		return cmd
	}
	if m.s.card != nil {
		return m.pressCard(k)
	}
	if m.s.hunt.typing != nil {
		return m.pressMark(k)
	}
	if cmd, ok := m.pressSplit(k); ok {
		return cmd
	}
	for _, a := range actions {
		if key.Matches(k, a.Binding) && (!a.rig || m.o.Controls != nil) {
			return a.do(m)
		}
	}
	return nil
}

// toggle goes to a view, or from it back to the room.
func (m *model) toggle(v view) {
	s := &m.s
	s.detail, s.help = false, false
	if s.view == v {
		v = viewRoom
	}
	s.view = v
	if v == viewHunt {
		m.huntAt = m.at
	}
	m.refreshKeys()
}

// nextHelp shows the help, turns its page, and after the last goes back.
func (m *model) nextHelp() {
	s := &m.s
	switch {
	case !s.help:
		s.help, s.detail, s.helpPage = true, false, 0
	case s.helpPage+1 < s.helpPages(m.w, m.h):
		s.helpPage++
	default:
		s.help = false
	}
}

// isolate shuts the supply valve where that can be done from here, and takes
// the operator's word for it where it cannot: a very tight duct shows nothing.
func (m *model) isolate() {
	if m.o.Controls != nil {
		m.s.auto = false
		m.o.Controls.Isolate() // which comes with its next reading
		return
	}
	m.say("noted: the supply valve is shut")
	m.step(decay.Shut{At: m.s.st.Now})
}

// pinch presses the leak of a simulated rig, or lets it go.
func (m *model) pinch() {
	if m.o.Pinch == nil {
		m.say("this rig's leak cannot be pressed")
		return
	}
	m.pinched = !m.pinched
	if err := m.o.Pinch(m.pinched); err != nil {
		m.say(err.Error())
		return
	}
	m.say(map[bool]string{true: "the simulated leak is pressed half shut", false: "the simulated leak is let go"}[m.pinched])
}

// back leaves what lies over the picture of the test. Nothing is lost by it.
func (m *model) back() {
	s := &m.s
	if !s.help && !s.detail && s.view == viewRoom {
		m.say("Esc ends nothing here: q saves the record and leaves")
	}
	s.help, s.detail, s.view = false, false, viewRoom
	m.refreshKeys()
}

// hint is a key as the foot of a screen offers it.
type hint struct {
	key, word, desc string
	always          bool // on the narrowest foot too
}

// refreshKeys makes the foot line and the help from the table.
func (m *model) refreshKeys() {
	m.s.keys = m.s.keys[:0:0]
	list := append([]action(nil), actions...)
	if m.s.view == viewHunt { // what one hunts with comes first
		slices.SortStableFunc(list, func(a, b action) int { return huntFirst(b) - huntFirst(a) })
	}
	for _, a := range list {
		if a.rig && m.o.Controls == nil {
			continue
		}
		h := a.Help()
		word, _, _ := strings.Cut(h.Desc, ":")
		if word == "bell" {
			word += map[bool]string{true: " on", false: " off"}[m.s.bell]
		}
		m.s.keys = append(m.s.keys, hint{h.Key, word, h.Desc, h.Key == "?" || h.Key == "q"})
	}
}

func huntFirst(a action) int {
	if k := a.Help().Key; k == "m" || k == "p" || k == "h" {
		return 1
	}
	return 0
}

// foot is the line of keys for a screen of w cells. Those that find no room
// are in the help, which is always named.
func foot(keys []hint, w int) string {
	need := 0
	for _, k := range keys {
		if k.always {
			need += width(k.key+" "+k.word) + 2
		}
	}
	var out []string
	for _, k := range keys {
		n := width(k.key+" "+k.word) + 2
		if !k.always {
			if need+n > w+2 {
				continue
			}
			need += n
		}
		out = append(out, k.key+" "+k.word)
	}
	return strings.Join(out, "  ")
}

// nextUnit goes to the next unit people read charge pressures in.
func (m *model) nextUnit() {
	order := []string{"psi", "bar", "kPa", "mbar", "hPa", "inHg", "kgf/cm²"}
	for i, n := range order {
		if n == m.s.unit.Name {
			if u, err := decay.ParsePressureUnit(order[(i+1)%len(order)]); err == nil {
				m.s.unit = u
			}
			return
		}
	}
	if u, err := decay.ParsePressureUnit(order[0]); err == nil {
		m.s.unit = u
	}
}
