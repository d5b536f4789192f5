package tui

import (
	"context"
	"errors"
	"fmt"
	"io"
	"strconv"
	"strings"
	"time"

	tea "github.com/charmbracelet/bubbletea"

	"ebbline/decay"
	"ebbline/sensor"
	"ebbline/tui/chart"
)

// Part is what is tested at the counter.
type Part struct {
	Label           string
	Bore, Length    decay.Length // 0: not known, or no hose
	Volume          decay.Volume
	VolumeTolerance float64      // relative, 95 %
	Limit           decay.Length // 0: the bench's
}

// Size is the part's bore and length in words, "" when they are not known.
func (p Part) Size() string {
	if p.Bore <= 0 || p.Length <= 0 {
		return ""
	}
	n := func(l decay.Length) string { return strconv.FormatFloat(float64(l)/decay.Millimetre, 'g', 4, 64) }
	return "bore " + n(p.Bore) + " mm, length " + n(p.Length) + " mm"
}

// Tally counts the tests of a day.
type Tally struct {
	Holds, Leaks, Undecided int
	NeverBuilt              int
	Other                   int // no hold, unusable
}

// Add counts one outcome.
func (t *Tally) Add(o decay.Outcome) {
	switch o {
	case decay.Holds:
		t.Holds++
	case decay.Leaks:
		t.Leaks++
	case decay.Undecided:
		t.Undecided++
	case decay.NeverBuilt:
		t.NeverBuilt++
	default:
		t.Other++
	}
}

// String is the tally in words.
func (t Tally) String() string {
	s := fmt.Sprintf("today: holds %d, leaks %d, undecided %d", t.Holds, t.Leaks, t.Undecided)
	if t.NeverBuilt > 0 {
		s += fmt.Sprintf(", never built %d", t.NeverBuilt)
	}
	if t.Other > 0 {
		s += fmt.Sprintf(", no answer %d", t.Other)
	}
	return s
}

// CounterTest is one test under way at the counter.
type CounterTest struct {
	Setup decay.Setup   // of this part
	From  time.Duration // readings up to here came before the test; the rest count from here
	// Save ends the test's record and writes the slip, of which there is none
	// when no air came: nothing was tested.
	Save func(run *CounterRun, u decay.PressureUnit) (Kept, error)
}

// Kept is what is left of a test.
type Kept struct {
	Slip       []string // lines
	SlipPath   string
	RecordPath string
}

// CounterOptions is what the counter's screen is given. Source, Begin and Find
// are required.
type CounterOptions struct {
	Source sensor.Source // stays open from customer to customer
	OnItem func(sensor.Item)
	Begin  func(Part) (CounterTest, error)
	Find   func(text string) (Part, error) // a part by its label or its size
	Parts  []Part                          // the shop's list, for completion
	Part   string                          // typed already
	Tally  func() (Tally, error)           // of today, from what is stored; may be nil
	Setup  decay.Setup                     // ceiling and limit while no test is on
	// Trouble says why the test under way is not being kept, "" while it is; it is
	// asked all the time, and may be nil.
	Trouble func() string
	Unit    decay.PressureUnit // shown at first; zero: psi
	Bell    bool

	FPS    int       // frames a second written at most; 0: 30
	Input  io.Reader // nil: the terminal
	Output io.Writer // nil: standard output
	Look   Look
}

// stage is where the clerk is.
type stage uint8

const (
	choosing  stage = 1 << iota // which part
	cautioned                   // the cautions, once
	underTest
	answered // the result and the slip
)

// tallyMsg brings what the store counted.
type tallyMsg struct {
	t   Tally
	err error
}

// counter is the counter's screen.
type counter struct {
	o      CounterOptions
	term   terminal
	pump   *sensor.Pump
	faults sensor.Faults
	w, h   int
	pal    *[styles]string
	s      scene // the test under way, or the pressure alone

	stage    stage
	entered  time.Time // when the stage began
	field    []rune
	burst    []rune    // letters that came together, whose meaning is open still
	burstAt  time.Time // when the latest of them came
	pick     int       // of the offers, -1: none
	offers   []Part
	part     Part
	warned   bool // the cautions were acknowledged
	insisted bool // the part is open, whatever the pressure says
	leaving  bool // Esc once more leaves
	problem  string
	full     bool // the slip takes the whole screen
	top      int  // first line of the slip shown
	tally    Tally
	counted  bool

	test    CounterTest
	run     *CounterRun
	kept    Kept
	unsaved error
	trouble string // why the test under way is not being kept
	failure error

	items   []sensor.Item
	faulted time.Time // when the fault shown came
	lasting bool      // and that it lasts until the source says so
	bells   bells
	now     time.Time // of the latest tick
	looked  time.Time
	ticked  time.Time // when all was last brought up to date
	heard   time.Time
	at      time.Duration // of the latest reading, in the test's time
	from    time.Duration
	why     string
	rang    time.Time
}

func newCounter(o CounterOptions, term terminal) *counter {
	m := &counter{o: o, term: term, stage: choosing, pick: -1}
	m.s = scene{set: o.Setup.WithDefaults(), unit: o.Unit, bell: o.Bell, about: o.Source.About(), ascii: o.Look.ASCII}
	if m.s.unit.Pascal <= 0 {
		m.s.unit = decay.PressureUnits[0]
	}
	m.watch(o.Setup)
	m.field = []rune(o.Part)
	m.offer()
	return m
}

// watch starts to follow readings anew.
func (m *counter) watch(set decay.Setup) {
	m.run = NewCounterRun(set)
	if f, on := m.faults.Worst(); on { // it lasts from before the test
		f.At = 0
		m.run.Fault(f)
	}
	m.s.set = set.WithDefaults()
	m.s.trace = chart.NewColumns(2400, 0.025)
	m.s.marks = nil
	m.s.st = m.run.State()
	m.at, m.why = 0, ""
}

// Init starts the clock and counts the day.
func (m *counter) Init() tea.Cmd { return tea.Batch(watch(), m.count()) }

func (m *counter) count() tea.Cmd {
	if m.o.Tally == nil {
		return nil
	}
	return func() tea.Msg {
		t, err := m.o.Tally()
		return tallyMsg{t, err}
	}
}

// Update takes a message.
func (m *counter) Update(msg tea.Msg) (tea.Model, tea.Cmd) {
	switch msg := msg.(type) {
	case tea.WindowSizeMsg:
		m.w, m.h = msg.Width, msg.Height
	case tea.KeyMsg:
		return m, m.press(msg)
	case tallyMsg:
		if msg.err != nil {
			m.problem = "the day was not counted: " + msg.err.Error()
			break
		}
		m.tally, m.counted = msg.t, true
	case tickMsg:
		return m, tea.Batch(watch(), m.tick(time.Time(msg)))
	}
	return m, nil
}

// View draws a frame of exactly the terminal's size.
func (m *counter) View() string {
	if m.pal == nil {
		m.pal = m.o.Look.palette()
	}
	return m.draw(m.w, m.h).render(m.pal)
}

// alarmed reports whether the screen is the alarm's.
func (m *counter) alarmed() bool { return m.s.st.OverCeiling }

// tick takes what has come, and every [tickEvery], or at once when the ceiling
// was passed, brings the screen up to date.
func (m *counter) tick(now time.Time) tea.Cmd {
	m.now = now
	if m.heard.IsZero() {
		m.heard = now
	}
	if m.o.Trouble != nil {
		m.trouble = m.o.Trouble()
	}
	var cmd tea.Cmd
	if len(m.burst) > 0 && now.Sub(m.burstAt) >= burst {
		cmd = m.endBurst()
	}
	was := m.s.st.OverCeiling
	err := m.pump.Err()
	m.items = m.pump.Drain(m.items[:0])
	for _, it := range m.items {
		m.take(it, now)
	}
	passed := m.s.st.OverCeiling && !was
	if !passed && now.Sub(m.ticked) < tickEvery-watchFast/2 {
		m.bells.sound(now, m.s.bell, m.term)
		return cmd
	}
	m.ticked = now
	if passed {
		m.looked = now // the alarm does not wait for an estimate
	}
	switch quiet := now.Sub(m.heard); {
	case err != nil && m.failure == nil:
		m.failure = err
		if errors.Is(err, io.EOF) || errors.Is(err, sensor.ErrClosed) {
			m.failure = errors.New("the readings have ended")
		}
		m.step(decay.Lost{At: m.at, Why: m.failure.Error()})
		cmd = tea.Batch(cmd, m.settle())
	case m.failure != nil || quiet > silence:
		why := m.why
		switch {
		case m.failure != nil:
			why = m.failure.Error()
		case why == "":
			why = "nothing from " + m.s.about.Name + " for " + strconv.Itoa(int(quiet.Seconds())) + " s"
		}
		m.step(decay.Lost{At: m.at + quiet, Why: why})
		cmd = tea.Batch(cmd, m.settle())
	}
	if m.s.fault != "" && !m.lasting && now.Sub(m.faulted) > faultShown {
		m.s.fault = ""
	}
	if now.Sub(m.looked) >= lookEvery {
		m.looked = now
		m.step(decay.Look{At: m.s.st.Now})
		m.s.about = m.o.Source.About()
		cmd = tea.Batch(cmd, m.settle())
	}
	if m.s.st.OverCeiling && now.Sub(m.rang) >= bellEvery {
		m.rang = now
		m.bells.ring(ringCeiling, now)
	}
	m.bells.sound(now, m.s.bell, m.term)
	return cmd
}

func (m *counter) take(it sensor.Item, now time.Time) {
	if f := it.Fault; f != nil {
		m.faults.Take(*f)
		at := *f
		at.At -= m.from
		m.effects(m.run.Fault(at))
		text := f.Text
		if f.Hint != "" {
			text += "; " + f.Hint
		}
		switch {
		case f.State == sensor.Ends:
			m.s.fault = ""
		case f.Lost():
			m.why, m.heard = text, now.Add(-silence)
		default:
			m.s.fault, m.faulted, m.lasting = text, now, f.State == sensor.Begins
		}
		return
	}
	if m.from > 0 && it.At <= m.from {
		return
	}
	s := it.Sample
	s.At -= m.from
	m.heard, m.at, m.why = now, s.At, ""
	m.step(decay.Taken{Sample: s})
	if it.Shut {
		m.step(decay.Shut{At: s.At})
	}
	if m.stage == underTest && !m.faults.Doubtful() {
		t := s.At.Seconds()
		m.s.trace.Add(t, float64(m.s.st.P))
		if len(m.s.marks) == 0 && t-m.s.trace.Start() > 55 {
			m.s.trace.DropBefore(t - 30)
		}
	}
}

// step gives an event to the test and does what follows from it.
func (m *counter) step(ev decay.Event) { m.effects(m.run.Step(ev)) }

func (m *counter) effects(out []decay.Effect) {
	for _, e := range out {
		switch e := e.(type) {
		case decay.PhaseChanged:
			if e.To != decay.PhaseReady && e.To != decay.PhaseOver && m.stage == underTest && len(m.s.marks) < 24 {
				m.s.marks = append(m.s.marks, mark{e.At.Seconds(), e.To})
				m.bells.ring(ringPhase, m.now)
			}
		case decay.CeilingPassed:
			m.rang = time.Time{}
		}
	}
	m.s.st = m.run.State()
}

// settle ends the test once its run is over.
func (m *counter) settle() tea.Cmd {
	if m.stage != underTest || !m.run.Over() {
		return nil
	}
	m.turn(answered)
	m.problem = "" // it was of the time before
	m.save()
	m.bells.ring(ringVerdict, m.now)
	return m.count()
}

// save keeps the test that is over, once.
func (m *counter) save() {
	if m.test.Save == nil {
		return
	}
	m.kept, m.unsaved = m.test.Save(m.run, m.s.unit)
	m.test.Save = nil
	if m.unsaved != nil {
		m.failure = errors.Join(m.failure, m.unsaved)
	}
}

// begin starts the test of the part that was chosen.
func (m *counter) begin() {
	if m.pressed() && !m.insisted && !m.s.about.Simulated { // each simulated part is another one
		// The air of the part before would be judged as this one's.
		m.turn(choosing)
		m.insisted = true
		m.problem = "still under pressure: let the air out first; if the part is open, Enter again"
		return
	}
	m.insisted = false
	t, err := m.o.Begin(m.part)
	if err != nil {
		m.turn(choosing)
		m.problem = err.Error()
		return
	}
	m.test, m.from = t, t.From
	m.watch(t.Setup)
	m.turn(underTest)
	m.problem, m.s.fault, m.kept, m.unsaved = "", "", Kept{}, nil
	m.full, m.top = false, 0
}

// turn goes to a stage.
func (m *counter) turn(s stage) { m.stage, m.entered = s, m.now }

// next turns to the next customer.
func (m *counter) next() {
	m.turn(choosing)
	m.field, m.problem, m.leaving, m.insisted = nil, "", false, false
	m.offer()
}

// stop ends the test by hand; what came is kept.
func (m *counter) stop() tea.Cmd {
	began := m.run.Began()
	m.run.Stop()
	m.s.st = m.run.State()
	cmd := m.settle()
	if !began {
		path := m.kept.RecordPath
		m.next()
		m.problem = "no fill, so no slip; the readings are kept in " + path
	}
	return cmd
}

// choose takes what was typed or picked.
func (m *counter) choose() {
	m.leaving = false
	text := strings.TrimSpace(string(m.field))
	if m.pick >= 0 && m.pick < len(m.offers) {
		text = m.offers[m.pick].Label
	}
	if text == "" {
		m.problem = "type the part first"
		return
	}
	p, err := m.o.Find(text)
	if err != nil {
		if len(m.offers) == 1 { // what was typed names one part alone
			p = m.offers[0]
		} else {
			m.problem = err.Error()
			if len(m.offers) > 1 {
				m.problem = "more than one part has these letters: choose with the down key"
			}
			return
		}
	}
	m.part, m.problem = p, ""
	if !m.warned {
		m.turn(cautioned)
		return
	}
	m.begin()
}

// offer lists the parts that what was typed may mean: those that begin with
// it, then those that hold it.
func (m *counter) offer() {
	text := strings.ToLower(strings.TrimSpace(string(m.field)))
	m.offers, m.pick = m.offers[:0], -1
	for _, begins := range []bool{true, false} {
		for _, p := range m.o.Parts {
			l := strings.ToLower(p.Label)
			if strings.HasPrefix(l, text) == begins && strings.Contains(l, text) {
				m.offers = append(m.offers, p)
			}
		}
	}
}

// RunCounter shows the counter's screen until the clerk leaves, ctx ends or
// the program is told to stop. A test under way is ended and kept, however the
// screen ends. It closes the source.
func RunCounter(ctx context.Context, o CounterOptions) error {
	if o.Source == nil || o.Begin == nil || o.Find == nil {
		return errors.New("tui: the counter needs a source, Begin and Find")
	}
	if o.FPS <= 0 {
		o.FPS = 30
	}
	m := newCounter(o, newTerminal(o.Output))
	defer m.term.close()
	m.pump = sensor.NewPump(o.Source, o.OnItem)
	err := runScreen(ctx, m, m.term, o.FPS, o.Input)
	m.pump.Stop()
	for _, it := range m.pump.Drain(nil) {
		m.take(it, m.heard)
	}
	if m.stage == underTest {
		m.run.Stop()
		m.save()
	}
	return errors.Join(err, m.failure)
}
