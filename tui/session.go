package tui

import (
	"fmt"
	"strings"
	"time"

	tea "github.com/charmbracelet/bubbletea"

	"ebbline/decay"
	"ebbline/decay/report"
	"ebbline/tui/chart"
)

// Past is an earlier test, to compare with.
type Past struct {
	Title     string
	Setup     decay.Setup
	Simulated bool
	Result    decay.Result
	Samples   []decay.Sample
}

// past is an earlier test as the screen keeps it.
type past struct {
	title  string
	set    decay.Setup
	sim    bool // simulated
	result decay.Result
	trace  *chart.Columns
	start  float64 // s, the fill's start or, without one, the trace's
	hold   float64 // s, of isolation; 0 without a hold
}

// newPast makes the picture of an earlier test from its readings.
func newPast(p Past) *past {
	out := &past{title: p.Title, set: p.Setup, sim: p.Simulated, result: p.Result, trace: chart.NewColumns(2400, 0.025), hold: p.Result.Hold.Start.Seconds()}
	ambient := p.Setup.NominalAmbient()
	if p.Result.Ambient > 0 {
		ambient = p.Result.Ambient
	}
	for i, s := range p.Samples {
		if i == 0 {
			out.trace.DropBefore(max(0, s.At.Seconds()))
			out.start = s.At.Seconds()
		}
		out.trace.Add(s.At.Seconds(), float64(s.P.Gauge(ambient)-p.Result.Zero))
	}
	return out
}

// words name a test with its answer.
func (p *past) words() string {
	w := strings.TrimSpace(p.title)
	if w == "" {
		w = "the test before"
	}
	w += ": " + p.result.Outcome.String()
	if r := p.result; r.HasFit && r.HasVolume {
		w += ", " + mm(r.Hole.Value) + " mm"
	}
	return w
}

// split is the whole duct and its sections, as far as they were tested.
type split struct {
	whole    decay.Interval
	title    string
	sections []decay.Section
	live     bool   // the last line is of the test under way
	naming   *entry // the name of the next section, while it is typed
}

// endTest ends the test under way, files what it found, and returns it.
func (m *model) endTest() *past {
	m.finish()
	p := &past{title: m.s.title, set: m.set, sim: m.s.about.Simulated, result: m.result, trace: m.s.trace, start: m.s.origin(), hold: m.result.Hold.Start.Seconds()}
	p.result = m.s.found(p.result)
	r := p.result
	switch {
	case !r.HasFit || !r.HasVolume:
	case m.set.Of == decay.PartFittings:
		m.rigLeak = r.Area
	case m.section != "":
		m.s.split.add(m.section, r.Area)
	default:
		m.s.split = split{whole: r.Area, title: p.title}
	}
	m.section = ""
	return p
}

// add takes a section; one of the same name is replaced.
func (s *split) add(name string, area decay.Interval) {
	for i := range s.sections {
		if s.sections[i].Name == name {
			s.sections[i].Area = area
			return
		}
	}
	s.sections = append(s.sections, decay.Section{Name: name, Area: area})
}

// sure asks for the key again before a test under pressure is ended.
func (m *model) sure(key string) bool {
	switch {
	case m.gone:
		m.say("the readings have ended: no other test can begin; q leaves")
		return false
	case m.s.st.P < m.s.set.Ceiling/20 || m.over:
		return true
	case m.asked == key && m.now.Sub(m.askedAt) < 4*time.Second:
		m.asked = ""
		return true
	}
	m.asked, m.askedAt = key, m.now
	m.say("under pressure: let it out first, or press " + key + " again to end the test")
	return false
}

// nextTest ends this test and asks for the next.
func (m *model) nextTest() {
	if m.sure("n") {
		m.endTest()
		m.openCard(m.sameAgain())
	}
}

// sameAgain is the set-up of the test that ended, for the card of the next. A
// part that was not stated had the limit of a duct without its engine.
func (m *model) sameAgain() decay.Setup {
	set := m.set
	set.RigLeak = decay.Interval{}
	if set.Of == decay.PartUnstated {
		set.Of = decay.PartManifold
	}
	return set
}

// retest ends this test and asks for the same again, after a repair.
func (m *model) retest() {
	if m.sure("t") {
		section := m.section
		m.before = m.endTest()
		m.nextSection = section
		m.openCard(m.sameAgain())
		m.s.card.retest, m.s.card.at = m.before.words(), cardStart
	}
}

// startSplit takes a key of the split: a asks for the name of a section.
func (m *model) pressSplit(k tea.KeyMsg) (tea.Cmd, bool) {
	e := m.s.split.naming
	if e == nil {
		if k.String() == "a" && m.s.view == viewSplit {
			if m.sure("a") {
				m.s.split.naming = &entry{}
			}
			return nil, true
		}
		return nil, false
	}
	switch k.Type {
	case tea.KeyEnter:
		name := strings.TrimSpace(e.text)
		if name == "" {
			name = fmt.Sprintf("section %d", len(m.s.split.sections)+1)
		}
		m.s.split.naming = nil
		m.endTest()
		set := m.set
		set.Of, set.Limit, set.Volume, set.VolumeTolerance = decay.PartBranch, 0, 0, 0
		title := m.s.split.title
		if title == "" {
			title = m.s.title
		}
		m.openCard(set)
		c := m.s.card
		c.title.text, c.at = strings.TrimSpace(title+": "+name), cardVolume
		m.nextSection = name
	case tea.KeyEsc:
		m.s.split.naming = nil
	case tea.KeyCtrlC:
		return m.quit(), true
	default:
		e.press(k)
	}
	return nil, true
}

// found is what the test found: r, or what was known in the hold when a verdict
// was reached that the whole of the test, its release included, blurs again.
func (s *scene) found(r decay.Result) decay.Result {
	blurred := r.Outcome == decay.Undecided && s.clean.Outcome != decay.Undecided
	if s.clean.HasFit && (blurred || !r.HasFit) {
		return s.clean
	}
	return r
}

// present is the split with the test under way in it.
func (s *scene) present(section string) split {
	out := s.split
	out.sections = append([]decay.Section(nil), out.sections...)
	r := s.found(s.st.Result)
	if !r.HasFit || !r.HasVolume || s.set.Of == decay.PartFittings {
		return out
	}
	if section == "" {
		if out.whole == (decay.Interval{}) {
			out.whole, out.live = r.Area, true
		}
		return out
	}
	out.add(section, r.Area)
	out.live = true
	return out
}

// repair is what this test says of the repair since the one before; "" when
// nothing is compared or known.
func (s *scene) repair() string {
	if s.before == nil {
		return ""
	}
	r := s.found(s.st.Result)
	r.Outcome = s.outcome()
	c, ok := decay.Compare(s.before.result, r)
	if !ok {
		return "compared with " + s.before.words()
	}
	if why := report.NotSame(s.before.set, s.set, s.before.sim, s.about.Simulated); why != "" {
		return why
	}
	return report.Repair(c, s.set.Cd)
}

// drawSplit draws the table of the split.
func (s *scene) drawSplit(g *grid) {
	left := 2
	if g.w < fullW {
		left = 0
	}
	right := g.w - left
	y := 2
	if g.w >= fullW {
		y += s.drawTop(g, left)
	} else {
		y = 0
		if s.about.Simulated {
			g.text(0, 0, simulated+strings.Repeat(" ", max(0, g.w-width(simulated))), banner)
			y++
		}
	}
	p := s.present(s.section)
	table := decay.NewSplit(p.whole, p.sections)
	pressure := s.digits() + " " + s.unit.Name + " gauge, " + s.phase()
	x := g.text(left, y, "Split: where is the leak?", strong, right)
	if g.w >= fullW {
		g.text(max(x+2, right-g.width(pressure)), y, pressure, s.pressureStyle(), right)
	} else {
		y++
		g.text(left, y, pressure, s.pressureStyle(), right)
		y--
	}
	y += 2
	if g.w >= fullW {
		g.text(left, y, "section", dim)
		g.text(left+26, y, "leak, 95 %", dim)
		g.text(left+56, y, "like a hole of", dim, right)
		y++
	}
	lines := report.SplitLines(table, s.set.Cd)
	advice := wrap(report.SplitAdvice(table), right-left)
	bottom := g.h - 1 - max(2, len(advice))
	last := bottom - 1
	for i, l := range lines {
		rows := 1
		if g.w >= fullW {
			rows = 2
		}
		if y+rows > last && (i < len(lines)-1 || y+rows > last+1) {
			g.text(left, min(y, last), "… more on a taller screen", dim, right)
			break
		}
		st := plain
		if i == 0 {
			st = strong
		}
		if i > 0 && i-1 < len(table.Rows) {
			if table.Next == decay.SplitInto && table.NextRow == i-1 {
				st = warn
			}
			if p.live && i == len(lines)-2 || p.live && len(table.Rows) == 0 {
				l.Name += " (now)"
			}
		}
		if g.w < fullW {
			g.text(left, y, l.Name, st, right-20)
			g.right(right, y, l.Share, st)
			y++
			continue
		}
		g.text(left, y, l.Name, st, left+25)
		g.text(left+26, y, l.Area, st, left+55)
		g.text(left+56, y, l.Hole, st, left+66)
		y++
		s.drawShare(g, left, y, right, table, i-1, l.Share)
		y++
	}
	if e := s.split.naming; e != nil {
		x := g.text(left, g.h-3, "Name of the section: ", strong, right)
		e.draw(g, x, g.h-3, right)
		g.text(left, g.h-2, "Enter ends the test under way and goes on, Esc goes back", dim, right)
	} else {
		for i, l := range advice {
			g.text(left, bottom+i, l, strong, right)
		}
	}
	g.text(left, g.h-1, foot([]hint{{"a", "test a section", "", true}, {"s", "back", "", true}, {"?", "help", "", true}, {"q", "quit", "", true}}, right-left), dim, right)
}

// drawShare draws a section's share of the whole as a bar with its interval.
func (s *scene) drawShare(g *grid, left, y, right int, t decay.Split, row int, words string) {
	share := t.RestShare
	switch {
	case row < 0:
		return
	case row < len(t.Rows):
		share = t.Rows[row].Share
	}
	const from = 26
	n := min(right-left-from-26, 60)
	if n < 10 || !(share.Value > 0) {
		g.text(left+from, y, words, dim, right)
		return
	}
	at := func(v float64) int { return int(min(max(v, 0), 1)*float64(n) + 0.5) }
	for i := range n {
		r := '·'
		if i < at(share.Value) {
			r = '█'
		} else if i < at(share.High) {
			r = '━'
		}
		st := dim
		if r == '█' && i < at(share.Low) {
			st = strong
		}
		g.set(left+from+i, y, r, st)
	}
	g.text(left+from+n+2, y, words, plain, right)
}
