package tui

import (
	"context"
	"errors"
	"io"
	"math"
	"strconv"
	"time"

	tea "github.com/charmbracelet/bubbletea"

	"ebbline/decay"
	"ebbline/sensor"
	"ebbline/tui/chart"
)

const (
	tickEvery = 40 * time.Millisecond
	watchFast = 10 * time.Millisecond // how often the ceiling is watched
	lookEvery = 200 * time.Millisecond
	silence   = 2 * time.Second // without a reading, the sensor counts as lost
	bellEvery = time.Second     // while over the ceiling

	faultShown = 10 * time.Second // a fault that did not stop the readings
)

// tickMsg is the screen's only clock.
type tickMsg time.Time

// model joins the readings, the procedure and the scene.
type model struct {
	o      Options
	s      scene
	set    decay.Setup   // of the test under way
	huntAt time.Duration // when the hunt was opened last
	// A joint that was pressed, 0: none, and when that was told; it is kept back
	// for a while. Until trustAt a fault may still be in the rate.
	touchAt, touchTold, trustAt time.Duration

	proc *decay.NetProcedure
	pump *sensor.Pump
	term terminal
	w, h int
	pal  *[styles]string

	meter   meter
	items   []sensor.Item
	waited  []decay.Sample // on the start card: the latest readings
	looked  time.Time
	heard   time.Time // when the latest reading was drained
	at      time.Duration
	why     string // the source's own words for a lost sensor
	faults  sensor.Faults
	from    time.Duration // stamp of the test's first reading
	moment  string        // a fault that came and went
	faulted time.Time     // when it did
	now     time.Time     // of the latest tick
	ticked  time.Time     // when all was last brought up to date
	bells   []time.Time
	rang    time.Time // when the alarm last rang
	over    bool      // the test was finished
	gone    bool      // no more readings will come
	saved   bool
	result  decay.Result
	failure error // that ended the readings

	acknowledged bool           // the cautions were, in this session
	rigLeak      decay.Interval // of the fittings, when they were checked
	before       *past          // to be compared with, after a repair
	section      string         // that the test under way is of; "": none
	nextSection  string         // that the next test is of
	pinched      bool           // the simulated leak is
	said         string         // the answer to a key
	saidAt       time.Time
	asked        string // the key that has to be pressed again
	askedAt      time.Time
}

func newModel(o Options, term terminal) *model {
	m := &model{o: o, term: term, rigLeak: o.Setup.RigLeak}
	m.s = scene{
		unit: o.Unit, title: o.Title, ports: o.OtherPorts, bell: o.Bell,
		about: o.Source.About(), rig: o.Controls != nil, ascii: o.Look.ASCII,
	}
	if m.s.unit.Pascal <= 0 {
		m.s.unit = decay.PressureUnits[0]
	}
	m.waited = append(m.waited, o.Earlier...)
	m.startTest(o.Setup)
	if o.Before != nil {
		m.before = newPast(*o.Before)
		m.s.before = m.before
	}
	if o.Card {
		m.openCard(o.Setup)
		if m.before != nil {
			m.s.card.retest = m.before.words()
		}
	}
	return m
}

// startTest begins a test. The readings that came while the start card was
// shown belong to it: its zero is read from them.
func (m *model) startTest(set decay.Setup) {
	m.set, m.proc = set, decay.NewNetProcedure(set)
	m.over, m.saved, m.result, m.looked = false, false, decay.Result{}, time.Time{}
	m.from = m.at
	if len(m.waited) > 0 {
		m.from = m.waited[0].At
	}
	s := &m.s
	s.set, s.marks, s.saved, s.before = set.WithDefaults(), nil, "", nil
	m.section, m.nextSection = m.nextSection, ""
	s.section, s.auto = m.section, m.o.Auto
	// 2 400 columns of 25 ms hold the first minute at the best resolution
	// any screen can show; later minutes share them.
	s.trace = chart.NewColumns(2400, 0.025)
	if len(m.waited) > 0 {
		s.trace.DropBefore(m.waited[0].At.Seconds())
	}
	for _, r := range m.waited {
		m.proc.Step(decay.Taken{Sample: r})
		s.trace.Add(r.At.Seconds(), float64(m.proc.State().P))
	}
	m.waited = nil
	m.meter, s.clean = meter{}, decay.Result{}
	m.touchAt, m.trustAt = 0, 0
	s.wait = wait{}
	s.hunt, s.view = hunt{rates: chart.NewColumns(2400, 0.04), calm: math.NaN()}, viewRoom
	s.hunt.rates.DropBefore(max(0, s.trace.Start()))
	s.st = m.state()
	m.refreshKeys()
	m.proc.Step(m.faults.Event(m.at)) // a doubt that is on already stays on
}

// openCard shows the start card of a next test.
func (m *model) openCard(set decay.Setup) {
	c := newCard(m.s.title, set, m.s.unit)
	if m.o.CeilingFrom != "" {
		c.ceilingFrom = m.o.CeilingFrom
	}
	if m.o.LimitFrom != "" {
		c.limitFrom = m.o.LimitFrom
	}
	c.acknowledged = m.acknowledged
	c.rig, c.cd = m.rigLeak, set.WithDefaults().Cd
	m.s.card = &c
	// The test before is over: what comes now belongs to the next, and the
	// ceiling is watched all the time.
	m.proc, m.over, m.waited = decay.NewNetProcedure(set), false, nil
	m.s.st = m.state()
	m.refreshKeys()
}

func tick() tea.Cmd { return tea.Tick(tickEvery, func(t time.Time) tea.Msg { return tickMsg(t) }) }

// watch is the tick of a screen that watches a ceiling.
func watch() tea.Cmd { return tea.Tick(watchFast, func(t time.Time) tea.Msg { return tickMsg(t) }) }

// Init starts the clock.
func (m *model) Init() tea.Cmd { return watch() }

// Update takes a message.
func (m *model) Update(msg tea.Msg) (tea.Model, tea.Cmd) {
	switch msg := msg.(type) {
	case tea.WindowSizeMsg:
		m.w, m.h = msg.Width, msg.Height
	case tea.KeyMsg:
		return m, m.press(msg)
	case tickMsg:
		m.tick(time.Time(msg))
		return m, watch()
	}
	return m, nil
}

// View draws a frame of exactly the terminal's size.
func (m *model) View() string {
	if m.pal == nil {
		m.pal = m.o.Look.palette()
	}
	return m.s.draw(m.w, m.h).render(m.pal)
}

// alarmed reports whether the screen is the alarm's.
func (m *model) alarmed() bool { return m.s.st.OverCeiling }

// tick takes what has come, and every [tickEvery], or at once when the ceiling
// was passed, brings the scene up to date.
func (m *model) tick(now time.Time) {
	m.now = now
	if m.heard.IsZero() {
		m.heard = now
	}
	was := m.s.st.OverCeiling
	err := m.pump.Err() // before draining: what came ahead of the end is then drained too
	m.items = m.pump.Drain(m.items[:0])
	for _, it := range m.items {
		m.take(it, now)
	}
	passed := m.s.st.OverCeiling && !was
	if !passed && now.Sub(m.ticked) < tickEvery-watchFast/2 {
		m.sound()
		return
	}
	m.ticked = now
	if passed {
		m.looked = now // the alarm does not wait for an estimate
	}
	m.showFaults(now)
	if m.o.Trouble != nil {
		m.s.trouble = m.o.Trouble()
	}
	switch {
	case m.over, m.gone:
	case err != nil:
		m.ended(err)
	case now.Sub(m.heard) > silence:
		quiet := now.Sub(m.heard)
		why := m.why
		if why == "" {
			why = "nothing from " + m.s.about.Name + " for " + strconv.Itoa(int(quiet.Seconds())) + " s"
		}
		m.step(decay.Lost{At: m.at + quiet, Why: why})
	}
	if m.s.card != nil && now.Sub(m.looked) >= lookEvery {
		m.looked = now
		m.s.about = m.o.Source.About()
	}
	if m.s.card == nil && !m.over && now.Sub(m.looked) >= lookEvery {
		m.looked = now
		at := m.at
		if m.s.st.Lost {
			at = max(at, m.s.st.Now)
		}
		m.step(decay.Look{At: at})
		m.s.about = m.o.Source.About()
	}
	m.s.st = m.state()
	if m.s.card == nil && !m.over {
		m.s.wait.look(m.s.st)
		m.meterReading()
		m.noticeTouch()
	}
	if m.s.st.OverCeiling && !m.over && now.Sub(m.rang) >= bellEvery {
		m.rang = now
		m.ring(ringCeiling)
	}
	m.sound()
}

// take feeds one item to the test.
func (m *model) take(it sensor.Item, now time.Time) {
	if f := it.Fault; f != nil {
		m.takeFault(*f, now)
		return
	}
	if m.over {
		return
	}
	m.heard, m.at, m.why = now, it.Sample.At, ""
	m.step(decay.Taken{Sample: it.Sample})
	if it.Shut {
		m.step(decay.Shut{At: it.At})
	}
	if m.s.card != nil {
		m.wait(it.Sample)
		return
	}
	if m.faults.Doubtful() {
		return // it would be drawn as the duct's pressure
	}
	t := it.Sample.At.Seconds()
	m.s.trace.Add(t, float64(m.proc.State().P))
	m.meter.add(t, float64(m.proc.State().P))
	// Waiting for a fill may last for hours: only its last minute is kept, at
	// full resolution.
	if len(m.s.marks) == 0 && t-m.s.trace.Start() > 55 {
		m.s.trace.DropBefore(t - 30)
	}
}

// wait keeps a reading that came before the test.
func (m *model) wait(r decay.Sample) {
	m.waited = append(m.waited, r)
	if k := len(m.waited) / 2; k > 0 && r.At-m.waited[k].At > early {
		m.waited = m.waited[:copy(m.waited, m.waited[k:])]
	}
}

// step gives an event to the procedure and does what follows from it.
func (m *model) step(ev decay.Event) {
	for _, e := range m.proc.Step(ev) {
		switch e := e.(type) {
		case decay.PhaseChanged:
			m.mark(e)
		case decay.CeilingPassed:
			m.rang = time.Time{} // the next tick rings
		case decay.Estimated:
			if e.Result.HasFit && isolated(m.proc.State().Phase) {
				m.s.clean = e.Result
			}
		case decay.VerdictReached:
			if !m.faults.Doubtful() {
				m.ring(ringVerdict)
			}
		case decay.Finished:
			m.over = true
		}
	}
	m.s.st = m.state()
	if m.over || m.s.st.Phase == decay.PhaseOver {
		m.save()
	}
}

// mark notes a phase change for the picture. Only the last few are kept, and
// the first fill, from which time is counted.
func (m *model) mark(e decay.PhaseChanged) {
	if e.To == decay.PhaseReady {
		return
	}
	// Only a fill of an empty duct is a new question: a joint that is pressed may
	// look like any phase.
	if e.To == decay.PhaseFill && m.s.hunt.empty {
		m.s.clean = decay.Result{}
	}
	if n := len(m.s.marks); n >= 24 {
		m.s.marks = append(m.s.marks[:1], m.s.marks[2:]...)
	}
	m.s.marks = append(m.s.marks, mark{e.At.Seconds(), e.To})
	if e.To != decay.PhaseOver {
		m.ring(ringPhase)
	}
}

// saidShown is how long the answer to a key stands.
const saidShown = 5 * time.Second

// say answers a key by a line for a while.
func (m *model) say(text string) {
	m.said, m.saidAt, m.s.fault = text, m.now, text
}

// ended finishes the test when no more readings will come.
func (m *model) ended(err error) {
	m.failure, m.gone = err, true
	switch {
	case errors.Is(err, io.EOF):
		m.s.notice = "the readings have ended; q leaves"
		m.failure = nil
	case errors.Is(err, sensor.ErrClosed), errors.Is(err, context.Canceled):
		m.s.notice = "the source was closed; q leaves"
		m.failure = nil
	default:
		m.s.notice = "the readings have ended: " + err.Error() + "; q leaves"
	}
	m.finish()
}

// finish ends the test once. On the start card there is none.
func (m *model) finish() {
	if m.s.card != nil {
		return
	}
	if !m.over {
		m.touch()
		m.step(decay.Finish{At: max(m.at, m.s.st.Now)})
		if !m.over {
			m.over = true
		}
	}
	m.save()
}

// save hands the result out once.
func (m *model) save() {
	if m.saved {
		return
	}
	m.saved = true
	m.result = m.state().Result
	if m.o.Save == nil {
		return
	}
	path, err := m.o.Save(m.result)
	if err != nil {
		m.failure = errors.Join(m.failure, err)
		m.s.notice = "the record was not saved: " + err.Error()
		return
	}
	m.s.saved = path
}

// quit leaves the screen. The test is finished and saved by Run, once the
// reader has stopped, so that the record holds the last reading too.
func (m *model) quit() tea.Cmd { return tea.Quit }
