package tui

import (
	"fmt"
	"strings"

	"ebbline/decay"
	"ebbline/decay/record"
	"ebbline/decay/report"
)

// draw makes a frame of exactly w×h cells.
func (m *book) draw(w, h int) *grid {
	m.w, m.h = w, h
	g := newGrid(w, h)
	g.ascii = m.o.Look.ASCII
	switch {
	case w <= 0 || h <= 0:
	case m.help:
		m.drawHelp(g)
	case m.test != nil:
		m.drawTest(g)
	default:
		m.drawList(g)
	}
	return g
}

// rows is how many tests the list shows at once.
func (m *book) rows() int { return max(1, m.h-4) }

func (m *book) drawList(g *grid) {
	x := g.text(1, 0, "the book", strong)
	switch {
	case m.loading && !m.typing:
		g.text(x+2, 0, "reading "+m.o.Folder+" …", dim)
	case len(m.shown) < len(m.entries) || m.filter.text != "" || m.typing:
		x = g.text(x+2, 0, fmt.Sprintf("%d of %s", len(m.shown), tests(len(m.entries))), plain)
	default:
		g.text(x+2, 0, tests(len(m.entries))+" in "+m.o.Folder, dim)
	}
	if m.typing || m.filter.text != "" {
		at := max(x+1, min(34, g.w/2))
		if m.typing {
			at = g.text(at, 0, "/ ", strong)
			m.filter.draw(g, at, 0, g.w-1)
		} else {
			g.text(at, 0, "/ "+m.filter.text, strong, g.w-1)
		}
	}

	rows := m.rows()
	m.top = max(0, min(m.top, m.at, len(m.shown)-rows))
	m.top = max(m.top, m.at-rows+1)
	c := columnsOf(g.w)
	if len(m.shown) > 0 {
		c.draw(g, 1, [5]string{"begun", "verdict", "hole mm", "part", "label"}, [5]style{dim, dim, dim, dim, dim})
	}
	for i := range min(rows, len(m.shown)-m.top) {
		m.drawRow(g, 2+i, m.top+i, c)
	}
	where := fmt.Sprintf("%d to %d", m.top+1, min(len(m.shown), m.top+rows)) // in the list
	if len(m.shown) > rows && g.w >= fullW && c.at[4]+width("label ")+width(where) < g.w {
		g.right(g.w-1, 1, where, dim)
	}
	if len(m.shown) == 0 && !m.loading {
		m.drawEmpty(g)
	}
	m.drawFoot(g)
}

// drawEmpty says why no test is shown, and what to do.
func (m *book) drawEmpty(g *grid) {
	lines := []fact{{"No test was recorded yet in " + m.o.Folder, plain}, {"ebbline hold records one; --book names another folder.", dim}}
	switch {
	case m.fault != "":
		lines = []fact{{"The book cannot be read: " + m.fault, warn}, {"--book names another folder; r reads again.", dim}}
	case len(m.entries) > 0:
		lines = []fact{{"No test has all of these words.", plain}, {"/ changes them, Esc shows all.", dim}}
	}
	y := 3
	for _, l := range lines {
		for _, part := range wrap(l.text, max(10, g.w-4)) {
			g.text(2, y, part, l.st)
			y++
		}
	}
}

// bookColumns are where the columns of the list begin; -1: not shown.
type bookColumns struct {
	at    [5]int
	right [5]int
	span  bool // the hole with its interval
	short bool // the date without the time
}

// columnsOf lays the list out for a width.
func columnsOf(w int) bookColumns {
	var c bookColumns
	widths := [5]int{16, 11, 7, 8, 0}
	switch {
	case w >= 110:
		c.span, widths[2] = true, 21
	case w < 44:
		c.short, widths = true, [5]int{10, 11, 0, 0, 0}
	case w < 64:
		c.short, widths = true, [5]int{10, 11, 6, 0, 0}
	}
	x := 2
	for i, n := range widths {
		c.at[i], c.right[i] = x, x+n
		if i == 4 {
			c.right[i] = w
			break
		}
		if n == 0 {
			c.at[i] = -1
			continue
		}
		x += n + 2
	}
	return c
}

func (c bookColumns) draw(g *grid, y int, words [5]string, st [5]style) {
	for i, w := range words {
		if c.at[i] >= 0 {
			g.text(c.at[i], y, w, st[i], c.right[i])
		}
	}
}

// drawRow draws a test of the list.
func (m *book) drawRow(g *grid, y, i int, c bookColumns) {
	k := m.shown[i]
	e := m.entries[k]
	date, hole := e.Date(), e.Hole()
	if c.short {
		date, _, _ = strings.Cut(date, " ")
	}
	if !c.span {
		hole, _, _ = strings.Cut(hole, " ")
	}
	if e.Err != nil { // the name of the file, and what is wrong with it
		m.drawBad(g, y, i, c, e)
		return
	}
	title, look := e.Title(), plain
	if st := e.State(); st != record.StateWhole {
		title = strings.TrimSpace(strings.ToUpper(st.String()) + "  " + title)
		if look = warn; st == record.StateNoDigest || st == record.StateRunning {
			look = plain
		}
	}
	if e.Head.Simulated {
		title = strings.TrimSpace("simulated  " + title)
		if look == plain {
			look = dim
		}
	}
	verdict := outcomeStyle(e.Head.Result.Outcome)
	if v := e.Head.Result.Outcome; v == decay.Holds || v == decay.Undecided {
		verdict = plain
	}
	st := [5]style{plain, verdict, plain, dim, look}
	if i == m.at {
		for x := range g.w {
			g.set(x, y, ' ', chosen)
		}
		st = [5]style{chosen, chosen, chosen, chosen, chosen}
	}
	sign := ""
	switch {
	case k == m.before:
		sign = "c"
	case i == m.at:
		sign = "▶"
	}
	g.text(0, y, sign, st[0])
	c.draw(g, y, [5]string{date, e.Verdict(), hole, e.Part(), title}, st)
}

// drawBad draws a file of the list that is no record that can be read.
func (m *book) drawBad(g *grid, y, i int, c bookColumns, e BookEntry) {
	name, words := plain, warn
	if i == m.at {
		for x := range g.w {
			g.set(x, y, ' ', chosen)
		}
		g.text(0, y, "▶", chosen)
		name, words = chosen, chosen
	}
	g.text(c.at[0], y, e.Name, name, c.right[0])
	g.text(c.at[1], y, strings.ToUpper(e.State().String())+"  "+e.Title(), words)
}

// drawFoot writes the answer to the last key and the keys.
func (m *book) drawFoot(g *grid) {
	switch {
	case m.waiting:
		g.text(1, g.h-2, "reading …", dim)
	case m.said != "":
		g.text(1, g.h-2, m.said, strong)
	case m.before >= 0:
		g.text(1, g.h-2, "c compares with: "+m.entries[m.before].Date()+" "+m.entries[m.before].Title(), plain)
	}
	if m.typing {
		g.text(1, g.h-1, "Enter keeps the words  Esc shows all", dim)
		return
	}
	g.text(1, g.h-1, foot(m.foot(), g.w-2), dim)
}

// helpRows are the lines of the help, wrapped for the screen.
func (m *book) helpRows() []fact {
	var out []fact
	for _, l := range m.helpLines() {
		if width(l.text) <= m.w-2 {
			out = append(out, l)
			continue
		}
		for i, r := range wrap(l.text, max(10, m.w-4)) {
			if i > 0 {
				r = "  " + r
			}
			out = append(out, fact{r, l.st})
		}
	}
	return out
}

// drawHelp fills the screen with a page of the help.
func (m *book) drawHelp(g *grid) {
	lines := m.helpRows()
	n := max(1, g.h-3)
	page := max(0, min(m.page, (len(lines)-1)/n))
	for i := range min(n, len(lines)-page*n) {
		l := lines[page*n+i]
		g.text(1, 1+i, l.text, l.st)
	}
	words := "? or Esc goes back"
	if (page+1)*n < len(lines) {
		words = "? turns the page, Esc goes back"
	}
	g.text(1, g.h-1, words, dim)
}

// drawTest shows one test, or two beside each other.
func (m *book) drawTest(g *grid) {
	t := m.test
	head := strings.TrimSpace(dayWords(t.entry.When()) + "  " + t.entry.Head.Label)
	if t.entry.Err != nil {
		head = t.entry.Name
	}
	st, look := t.state(), dim
	state := st.String()
	if st == record.StateRunning {
		state, look = strings.ToUpper(state), strong
	} else if st != record.StateWhole && st != record.StateNoDigest {
		state, look = strings.ToUpper(state), warn
	}
	if t.entry.Head.Simulated {
		state = "simulated, " + state
	}
	end := g.w - 1 - g.width(state)
	g.text(1, 0, head, strong, end-1)
	g.right(g.w-1, 0, state, look)
	if t.err != nil {
		y := 2
		for _, l := range wrap(printed(strings.TrimPrefix(t.err.Error(), "record: ")), max(10, g.w-4)) {
			g.text(2, y, l, warn)
			y++
		}
		m.drawFoot(g)
		return
	}

	y := 1
	for _, l := range m.answer() {
		for i, part := range wrap(l.text, max(10, g.w-2)) {
			if i < 2 && y < g.h-2 {
				g.text(1, y, part, l.st)
				y++
			}
		}
	}
	bottom := g.h - 2
	right := g.w - 1
	if g.w >= wideW {
		right = g.w - 58
		m.drawFacts(g, right+3, y+1, g.w-1, bottom)
	} else if m.detail {
		m.drawFacts(g, 1, y+1, g.w-1, bottom)
		m.drawFoot(g)
		return
	}
	s := m.scene(t)
	if bottom-y >= 12 {
		s.drawRuler(g, 1, bottom-3, right)
		bottom -= 4
	}
	if bottom-y >= 26 {
		half := (bottom - y) / 2
		s.drawLens(g, 1, y+half+1, right, bottom)
		bottom = y + half
	}
	if bottom-y >= 5 {
		s.drawRoom(g, 1, y, right, bottom)
	}
	m.drawFoot(g)
}

// answer is what the test found, what is wrong with it, and what a second look
// or a comparison says, the gravest first.
func (m *book) answer() []fact {
	t := m.test
	var out []fact
	switch t.state() {
	case record.StateChanged:
		out = append(out, fact{"CHANGED after it was written: its digest differs. It proves nothing.", warn})
	case record.StateRunning:
		out = append(out, fact{"This test RUNS STILL. m judges what is there so far.", strong})
	case record.StateTorn:
		out = append(out, fact{fmt.Sprintf("TORN at line %d: the test was cut short. m judges what is there.", t.rec.TornLine), warn})
	}
	unlike := ""
	if t.older != nil && t.older.err == nil {
		a, b := t.older.rec, t.rec
		if unlike = report.NotSame(a.Setup, b.Setup, a.Simulated, b.Simulated); unlike != "" {
			out = append(out, fact{unlike, warn})
		}
	}
	verdict := strings.ToUpper(report.Word(t.result.Outcome))
	if t.rec.Torn && !t.measured {
		verdict = "NO VERDICT WAS WRITTEN"
	}
	if r := t.result; r.HasFit && r.HasVolume {
		verdict += ", hole " + spanWords(r.Hole, decay.Millimetre, "mm", true)
	}
	if t.result.Limit > 0 {
		verdict += ", limit " + report.Millimetres(float64(t.result.Limit))
	}
	st := outcomeStyle(t.result.Outcome)
	out = append(out, fact{verdict, st})
	if t.older != nil {
		if t.older.err != nil {
			return append(out, fact{"the other test cannot be read: " + printed(t.older.err.Error()), warn})
		}
		older := "before: " + dayWords(t.older.rec.When) + "  " + t.older.past.words()
		if unlike != "" {
			older = "first: " + dayWords(t.older.rec.When) + "  " + t.older.past.words() + report.OfWhat(t.older.rec.Setup)
		}
		out = append(out, fact{older, plain})
		if !t.comparable {
			return append(out, fact{"one of the two tests had no hold: there is nothing to compare", warn})
		}
		if why := report.NoRepair(t.older.rec, t.rec); unlike != "" { // said above
		} else if why != "" {
			out = append(out, fact{why, warn})
		} else {
			out = append(out, fact{report.Repair(t.change, t.older.result.Cd), strong})
		}
		for _, w := range CompareDoubts(t.older.rec, t.rec) {
			out = append(out, fact{w, warn})
		}
		return out
	}
	if t.measured {
		if len(t.changes) == 0 {
			return append(out, fact{"measured again: the same as written by " + orProgram(t.rec.Program), strong})
		}
		var words []string
		for _, c := range t.changes {
			words = append(words, c.Name+" was "+c.Was)
		}
		out = append(out, fact{"measured again; by " + orProgram(t.rec.Program) + " " + strings.Join(words, "; "), warn})
	}
	return out
}

func orProgram(name string) string {
	if name == "" {
		return "a program that is not named"
	}
	return name
}

// scene is the picture of a test as the live screen draws it.
func (m *book) scene(t *bookTest) *scene {
	s := &scene{unit: m.unit, set: t.rec.Setup.WithDefaults(), trace: t.past.trace, ascii: m.o.Look.ASCII,
		st: decay.State{Phase: decay.PhaseOver, Seen: len(t.rec.Samples) > 0, Result: t.result}}
	if t.result.Limit > 0 {
		s.set.Limit = t.result.Limit
	}
	if h := t.result.Hold; h != (decay.Hold{}) {
		s.marks = []mark{{h.Start.Seconds(), decay.PhaseHold}, {h.End.Seconds(), decay.PhaseRelease}}
	}
	if t.older != nil && t.older.err == nil {
		s.before = t.older.past
	}
	return s
}

// drawFacts writes the numbers for a specialist.
func (m *book) drawFacts(g *grid, x, y, right, bottom int) {
	if right-x < 20 || bottom <= y {
		return
	}
	var rows []fact
	for _, f := range m.facts() {
		for i, part := range wrap(f.text, right-x) {
			if i > 0 {
				part = "  " + part
			}
			rows = append(rows, fact{part, f.st})
		}
	}
	n := bottom - y
	if len(rows) > n {
		n = max(1, n-1)
		pages := (len(rows) + n - 1) / n
		m.page = max(0, min(m.page, pages-1))
		words := fmt.Sprintf("page %d of %d, PgUp and PgDn", m.page+1, pages)
		if !m.detail {
			m.page, words = 0, "… d and PgDn show more"
		}
		if bottom-y > n {
			g.text(x, bottom-1, words, dim)
		}
		rows = rows[m.page*n:]
	}
	for i := range min(n, len(rows)) {
		g.text(x, y+i, rows[i].text, rows[i].st, right)
	}
}

// facts are the numbers for a specialist.
func (m *book) facts() []fact {
	t := m.test
	var out []fact
	add := func(name, text string) {
		if text != "" {
			out = append(out, fact{name + ": " + printed(text), plain})
		}
	}
	if !t.rec.When.IsZero() {
		add("begun", t.rec.When.Format("2006-01-02 15:04:05 -07:00"))
	}
	add("label", t.rec.Label)
	add("source", t.rec.Source)
	add("written by", t.rec.Program)
	if t.rec.Sum != "" {
		add("SHA-256", grouped(t.rec.Sum))
	}
	if t.rec.Unended {
		add("ended", "with pressure still in the duct")
	}
	for _, k := range t.rec.Marks {
		add("mark", report.Mark(k, t.rec.Result.Hold.Start, m.unit))
	}
	for _, c := range t.changes {
		add(c.Name+" as written", c.Was)
	}
	if t.rec.Torn && !t.measured {
		return out
	}
	r := t.result
	r.Samples = len(t.rec.Samples)
	var b strings.Builder
	// A strings.Builder takes everything.
	_ = report.Text(&b, report.Input{Result: r, Of: t.rec.Setup.Of}, m.unit)
	lines := strings.Split(strings.TrimSpace(b.String()), "\n")
	for _, l := range lines[1:] {
		name, text, _ := strings.Cut(strings.TrimSpace(l), "  ")
		out = append(out, fact{strings.TrimSpace(name) + ": " + strings.TrimSpace(text), plain})
	}
	return out
}

// printed is a text of a record on one line; the grid makes it harmless.
func printed(s string) string { return strings.Join(strings.Fields(s), " ") }

// grouped parts a digest, so that it can be read aloud and wrapped.
func grouped(s string) string {
	var out []string
	for len(s) > 16 {
		out, s = append(out, s[:16]), s[16:]
	}
	return strings.Join(append(out, s), " ")
}
