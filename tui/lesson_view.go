package tui

import (
	"math"
	"strings"

	"ebbline/decay"
	"ebbline/decay/report"
	"ebbline/sensor"
	"ebbline/tui/chart"
)

// draw makes a frame of exactly w×h cells.
func (m *lesson) draw(w, h int) *grid {
	g := newGrid(w, h)
	g.ascii = m.o.Look.ASCII
	s := m.scene()
	switch {
	case w <= 0 || h <= 0:
	case s.st.OverCeiling:
		s.drawAlarm(g)
	case w >= fullW && h >= fullH:
		m.drawFull(g, &s)
	case w >= smallW && h >= smallH:
		m.drawSmall(g, &s)
	default:
		m.drawTiny(g, &s)
	}
	return g
}

// scene is what the lesson shares with the technician's screen: digits, alarm
// and cautions.
func (m *lesson) scene() scene {
	s := scene{set: m.set, unit: m.unit, title: m.o.Title, st: m.state(), ascii: m.o.Look.ASCII}
	s.about = sensor.About{Name: "simulated rig", Simulated: true}
	if m.real() {
		s.about = m.o.Source.About()
	}
	if s.title == "" {
		s.title = "lesson"
		if m.real() {
			s.title += ", reading " + s.about.Name
		}
	}
	return s
}

// sizeWord is the latest trace's size as a big word with its unit, and what
// kind of leak it is.
func (m *lesson) sizeWord() (big, unit, kind string) {
	t := m.latest()
	switch {
	case t == nil:
		return "", "", ""
	case t.hidden:
		big, unit = "?", "mm"
	case !t.sim && math.IsNaN(t.iso):
		return "", "", ""
	case !t.named:
		return "", "", "jet not named"
	case t.size == 0:
		return "TIGHT", "", "no hole"
	default:
		big, unit = strings.TrimSuffix(mm(float64(t.size)), "0"), "mm"
	}
	if t.sim {
		kind = t.settings()[0]
		if t.duct.Seep {
			kind = "seep like this"
		}
	} else {
		kind = "jet"
	}
	return big, unit, kind
}

// stand is the phase of the latest trace, with its time.
func (m *lesson) stand() string {
	st := m.state()
	var phase decay.Phase
	var since float64
	switch {
	case m.real():
		if st.Lost {
			return "NO READING"
		}
		if phase, since = st.Phase, (st.Now - st.PhaseSince).Seconds(); phase == decay.PhaseReady {
			return "READY"
		}
	case m.run == nil:
		return ""
	default:
		phase, since = m.run.stage, (m.run.now - m.run.since).Seconds()
		if phase == decay.PhaseHold && m.run.warm() > warmAir {
			phase = decay.PhaseSettle
		}
	}
	if phase == decay.PhaseOver {
		return "COMPLETE"
	}
	return strings.ToUpper(phase.String()) + " " + clock(since)
}

// looking is the plain sentence for what is on the screen.
func (m *lesson) looking() string {
	switch {
	case m.round != nil && m.round.revealed:
		return m.round.verdict()
	case m.real():
		return realLook(m.state(), m.set, m.unit)
	case m.run == nil:
		return "Press a number: a duct with that hole is filled, isolated and watched. Up to six traces lie over one another."
	}
	return m.facts().look()
}

func (m *lesson) facts() lookFacts {
	r := m.run
	f := lookFacts{
		duct: r.tr.duct, slow: r.tr.slow, changed: len(r.tr.was) > 0, stage: r.stage, p: r.rig.Pressure(), warm: r.warm(), unit: m.unit,
	}
	if in := r.now - r.since; !r.tr.hidden && r.stage == decay.PhaseHold && in >= slopeReadings*readEvery {
		f.seems = r.seeming()
	}
	return f
}

// aside is what altitude and volume do to the latest trace, as much of it as n
// cells hold; "" when both are ordinary. On real hardware it is what to do now,
// when a reveal has the place of that.
func (m *lesson) aside(n int) string {
	if m.real() && m.round != nil && m.round.revealed {
		return report.Advice(m.state(), m.set, m.unit)
	}
	if m.run == nil || m.round != nil && m.round.revealed {
		return ""
	}
	out := ""
	for _, s := range m.facts().asides(m.run.tr.high, m.o.Setup.Volume) {
		if next := strings.TrimSpace(out + " " + s); width(next) <= n {
			out = next
		}
	}
	return out
}

// next says with which settings the next trace is made.
func (m *lesson) next() string {
	if m.real() {
		return m.o.Source.About().Detail
	}
	words := settingWords(m.seep, m.slow, m.volume(), placeWord(m.high, m.o.ambientAt(m.high)))
	return "next trace: " + strings.Join(words[:], ", ") + "; time " + speedWord(m.speed)
}

// news is the line under the title: a question, a notice, or the settings.
func (m *lesson) news() fact {
	switch {
	case m.ask != nil:
		return fact{" " + m.ask.text + "  y / n ", banner}
	case m.state().Lost && m.real():
		return fact{"✖ SENSOR LOST: " + m.state().LostWhy, warn}
	case m.real() && m.trouble != "":
		return fact{"! " + m.trouble, warn}
	case m.notice != "":
		return fact{"! " + m.notice, strong}
	case m.paused:
		return fact{"STOPPED: simulated time stands still; space goes on", strong}
	}
	return fact{m.next(), plain}
}

// drawFull is the whole screen, from 64×20 up.
func (m *lesson) drawFull(g *grid, s *scene) {
	const left = 2
	right := g.w - 2
	roomy := g.h >= 28
	end := right
	if s.about.Simulated {
		b := " " + simulated + " "
		g.right(end, 0, b, banner)
		end -= width(b) + 2
	}
	g.text(left, 0, s.title, plain, end)
	n := m.news()
	rows := newsRows(n, g.w-1-left, 3)
	for i, l := range rows {
		g.text(left, 1+i, l, n.st, g.w-1)
	}

	dh := min(max(4, g.h/6), 11)
	gw := min(max(6, dh*6/5), 13)
	y := 1 + max(1, len(rows))
	if roomy {
		y++
	}
	foot := wrap2(m.foot(), right-left)
	bottom := g.h - len(foot)
	for i, l := range foot {
		g.text(left, bottom+i, l, dim, right)
	}
	if m.help {
		s.drawList(g, left, y, right, bottom, m.helpLines())
		return
	}
	m.drawHead(g, s, left, y, right, dh, gw)
	y += dh
	if roomy {
		y++
	}
	lines := wrap(m.looking(), right-left)
	for i, l := range lines { // more than two on a narrow screen, or of a reveal with many names
		g.text(left, y+i, l, strong)
	}
	y += max(2, len(lines))
	if a := m.aside(right - left); a != "" && len(lines) <= 2 {
		g.text(left, y, a, plain, right)
		y++
	}
	if roomy {
		y++
	}

	bottom = m.drawChoice(g, left, bottom-1, right)
	m.drawBody(g, s, left, y, right, bottom)
}

// drawHead writes the pressure, the size and the phase as large as they go.
func (m *lesson) drawHead(g *grid, s *scene, left, y, right, dh, gw int) {
	number := s.digits()
	big, unit, kind := m.sizeWord()
	need := func() int { return chart.BigWidth(number, gw) + 10 + chart.BigWidth(big, gw) + 20 }
	for gw > 4 && need() > right-left {
		gw--
	}
	g.big(left, y, chart.Big(number, gw, dh), s.pressureStyle())
	x := left + chart.BigWidth(number, gw) + 2
	g.text(x, y+dh-2, m.unit.Name, strong)
	g.text(x, y+dh-1, "gauge", plain)
	x += 9
	g.big(x, y, chart.Big(big, gw, dh), strong)
	if big != "" {
		x += chart.BigWidth(big, gw) + 2
	}
	facts := []fact{{m.stand(), strong}}
	if t := m.latest(); t != nil {
		if m.index(t) >= 0 {
			facts[0].text = strings.TrimSpace(t.letter() + "  " + facts[0].text)
		}
		if r := t.result; t.estimate() != "" && r.HasVolume && dh > 4 {
			facts = append(facts, fact{"estimate " + mm(r.Hole.Value) + " mm (" + mm(r.Hole.Low) + " to " + mm(r.Hole.High) + ")", plain})
		}
		for k, w := range t.settings() {
			if t.sim && k > 0 && dh > 4 {
				facts = append(facts, fact{w, dim})
			}
		}
	}
	for i := range min(len(facts), max(1, dh-3)) {
		g.text(x, y+i, clause(facts[i].text, right-x), facts[i].st, right)
	}
	g.text(x, y+dh-2, unit, strong, right)
	g.text(x, y+dh-1, kind, plain, right)
}

// index is where t stands in the picture, −1 when it does not.
func (m *lesson) index(t *lessonTrace) int {
	for i, x := range m.traces {
		if x == t {
			return i
		}
	}
	return -1
}

// drawChoice writes the line above the keys: the sizes to choose from, or what
// is being typed. It returns the row it starts on.
func (m *lesson) drawChoice(g *grid, left, y, right int) int {
	if m.entry != nil {
		prompt := map[entryKind]string{
			entryGuess: "How large is the hidden hole, in mm? ",
			entryJet:   "Size of the jet, in mm: ",
			entryTruth: "The true size of the hidden jet, in mm: ",
		}[m.entry.what]
		x := g.text(left, y, prompt, strong, right)
		m.entry.draw(g, x, y, right)
		if x += width(m.entry.text) + 3; m.entry.what == entryGuess && x < right {
			g.text(x, y, clause(m.taken(), right-x), plain, right)
		}
		return y
	}
	var words []string
	for i, d := range m.o.Sizes {
		words = append(words, string(rune('1'+i))+" "+strings.TrimSuffix(lessonSize(d), " mm"))
	}
	head := "hole  "
	if m.real() {
		head = "jet  "
	} else if m.within {
		head = "change to  "
	}
	x := g.text(left, y, head, dim, right)
	x = g.text(x, y, strings.Join(words, "   "), strong, right)
	g.text(x+1, y, "mm", strong, right)
	return y
}

// taken lists the guesses so far, the latest first.
func (m *lesson) taken() string {
	var words []string
	for _, q := range m.round.guesses {
		words = append([]string{q.who + " " + mm(float64(q.size))}, words...)
	}
	if len(words) == 0 {
		return ""
	}
	return count(len(words), "guess: ", "guesses: ") + strings.Join(words, ", ")
}

// drawBody is the picture, or the list that was asked for instead.
func (m *lesson) drawBody(g *grid, s *scene, left, y, right, bottom int) {
	if m.table {
		s.drawList(g, left, y, right, bottom, m.tableLines())
		return
	}
	if m.round != nil && m.round.revealed && bottom-y >= 11 {
		m.drawReveal(g, left, bottom-4, right)
		bottom -= 4
	}
	pic := right
	if g.w >= wideW {
		side := min(58, g.w*2/5)
		pic = right - side - 2
		s.drawList(g, pic+4, y, right, bottom, m.tableLines())
	}
	m.drawTraces(g, left, y, pic, bottom)
	if m.real() && len(m.traces) == 0 && s.st.Phase == decay.PhaseReady {
		s.drawCautions(g, left+5, y+2, pic, bottom-1)
	}
}

// drawReveal lays the guesses, the truth and the estimate with its interval on
// one ruler of hole sizes.
func (m *lesson) drawReveal(g *grid, left, y, right int) {
	x := left + 9
	r := chart.Ruler{Lo: ruleLo, Hi: ruleHi, W: right - x}
	if r.W < 20 {
		return
	}
	said := m.round.said
	point, low, high := math.NaN(), 0.0, 0.0
	if said.HasFit && said.HasVolume {
		point, low, high = said.Hole.Value/decay.Millimetre, said.Hole.Low/decay.Millimetre, said.Hole.High/decay.Millimetre
	}
	truth := math.NaN()
	if m.round.told {
		truth = float64(m.round.truth) / decay.Millimetre
	}
	look := func(c chart.Class) style {
		switch c {
		case chart.Axis, chart.Label:
			return dim
		}
		return strong
	}
	g.text(left, y, "guesses", dim)
	for _, q := range m.round.guesses {
		at, _ := r.At(float64(q.size) / decay.Millimetre)
		g.set(x+at, y, '×', strong)
	}
	if m.round.told {
		g.text(left, y+1, "it was", dim)
		g.glyphs(x, y+1, r.Limit(truth, lessonSize(m.round.truth)), look)
	}
	g.text(left, y+2, "program", dim)
	g.glyphs(x, y+2, r.Line(point, low, high, truth), look)
	g.glyphs(x, y+3, r.Labels("mm"), look)
}

// tableLines lists the traces with what the estimate makes of each, and the
// latest round.
func (m *lesson) tableLines() []fact {
	out := []fact{{"traces", strong}}
	if len(m.traces) == 0 {
		out = append(out, fact{"none yet", plain})
	}
	for _, t := range m.byLetter() {
		line := t.letter() + "  " + t.name()
		if t.sim {
			w := t.settings()
			words := w[:]
			if t.size == 0 && !t.hidden {
				words = w[1:] // a tight duct has no leak law
			}
			line += ": " + strings.Join(words, ", ")
		}
		out = append(out, fact{line, plain})
		_, p := t.cols.Last()
		now := "   " + decay.Gauge(p).Format(m.unit) + " after " + clock(t.seconds())
		switch said := t.estimate(); {
		case t.hidden:
			now += ", hidden"
		case said != "":
			now += ", estimate " + said
		case t.noEstimate() != "":
			now += ", " + t.noEstimate()
		}
		out = append(out, fact{now, dim})
	}
	if m.round != nil && len(m.round.guesses) > 0 {
		out = append(out, fact{"", plain}, fact{"guesses", strong})
		for _, q := range m.round.guesses {
			line := q.who + "  " + mm(float64(q.size)) + " mm"
			if m.round.revealed && m.round.told {
				line += ", off by " + mm(math.Abs(float64(q.size-m.round.truth)))
			}
			out = append(out, fact{line, plain})
		}
	}
	return out
}

// drawSmall is digits, size, phase and the sentence, for 40×12.
func (m *lesson) drawSmall(g *grid, s *scene) {
	y := 0
	if s.about.Simulated {
		b := simulated
		if width(b) > g.w {
			b = "SIMULATED"
		}
		g.text(0, 0, b+strings.Repeat(" ", max(0, g.w-width(b))), banner)
	} else {
		g.text(0, 0, s.title, dim)
	}
	y++
	switch {
	case m.help:
		words := m.helpWords()
		rows := (len(words) + 1) / 2
		for i, w := range words {
			g.text(i/rows*(g.w/2), y+i%rows, w, plain)
		}
		return
	case m.table:
		s.drawList(g, 0, y, g.w, g.h, m.tableLines())
		return
	}
	number, gw := s.digits(), 5
	for gw > 3 && chart.BigWidth(number, gw) > g.w-12 {
		gw--
	}
	dh := 4
	if g.h < 11 {
		dh = 3
	}
	g.big(0, y, chart.Big(number, gw, dh), s.pressureStyle())
	x := chart.BigWidth(number, gw) + 1
	big, unit, kind := m.sizeWord()
	g.text(x, y, strings.TrimSpace(big+" "+unit), strong)
	g.text(x, y+1, kind, plain)
	if dh < 4 {
		g.text(x, y+dh-1, m.unit.Name+" gauge", strong)
	} else {
		g.text(x, y+dh-2, m.unit.Name, strong)
		g.text(x, y+dh-1, "gauge", plain)
	}
	y += dh
	foot := "? keys  q quit"
	text := m.looking()
	line := fact{m.stand() + "  time " + speedWord(m.speed), strong}
	if m.real() {
		line.text = m.stand()
	}
	switch {
	case m.ask != nil:
		text, foot = m.ask.text, m.foot()
	case m.entry != nil:
		text = map[entryKind]string{entryGuess: "Guess, mm: ", entryJet: "Jet, mm: ", entryTruth: "True size, mm: "}[m.entry.what] + m.entry.text + "_"
		if m.entry.what == entryGuess {
			text += "  " + m.taken()
		}
		if m.notice != "" {
			line = fact{"! " + m.notice, strong}
		}
		foot = m.entryFoot()
	case m.real() && m.trouble != "":
		line = fact{"! " + m.trouble, warn}
	case m.notice != "":
		line = fact{"! " + m.notice, strong}
	}
	for _, l := range newsRows(line, g.w, 4) {
		g.text(0, y, l, line.st)
		y++
	}
	keys := wrap2(foot, g.w)
	if m.real() && m.ask == nil && m.entry == nil && s.st.Phase == decay.PhaseReady {
		keys = append([]string{"no safety device: use a relief valve"}, keys...)
	}
	for i, l := range wrap(text, g.w) {
		if y+i < g.h-len(keys) {
			g.text(0, y+i, l, plain)
		}
	}
	for i, l := range keys {
		g.text(0, g.h-len(keys)+i, l, dim)
	}
}

// drawTiny is for a screen too small for digits.
func (m *lesson) drawTiny(g *grid, s *scene) {
	big, unit, kind := m.sizeWord()
	lines := []fact{{s.digits() + " " + m.unit.Name + " gauge", s.pressureStyle()}}
	if s.about.Simulated {
		lines = append(lines, fact{"SIMULATED", banner})
	}
	lines = append(lines, fact{strings.Join(strings.Fields(big+" "+unit+" "+kind), " "), strong}, fact{m.stand(), plain})
	text := m.looking()
	if m.ask != nil {
		text = m.ask.text + " y/n"
	}
	for _, l := range wrap(text, g.w) {
		lines = append(lines, fact{l, plain})
	}
	for i := range min(g.h, len(lines)) {
		g.text(0, i, lines[i].text, lines[i].st)
	}
}

// wrap2 breaks a line of keys, which are two blanks apart, between them.
func wrap2(s string, w int) []string {
	var out []string
	line := ""
	for _, part := range strings.Split(s, "  ") {
		switch {
		case line == "":
			line = part
		case width(line)+2+width(part) <= w:
			line += "  " + part
		default:
			out = append(out, line)
			line = part
		}
	}
	return append(out, line)
}
