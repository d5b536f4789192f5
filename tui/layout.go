package tui

import (
	"strings"

	"ebbline/decay"
	"ebbline/tui/chart"
)

const simulated = "SIMULATED RIG – no real pressure"

// cautions are shown in the empty room before anything is filled.
var cautions = []string{
	"Before you fill",
	"Eye protection on. Regulator turned down before connecting.",
	"Plugs and hoses can be thrown: stand clear of their axis.",
	"Release the air before you loosen a clamp.",
	"This program is no safety device: a mechanical relief valve is.",
}

// drawFull is the whole screen, from 64×20 up.
func (s *scene) drawFull(g *grid) {
	const left = 2
	right := g.w - 2
	side := 0
	if g.w >= wideW {
		side = min(58, g.w*2/5)
		right = g.w - side - 4
	}
	more := s.drawTop(g, left)

	// The digits take about a sixth of the height.
	dh := min(max(5, g.h/6), 11)
	gw := min(max(6, dh*6/5), 13)
	y := 2 + more
	if g.h >= 28 {
		y++
	}
	number := s.digits()
	for gw > 4 && chart.BigWidth(number, gw) > right-left-32 {
		gw--
	}
	g.big(left, y, chart.Big(number, gw, dh), s.pressureStyle())
	x := left + chart.BigWidth(number, gw) + 2
	g.text(x, y+dh-2, s.unit.Name, strong)
	g.text(x, y+dh-1, "gauge", plain)
	s.drawStand(g, x+9, y, g.w-2, dh)

	y += dh + 1
	y = s.drawSentence(g, left, y, g.w-left, s.advice(), 2)
	if g.h >= 28 {
		y++
	}

	bottom := g.h - 1 // the keys
	g.text(left, bottom, foot(s.keys, g.w-left-1), dim, g.w-1)
	ruler := 3
	if g.h >= 28 {
		ruler = 4
	}
	floor := bottom - ruler
	if g.h >= 28 {
		floor--
	}
	switch {
	case s.detail && side == 0:
		s.drawList(g, left, y, right, bottom-1, s.details())
	default:
		if _, held := s.isolatedAt(); held && floor-y >= 24 {
			split := y + (floor-y)*11/20
			s.drawRoom(g, left, y, right, split)
			s.drawLens(g, left, split+1, right, floor)
		} else {
			s.drawRoom(g, left, y, right, floor)
		}
		s.drawRuler(g, left, bottom-ruler, right)
	}
	if side > 0 {
		s.drawList(g, right+4, y, g.w-2, bottom-1, s.details())
	}
}

// drawTop writes the title, the simulated banner and the news, and returns how
// many rows the news takes beyond its first.
func (s *scene) drawTop(g *grid, left int) int {
	end := g.w - 2
	if s.about.Simulated {
		b := " " + simulated + " "
		g.right(end, 0, b, banner)
		end -= width(b) + 2
	}
	title := s.title
	if title == "" {
		title = s.about.Name
	}
	g.text(left, 0, title, plain, end)
	n := s.news()
	lines := newsRows(n, g.w-1-left, 3)
	for i, l := range lines {
		g.text(left, 1+i, l, n.st, g.w-1)
	}
	return max(0, len(lines)-1)
}

// newsRows are the news in at most most lines of w cells. What only describes
// the sensor is not worth a second one; what finds no room is left out by the
// clause.
func newsRows(n fact, w, most int) []string {
	switch {
	case n.text == "":
		return nil
	case n.st == dim || most == 1 && n.st == plain:
		return []string{clause(n.text, w)}
	case width(n.text) <= w:
		return []string{n.text}
	}
	lines := wrap(n.text, w)
	for text := n.text; len(lines) > most; lines = wrap(text, w) {
		short := clause(text, width(text)-1)
		if short == text {
			return append(lines[:most-1], strings.Join(lines[most-1:], " "))
		}
		text = short
	}
	return lines
}

// news is the one line under the title: the gravest thing that is true.
func (s *scene) news() fact {
	switch {
	case s.st.Lost:
		why := s.st.LostWhy
		if why == "" {
			why = "no valid reading"
		}
		return fact{"✖ SENSOR LOST: " + why, warn}
	case s.notice != "":
		return fact{"! " + s.notice, warn}
	case s.trouble != "":
		return fact{"! " + s.trouble, warn}
	case s.inDoubt():
		return fact{"✖ DO NOT TRUST IT: " + s.fault, warn}
	case s.unseen() != "":
		return fact{"! " + s.unseen(), warn}
	case s.saved != "" && s.before == nil:
		return fact{"saved: " + s.saved, plain}
	case s.fault != "":
		return fact{"! " + s.fault, plain}
	case s.repair() != "":
		return fact{s.repair(), strong}
	case s.about.Simulated && len(s.ports) > 0:
		p := s.ports[0]
		if len(s.ports) == 1 {
			return fact{"a port is connected: quit and run  ebbline hold --port " + p, plain}
		}
		return fact{"ports are connected (" + strings.Join(s.ports, ", ") + "): quit and run  ebbline hold --port " + p, plain}
	case s.about.Detail != "":
		return fact{s.about.Detail, dim}
	}
	return fact{}
}

// drawStand writes where the test stands: the verdict or the phase as a big
// word, the time in it, and the facts.
func (s *scene) drawStand(g *grid, x, y, right, dh int) {
	room := right - x
	if room < 12 {
		return
	}
	word, st := strings.ToUpper(s.phase()), strong
	under := s.inPhase() + " in this phase"
	if v := s.verdict(); v != "" && !s.st.Lost {
		word, st = strings.ToUpper(v), s.verdictStyle()
		under = s.phase() + " " + s.inPhase()
	} else if s.st.Lost || s.inDoubt() {
		st = warn
		under = s.st.Phase.String() + " " + s.inPhase()
	} else if s.st.Phase == decay.PhaseReady {
		under = "waiting for the fill"
	}
	// The word is set as large as the place allows, and never larger than the
	// digits.
	wh := min(dh-2, 8)
	ww := min(wh*3/2, 10)
	for ; ww >= 4; ww-- {
		if chart.BigWidth(word, ww) <= room {
			break
		}
	}
	// Half blocks have no good likeness in ASCII: a small word is then spelt.
	if ww >= 4 && (!g.ascii || wh >= 5) {
		wh = min(wh, max(3, ww*4/5))
		g.big(x, y, chart.Big(word, ww, wh), st)
		y += wh
	} else {
		g.text(x, y, spaced(word, room), st, right)
		y += 2
		wh = 2
	}
	rows := dh - wh
	if rows > 3 {
		y++
		rows--
	}
	facts := append([]fact{{under, dim}}, s.facts()...)
	if rows < len(facts) {
		// The time in the phase gives way to what presses more.
		facts[0].text = s.inPhase()
		joined := facts[1]
		if t := facts[0].text + "  " + joined.text; width(t) <= room {
			joined.text = t
		}
		facts = append([]fact{joined}, facts[2:]...)
	}
	for i := range min(rows, len(facts)) {
		g.text(x, y+i, facts[i].text, facts[i].st, right)
	}
}

// spaced puts blanks between the letters when there is room.
func spaced(w string, room int) string {
	s := strings.Join(strings.Split(w, ""), " ")
	if width(s) <= room {
		return s
	}
	return w
}

// drawList writes lines into a rectangle, wrapped; what does not fit is
// counted in the last line.
func (s *scene) drawList(g *grid, x, y, right, bottom int, lines []fact) {
	type row struct {
		text string
		st   style
	}
	var rows []row
	for _, l := range lines {
		if width(l.text) <= right-x {
			rows = append(rows, row(l))
			continue
		}
		for i, part := range wrap(l.text, right-x-2) {
			if i > 0 {
				part = "  " + part
			}
			rows = append(rows, row{part, l.st})
		}
	}
	n := bottom - y
	for i, r := range rows {
		if i >= n {
			break
		}
		if i == n-1 && len(rows) > n {
			g.text(x, y+i, "… more on a taller screen", dim, right)
			break
		}
		g.text(x, y+i, r.text, r.st, right)
	}
}

// helpLines lists the keys and the cautions.
func (s *scene) helpLines() []fact {
	out := []fact{{"keys", strong}}
	for _, k := range s.keys {
		out = append(out, fact{k.key + strings.Repeat(" ", max(1, 5-width(k.key))) + k.desc, plain})
	}
	out = append(out, fact{"", plain}, fact{cautions[0], strong})
	for _, c := range cautions[1:] {
		out = append(out, fact{c, plain})
	}
	return out
}

// helpRows are the lines of the help, wrapped for a screen of w cells.
func (s *scene) helpRows(w int) []fact {
	var out []fact
	for _, l := range s.helpLines() {
		if width(l.text) <= w {
			out = append(out, l)
			continue
		}
		key := ""
		if i := strings.Index(l.text, "  "); i > 0 && i < 5 {
			key = l.text[:5]
		}
		for i, part := range wrap(strings.TrimPrefix(l.text, key), w-5) {
			if i > 0 || key == "" {
				out = append(out, fact{"     " + part, l.st})
			} else {
				out = append(out, fact{key + part, l.st})
			}
		}
	}
	return out
}

// helpPages is on how many pages the help is.
func (s *scene) helpPages(w, h int) int {
	n := max(1, h-2)
	return (len(s.helpRows(w-2)) + n - 1) / n
}

// drawHelp fills the screen with a page of the help, under the pressure.
func (s *scene) drawHelp(g *grid) {
	word := s.phase()
	if v := s.verdict(); v != "" && !s.st.Lost {
		word = v
	}
	end := g.w
	if s.about.Simulated {
		end -= width(" SIMULATED ") + 2
	}
	x := g.text(1, 0, s.digits()+" "+s.unit.Name+" gauge  "+word, s.pressureStyle(), end)
	if s.about.Simulated {
		b := " " + simulated + " "
		if x+2+width(b) > g.w {
			b = " SIMULATED "
		}
		g.right(g.w-1, 0, b, banner)
	}
	rows, n := s.helpRows(g.w-2), max(1, g.h-2)
	pages := s.helpPages(g.w, g.h)
	page := min(s.helpPage, pages-1)
	for i := range min(n, len(rows)-page*n) {
		g.text(1, 1+i, rows[page*n+i].text, rows[page*n+i].st)
	}
	foot := "? or Esc goes back"
	if page+1 < pages {
		foot = "? turns the page, Esc goes back"
	}
	g.text(1, g.h-1, foot, dim)
}

// drawSmall is digits, the news, phase and the sentence, for 40×12.
func (s *scene) drawSmall(g *grid) {
	y := 0
	n := s.news()
	rows := newsRows(n, g.w, 4)
	if n.st == plain {
		rows = newsRows(n, g.w, 1)
	}
	if s.about.Simulated {
		b := simulated
		if width(b) > g.w {
			b = "SIMULATED"
		}
		g.text(0, 0, b+strings.Repeat(" ", max(0, g.w-width(b))), banner)
		y++
	} else if s.title != "" && g.h > smallH {
		g.text(0, 0, s.title, dim)
		y++
	}
	number, gw := s.digits(), 6
	for gw > 3 && chart.BigWidth(number, gw) > g.w-6 {
		gw--
	}
	lines := wrap(s.advice(), g.w)
	dh := 5
	if g.h < 11 || n.st == warn && y+dh+len(rows)+1+len(lines) > g.h {
		dh = 3
	}
	g.big(0, y, chart.Big(number, gw, dh), s.pressureStyle())
	x := chart.BigWidth(number, gw) + 1
	g.text(x, y+dh-2, s.unit.Name, strong)
	g.text(x, y+dh-1, "gauge", plain)
	y += dh
	if n.text != "" && (n.st == warn || y+len(rows)+1+len(lines) < g.h) {
		for _, l := range rows {
			g.text(0, y, l, n.st)
			y++
		}
	} else if g.h-y > 5 {
		y++
	}
	line, st := strings.ToUpper(s.phase())+" "+s.inPhase(), strong
	if v := s.verdict(); v != "" && !s.st.Lost {
		line, st = strings.ToUpper(v), s.verdictStyle()
		if h := s.sized(); h != "" {
			line += "  " + h
		}
	} else if t := s.toCeiling(); t != "" {
		if s.st.InBand {
			st = warn
			t = "BAND: " + strings.TrimPrefix(t, "WARNING BAND: ")
		}
		line += "  " + strings.TrimSuffix(t, " at this rate")
	} else if s.st.InBand {
		line, st = line+"  WARNING BAND", warn
	} else if s.st.Lost || s.inDoubt() {
		st = warn
	} else if h := s.sized(); h != "" {
		line += "  " + h
	}
	if width(line) > g.w { // the time in the phase gives way
		line = strings.Replace(line, " "+s.inPhase(), "", 1)
	}
	g.text(0, y, line, st)
	y++
	if s.hunt.typing != nil {
		s.drawSentence(g, 0, y, g.w, "", 2)
		return
	}
	for i, l := range lines {
		if y+i < g.h {
			g.text(0, y+i, l, plain)
		}
	}
	if y+len(lines) < g.h {
		foot := "? keys"
		if s.st.Phase == decay.PhaseReady {
			foot = "no safety device: use a relief valve"
		}
		g.text(0, g.h-1, foot, dim)
	}
}

// drawTiny is for a screen too small for digits: words, the gravest first.
func (s *scene) drawTiny(g *grid) {
	p := s.digits() + " " + s.unit.Name + " gauge"
	lines := []fact{{p, s.pressureStyle()}}
	word := strings.ToUpper(s.phase())
	if v := s.verdict(); v != "" {
		word = strings.ToUpper(v)
	}
	if s.st.InBand {
		word += " WARNING BAND"
	}
	lines = append(lines, fact{word, strong})
	if s.about.Simulated {
		lines = append(lines, fact{"SIMULATED", banner})
	}
	for _, l := range wrap(s.advice(), g.w) {
		lines = append(lines, fact{l, plain})
	}
	for i := range min(g.h, len(lines)) {
		g.text(0, i, lines[i].text, lines[i].st)
	}
}

// drawAlarm is the screen past the ceiling: the hatch of the band has spread
// over the frame, everything is reversed, and two words fill the middle.
func (s *scene) drawAlarm(g *grid) {
	g.fill(alarm)
	edge := 0
	switch {
	case g.w >= 100 && g.h >= 28:
		edge = 3
	case g.w >= fullW && g.h >= fullH:
		edge = 2
	case g.w >= smallW && g.h >= smallH+2:
		edge = 1
	}
	for y := range g.h {
		for x := range g.w {
			if y < edge || y >= g.h-edge || x < 2*edge || x >= g.w-2*edge {
				if (x+y)%2 == 0 {
					g.set(x, y, '╱', alarm)
				}
			}
		}
	}
	room, high := g.w-4*edge-4, g.h-2*edge
	over := s.digits() + " " + s.unit.Name + " gauge"
	under := []string{over + "   ceiling " + s.set.Ceiling.Format(s.unit)}
	if width(under[0]) > room {
		under = []string{over, "ceiling " + s.set.Ceiling.Format(s.unit)}
	}
	if s.doubt {
		name, _, _ := strings.Cut(s.fault, ":")
		under = append(under, "the sensor is in doubt: "+name)
	}
	if s.about.Simulated {
		under = append(under, simulated)
	}
	words := []string{"SHUT THE", "SUPPLY"}
	h := min((high-len(under)-4)/2, 14)
	w := min(h*6/5, 16)
	for w >= 3 && chart.BigWidth(words[0], w) > room {
		w--
	}
	h = min(h, max(3, w))
	if w < 4 || h < 3 {
		lines := append([]string{"SHUT THE SUPPLY"}, under...)
		if g.w < 15 {
			lines = append([]string{"SHUT", "THE", "SUPPLY"}, under...)
		}
		y := max(0, (g.h-len(lines))/2)
		for i, l := range lines {
			g.centre(y+i, l, alarm)
		}
		return
	}
	y := max(edge, (g.h-2*h-1-1-len(under))/2)
	for _, word := range words {
		g.big((g.w-chart.BigWidth(word, w))/2, y, chart.Big(word, w, h), alarm)
		y += h + 1
	}
	for i, l := range under {
		g.centre(y+i, l, alarm)
	}
}
