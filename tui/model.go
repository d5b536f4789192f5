package tui

import (
	"context"
	"errors"
	"io"
	"strconv"
	"time"

	tea "github.com/charmbracelet/bubbletea"

	"ebbline/decay"
	"ebbline/sensor"
	"ebbline/tui/chart"
)

const (
	tickEvery = 40 * time.Millisecond
	lookEvery = 200 * time.Millisecond
	silence   = 2 * time.Second // without a reading, the sensor counts as lost
	bellEvery = time.Second     // while over the ceiling

	faultShown = 10 * time.Second // a fault that did not stop the readings
)

// tickMsg is the screen's only clock.
type tickMsg time.Time

// model joins the readings, the procedure and the scene.
type model struct {
	o    Options
	s    scene
	proc *decay.Procedure
	pump *sensor.Pump
	term terminal
	w, h int
	pal  *[styles]string

	items   []sensor.Item
	looked  time.Time
	heard   time.Time // when the latest reading was drained
	at      time.Duration
	why     string    // the source's own words for a lost sensor
	faulted time.Time // when the fault shown came
	rang    time.Time
	over    bool // the test was finished
	saved   bool
	result  decay.Result
	failure error // that ended the readings
}

func newModel(o Options, term terminal) *model {
	set := o.Setup.WithDefaults()
	m := &model{o: o, term: term, proc: decay.NewProcedure(o.Setup)}
	m.s = scene{
		set: set, unit: o.Unit, title: o.Title, ports: o.OtherPorts, bell: o.Bell,
		about: o.Source.About(), rig: o.Controls != nil, ascii: o.Look.ASCII,
		// 2 400 columns of 25 ms hold the first minute at the best resolution
		// any screen can show; later minutes share them.
		trace: chart.NewColumns(2400, 0.025),
	}
	if m.s.unit.Pascal <= 0 {
		m.s.unit = decay.PressureUnits[0]
	}
	m.s.st = m.proc.State()
	m.refreshKeys()
	return m
}

func tick() tea.Cmd { return tea.Tick(tickEvery, func(t time.Time) tea.Msg { return tickMsg(t) }) }

// Init starts the clock.
func (m *model) Init() tea.Cmd { return tick() }

// Update takes a message.
func (m *model) Update(msg tea.Msg) (tea.Model, tea.Cmd) {
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
func (m *model) View() string {
	if m.pal == nil {
		m.pal = m.o.Look.palette()
	}
	return m.s.draw(m.w, m.h).render(m.pal)
}

// tick takes what has come and brings the scene up to date.
func (m *model) tick(now time.Time) {
	if m.heard.IsZero() {
		m.heard = now
	}
	err := m.pump.Err() // before draining: what came ahead of the end is then drained too
	m.items = m.pump.Drain(m.items[:0])
	for _, it := range m.items {
		m.take(it, now)
	}
	if m.s.fault != "" && now.Sub(m.faulted) > faultShown {
		m.s.fault = ""
	}
	switch {
	case m.over:
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
	if !m.over && now.Sub(m.looked) >= lookEvery {
		m.looked = now
		at := m.at
		if m.s.st.Lost {
			at = max(at, m.s.st.Now)
		}
		m.step(decay.Look{At: at})
		m.s.about = m.o.Source.About()
	}
	m.s.st = m.proc.State()
	if m.s.st.OverCeiling && !m.over && now.Sub(m.rang) >= bellEvery {
		m.ring(now)
	}
}

// take feeds one item to the test.
func (m *model) take(it sensor.Item, now time.Time) {
	if m.over {
		return
	}
	if f := it.Fault; f != nil {
		text := f.Text
		if f.Hint != "" {
			text += "; " + f.Hint
		}
		m.at = max(m.at, f.At)
		switch f.Code {
		case "silent", "unplugged", "reader-failed", sensor.FaultUncalibrated:
			m.why = text
			m.heard = now.Add(-silence)
			m.step(decay.Lost{At: m.at, Why: text})
		default:
			m.s.fault, m.faulted = text, now
		}
		return
	}
	m.heard, m.at, m.why = now, it.Sample.At, ""
	m.step(decay.Taken{Sample: it.Sample})
	t := it.Sample.At.Seconds()
	m.s.trace.Add(t, float64(m.proc.State().P))
	// Waiting for a fill may last for hours: only its last minute is kept, at
	// full resolution.
	if len(m.s.marks) == 0 && t-m.s.trace.Start() > 55 {
		m.s.trace.DropBefore(t - 30)
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
		case decay.VerdictReached:
			if m.s.bell {
				m.term.bell()
			}
		case decay.Finished:
			m.result, m.over = e.Result, true
		}
	}
	m.s.st = m.proc.State()
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
	if n := len(m.s.marks); n >= 24 {
		m.s.marks = append(m.s.marks[:1], m.s.marks[2:]...)
	}
	m.s.marks = append(m.s.marks, mark{e.At.Seconds(), e.To})
}

// ended finishes the test when no more readings will come.
func (m *model) ended(err error) {
	m.failure = err
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

// finish ends the test once.
func (m *model) finish() {
	if !m.over {
		m.step(decay.Finish{At: max(m.at, m.s.st.Now)})
		if !m.over {
			m.over, m.result = true, m.proc.State().Result
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
	if m.o.Save == nil {
		return
	}
	if !m.over {
		m.result = m.s.st.Result
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

func (m *model) ring(now time.Time) {
	m.rang = now
	if m.s.bell {
		m.term.bell()
	}
}
