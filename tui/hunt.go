package tui

import (
	"math"
	"strconv"
	"strings"
	"time"

	tea "github.com/charmbracelet/bubbletea"

	"ebbline/decay"
	"ebbline/decay/record"
	"ebbline/decay/report"
	"ebbline/sensor"
	"ebbline/tui/chart"
)

// rateSpan is the stretch of time on the hunt's chart, s.
const rateSpan = 60.0

// hunt is what the leak-rate meter shows.
type hunt struct {
	known   bool
	settled bool    // the air has, since the fill
	calm    float64 // s of the test, since when it seems so; NaN: it does not
	shaky   bool    // a fault is on, or was a moment ago: nothing is told of the leak
	empty   bool    // there is too little pressure to hunt with
	rate    float64 // of the pressure, Pa/s, negative when losing
	least   float64 // the smallest change of the rate that can be told, Pa/s
	was     float64 // the rate before the latest change, at the present pressure
	trend   trend
	steady  bool           // that rate was the leak's, no heat of a change before it in it
	since   float64        // s since the latest change
	heat    float64        // s until its heat has settled, in which a rate would mislead; 0: it has
	hole    float64        // equivalent hole of the rate, m; 0 when the volume is not known
	rates   *chart.Columns // −rate against time
	marks   []record.Mark
	typing  *entry // the word of a mark, while it is typed
	mark    record.Mark
	note    string // what the word of a mark goes on with
}

// fed reports whether the supply may be on.
func (s *scene) fed() bool { return s.st.Phase == decay.PhaseFill }

// meterReading brings the meter up to date for the screen.
func (m *model) meterReading() {
	m.meter.pa = float64(m.set.NominalAmbient())
	if a := m.s.st.Result.Ambient; a > 0 {
		m.meter.pa = float64(a)
	}
	t := m.at.Seconds()
	h, r := &m.s.hunt, &m.meter
	if f, ok := m.faults.Worst(); ok && (f.Doubt() || f.Lost() || m.faults.On(sensor.FaultNoisy)) {
		m.trustAt = m.at + trustAfter
	}
	// A fault is known a moment after it began, so what it did to the rate is
	// forgotten, and what was taken for a joint.
	if h.shaky = m.at < m.trustAt; h.shaky {
		r.reset()
		m.touchAt = 0
	}
	r.look(t)
	h.known, h.rate, h.trend, h.since = r.known && !m.s.st.Lost, r.rate, r.trend, t-r.at
	m.settling(t)
	h.empty = float64(m.s.st.P) < 0.05*float64(m.s.set.Ceiling)
	if !h.settled || h.empty {
		r.weight, r.trend, r.looks = 0, trendNone, 0
		h.trend = trendNone
	}
	h.heat, h.steady = 0, r.steady
	if h.trend >= trendSmaller {
		h.heat = math.Max(0, heatAfter-h.since)
	}
	p := float64(m.s.st.P) + r.pa
	toRate := p * decay.Psi(r.pa/p)
	h.was, h.least = -r.was*toRate, changeZ*r.sd*toRate
	h.hole = 0
	if v := float64(m.set.Volume); v > 0 && h.known && r.k > 0 && !m.s.fed() {
		tw := float64(m.s.set.AmbientTemperature)
		area := r.k*v/math.Sqrt(decay.RAir*tw) - m.s.set.RigLeak.Value
		h.hole = float64(decay.EquivalentHole(decay.Area(math.Max(area, 0)), m.s.set.Cd))
	}
	if h.known && !m.s.fed() {
		h.rates.Add(t, -h.rate)
		if t-h.rates.Start() > 2*rateSpan {
			h.rates.DropBefore(t - rateSpan - 1)
		}
	}
}

const (
	// touchLag is within what time of its beginning a change of the leak is told.
	touchLag = 3 * time.Second
	// touchSure is how long a change must have stood without a fault of the sensor
	// that explains it: a stuck value is known as such after two seconds.
	touchSure = 3 * time.Second
	// trustAfter is how long after a fault nothing is told of the leak.
	trustAfter = 3 * time.Second
)

// noticeTouch ends the hold where a joint was pressed in the hunt: what it told
// until then is the answer. Who only looks at the meter ends nothing.
func (m *model) noticeTouch() {
	h := &m.s.hunt
	told := m.at - time.Duration(h.since*float64(time.Second))
	if m.touchAt == 0 && m.s.view == viewHunt && h.trend >= trendSmaller && isolated(m.s.st.Phase) {
		m.touchAt, m.touchTold = max(told-touchLag, m.huntAt), m.at
	}
	if m.touchAt != 0 && m.at-m.touchTold >= touchSure {
		m.touch()
	}
}

// touch tells the test of the joint that was pressed, if one was.
func (m *model) touch() {
	if m.touchAt != 0 {
		m.step(decay.Touched{At: m.touchAt})
		m.touchAt = 0
	}
}

// calmFor is how long the air must seem settled, s: an early fit knows little of
// how long it takes, and takes back what it said.
const calmFor = 3.0

// settling tells whether the air has settled at t seconds. Settling fades like a
// leak that gets smaller: the level starts after it, and what is left of it is
// no change. An answer that is taken back counts, until a change was told: a
// joint that is pressed may look like a new hold, or let go like a release.
func (m *model) settling(t float64) {
	h, r := &m.s.hunt, &m.meter
	switch m.s.st.Phase {
	case decay.PhaseHold:
		left, ok := settlingLeft(m.s.st)
		switch {
		case !ok:
			h.calm = math.NaN()
		case math.IsNaN(h.calm):
			h.calm = t
		}
		if r.trend < trendSmaller {
			h.settled = t-h.calm > calmFor
		}
		r.fading = left
	case decay.PhaseReady, decay.PhaseFill:
		h.settled, h.calm = false, math.NaN()
	}
}

// settlingLeft is what is left of settling as a share of the leak's rate, and
// whether that is too little to hide it: a tenth, or four time constants gone.
func settlingLeft(st decay.State) (left float64, ok bool) {
	r := st.Result
	if !r.HasFit {
		return 0, false
	}
	t, tau := (st.Now - r.Hold.Start).Seconds(), math.Max(r.Settling.Tau.Seconds(), 0.1)
	first := math.Abs(r.Settling.Amplitude) * float64(r.Hold.StartAbs) / tau / math.Abs(r.LossRate)
	left = first * math.Exp(-t/tau)
	// Where settling was much of the loss, its end is not known before it has come.
	return left, t > 4*tau || t > 3 && left < 0.1 && (t > 2.5*tau || first < 0.5)
}

// startMark takes the moment for a mark; its word is then typed.
func (m *model) startMark() {
	if m.over || !m.s.st.Seen {
		m.say("no mark: no test is under way")
		return
	}
	h := &m.s.hunt
	rate := math.NaN()
	h.note = ""
	switch {
	case h.known && h.heat > 0 && !m.s.fed():
		word, _ := m.s.huntWord()
		h.note = ": " + strings.ToLower(word)
		if h.steady {
			h.note += ", was " + m.s.perMinute(-h.was) + " " + m.s.unit.Name + "/min"
		}
	case h.known:
		rate = h.rate
	}
	h.mark = record.Mark{At: m.at, P: m.s.st.P, Rate: rate}
	h.typing = &entry{}
}

// pressMark takes a key while a mark's word is typed.
func (m *model) pressMark(k tea.KeyMsg) tea.Cmd {
	h := &m.s.hunt
	switch k.Type {
	case tea.KeyEnter:
		mk := h.mark
		mk.Word = strings.TrimSpace(h.typing.text)
		if mk.Word == "" {
			mk.Word = "mark " + strconv.Itoa(len(h.marks)+1)
		}
		mk.Word += h.note
		h.marks, h.typing = append(h.marks, mk), nil
		if m.o.OnMark != nil {
			m.o.OnMark(mk)
		}
	case tea.KeyEsc:
		h.typing = nil
	case tea.KeyCtrlC:
		return m.quit()
	default:
		h.typing.press(k)
	}
	return nil
}

// perMinute is a rate of pressure as it is shown.
func (s *scene) perMinute(rate float64) string {
	v := rate * 60 / s.unit.Pascal
	d := 1
	if s.unit.Pascal < decay.Kilopascal {
		d = 0
	} else if s.unit.Pascal > 50*decay.Kilopascal {
		d = 3
	}
	n := strconv.FormatFloat(v, 'f', d, 64)
	if strings.Trim(n, "-0.") == "" {
		n = strings.TrimPrefix(n, "-")
	}
	return n
}

// huntNumber is the meter's number: what is lost, or while the supply is on
// how the pressure changes.
func (s *scene) huntNumber() string {
	h := s.hunt
	switch {
	case s.fed() && h.known:
		return s.perMinute(h.rate)
	case !h.known, h.heat > 0:
		return "--.-"
	}
	return s.perMinute(-h.rate)
}

// huntName says what the number is, or when there will be one.
func (s *scene) huntName() string {
	switch {
	case s.fed():
		return "change, " + s.unit.Name + "/min"
	case s.hunt.known && s.hunt.heat > 0:
		return "rate in " + strconv.Itoa(int(math.Ceil(s.hunt.heat))) + " s"
	}
	return "loss, " + s.unit.Name + "/min"
}

// huntWord is the trend in one word.
func (s *scene) huntWord() (string, style) {
	h := s.hunt
	if s.st.Lost {
		return "NO READING", warn
	}
	if !h.known || h.empty || h.shaky || s.st.Phase == decay.PhaseOver {
		return "WAIT", dim
	}
	if s.fed() {
		switch {
		case h.rate > h.least && h.rate*60 > decay.Kilopascal:
			return "RISES", strong
		case h.rate < -h.least && h.rate*60 < -decay.Kilopascal:
			return "FALLS", strong
		}
		return "STEADY", strong
	}
	switch h.trend {
	case trendSmaller:
		return "SMALLER", banner
	case trendLarger:
		return "LARGER", warn
	case trendSame:
		return "SAME", strong
	}
	return "SETTLES", dim
}

// huntAdvice is the sentence of the hunt.
func (s *scene) huntAdvice() string {
	switch {
	case s.st.OverCeiling || s.st.Lost || !s.st.Seen:
		return s.advice()
	case s.inDoubt() && s.nextStep() != "":
		return s.nextStep()
	case s.hunt.shaky:
		return "The sensor is not to be trusted now, so no joint is told: wait for the word SAME, then press joints."
	case s.st.Phase == decay.PhaseEmpty:
		return "Nothing to hunt: the duct ran empty through its leak. Fill it again and shut the supply."
	case s.hunt.empty, s.st.Phase == decay.PhaseOver:
		return "Nothing to hunt: fill the duct and shut the supply."
	case s.fed() && s.st.InBand:
		return s.advice()
	case s.fed():
		return "Supply on: it makes up for the leak, so no rate can be read; a joint pressed shut only lets the pressure rise. Shut the supply for the rate."
	case !s.hunt.settled:
		return "The air settles, which looks like a leak that fades: wait until the word is SAME, then press joints."
	case s.hunt.heat > 0:
		return "The word is right at once, but not yet a rate: the air first warms up or cools. Go on to the next joint; m keeps a mark."
	case s.huntLow():
		return "The pressure is low, and a joint shows less and less: fill again, then go on."
	}
	return "Press or soap one joint for two seconds: the word says whether the leak got smaller. m keeps a mark."
}

// huntLow reports whether the pressure is too low for a hunt that is worth it.
func (s *scene) huntLow() bool { return s.hunt.empty || s.st.P < s.set.Ceiling/8 }

// huntFacts are the lines beside the meter.
func (s *scene) huntFacts() []fact {
	h := s.hunt
	var out []fact
	if !s.fed() && h.known && !h.empty && h.trend >= trendSmaller && h.steady {
		out = append(out, fact{"was " + s.perMinute(-h.was) + ", " + clock(h.since) + " ago", strong})
	}
	if h.hole > 0 && h.settled && !s.huntLow() && h.heat == 0 {
		out = append(out, fact{"like a hole of " + mm(h.hole) + " mm", plain})
	}
	k := plain
	if s.st.InBand {
		k = warn
	}
	when := s.phase() + " " + s.inPhase()
	if isolated(s.st.Phase) && !s.st.Lost {
		when = s.held(s.st.Now)
	}
	out = append(out, fact{s.digits() + " " + s.unit.Name + " gauge, " + when, k})
	if h.known && !s.fed() && !h.empty && h.least > 0 {
		out = append(out, fact{"tells a change of " + s.perMinute(h.least) + " or more", dim})
	}
	return out
}

// drawHunt draws the hunt on a whole screen.
func (s *scene) drawHunt(g *grid) {
	const left = 2
	right := g.w - 2
	more := s.drawTop(g, left)
	dh := min(max(5, g.h/6), 11)
	gw := min(max(6, dh*6/5), 13)
	y := 2 + more
	if g.h >= 28 {
		y++
	}
	// The word comes first: it is what one looks up for from under a car.
	word, st := s.huntWord()
	if st == banner {
		st = strong
	}
	number := s.huntNumber()
	ww := min(dh*6/5, 12)
	for ww > 4 && chart.BigWidth(word, ww) > (right-left)*3/5 {
		ww--
	}
	for gw > 3 && chart.BigWidth(number, gw)+chart.BigWidth(word, ww)+5 > right-left {
		gw--
	}
	g.big(left, y, chart.Big(number, gw, dh), strong)
	x := max(left+chart.BigWidth(number, gw)+4, left+18)
	g.big(x, y, chart.Big(word, ww, dh), st)
	y += dh
	g.text(left, y, s.huntName(), strong, x-1)
	facts := s.huntFacts()
	for i := range min(2, len(facts)) {
		g.text(x, y+i, facts[i].text, facts[i].st, right)
	}
	y += 2
	if g.h >= 28 {
		y++
	}
	y = s.drawSentence(g, left, y, right, s.huntAdvice(), 2)
	if g.h >= 28 {
		y++
	}
	bottom := g.h - 1
	g.text(left, bottom, foot(s.keys, g.w-left-1), dim, g.w-1)
	list := min(len(s.hunt.marks), max(2, (bottom-y)/3))
	s.drawRates(g, left, y, right, bottom-1-list)
	s.drawMarks(g, left, bottom-list, right, list)
}

// drawSentence writes the sentence, or the mark being typed in its place, on at
// least room lines, and returns the row after them.
func (s *scene) drawSentence(g *grid, left, y, right int, sentence string, room int) int {
	if e := s.hunt.typing; e != nil {
		head := "Mark, " + s.held(s.hunt.mark.At) + ", where? "
		if g.width(head) > (right-left)/2 {
			head = "Mark: "
		}
		x := g.text(left, y, head, strong)
		e.draw(g, x, y, right)
		g.text(left, y+1, "Enter keeps it, Esc drops it", dim, right)
		return y + max(2, room)
	}
	lines := wrap(sentence, right-left)
	for i, l := range lines {
		if y+i < g.h-1 {
			g.text(left, y+i, l, strong, right)
		}
	}
	return y + max(room, len(lines))
}

// held is the hunt's one clock, for its marks as for now: the time since the
// isolation after the latest fill, whatever a joint that is pressed looked like.
func (s *scene) held(at time.Duration) string {
	var from float64
	for _, m := range s.marks {
		switch {
		case m.at > at.Seconds():
		case m.to == decay.PhaseFill:
			from = 0
		case isolated(m.to) && from == 0:
			from = m.at
		}
	}
	return report.Held(at, time.Duration(from*float64(time.Second)))
}

// drawRates draws the leak's rate over the last minute.
func (s *scene) drawRates(g *grid, left, top, right, bottom int) {
	const gutter = 7
	x0 := left + gutter
	w, h := right-x0, bottom-top-1
	if w < 10 || h < 2 || s.hunt.rates == nil {
		return
	}
	t1, _ := s.hunt.rates.Last()
	if math.IsNaN(t1) {
		t1 = 0
	}
	t0 := t1 - rateSpan
	// What lies further back, such as settling, may leave the picture.
	seen := s.hunt.rates.Range(t1-rateSpan/4, t1)
	lo, hi := 0.0, 0.0
	if seen.N > 0 {
		lo, hi = math.Min(0, seen.Min), seen.Max
	}
	if s.hunt.trend >= trendSmaller {
		hi = math.Max(hi, -s.hunt.was)
	}
	u := s.unit.Pascal / 60
	hi = math.Max(hi*1.15, 0.5*decay.PSI/60)
	if lo < 0 {
		lo = math.Max(lo*1.15, -hi)
	}
	g.text(left, top, "loss, "+s.unit.Name+"/min, the last minute", dim, right)
	c := chart.NewCanvas(w, h)
	c.Trace(s.hunt.rates, t0, t1, lo, hi)
	rows := chart.Scale{Lo: hi, Hi: lo, N: h}
	step := chart.Step((hi-lo)/u, max(2, h/2))
	for _, v := range chart.Ticks(lo/u, hi/u, max(2, h/2)) {
		if r, ok := rows.At(v * u); ok {
			n := chart.Number(v, step)
			g.text(max(0, x0-1-width(n)), top+1+r, n, dim, x0)
			if v == 0 {
				for x := range w {
					g.set(x0+x, top+1+r, '─', dim)
				}
			}
		}
	}
	for i, m := range s.hunt.marks {
		if x, ok := (chart.Scale{Lo: t0, Hi: t1, N: w}).At(m.At.Seconds()); ok {
			for y := range h {
				g.set(x0+x, top+1+y, '┊', dim)
			}
			g.text(x0+x+1, top+1, strconv.Itoa(i+1), plain, right)
		}
	}
	for y := range h {
		for x := range w {
			if r, k := c.At(x, y); k == chart.Trace {
				g.set(x0+x, top+1+y, r, strong)
			}
		}
	}
}

// drawMarks lists the latest marks.
func (s *scene) drawMarks(g *grid, left, y, right, rows int) {
	n := len(s.hunt.marks)
	for i := range min(rows, n) {
		k := n - min(rows, n) + i
		m := s.hunt.marks[k]
		rate := "no rate"
		if !math.IsNaN(m.Rate) {
			rate = s.perMinute(-m.Rate) + " " + s.unit.Name + "/min lost"
		}
		g.text(left, y+i, strconv.Itoa(k+1)+"  "+s.held(m.At)+"  "+m.Word, plain, right-width(rate)-2)
		g.right(right, y+i, rate, plain)
	}
}

// drawHuntSmall is the hunt for 40×12: the number, the word, the sentence.
func (s *scene) drawHuntSmall(g *grid) {
	y := 0
	if s.about.Simulated {
		g.text(0, 0, simulated+strings.Repeat(" ", max(0, g.w-width(simulated))), banner)
		y++
	}
	number, gw := s.huntNumber(), 6
	for gw > 3 && chart.BigWidth(number, gw) > g.w-9 {
		gw--
	}
	dh := 5
	if g.h < 11 {
		dh = 3
	}
	g.big(0, y, chart.Big(number, gw, dh), strong)
	name := s.unit.Name + "/min"
	if s.hunt.heat > 0 {
		name = s.huntName()
	}
	g.text(chart.BigWidth(number, gw)+1, y+dh-1, name, strong)
	y += dh
	word, st := s.huntWord()
	x := g.text(0, y, " "+word+" ", st)
	if f := s.huntFacts(); len(f) > 0 {
		g.text(x+1, y, f[0].text, f[0].st)
	}
	y++
	if s.hunt.typing != nil {
		s.drawSentence(g, 0, y, g.w, "", 2)
		return
	}
	for i, l := range wrap(s.huntAdvice(), g.w) {
		if y+i < g.h {
			g.text(0, y+i, l, plain)
		}
	}
}
