package tui

import (
	"math"
	"strconv"
	"strings"

	"ebbline/decay"
	"ebbline/decay/report"
	"ebbline/tui/chart"
)

// draw makes a frame of exactly w×h cells.
func (m *hand) draw(w, h int) *grid {
	g := newGrid(w, h)
	g.ascii = m.s.ascii
	switch {
	case w <= 0 || h <= 0:
	case m.over():
		m.s.drawAlarm(g)
	case m.s.help:
		left := 0
		if w >= fullW {
			left = 2
		}
		m.s.drawList(g, left, 0, w, h, m.helpLines())
	case w >= fullW && h >= fullH:
		m.drawFull(g)
	default:
		m.drawSmall(g)
	}
	return g
}

// sentence is what to do now.
func (m *hand) sentence() string {
	if m.stage == dialAsked && m.asks == askPart {
		return "What is under test? " + limitHint(m.of, m.limitTyped())
	}
	if m.stage == dialAsked && m.asks == askVolume {
		return "How much air is in the duct? Without it there is no verdict and no hole, only a rate."
	}
	if m.stage == dialAsked {
		return "How far apart are two marks on the dial? It tells how well it can be read."
	}
	if m.due() {
		return "Read the dial now and type it."
	}
	return m.run.HandSentence(m.s.unit)
}

// limitTyped is the limit that was stated, "" when the part decides it.
func (m *hand) limitTyped() string {
	if m.o.Setup.Limit == 0 {
		return ""
	}
	return mm(float64(m.o.Setup.Limit))
}

// prompt is the line that is typed in, on a screen w wide.
func (m *hand) prompt(w int) (before, typed, after string) {
	u := m.s.unit.Name
	switch m.stage {
	case dialAsked:
		typed = string(m.field)
		switch m.asks {
		case askPart:
			words := report.PartWords(m.of)
			if w < 60 {
				words = m.of.String()
			}
			return "◀ " + words + " ▶ ", "", ""
		case askVolume:
			return "volume > ", typed, " L   Enter alone: not known, no verdict"
		}
		after = " " + u + "   Enter alone: " + usualDivision(m.s.unit) + " " + u
		return "division > ", typed, after
	case dialDone:
		return "", "", ""
	}
	after = " " + u + " gauge"
	if len(m.field) > 0 && m.stage == dialReads {
		after += "   for " + clock(m.stamp(m.keyed).Seconds())
	}
	return "dial > ", string(m.field), after
}

func (m *hand) drawFull(g *grid) {
	const left = 2
	right := g.w - 2
	b := " " + handBanner + " "
	g.right(right, 0, b, banner)
	title := m.s.title
	if title == "" {
		title = "Hold by hand"
	}
	g.text(left, 0, title, strong, right-width(b)-2)
	news := fact{"division " + m.division() + ", limit " + mm(float64(m.s.set.Limit)) + " mm, ceiling " + m.s.set.Ceiling.Format(m.s.unit), dim}
	if m.stage == dialAsked {
		news.text = "limit " + mm(float64(m.s.set.Limit)) + " mm, ceiling " + m.s.set.Ceiling.Format(m.s.unit)
		if m.asks != askVolume && m.limitTyped() == "" { // the part is still to decide the limit
			news.text = "ceiling " + m.s.set.Ceiling.Format(m.s.unit)
		}
	}
	if m.s.saved != "" {
		news = fact{"saved: " + m.s.saved, plain}
	}
	if m.problem != "" {
		news = fact{"! " + m.problem, warn}
	}
	for i, l := range newsRows(news, right-left, 2) {
		g.text(left, 1+i, l, news.st, right)
	}
	g.text(left, g.h-1, foot(m.hints(), g.w-2*left), dim)

	side := 0
	if g.w >= wideW {
		side = 46
	}
	end := right
	if side > 0 {
		end = right - side - 2
	}
	y := m.drawTop(g, left, 3, end)
	lines := wrap(m.sentence(), end-left)
	for i, l := range lines {
		g.text(left, y+i, l, strong, end)
	}
	y += len(lines) + 1
	if m.stage == dialReads && len(lines) == 1 && g.h >= 28 {
		y++ // the picture stays where it is when the sentence takes two lines
	}
	before, typed, after := m.prompt(g.w)
	if before != "" {
		x := g.text(left, y, before, strong)
		x = g.text(x, y, typed+"_", chosen)
		g.text(x+1, y, after, plain, end)
		y++
	}
	switch {
	case m.stage == dialDone:
		for _, f := range m.answer() {
			for _, l := range wrap(f.text, end-left) {
				g.text(left, y, l, f.st, end)
				y++
			}
		}
	case side == 0 && m.stage == dialReads:
		g.text(left, y, m.readingsLine(end-left), dim, end)
		y++
	}
	bottom := g.h - 2
	ruler := bottom - 3
	switch {
	case m.stage == dialAsked || m.stage == dialReady && ruler-y < 9:
		y++
		for i, c := range cautions {
			st := plain
			if i == 0 {
				st = strong
			}
			if y < bottom {
				g.text(left, y, c, st, end)
			}
			y++
		}
	case ruler-y < 5:
		m.s.drawRuler(g, left, ruler, end)
	default:
		top := y
		if ruler-y >= 24 && len(m.run.Readings()) > 1 {
			split := y + (ruler-y)*11/20
			m.drawRoom(g, left, top, end, split)
			m.s.drawLens(g, left, split+1, end, ruler)
		} else {
			m.drawRoom(g, left, top, end, ruler)
		}
		m.s.drawRuler(g, left, ruler, end)
	}
	if side > 0 {
		m.s.drawList(g, end+3, 3, right, bottom, m.details())
	}
}

// division is the dial's, in words.
func (m *hand) division() string {
	return strconv.FormatFloat(math.Round(float64(m.s.set.Division)/m.s.unit.Pascal*1e4)/1e4, 'g', 4, 64) + " " + m.s.unit.Name
}

// drawTop sets the latest reading and the seconds to the next beep, or the
// verdict, and returns the row below.
func (m *hand) drawTop(g *grid, left, y, right int) int {
	dh := min(max(5, g.h/6), 11)
	gw := min(max(6, dh*6/5), 13)
	number := m.s.digits()
	for gw > 4 && chart.BigWidth(number, gw) > right-left-32 {
		gw--
	}
	g.big(left, y, chart.Big(number, gw, dh), m.s.pressureStyle())
	x := left + chart.BigWidth(number, gw) + 2
	g.text(x, y+dh-2, m.s.unit.Name, strong)
	g.text(x, y+dh-1, "gauge", plain)
	x += 9
	word, st, under := "", strong, ""
	switch m.stage {
	case dialAsked:
		word = "DIAL"
		switch m.asks {
		case askPart:
			word = "PART"
		case askVolume:
			word = "AIR"
		}
	case dialReady:
		word, under = "FILL", "then shut the valve"
	case dialReads:
		word, under = m.next()+"  ", "s to the next beep"
		if m.due() {
			word, under = "READ", "the dial at "+clock((m.since(m.now)/m.o.Every*m.o.Every).Seconds())
			st = warn
		}
		under += "   time " + clock(m.since(m.now).Seconds())
		if v := m.s.st.Verdict; v != decay.Undecided {
			word, st = strings.ToUpper(report.Word(v)), outcomeStyle(v)
		}
	case dialDone:
		o := m.run.Finish().Outcome
		word, st = strings.ToUpper(report.Word(o)), outcomeStyle(o)
		under = strconv.Itoa(len(m.run.Readings())) + " readings in " + clock(m.lastAt())
	}
	ww := min(dh*6/5-1, 9)
	for ww >= 4 && chart.BigWidth(word, ww) > right-x {
		ww--
	}
	if ww >= 4 {
		g.big(x, y, chart.Big(word, ww, min(dh-2, ww*4/5+1)), st)
	} else {
		g.text(x, y, spaced(word, right-x), st, right)
	}
	g.text(x, y+dh-1, under, plain, right)
	return y + dh + 1
}

func (m *hand) lastAt() float64 {
	l := m.run.Readings()
	if len(l) == 0 {
		return 0
	}
	return l[len(l)-1].At.Seconds()
}

// answer is the result in lines.
func (m *hand) answer() []fact {
	r := m.run.Finish()
	out := []fact{{report.VerdictSentence(r), strong}}
	switch {
	case r.HasFit && r.HasVolume:
		out = append(out, fact{"hole " + m.s.hole() + "  limit " + mm(float64(r.Limit)) + " mm", plain})
	case r.HasFit:
		out = append(out, fact{"it loses " + three(r.LossRate*60/m.s.unit.Pascal) + " " + m.s.unit.Name + " a minute; with the volume of air in the duct there would be a hole and a verdict", plain})
	}
	if m.gain != "" {
		out = append(out, fact{m.gain, plain})
	}
	return out
}

// details list the readings beside the room, and the numbers of a specialist.
func (m *hand) details() []fact {
	out := []fact{{"readings", strong}}
	list := m.run.Readings()
	from := max(0, len(list)-16)
	if from > 0 {
		out = append(out, fact{strconv.Itoa(from) + " before these", dim})
	}
	for _, r := range list[from:] {
		out = append(out, fact{pad(clock(r.At.Seconds()), 8) + r.P.Format(m.s.unit), plain})
	}
	if len(list) == 0 {
		out = append(out, fact{"none yet", dim})
	}
	return append(append(out, fact{"", plain}), m.s.details()...)
}

// drawRoom draws the room with a dot for each reading.
func (m *hand) drawRoom(g *grid, left, top, right, bottom int) {
	m.s.drawRoom(g, left, top, right, bottom)
	list := m.run.Readings()
	x0 := left + 5
	w, h := right-x0, bottom-top-2
	if w < 8 || h < 2 || len(list) == 0 {
		return
	}
	hi := float64(m.s.set.Ceiling)
	for _, r := range list {
		if float64(r.P) > hi || r.P < 0 {
			return // the room has another height then
		}
	}
	t0, t1 := m.s.window()
	xs, ys := chart.Scale{Lo: t0, Hi: t1, N: w}, chart.Scale{Lo: hi, Hi: 0, N: h}
	for _, r := range list {
		x, okX := xs.At(r.At.Seconds())
		y, okY := ys.At(float64(r.P))
		if okX && okY {
			g.set(x0+x, top+1+y, '●', strong)
		}
	}
}

// drawSmall is the digits and the sentence.
func (m *hand) drawSmall(g *grid) {
	b := handBanner
	g.text(0, 0, b+strings.Repeat(" ", max(0, g.w-width(b))), banner)
	y := 1
	lines := []fact{}
	add := func(text string, st style) {
		for _, l := range wrap(text, g.w) {
			lines = append(lines, fact{l, st})
		}
	}
	if m.problem != "" {
		add("! "+m.problem, warn)
	}
	if m.stage == dialDone {
		r := m.run.Finish()
		add(strings.ToUpper(report.Word(r.Outcome)), outcomeStyle(r.Outcome))
		for _, f := range m.answer()[1:] {
			add(f.text, f.st)
		}
		add(m.sentence(), plain)
		if saved := wrap("saved: "+m.s.saved, g.w); m.s.saved != "" && y+len(lines)+len(saved) <= g.h {
			add("saved: "+m.s.saved, dim) // its place is told again at the end
		}
	} else {
		if m.stage != dialAsked {
			c := counter{s: m.s}
			y = c.drawSmallDigits(g, y)
		}
		before, typed, after := m.prompt(g.w)
		x := g.text(0, y, before, strong)
		x = g.text(x, y, typed+"_", chosen)
		g.text(x+1, y, after, plain)
		y++
		if m.stage == dialReads {
			head := "beep in " + m.next() + " s"
			if m.due() {
				head = "READ NOW"
			}
			if v := m.s.st.Verdict; v != decay.Undecided {
				head = strings.ToUpper(report.Word(v))
			} else if h := m.s.hole(); h != "" {
				head += "  " + m.s.sized()
			}
			add(head, strong)
		}
		add(m.sentence(), plain)
	}
	for i, l := range lines {
		if y+i < g.h {
			g.text(0, y+i, l.text, l.st)
		}
	}
	if y+len(lines) < g.h {
		g.text(0, g.h-1, foot(m.hints(), g.w), dim)
	}
}
