package tui

import (
	"math"
	"slices"
	"strconv"
	"strings"
	"time"

	"github.com/charmbracelet/bubbles/key"
	tea "github.com/charmbracelet/bubbletea"

	"ebbline/decay"
	"ebbline/decay/report"
)

// Texts are the lines of the start card as they were typed. An empty volume is
// not known, an empty limit is the default of the part, and an empty ceiling
// stays what it was.
type Texts struct {
	Title, Volume, Ceiling, Limit string
	Of                            decay.Part
}

// Start is a test about to begin.
type Start struct {
	Title  string
	Setup  decay.Setup
	Retest bool // the same duct as before, after a repair
}

// The lines of the card, from top to bottom.
const (
	cardTitle = iota
	cardOf
	cardVolume
	cardCeiling
	cardLimit
	cardStart
	cardLines
)

// card is what is asked before a test.
type card struct {
	at                     int // the line the keys work on
	title, volume          entry
	ceiling, limit         entry
	of                     decay.Part
	ceilingWas             string         // the ceiling as it was offered
	ceilingFrom, limitFrom string         // where the text came from
	acknowledged           bool           // the cautions were, earlier in this session
	fault                  string         // why the test cannot begin like this
	retest                 string         // the test this one is compared with
	rig                    decay.Interval // effective area of the fittings' leak, m²; zero: not checked
	cd                     float64
}

// usualPart is what is under test when nobody said: its limit is that of a test
// whose part is not stated, so that one command has one limit in every form.
const usualPart = decay.PartManifold

// limitHint says that the part decides the limit, unless one was typed, and what
// to know of the part.
func limitHint(p decay.Part, limit string) string {
	if strings.TrimSpace(limit) == "" {
		return "This decides the limit: a hole of " + report.Millimetres(float64(p.DefaultLimit())) + ". " + report.PartHint(p)
	}
	return report.PartHint(p)
}

// newCard fills a card from what is known.
func newCard(title string, set decay.Setup, u decay.PressureUnit) card {
	c := card{of: set.Of}
	if c.of == decay.PartUnstated {
		c.of = usualPart
	}
	c.title.text, c.title.whole = title, true
	if set.Volume > 0 {
		c.volume.text = typed(float64(set.Volume)/decay.Litre) + "L"
		if set.VolumeTolerance > 0 {
			c.volume.text += "±" + typed(100*set.VolumeTolerance) + "%"
		}
	}
	d := set.WithDefaults()
	c.ceilingWas = d.Ceiling.Number(u) + u.Name
	c.ceiling.text = c.ceilingWas
	c.ceilingFrom, c.limitFrom = "default: common practice", ""
	if set.Ceiling != 0 {
		c.ceilingFrom = "as stated"
	}
	if set.Limit != 0 {
		c.limit.text, c.limitFrom = typed(float64(set.Limit)/decay.Millimetre)+"mm", "as stated"
	}
	return c
}

// texts are the lines as typed.
func (c *card) texts() Texts {
	trim := strings.TrimSpace
	t := Texts{trim(c.title.text), trim(c.volume.text), trim(c.ceiling.text), trim(c.limit.text), c.of}
	if t.Ceiling == c.ceilingWas {
		t.Ceiling = "" // as it was, without the rounding of its text
	}
	return t
}

// typed prints a number as a person would type it.
func typed(v float64) string { return strconv.FormatFloat(v, 'g', 6, 64) }

// line is the text being typed, nil where there is none.
func (c *card) line() *entry {
	switch c.at {
	case cardTitle:
		return &c.title
	case cardVolume:
		return &c.volume
	case cardCeiling:
		return &c.ceiling
	case cardLimit:
		return &c.limit
	}
	return nil
}

// fittings says what is known of the fittings' leak, and whether it leaves
// enough of the limit; "" when they were not checked.
func (c *card) fittings() (string, style) {
	if c.rig == (decay.Interval{}) {
		return "", plain
	}
	if math.IsInf(c.rig.Value, 0) {
		return "they leak more than can be measured: too much for this limit", warn
	}
	like := "they leak like a hole of " + mm(float64(decay.EquivalentHole(decay.Area(c.rig.Value), c.cd))) + " mm"
	limit := c.of.DefaultLimit()
	if l, err := decay.ParseLength(strings.TrimSpace(c.limit.text)); err == nil {
		limit = l
	}
	switch {
	case c.of == decay.PartFittings:
		return like + "; this test replaces it", plain
	case !decay.RigFits(c.rig, limit, c.cd):
		return like + ": too much for this limit", warn
	}
	return like + ", which is subtracted", plain
}

// turn goes to another part.
func (c *card) turn(by int) {
	if c.at != cardOf {
		return
	}
	c.of = otherPart(c.of, by)
}

// otherPart is the part that stands by places after p.
func otherPart(p decay.Part, by int) decay.Part {
	n := len(decay.Parts)
	return decay.Parts[(slices.Index(decay.Parts, p)+by+n)%n]
}

// cardActions is the table of keys of the card.
var cardActions []action

func init() {
	move := func(by int) func(*model) tea.Cmd {
		return func(m *model) tea.Cmd {
			c := m.s.card
			c.goTo((c.at + by + cardLines) % cardLines)
			return nil
		}
	}
	turn := func(by int) func(*model) tea.Cmd {
		return func(m *model) tea.Cmd { m.s.card.turn(by); return nil }
	}
	bind := func(show, help string, do func(*model) tea.Cmd, keys ...string) action {
		return action{Binding: key.NewBinding(key.WithKeys(keys...), key.WithHelp(show, help)), do: do}
	}
	cardActions = []action{
		bind("Enter", "next: the next line; on the last one start", func(m *model) tea.Cmd {
			if m.s.card.at == cardStart {
				m.begin()
				return nil
			}
			if m.checkLine(m.s.card.at) {
				return move(1)(m)
			}
			return nil
		}, "enter"),
		bind("↑ ↓", "line: go to another line", nil),
		{Binding: key.NewBinding(key.WithKeys("up", "shift+tab")), do: move(-1)},
		{Binding: key.NewBinding(key.WithKeys("down", "tab")), do: move(1)},
		bind("← →", "choose: what is under test", nil),
		{Binding: key.NewBinding(key.WithKeys("left")), do: turn(-1)},
		{Binding: key.NewBinding(key.WithKeys("right")), do: turn(1)},
		bind("Ctrl+U", "clear: empty the line", func(m *model) tea.Cmd {
			if e := m.s.card.line(); e != nil {
				*e = entry{}
			}
			return nil
		}, "ctrl+u"),
		bind("Esc", "leave: every test so far is kept", func(m *model) tea.Cmd { return m.quit() }, "esc", "ctrl+c"),
	}
}

// pressCard runs a key on the card.
func (m *model) pressCard(k tea.KeyMsg) tea.Cmd {
	m.s.notice = ""
	for _, a := range cardActions {
		if a.do != nil && key.Matches(k, a.Binding) {
			return a.do(m)
		}
	}
	c := m.s.card
	if c.at == cardOf && k.Type == tea.KeySpace {
		c.turn(1)
	} else if e := c.line(); e != nil && e.press(k) {
		c.fault = ""
		if c.at == cardCeiling {
			c.ceilingFrom = "typed"
		} else if c.at == cardLimit {
			c.limitFrom = "typed"
		}
	}
	return nil
}

// goTo goes to a line, whose text the first letter typed there replaces.
func (c *card) goTo(line int) {
	c.at, c.fault = line, ""
	if e := c.line(); e != nil {
		e.whole = true
	}
}

// checkLine reports whether what stands on a line can be taken, and says there
// what is wrong with it.
func (m *model) checkLine(line int) bool {
	c := m.s.card
	t, one := c.texts(), Texts{Of: c.of}
	switch line {
	case cardVolume:
		one.Volume = t.Volume
	case cardCeiling:
		one.Ceiling = t.Ceiling
	case cardLimit:
		one.Limit = t.Limit
	}
	if m.o.Apply == nil || one.Volume+one.Ceiling+one.Limit == "" {
		return true
	}
	_, err := m.o.Apply(one)
	if err == nil {
		return true
	}
	if c.at != line {
		c.goTo(line)
	}
	c.fault = err.Error()
	return false
}

// begin starts the test that the card describes.
func (m *model) begin() {
	c := m.s.card
	for line := range cardStart {
		if !m.checkLine(line) {
			return
		}
	}
	t := c.texts()
	set, err := m.o.Setup, error(nil)
	if m.o.Apply != nil {
		set, err = m.o.Apply(t)
	}
	if err != nil {
		c.fault = err.Error()
		return
	}
	set.RigLeak = m.rigLeak
	if set.Of == decay.PartFittings {
		set.RigLeak = decay.Interval{}
	}
	if m.o.Begin != nil {
		if err := m.o.Begin(Start{Title: t.Title, Setup: set, Retest: c.retest != ""}); err != nil {
			c.fault = err.Error()
			return
		}
	}
	retest := c.retest != ""
	m.s.title, m.s.card, m.acknowledged = t.Title, nil, true
	m.startTest(set)
	if retest {
		m.s.before = m.before
	}
}

// zeroWords says what the sensor shows before a test, and whether that is
// zero.
func (s *scene) zeroWords() (string, style) {
	switch {
	case s.st.Lost:
		return "no reading: check the sensor and its cable", warn
	case !s.st.Seen:
		return "waiting for the first reading", dim
	}
	p := s.digits() + " " + s.unit.Name + " gauge now: "
	switch {
	case math.Abs(float64(s.st.P)) < 2*decay.Kilopascal:
		return p + "a good zero", plain
	case s.st.P < 0:
		return p + "below zero: check the sensor", warn
	}
	return p + "NOT zero: first let the air out", warn
}

// drawCard draws the start card.
func (s *scene) drawCard(g *grid) {
	c := s.card
	if g.w < fullW || g.h < fullH {
		s.drawCardSmall(g)
		return
	}
	const left, field = 2, 18
	right := g.w - 2
	y := 3 + s.drawTop(g, left)
	g.text(left, y, "Before the test", strong)
	g.right(right, y, "Enter goes on, and starts on the last line", dim)
	y += 2
	gap := 1
	if g.h >= 34 {
		gap = 2
	}
	for i := range cardStart {
		s.drawCardLine(g, i, left, left+field, y, right)
		y++
		if i == c.at && c.fault != "" {
			for _, l := range wrap("! "+c.fault, right-left-field) {
				g.text(left+field, y, l, warn, right)
				y++
			}
		} else if i == cardVolume && c.at == i && c.volume.text == "" {
			g.text(left+field, y, volumeExample, dim, right)
			y++
		}
		if i == cardOf {
			for j, l := range wrap(limitHint(c.of, c.limit.text), right-left-field) {
				if j < 2 {
					g.text(left+field, y, l, dim, right)
					y++
				}
			}
		}
		y += gap - 1
	}
	rows := len(cautions) + 1 // to come: sensor, cautions, start
	for _, there := range []bool{c.retest != "", c.rig != (decay.Interval{})} {
		if there {
			rows++
		}
	}
	if y+rows < g.h-3 {
		y += 2 - gap
	}
	words, st := s.zeroWords()
	g.text(left, y, "Sensor", dim)
	g.text(left+field, y, words, st, right)
	y++
	if c.retest != "" {
		g.text(left, y, "Compared with", dim)
		g.text(left+field, y, c.retest, plain, right)
		y++
	}
	if words, st := c.fittings(); words != "" {
		g.text(left, y, "Fittings", dim)
		g.text(left+field, y, words, st, right)
		y++
	}
	if y+len(cautions) < g.h-4 {
		y++
	}
	for _, l := range cautions[1:] {
		if y < g.h-4 {
			k := plain
			if c.acknowledged {
				k = dim
			}
			g.text(left, y, "! "+l, k, right)
			y++
		}
	}
	if y < g.h-3 {
		y++
	}
	s.drawCardStart(g, left, y, right)
	if c.fault != "" && c.at == cardStart {
		lines := wrap("! "+c.fault, right-left)
		for i, l := range lines {
			g.clear(0, g.h-1-len(lines)+i, g.w)
			g.text(left, g.h-1-len(lines)+i, pad(l, right-left), warn, right)
		}
	}
	g.text(left, g.h-1, foot(cardHints(), g.w-left-1), dim, g.w-1)
}

// drawCardStart draws the last line, which begins the test.
func (s *scene) drawCardStart(g *grid, x, y, right int) {
	words := "I know these cautions: start the test"
	if g.w < 50 {
		words = "I know these: start the test"
	}
	if s.card.acknowledged {
		words = "Start the test"
	}
	if s.card.at == cardStart {
		g.text(x, y, " ▶ "+words+" ", chosen, right)
	} else {
		g.text(x, y, "   "+words, plain, right)
	}
}

// cardNames are the names of the lines.
var cardNames = [...]string{"Job", "Under test", "Volume", "Ceiling", "Limit"}

// volumeExample shows how a volume is typed.
const volumeExample = "10L±3%, or bores and lengths: 51x600mm 63x900mm +1.2L"

// drawCardLine draws one line of the card: its name, its text or choice, and
// where that comes from.
func (s *scene) drawCardLine(g *grid, i, x, x1, y, right int) {
	c := s.card
	on := c.at == i
	st := dim
	if on {
		st = strong
		g.text(x-2, y, "▶", strong)
	}
	if x1 > x {
		g.text(x, y, cardNames[i], st)
	}
	if i == cardOf {
		words := report.PartWords(c.of)
		if arrows := "◀ " + words + " ▶"; on && g.width(arrows) <= right-x1 {
			words = arrows
		}
		g.text(x1, y, words, strong, right)
		return
	}
	at := *c
	at.at = i
	e := at.line()
	empty, from := "", ""
	switch i {
	case cardTitle:
		empty = "no name: the record goes by its time"
	case cardVolume:
		empty = "not known: a rate, and a comparison, but no hole size"
		from = volumeExample
	case cardCeiling:
		empty, from = "30 psi gauge", "gauge; "+c.ceilingFrom
	case cardLimit:
		empty = report.Millimetres(float64(c.of.DefaultLimit())) + ", by what is under test"
		from = "hole; " + c.limitFrom
	}
	end := x1
	switch {
	case on:
		e.draw(g, x1, y, right)
		end = x1 + g.width(e.text) + 1
		if e.text == "" {
			end = g.text(x1+2, y, clause(empty, right-x1-2), dim, right)
		}
	case e.text == "":
		g.text(x1, y, empty, plain, right)
		return
	default:
		end = g.text(x1, y, e.text, strong, right)
	}
	if from != "" && e.text != "" && (i != cardVolume || on) {
		at := max(end+2, x1+12)
		g.text(at, y, clause(from, right-at), dim, right)
	}
}

// drawCardSmall shows the line at hand alone, with the pressure.
func (s *scene) drawCardSmall(g *grid) {
	c := s.card
	y := 0
	if s.about.Simulated {
		g.text(0, 0, simulated+strings.Repeat(" ", max(0, g.w-width(simulated))), banner)
		y++
	}
	words, st := s.zeroWords()
	for _, l := range wrap(words, g.w) {
		if y < g.h-4 {
			g.text(0, y, l, st)
			y++
		}
	}
	if g.h-y > 6 && c.at != cardStart {
		y++
	}
	if c.at == cardStart {
		lines := cautions[1:]
		var all []string
		for _, l := range lines {
			all = append(all, wrap("! "+l, g.w)...)
		}
		n := min(len(all), g.h-y-2)
		for i := range max(0, n) {
			g.text(0, y+i, all[i], plain)
		}
		s.drawCardStart(g, 0, g.h-2, g.w)
	} else {
		g.text(2, y, cardNames[c.at], strong)
		y++
		s.drawCardLine(g, c.at, 2, 2, y, g.w)
		hint := ""
		switch {
		case c.at == cardOf:
			hint = limitHint(c.of, c.limit.text)
		case c.at == cardVolume && c.volume.text == "":
			hint = volumeExample
		}
		for i, l := range wrap(hint, g.w-2) {
			if y+1+i < g.h-1 {
				g.text(2, y+1+i, l, dim)
			}
		}
	}
	if c.fault != "" {
		for i, l := range wrap("! "+c.fault, g.w) {
			if y+2+i < g.h-1 {
				g.clear(0, y+2+i, g.w)
				g.text(0, y+2+i, l+strings.Repeat(" ", max(0, g.w-width(l))), warn)
			}
		}
	}
	g.text(0, g.h-1, foot(cardHints(), g.w), dim)
}

func cardHints() []hint {
	var out []hint
	for _, a := range cardActions {
		if h := a.Help(); h.Key != "" {
			word, _, _ := strings.Cut(h.Desc, ":")
			out = append(out, hint{h.Key, word, h.Desc, h.Key == "Enter" || h.Key == "Esc"})
		}
	}
	return out
}

// early is how much of the time before a test belongs to it: its zero is read
// there.
const early = 30 * time.Second
