package tui

import (
	"errors"
	"io"
	"math"
	"math/rand/v2"
	"slices"
	"strconv"
	"strings"
	"time"

	tea "github.com/charmbracelet/bubbletea"

	"ebbline/decay"
	"ebbline/decay/report"
	"ebbline/sensor"
)

// lesson is the trainer's screen: up to six traces over one another, and the
// one under way. On the simulated rig a tick lets simulated time go by; on
// real hardware it takes what the pump has read.
type lesson struct {
	o      LessonOptions
	set    decay.Setup // with defaults
	term   terminal
	pump   *sensor.Pump // nil on the simulated rig
	faults sensor.Faults
	rng    *rand.Rand
	w, h   int
	pal    *[styles]string

	unit    decay.PressureUnit
	seep    bool // settings of the next trace
	slow    bool
	small   bool
	high    int // index into altitudes
	speed   int // index into speeds
	paused  bool
	bell    bool
	help    bool
	table   bool
	within  bool   // the number keys change the hole of the trace under way
	trouble string // why the test under way is not being kept
	notice  string
	noticed string    // the notice that was there at the latest tick
	since   time.Time // and since when
	failure error

	traces []*lessonTrace // in the picture, oldest first
	run    *lessonRun     // of the simulated rig: the latest trace, even when it is complete
	cur    *lessonTrace   // the latest trace, in the picture or not
	proc   *decay.Procedure

	entry  *typing   // a line being typed
	ask    *question // waits for y or n
	round  *round    // the latest guessing round
	rounds []string  // what the rounds came to, for the summary

	last   time.Time // of the latest tick
	looked time.Time
	heard  time.Time // when real hardware was last heard
	at     time.Duration
	why    string
	rang   time.Time
	items  []sensor.Item
	ended  bool // no more readings will come
}

// speeds of simulated time.
var speeds = [...]int{1, 4, 10}

// typing is a line being typed at the foot of the screen.
type typing struct {
	entry
	what entryKind
}

type entryKind int

// lateRelease is by how much a release is recognised late, s.
const lateRelease = 0.5

const (
	entryGuess entryKind = iota // into a guessing round
	entryJet                    // the size of a real jet
	entryTruth                  // the size of the hidden real jet, for the reveal
)

// question waits for a y or an n.
type question struct {
	text   string
	yes    func(*lesson) tea.Cmd
	unread bool // another key was pressed
}

func newLesson(o LessonOptions, term terminal) *lesson {
	m := &lesson{
		o: o, set: o.Setup.WithDefaults(), term: term, unit: o.Unit, bell: o.Bell,
		rng: rand.New(rand.NewPCG(o.Seed, 0x6c6573)),
	}
	if o.Source != nil {
		m.proc = decay.NewProcedure(o.Setup)
		m.notice = report.Unseen(o.Setup, m.unit)
	}
	return m
}

func (m *lesson) real() bool { return m.o.Source != nil }

// Init starts the clock.
func (m *lesson) Init() tea.Cmd { return tick() }

// Update takes a message.
func (m *lesson) Update(msg tea.Msg) (tea.Model, tea.Cmd) {
	switch msg := msg.(type) {
	case tea.WindowSizeMsg:
		m.w, m.h = msg.Width, msg.Height
	case tea.KeyMsg:
		return m, m.press(msg)
	case tickMsg:
		m.tick(time.Time(msg))
		return m, tick()
	}
	return m, nil
}

// View draws a frame of exactly the terminal's size.
func (m *lesson) View() string {
	if m.pal == nil {
		m.pal = m.o.Look.palette()
	}
	return m.draw(m.w, m.h).render(m.pal)
}

// tick brings the lesson up to the time now.
func (m *lesson) tick(now time.Time) {
	if m.last.IsZero() {
		m.last, m.heard = now, now
	}
	gone := now.Sub(m.last)
	m.last = now
	if m.o.Trouble != nil {
		m.trouble = m.o.Trouble()
	}
	if m.real() {
		m.listen(now)
	} else if m.run != nil && !m.paused {
		// A machine that slept does not rush through what it slept over.
		m.run.advance(min(gone, 5*tickEvery) * time.Duration(speeds[m.speed]))
		m.followRun()
	}
	if now.Sub(m.looked) >= lookEvery {
		m.looked = now
		m.look()
	}
	if m.notice != m.noticed {
		m.noticed, m.since = m.notice, now
	} else if now.Sub(m.since) > faultShown {
		m.notice = ""
	}
	if st := m.state(); st.OverCeiling && now.Sub(m.rang) >= bellEvery {
		m.rang = now
		m.ring()
	}
}

func (m *lesson) ring() {
	if m.bell {
		m.term.bell()
	}
}

// state is that of the latest test.
func (m *lesson) state() decay.State {
	switch {
	case m.real():
		return m.faults.Live(m.proc.State(), 0)
	case m.run != nil:
		st := m.run.proc.State()
		st.P = m.run.p // as read: the simulated sensor has no zero error
		return st
	}
	return decay.State{Slope: math.NaN()}
}

// look renews the estimate of the trace under way.
func (m *lesson) look() {
	if m.real() {
		m.step(decay.Look{At: m.at})
		return
	}
	if m.cur == nil || !m.cur.running() || m.paused {
		return
	}
	// As often as in life: a fit is spread over several looks.
	for range speeds[m.speed] {
		m.run.proc.Step(decay.Look{At: m.run.now})
	}
	m.cur.result = m.run.proc.State().Result
}

// followRun puts the trace into the picture once it is isolated, and ends it
// when its time is up.
func (m *lesson) followRun() {
	r := m.run
	if r.err != nil {
		m.notice, r.err = r.err.Error(), nil
	}
	if !math.IsNaN(r.tr.iso) && m.cur == r.tr && m.index(r.tr) < 0 {
		m.show(r.tr)
	}
	if r.stage == decay.PhaseOver && r.tr.running() {
		m.finishTrace()
	}
}

// show puts a trace into the picture with the first letter that is free.
func (m *lesson) show(t *lessonTrace) {
	var used [maxTraces]bool
	for _, x := range m.traces {
		used[x.slot] = true
	}
	for used[t.slot] {
		t.slot++
	}
	m.traces = append(m.traces, t)
}

// finishTrace ends the trace under way and keeps what the estimate made of
// the whole of it.
func (m *lesson) finishTrace() {
	t := m.cur
	if t == nil || !t.running() {
		return
	}
	t.end, _ = t.cols.Last()
	if !m.real() {
		m.run.proc.Step(decay.Finish{At: m.run.now})
		if !math.IsNaN(t.iso) {
			t.result = m.run.proc.State().Result
		}
	}
}

// start makes a new simulated trace with a hole, as soon as there is room.
func (m *lesson) start(size decay.Length, hidden bool) {
	if len(m.traces) >= maxTraces {
		m.makeRoom(func(m *lesson) tea.Cmd { m.start(size, hidden); return nil })
		return
	}
	gaveWay := ""
	if t := m.cur; t != nil && t.running() && math.IsNaN(t.iso) && m.run != nil {
		gaveWay = "the trace of " + lessonSize(t.size) + " gave way, for its valve was not shut yet; press its number again later"
	}
	m.finishTrace()
	d := Duct{
		Hole: size, Seep: m.seep, Volume: m.volume(), Ambient: m.o.ambientAt(m.high),
		Temperature: m.set.AmbientTemperature, Supply: m.o.Supply,
	}
	r, err := m.o.NewRig(d)
	if err != nil {
		m.notice = err.Error()
		return
	}
	t := newLessonTrace()
	t.size, t.named, t.hidden, t.duct, t.slow, t.high, t.sim = size, true, hidden, d, m.slow, m.high, true
	set := m.o.Setup
	set.Volume, set.Ambient = d.Volume, d.Ambient
	m.run = &lessonRun{rig: r, tr: t, proc: decay.NewProcedure(set), hold: m.o.Hold}
	m.cur = t
	m.paused, m.notice = false, gaveWay
	if m.round != nil && m.round.tr != t && !hidden {
		m.round = nil
	}
	if hidden {
		m.round = &round{tr: t}
		m.entry = &typing{what: entryGuess}
	}
}

// makeRoom asks before the oldest of six traces goes.
func (m *lesson) makeRoom(then func(*lesson) tea.Cmd) {
	m.ask = &question{
		text: strconv.Itoa(maxTraces) + " traces are in the picture. Take away " + labels(m.traces)[0] + ", the oldest?",
		yes: func(m *lesson) tea.Cmd {
			m.traces = m.traces[1:]
			return then(m)
		},
	}
}

// volume is that of the next simulated trace.
func (m *lesson) volume() decay.Volume {
	if m.small {
		return m.o.Setup.Volume * smallShare
	}
	return m.o.Setup.Volume
}

// size takes the key of a size: on the simulated rig a new trace, on real
// hardware the name of the jet in the latest one.
func (m *lesson) size(i int) {
	if i >= len(m.o.Sizes) {
		m.notice = "there is no size " + strconv.Itoa(i+1) + " in the list"
		return
	}
	if m.real() {
		m.nameJet(m.o.Sizes[i])
		return
	}
	if m.within {
		m.change(m.o.Sizes[i])
		return
	}
	m.start(m.o.Sizes[i], false)
}

// change gives the simulated trace under way another hole: its line bends.
func (m *lesson) change(size decay.Length) {
	t := m.cur
	if t == nil || !t.running() || math.IsNaN(t.iso) {
		m.notice = "no trace is under way: n makes the numbers start one"
		return
	}
	if t.size == size {
		return
	}
	d := t.duct
	d.Hole = size
	if err := d.setLeak(m.run.rig); err != nil {
		m.notice = err.Error()
		return
	}
	t.was, t.size, t.duct = append(t.was, t.size), size, d
	m.run.reads = 0 // the fall of another hole tells nothing of this one
	m.notice = "at " + clock(t.seconds()) + " the hole was changed to " + lessonSize(size) + ": see the line bend"
}

// nameJet gives the latest trace of real hardware its size.
func (m *lesson) nameJet(d decay.Length) {
	switch {
	case m.cur == nil || math.IsNaN(m.cur.iso):
		m.notice = "no trace yet: fill, isolate, and then say which jet it was"
	case m.cur.hidden:
		m.notice = "this jet is hidden: end the guessing round first"
	default:
		m.cur.size, m.cur.named = d, true
		m.notice = "the latest trace is named " + lessonSize(d)
	}
}

// startRound starts a guessing round.
func (m *lesson) startRound() {
	if !m.real() {
		m.start(hide(m.rng.Float64()), true)
		return
	}
	m.round = &round{}
	m.entry = &typing{what: entryGuess}
	m.notice = "fit the hidden jet, fill and isolate; the next hold is the hidden one"
	if m.cur != nil && m.cur.running() && !m.cur.named && !math.IsNaN(m.cur.iso) {
		m.hideIn(m.cur)
		m.notice = ""
	}
}

func (m *lesson) hideIn(t *lessonTrace) { m.round.tr, t.hidden = t, true }

// enter takes the typed line.
func (m *lesson) enter() {
	e := m.entry
	text := strings.TrimSpace(e.text)
	switch {
	case text == "" && e.what == entryGuess:
		m.reveal()
		return
	case text == "" && e.what == entryTruth:
		m.tell(0, false)
		return
	case text == "":
		m.entry = nil
		return
	}
	g, err := parseGuess(text)
	if err != nil {
		m.notice = err.Error()
		if e.what == entryGuess { // Enter alone reveals again
			m.notice, e.text = strconv.Quote(text)+" is no guess: "+m.notice, ""
		}
		return
	}
	e.text, m.notice = "", ""
	switch e.what {
	case entryGuess:
		if len(m.round.guesses) >= maxGuesses {
			m.notice = strconv.Itoa(maxGuesses) + " guesses are enough: Enter alone reveals"
			return
		}
		m.round.add(g)
	case entryJet:
		m.entry = nil
		m.nameJet(g.size)
	case entryTruth:
		m.tell(g.size, true)
	}
}

// reveal ends the guessing. The hidden jet of real hardware has to be told by
// the trainer first.
func (m *lesson) reveal() {
	switch {
	case m.round.tr == nil || math.IsNaN(m.round.tr.iso):
		m.notice = "wait: the duct is not isolated yet"
	case m.real():
		m.entry = &typing{what: entryTruth}
	default:
		m.tell(m.round.tr.size, true)
	}
}

// tell shows the truth, if known, beside what the estimate says now.
func (m *lesson) tell(size decay.Length, known bool) {
	m.entry = nil
	m.look()
	r := m.round
	r.revealed, r.told, r.said = true, known, r.tr.said()
	r.tr.hidden = false
	r.tr.size, r.tr.named, r.truth = size, known, size
	m.rounds = append(m.rounds, r.verdict())
	m.ring()
}

// listen takes what real hardware has sent.
func (m *lesson) listen(now time.Time) {
	err := m.pump.Err() // before draining: what came ahead of the end is then drained too
	m.items = m.pump.Drain(m.items[:0])
	for _, it := range m.items {
		m.take(it, now)
	}
	switch {
	case m.ended:
	case err != nil:
		m.ended = true
		switch {
		case errors.Is(err, io.EOF), errors.Is(err, sensor.ErrClosed):
			m.notice = "the readings have ended"
		default:
			m.failure = err
			m.notice = "the readings have ended: " + err.Error()
		}
		m.step(decay.Lost{At: m.at, Why: m.notice})
	case now.Sub(m.heard) > silence:
		why := m.why
		if why == "" {
			why = "nothing from " + m.o.Source.About().Name + " for " + strconv.Itoa(int(now.Sub(m.heard).Seconds())) + " s"
		}
		m.step(decay.Lost{At: m.at, Why: why})
	}
}

// take feeds one item of real hardware to the test.
func (m *lesson) take(it sensor.Item, now time.Time) {
	if f := it.Fault; f != nil {
		m.at = max(m.at, f.At)
		m.faults.Take(*f)
		m.step(m.faults.Event(m.at))
		text := f.Text
		if f.Hint != "" {
			text += "; " + f.Hint
		}
		m.notice = text
		switch {
		case f.State == sensor.Ends:
		case f.Lost():
			m.why, m.heard = text, now.Add(-silence)
			m.step(decay.Lost{At: m.at, Why: text})
		}
		return
	}
	m.heard, m.at, m.why = now, it.Sample.At, ""
	m.step(decay.Taken{Sample: it.Sample})
	if m.cur == nil || !m.cur.running() {
		m.cur = newLessonTrace()
	}
	if m.faults.Doubtful() {
		return
	}
	t := it.Sample.At.Seconds()
	m.cur.cols.Add(t, float64(m.proc.State().P))
	// Waiting for a fill may last for hours.
	if math.IsNaN(m.cur.iso) && t-m.cur.cols.Start() > 300 {
		m.cur.cols.DropBefore(t - 120)
	}
}

// step gives an event of real hardware to the procedure. Each hold becomes one
// trace.
func (m *lesson) step(ev decay.Event) {
	for _, e := range m.proc.Step(ev) {
		switch e := e.(type) {
		case decay.CeilingPassed:
			m.rang = time.Time{} // the next tick rings
		case decay.PhaseChanged:
			if e.To == decay.PhaseFill && m.round != nil && m.round.revealed {
				m.round = nil // a new fill has its own sentences
			}
			if (e.To.Emptied() || e.To == decay.PhaseFill) && m.cur != nil && !math.IsNaN(m.cur.iso) && m.cur.running() {
				// The release is recognised a moment after it began.
				m.cur.end = math.Max(m.cur.iso, e.At.Seconds()-lateRelease)
			}
		}
	}
	st := m.proc.State()
	if isolated(st.Phase) && m.cur != nil && m.cur.running() {
		m.isolate(st)
	}
	// The next fill is a test of its own, with its own zero.
	if st.Phase.Emptied() && st.Advice == decay.AdviseDone {
		m.save(true)
		m.proc = decay.NewProcedure(m.o.Setup)
	}
}

// save hands the test of real hardware out.
func (m *lesson) save(more bool) {
	if m.o.Save == nil {
		return
	}
	var r *decay.Result
	if m.proc.State().Phase != decay.PhaseReady {
		m.proc.Step(decay.Finish{At: m.at})
		whole := m.proc.State().Result
		r = &whole
	}
	if err := m.o.Save(r, more); err != nil {
		m.failure = errors.Join(m.failure, err)
		m.notice = "the record was not saved: " + err.Error()
	}
}

// finish ends the lesson.
func (m *lesson) finish() {
	m.finishTrace()
	if m.real() {
		m.save(false)
	}
}

// isolate brings the real trace under way into the picture, or asks for room.
func (m *lesson) isolate(st decay.State) {
	t := m.cur
	first := math.IsNaN(t.iso)
	t.iso = st.PhaseSince.Seconds() // placed better as the hold grows
	t.result = st.Result
	if !first {
		return
	}
	if m.round != nil && !m.round.revealed && m.round.tr == nil {
		m.hideIn(t)
		m.notice = ""
	}
	if len(m.traces) >= maxTraces {
		m.makeRoom(func(m *lesson) tea.Cmd { m.show(t); return nil })
		return
	}
	m.show(t)
}

// byLetter are the traces in the picture in the order of their letters.
func (m *lesson) byLetter() []*lessonTrace {
	out := slices.Clone(m.traces)
	slices.SortFunc(out, func(a, b *lessonTrace) int { return a.slot - b.slot })
	return out
}

// summary is what the lesson showed, for the terminal it leaves behind.
func (m *lesson) summary() []string {
	var out []string
	for _, t := range m.byLetter() {
		line := labels(m.traces)[m.index(t)] + ": watched for " + clock(t.seconds())
		if said := t.estimate(); said != "" {
			line += ", estimate " + said
		} else if why := t.noEstimate(); why != "" {
			line += ", " + why
		}
		out = append(out, line)
	}
	for _, r := range m.rounds {
		out = append(out, "guessing round: "+r)
	}
	return out
}
