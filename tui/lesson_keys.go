package tui

import (
	"strconv"
	"strings"

	"github.com/charmbracelet/bubbles/key"
	tea "github.com/charmbracelet/bubbletea"

	"ebbline/decay"
)

// where says on which kind of rig a key of the lesson is there.
type where int

const (
	always where = iota
	onRig        // simulated
	onReal
)

// lessonAction is a key of the lesson with what it does. As on the other
// screens dispatch, the foot of the screen and the help come from this table.
type lessonAction struct {
	key.Binding
	at where
	do func(*lesson) tea.Cmd
}

// lessonActions is the table of keys.
var lessonActions []lessonAction

func init() {
	add := func(at where, keys, shown, words string, do func(*lesson)) {
		lessonActions = append(lessonActions, lessonAction{
			key.NewBinding(key.WithKeys(strings.Split(keys, "|")...), key.WithHelp(shown, words)), at,
			func(m *lesson) tea.Cmd { do(m); return nil },
		})
	}
	add(always, "g", "g", "guess: a guessing round with a hidden hole", (*lesson).startRound)
	add(onReal, "j", "j", "jet: type the size of the jet in the latest trace", func(m *lesson) { m.entry = &typing{what: entryJet} })
	add(onRig, "n", "n", "numbers: start a trace, or change the hole of the one under way", func(m *lesson) { m.within = !m.within })
	add(onRig, "l", "l", "law: the leak law, orifice or seep, from the next trace on", func(m *lesson) { m.seep = !m.seep })
	add(onRig, "f", "f", "fill: quick or slow, from the next trace on", func(m *lesson) { m.slow = !m.slow })
	add(onRig, "v", "v", "volume: big or small, from the next trace on", func(m *lesson) { m.small = !m.small })
	add(onRig, "a", "a", "altitude: sea, 1500 m or 3000 m, from the next trace on", func(m *lesson) { m.high = (m.high + 1) % len(altitudes) })
	add(onRig, "s", "s", "speed: of simulated time, 1, 4 or 10 times", func(m *lesson) { m.speed = (m.speed + 1) % len(speeds) })
	add(onRig, " ", "space", "stop: simulated time stands still, or goes on", func(m *lesson) { m.paused = !m.paused })
	add(always, "x", "x", "away: take the latest trace out of the picture", (*lesson).takeAway)
	add(always, "t", "t", "table: the traces and their estimates", func(m *lesson) { m.table, m.help = !m.table, false })
	add(always, "u", "u", "unit: psi, bar, kPa, hPa in turn", func(m *lesson) { m.unit = nextOf(m.unit, "psi", "bar", "kPa", "hPa") })
	add(always, "b", "b", "bell: sound on or off", func(m *lesson) { m.bell = !m.bell })
	add(always, "?|h", "?", "help: this list", func(m *lesson) { m.help, m.table = !m.help, false })
	lessonActions = append(lessonActions, lessonAction{
		key.NewBinding(key.WithKeys("q", "esc", "ctrl+c"), key.WithHelp("q", "quit: leave the lesson, after asking")), always, (*lesson).leave})
}

// nextOf is the unit after u in the list, the first when u is not in it.
func nextOf(u decay.PressureUnit, names ...string) decay.PressureUnit {
	next := names[0]
	for i, n := range names {
		if n == u.Name {
			next = names[(i+1)%len(names)]
		}
	}
	if v, err := decay.ParsePressureUnit(next); err == nil {
		return v
	}
	return u
}

// here are the actions that this kind of rig has.
func (m *lesson) here() []lessonAction {
	var out []lessonAction
	for _, a := range lessonActions {
		if a.at == always || (a.at == onReal) == m.real() {
			out = append(out, a)
		}
	}
	return out
}

// press takes a key: first whoever waits for one, then the table. Keys that
// came in one read are one message and are taken one by one.
func (m *lesson) press(k tea.KeyMsg) tea.Cmd {
	if cmd, ok := apart(k, m.press); ok {
		return cmd
	}
	switch {
	case k.Type == tea.KeyCtrlC && m.ask != nil:
		return tea.Quit // asked twice: leave
	case m.ask != nil:
		return m.answer(k)
	case m.entry != nil && k.Type != tea.KeyCtrlC:
		m.typed(k)
		return nil
	}
	m.notice = ""
	if k.Type == tea.KeyEsc && (m.help || m.table) {
		m.help, m.table = false, false
		return nil
	}
	if r := k.Runes; len(r) == 1 && r[0] >= '1' && r[0] < '1'+maxTraces && !k.Alt {
		m.size(int(r[0] - '1'))
		return nil
	}
	for _, a := range m.here() {
		if key.Matches(k, a.Binding) {
			return a.do(m)
		}
	}
	return nil
}

// answer takes the y or n to a question; every other key changes nothing.
func (m *lesson) answer(k tea.KeyMsg) tea.Cmd {
	switch strings.ToLower(k.String()) {
	case "y":
		q := m.ask
		m.ask = nil
		return q.yes(m)
	case "n", "esc":
		m.ask = nil
	default:
		m.ask.unread = true
	}
	return nil
}

// typed edits the line being typed.
func (m *lesson) typed(k tea.KeyMsg) {
	e := m.entry
	switch k.Type {
	case tea.KeyEnter:
		m.enter()
	case tea.KeyEsc:
		m.stopTyping()
	case tea.KeyTab:
		if !m.real() {
			m.speed = (m.speed + 1) % len(speeds)
		}
	default:
		e.press(k)
	}
}

// stopTyping leaves the line; a guessing round with guesses is not thrown away
// unasked.
func (m *lesson) stopTyping() {
	if m.entry.what == entryJet {
		m.entry = nil
		return
	}
	if m.entry.what == entryTruth {
		m.entry = &typing{what: entryGuess}
		return
	}
	end := func(m *lesson) tea.Cmd {
		m.entry = nil
		if t := m.round.tr; t != nil {
			t.hidden = false
		}
		m.round = nil
		return nil
	}
	if len(m.round.guesses) == 0 {
		end(m)
		return
	}
	m.ask = &question{text: "End the round without a reveal? Its " + count(len(m.round.guesses), "guess", "guesses") + " will be lost.", yes: end}
}

// takeAway takes the latest trace out of the picture, after asking.
func (m *lesson) takeAway() {
	n := len(m.traces)
	if n == 0 {
		m.notice = "there is no trace to take away"
		return
	}
	m.ask = &question{text: "Take away " + labels(m.traces)[n-1] + "?", yes: func(m *lesson) tea.Cmd {
		t := m.traces[n-1]
		m.traces = m.traces[:n-1]
		if m.run != nil && m.run.tr == t {
			m.run, m.cur = nil, nil
		}
		if m.round != nil && m.round.tr == t {
			m.round = nil
		}
		return nil
	}}
}

// leave asks when there is something to lose.
func (m *lesson) leave() tea.Cmd {
	if len(m.traces) == 0 && m.round == nil {
		return tea.Quit
	}
	text := "Leave the lesson? Its " + count(len(m.traces), "trace", "traces") + " will be lost; they are simulated."
	if m.real() {
		text = "Leave the lesson? The picture goes; the readings are kept in the book."
	}
	m.ask = &question{text: text, yes: func(*lesson) tea.Cmd { return tea.Quit }}
	return nil
}

func count(n int, one, many string) string {
	if n == 1 {
		return "1 " + one
	}
	return strconv.Itoa(n) + " " + many
}

// foot is the line of keys at the foot of the screen, with what they are set
// to at present.
func (m *lesson) foot() string {
	switch {
	case m.ask != nil:
		if m.ask.unread {
			return "answer the question first: y yes  n no"
		}
		return "y yes  n no"
	case m.entry != nil:
		return m.entryFoot()
	}
	var out []string
	for _, a := range m.here() {
		h := a.Help()
		word, _, _ := strings.Cut(h.Desc, ":")
		switch h.Key {
		case "b":
			word += map[bool]string{true: " on", false: " off"}[m.bell]
		case "n":
			word += map[bool]string{true: " change", false: " start"}[m.within]
		case "s":
			word += " " + speedWord(m.speed)
		case "space":
			if m.paused {
				word = "go on"
			}
		}
		out = append(out, h.Key+" "+word)
	}
	return strings.Join(out, "  ")
}

func (m *lesson) entryFoot() string {
	switch m.entry.what {
	case entryJet:
		return "Enter names the trace  Esc back"
	case entryTruth:
		return "Enter reveals  Enter alone: not given  Esc back"
	}
	out := "Enter takes a guess  Enter alone reveals  Esc ends the round"
	if !m.real() {
		out += "  Tab speed " + speedWord(m.speed)
	}
	return out
}

// numbers are the keys of the sizes.
func (m *lesson) numbers() string { return "1-" + strconv.Itoa(len(m.o.Sizes)) }

// helpWords are the keys in short, for a small screen.
func (m *lesson) helpWords() []string {
	first := " new trace"
	if m.real() {
		first = " name of the jet"
	}
	out := []string{m.numbers() + first}
	for _, a := range m.here() {
		word, _, _ := strings.Cut(a.Help().Desc, ":")
		out = append(out, a.Help().Key+" "+word)
	}
	return out
}

// helpLines lists the keys.
func (m *lesson) helpLines() []fact {
	out := []fact{{"keys", strong}}
	sizes := "hole: a new trace with the hole of that number"
	if m.real() {
		sizes = "jet: name the latest trace with the size of that number"
	}
	out = append(out, fact{m.numbers() + "   " + sizes, plain})
	for _, a := range m.here() {
		h := a.Help()
		k := h.Key
		for len(k) < 5 {
			k += " "
		}
		out = append(out, fact{k + " " + h.Desc, plain})
	}
	out = append(out, fact{"", plain})
	if m.real() {
		for i, c := range cautions {
			st := plain
			if i == 0 {
				st = strong
			}
			out = append(out, fact{c, st})
		}
		return out
	}
	return append(out, fact{"Everything here is simulated: no pressure, no duct. Each trace starts with", plain},
		fact{"a duct at ambient; it is filled, isolated and watched by itself.", plain})
}

func speedWord(i int) string { return "×" + strconv.Itoa(speeds[i]) }
