package tui

import (
	"math"
	"strconv"
	"strings"

	"ebbline/decay"
	"ebbline/decay/report"
	"ebbline/tui/chart"
)

// counterCautions are acknowledged once before the first test.
var counterCautions = []string{
	"Eye protection on.",
	"Regulator turned down before you connect.",
	"Plugs can be thrown: stand clear of the plugs' axis.",
	"Stay below the ceiling and the limit the maker gives.",
	"Let the air out before you loosen a clamp.",
	"Clean dry air only.",
	"This program is no safety device: a mechanical relief valve is.",
}

// draw makes a frame of exactly w×h cells.
func (m *counter) draw(w, h int) *grid {
	g := newGrid(w, h)
	g.ascii = m.s.ascii
	switch {
	case w <= 0 || h <= 0:
	case m.s.st.OverCeiling:
		m.s.drawAlarm(g)
	case m.s.help:
		m.drawHelp(g)
	case w >= fullW && h >= fullH:
		m.drawFull(g)
	default:
		m.drawSmall(g)
	}
	return g
}

func (m *counter) drawHelp(g *grid) {
	left := 0
	if g.w >= fullW {
		left = 2
	}
	m.s.drawList(g, left, 0, g.w, g.h, m.keyList())
}

// drawFull is the screen from 64×20 up.
func (m *counter) drawFull(g *grid) {
	const left = 2
	m.drawHead(g, left)
	g.text(left, g.h-1, m.foot(g.w-2*left), dim)
	switch m.stage {
	case choosing:
		m.drawChoose(g, left, 3)
	case cautioned:
		m.drawWarn(g, left, 3)
	case underTest:
		m.drawTest(g, left, 3)
	case answered:
		m.drawAnswer(g, left, 3)
	}
}

// drawHead writes the part, the banner, and the day or what went wrong.
func (m *counter) drawHead(g *grid, left int) {
	end := g.w - 2
	if m.s.about.Simulated {
		b := " " + simulated + " "
		g.right(end, 0, b, banner)
		end -= width(b) + 2
	}
	title := "Parts counter"
	if m.stage != choosing {
		title = m.partLine()
	}
	g.text(left, 0, title, strong, end)
	f := m.newsLine()
	if m.stage == choosing && m.problem != "" && m.unsaved == nil && !m.s.st.Lost {
		f = fact{} // it stands where the clerk types
		if m.counted {
			f = fact{m.tally.String(), dim}
		}
	}
	for i, l := range newsRows(f, g.w-1-left, 2) {
		g.text(left, 1+i, l, f.st, g.w-1)
	}
}

// partLine is the part with its limit.
func (m *counter) partLine() string {
	limit := m.part.Limit
	if m.stage != cautioned {
		limit = m.s.set.Limit
	}
	s := m.part.Label
	if limit > 0 {
		s += "   limit " + mm(float64(limit)) + " mm"
	}
	return s
}

// limitFrom says where the limit of the part under test comes from.
func (m *counter) limitFrom() string {
	switch {
	case m.o.Setup.Limit > 0 && m.s.set.Limit == m.o.Setup.Limit:
		return "as stated"
	case m.part.Limit > 0 && m.s.set.Limit == m.part.Limit:
		return "the part's own"
	}
	return "our default"
}

// newsLine is the gravest thing that is true, or the tally of the day.
func (m *counter) newsLine() fact {
	switch {
	case m.unsaved != nil:
		return fact{"! NOT KEPT, so test again once that is mended: " + strings.ReplaceAll(m.unsaved.Error(), "\n", "; "), warn}
	case m.trouble != "":
		return fact{"! " + m.trouble, warn}
	case m.s.st.Lost:
		return fact{"✖ SENSOR LOST: " + m.s.st.LostWhy, warn}
	case m.problem != "":
		return fact{"! " + m.problem, warn}
	case m.s.fault != "":
		return fact{"! " + m.s.fault, plain}
	case m.stage&(choosing|cautioned) != 0 && report.Unseen(m.o.Setup, m.s.unit) != "":
		return fact{"! " + report.Unseen(m.o.Setup, m.s.unit), warn}
	case m.counted:
		return fact{m.tally.String(), dim}
	}
	return fact{}
}

// pressed is the warning that the duct of the last customer is still full.
func (m *counter) pressed() bool { return !m.s.st.Lost && m.s.st.Seen && m.s.st.P > 2*decay.Kilopascal }

// pressure is the present pressure in words.
func (m *counter) pressure() string {
	if !m.s.st.Seen || m.s.st.Lost {
		return "no reading of the pressure"
	}
	return "pressure now " + m.s.st.P.Format(m.s.unit)
}

func (m *counter) drawChoose(g *grid, left, y int) {
	big := chart.Big("PART", 7, 5)
	if g.h >= 24 {
		g.big(left, y, big, strong)
		y += 6
	} else {
		g.text(left, y, "Which part is to be tested?", strong)
		y += 2
	}
	g.text(left, y, "Type its label, or bore x length in mm, as 51x600:", plain)
	y += 2
	x := g.text(left, y, "> ", strong)
	x = g.text(x, y, string(m.field), strong, g.w-3)
	g.text(x, y, "_", strong)
	if n := len(m.offers); n == 1 && m.pick < 0 && len(m.field) > 0 {
		g.text(x+2, y, m.offers[0].Label, dim)
	}
	if m.problem != "" {
		for _, l := range wrap("! "+m.problem, g.w-1-left) {
			if y < g.h-5 {
				y++
				g.text(left, y, l, warn, g.w-1)
			}
		}
		y--
	}
	y += 2
	rows := max(0, g.h-4-y)
	first := max(0, min(m.pick-rows+1, len(m.offers)-rows))
	for i, p := range m.offers {
		if i < first {
			continue
		}
		if i-first >= rows {
			break
		}
		st, lead := plain, "  "
		if i == m.pick {
			st, lead = chosen, "▶ "
		}
		line := lead + pad(p.Label, min(40, g.w/2)) + " " + three(float64(p.Volume)/decay.Litre) + " L"
		if p.Limit > 0 {
			line += "   limit " + mm(float64(p.Limit)) + " mm"
		}
		g.text(left, y+i-first, line, st, g.w-2)
		if i-first == rows-1 && i+1 < len(m.offers) {
			g.right(g.w-2, y+i-first, "↓ "+strconv.Itoa(len(m.offers)-i-1)+" more", dim)
		}
	}
	if len(m.offers) == 0 && len(m.o.Parts) > 0 && len(m.field) > 0 {
		g.text(left, y, "no label of the list has these letters: it is read as a size", dim)
	}
	m.drawNow(g, left, g.h-3, g.w-2)
}

// drawNow writes the pressure, and what to do when there is any.
func (m *counter) drawNow(g *grid, left, y, right int) {
	if m.pressed() {
		text := m.pressure() + ": let the air out before you loosen a clamp"
		if width(text) > right-left {
			text = m.pressure() + ": let the air out"
		}
		g.text(left, y, text, warn, right)
		return
	}
	g.text(left, y, m.pressure(), dim, right)
}

func pad(s string, n int) string { return s + strings.Repeat(" ", max(1, n-width(s))) }

func (m *counter) drawWarn(g *grid, left, y int) {
	if size := m.part.Size(); size != "" {
		g.text(left, y, size+", "+three(float64(m.part.Volume)/decay.Litre)+" L of air", plain)
		y++
	}
	g.text(left, y+1, "Before you fill", strong)
	y += 3
	for i, c := range counterCautions {
		g.text(left, y+i, "– "+c, plain, g.w-2)
	}
	y += len(counterCautions) + 1
	for _, l := range wrap("Plug both ends, connect the fitting, keep the valve shut. Then press Enter: from there the program goes by itself.", g.w-2*left) {
		g.text(left, y, l, strong)
		y++
	}
}

// sentence is what to do now in the test.
func (m *counter) sentence() string {
	st := m.s.st
	left := brief(m.run.Left())
	if st.Verdict == decay.Unusable {
		return report.Advice(st, m.s.set, m.s.unit)
	}
	if m.run.Began() && st.Phase == decay.PhaseReady && !st.OverCeiling && !st.Lost { // air, but no fill
		st.Advice = decay.AdviseListen
	}
	if !m.run.Began() && st.Phase.Emptied() && !st.OverCeiling && !st.Lost {
		return "Air came for a moment and went out again: plug both ends, then fill."
	}
	if m.s.about.Simulated && (st.Advice == decay.AdviseFill || st.Advice == decay.AdviseKeepFilling) {
		return "The simulated rig fills and shuts its valve by itself: just watch."
	}
	switch st.Advice {
	case decay.AdviseFill, decay.AdviseWaitReading:
		if st.Advice == decay.AdviseFill {
			return "Plug both ends, then fill slowly; never above " + m.s.set.Ceiling.Format(m.s.unit) + "."
		}
	case decay.AdviseHoldOn, decay.AdviseMoreHelp:
		return "Not sure yet: hands off, the answer comes within " + left + "."
	case decay.AdviseListen:
		return "It will not build: check the plugs, then listen along the part."
	}
	return report.Advice(st, m.s.set, m.s.unit)
}

func (m *counter) drawTest(g *grid, left, y int) {
	s := &m.s
	right := g.w - 2
	dh := min(max(5, g.h/6), 11)
	gw := min(max(6, dh*6/5), 13)
	number := s.digits()
	for gw > 4 && chart.BigWidth(number, gw) > right-left-30 {
		gw--
	}
	g.big(left, y, chart.Big(number, gw, dh), s.pressureStyle())
	x := left + chart.BigWidth(number, gw) + 2
	g.text(x, y+dh-2, s.unit.Name, strong)
	g.text(x, y+dh-1, "gauge", plain)
	x += 9
	// The phase, and the seconds that are left.
	word := strings.ToUpper(s.phase())
	ww := min(dh*6/5-1, 9)
	for ww >= 4 && chart.BigWidth(word, ww) > right-x {
		ww--
	}
	if wh := dh - 2; ww >= 4 {
		g.big(x, y, chart.Big(word, ww, min(wh, ww*4/5+1)), strong)
	} else {
		g.text(x, y, spaced(word, right-x), strong, right)
	}
	line := "90 s from the first air"
	if m.run.Began() {
		line = "answer within " + strconv.Itoa(int(math.Ceil(m.run.Left().Seconds()))) + " s"
	}
	if hole := s.sized(); hole != "" && x+width(line)+3+width(hole) <= right {
		line += "   " + hole
	}
	g.text(x, y+dh-1, line, plain, right)

	y += dh + 1
	lines := wrap(m.sentence(), g.w-2*left)
	for i, l := range lines {
		g.text(left, y+i, l, strong)
	}
	y += max(2, len(lines))
	m.drawTime(g, left, y, right)
	y++
	g.text(left, y, "limit "+mm(float64(m.s.set.Limit))+" mm ("+m.limitFrom()+"): a larger hole counts as a leak", dim, right)
	y++
	bottom := g.h - 2
	ruler := bottom - 3
	s.drawRoom(g, left, y, right, ruler)
	s.drawRuler(g, left, ruler, right)
}

// drawTime draws the ninety seconds as a wall that is worn away.
func (m *counter) drawTime(g *grid, left, y, right int) {
	n := right - left
	if n < 10 {
		return
	}
	done := int(float64(n) * float64(CounterTime-m.run.Left()) / float64(CounterTime))
	for i := range n {
		if i < done {
			g.set(left+i, y, '·', dim)
		} else {
			g.set(left+i, y, '━', strong)
		}
	}
}

// wall draws the wall of a duct: whole, torn or dashed, so that the verdict has
// a shape beside its word. thick is in rows.
func wall(g *grid, left, y, right, thick int, o decay.Outcome, st style) {
	n := right - left
	gap := max(6, n/6)
	for r := range thick {
		for i := range n {
			c := '█'
			switch o {
			case decay.Holds:
			case decay.Leaks, decay.NeverBuilt:
				// The edges of the tear slant away from it.
				a, b := (n-gap)/2-r, (n+gap)/2+r
				switch {
				case i == a:
					c = '▀'
				case i == b:
					c = '▀'
				case i > a && i < b:
					c = ' '
				}
			default:
				if i%8 >= 4 {
					c = ' '
				}
			}
			if c != ' ' {
				g.set(left+i, y+r, c, st)
			}
		}
	}
}

func outcomeStyle(o decay.Outcome) style {
	if o == decay.Leaks || o == decay.NeverBuilt {
		return warn
	}
	return strong
}

func (m *counter) drawAnswer(g *grid, left, y int) {
	right := g.w - 2
	if m.full {
		m.drawSlip(g, left, y, g.h-2)
		return
	}
	if g.w >= 100 && len(m.kept.Slip) > 0 {
		right = g.w - report.SlipWidth - 5
		m.drawSlip(g, right+3, y, g.h-2)
	}
	r := m.run.Result()
	word, st := strings.ToUpper(report.Word(r.Outcome)), outcomeStyle(r.Outcome)
	thick := 1
	if g.h >= 40 {
		thick = 2
	}
	wh := min(12, (g.h-14)/2+2)
	ww := wh * 8 / 7 // wider, and the pen grows until an S looks like an 8
	for ww > 3 && chart.BigWidth(word, ww) > right-left {
		ww--
	}
	wh = min(wh, max(3, ww))
	wall(g, left, y, right, thick, r.Outcome, st)
	y += thick + 1
	g.big(left+max(0, (right-left-chart.BigWidth(word, ww))/2), y, chart.Big(word, ww, wh), st)
	y += wh + 1
	wall(g, left, y, right, thick, r.Outcome, st)
	y += thick + 1
	for _, f := range m.answer(right - left) {
		for _, l := range wrap(f.text, right-left) {
			if y < g.h-4 {
				g.text(left, y, l, f.st, right)
				y++
			}
		}
	}
	if last := g.h - 4; last-y >= 14 { // what it was read from
		m.s.drawRoom(g, left, y+1, right, last-4)
		m.s.drawRuler(g, left, last-4, right)
	}
	m.drawNow(g, left, g.h-3, right)
}

// answer is the result in lines; a path longer than w is parted.
func (m *counter) answer(w int) []fact {
	r := m.run.Result()
	out := []fact{{report.VerdictSentence(r), strong}}
	if m.run.Stopped() {
		out = append(out, fact{"stopped by hand before its end", plain})
	}
	switch {
	case r.HasFit && r.HasVolume:
		hole := mm(r.Hole.Value) + " mm, 95 % sure: " + mm(r.Hole.Low) + " to " + mm(r.Hole.High) + " mm"
		if u, ok := report.Under(r); ok {
			hole = u + ", 95 % sure"
		}
		out = append(out, fact{"hole " + hole + "; limit " + mm(float64(r.Limit)) + " mm (" + m.limitFrom() + ")", plain})
	case r.HasFit:
		out = append(out, fact{"rate " + three(r.Rate.Value*1000) + " /1000 s; no volume, no hole", plain})
	}
	if r.Outcome == decay.Undecided && r.HasDecide && r.ToDecide > 0 {
		out = append(out, fact{"about " + brief(r.ToDecide) + " more of hold would decide: ebbline hold has no time limit", plain})
	}
	if next := report.PartAdvice(decay.PartHose, r.Outcome); next != "" {
		out = append(out, fact{next, plain})
	}
	if m.kept.SlipPath != "" {
		path := m.kept.SlipPath
		if i := strings.LastIndexAny(path, `/\`); i >= 0 && width(path)+6 > w {
			out = append(out, fact{"slip: " + path[i+1:], dim}, fact{"in " + path[:i+1], dim})
		} else {
			out = append(out, fact{"slip: " + path, dim})
		}
	}
	if r.Hold.StartAbs != 0 {
		out = append(out, fact{"held " + brief(r.Hold.End-r.Hold.Start) + " from " + r.Hold.StartGauge.Format(m.s.unit), plain})
	}
	return out
}

// drawSlip shows the slip as it is printed.
func (m *counter) drawSlip(g *grid, x, y, bottom int) {
	lines := m.kept.Slip[min(m.top, len(m.kept.Slip)):]
	for i, l := range lines {
		if y+i == bottom-1 && i < len(lines)-1 {
			more := "… s shows more"
			if m.full {
				more = "… ↓ shows more"
			}
			g.text(x, y+i, more, dim)
			break
		}
		g.text(x, y+i, l, plain)
	}
}

// drawSmall is digits and the sentence, for 40×12 and less.
func (m *counter) drawSmall(g *grid) {
	lines := []fact{}
	add := func(text string, st style) {
		for _, l := range wrap(text, g.w) {
			lines = append(lines, fact{l, st})
		}
	}
	y := 0
	if m.s.about.Simulated {
		b := simulated
		if width(b) > g.w {
			b = "SIMULATED"
		}
		g.text(0, 0, b+strings.Repeat(" ", max(0, g.w-width(b))), banner)
		y = 1
	}
	news := m.newsLine()
	switch m.stage {
	case choosing:
		add("Part: label, or bore x length in mm", strong)
		add("> "+string(m.field)+"_", strong)
		if news.st == warn {
			add(news.text, warn)
		}
		for i, p := range m.offers {
			if len(lines) > max(3, g.h-y-4) {
				break
			}
			st, lead := plain, "  "
			if i == m.pick {
				st, lead = chosen, "▶ "
			}
			if i >= m.pick-2 {
				add(lead+p.Label, st)
			}
		}
		if m.pressed() {
			add(m.pressure()+": let it out first", warn)
		} else if news.st != warn {
			add(news.text, dim)
		}
	case cautioned:
		add("Before you fill "+m.part.Label, strong)
		for _, c := range []string{"Eye protection. Regulator down.", "Stand clear of the plugs' axis.", "Stay below the ceiling.", "Let air out before loosening a clamp.", "No safety device: use a relief valve."} {
			add(c, plain)
		}
		add("Plugged? Enter: understood", strong)
	case underTest:
		y = m.drawSmallDigits(g, y)
		left := ""
		if m.run.Began() {
			left = "  " + strconv.Itoa(int(math.Ceil(m.run.Left().Seconds()))) + " s left"
		}
		add(strings.ToUpper(m.s.phase())+left, strong)
		switch {
		case m.s.st.Lost:
			add(m.sentence(), warn) // it tells of the sensor
		case news.st == warn:
			add(news.text, warn)
		default:
			add(m.sentence(), plain)
		}
	case answered:
		if m.full {
			for _, l := range m.kept.Slip[min(m.top, len(m.kept.Slip)):] {
				lines = append(lines, fact{l, plain})
			}
			break
		}
		r := m.run.Result()
		word := strings.ToUpper(report.Word(r.Outcome))
		if h := g.h - y; h >= 9 {
			ww := 6
			for ww > 3 && chart.BigWidth(word, ww) > g.w {
				ww--
			}
			wall(g, 0, y, g.w, 1, r.Outcome, outcomeStyle(r.Outcome))
			if ww < 4 { // too narrow to be read
				g.centre(y+2, spaced(word, g.w), outcomeStyle(r.Outcome))
			} else {
				g.big(max(0, (g.w-chart.BigWidth(word, ww))/2), y+1, chart.Big(word, ww, 3), outcomeStyle(r.Outcome))
			}
			wall(g, 0, y+4, g.w, 1, r.Outcome, outcomeStyle(r.Outcome))
			y += 5
		} else {
			add(word, outcomeStyle(r.Outcome))
		}
		if m.unsaved != nil {
			add(news.text, warn)
		}
		if m.pressed() {
			add(m.pressure()+": let the air out", warn)
		}
		if r.HasFit && r.HasVolume {
			hole := mm(r.Hole.Value) + " mm (" + mm(r.Hole.Low) + " to " + mm(r.Hole.High) + ")"
			if u, ok := report.Under(r); ok {
				hole = u
			}
			add("hole "+hole, plain)
			add("limit "+mm(float64(r.Limit))+" mm", plain)
		} else {
			add(report.VerdictSentence(r), plain)
		}
	}
	for i, l := range lines {
		if y+i < g.h {
			g.text(0, y+i, l.text, l.st)
		}
	}
	if g.h >= 6 && y+len(lines) < g.h {
		g.text(0, g.h-1, m.foot(g.w), dim)
	}
}

// drawSmallDigits sets the pressure as large as a small screen allows.
func (m *counter) drawSmallDigits(g *grid, y int) int {
	number, gw, dh := m.s.digits(), 6, 5
	for gw > 3 && chart.BigWidth(number, gw) > g.w-6 {
		gw--
	}
	if g.h < 8 || g.w < smallW {
		g.text(0, y, number+" "+m.s.unit.Name+" gauge", m.s.pressureStyle())
		return y + 1
	}
	if g.h < 11 {
		dh = 3
	}
	g.big(0, y, chart.Big(number, gw, dh), m.s.pressureStyle())
	x := chart.BigWidth(number, gw) + 1
	g.text(x, y+dh-2, m.s.unit.Name, strong)
	g.text(x, y+dh-1, "gauge", plain)
	return y + dh
}
