package tui

import (
	"context"
	"errors"
	"io"
	"math"
	"strconv"
	"strings"
	"time"

	tea "github.com/charmbracelet/bubbletea"

	"ebbline/decay"
	"ebbline/sensor"
	"ebbline/tui/chart"
)

// HandOptions is what the screen of a hold that is read by eye is given.
type HandOptions struct {
	Setup decay.Setup        // Division 0: the screen asks for it
	Unit  decay.PressureUnit // of the dial; zero: psi
	Every time.Duration      // between beeps; 0: 10 s
	Title string             // the job's label
	Bell  bool

	Earlier []DialReading // of a hold that was cut short and is gone on with
	Ago     time.Duration // since the first of them

	// Begin is called once, when the division is known and before any reading.
	Begin func(decay.Setup) error
	// Keep stores the readings, called after each that is added or taken back.
	Keep func(all []DialReading, takenBack []DialReading) error
	// Save ends the record and returns where it is. It is called once.
	Save func(r decay.Result) (string, error)
	// Gain says what a transducer would have seen in the same hold; may be nil.
	Gain func(decay.Result) string

	FPS    int
	Input  io.Reader
	Output io.Writer
	Look   Look
}

const (
	handEvery  = 10 * time.Second
	atTheBeep  = 3 * time.Second // a reading typed within this after a beep is the beep's
	handBanner = "READ BY EYE"
)

// handStage is where the reader is.
type handStage uint8

const (
	dialAsked handStage = 1 << iota // for the dial's division
	dialReady                       // no reading yet
	dialReads
	dialDone // the result
)

// handQuestion is what is asked before the first reading.
type handQuestion uint8

const (
	askDivision handQuestion = iota
	askPart
	askVolume
)

// hand is the screen of a hold that is read by eye.
type hand struct {
	o    HandOptions
	term terminal
	pal  *[styles]string
	w, h int
	s    scene
	run  *HandRun

	stage   handStage
	asks    handQuestion
	of      decay.Part // chosen so far
	unsized bool       // the volume is not known
	field   []rune
	keyed   time.Time // when the field's first key was pressed
	now     time.Time // of the latest tick
	asked   string    // text of a reading that does not fit, which Enter takes now
	pick    int       // reading that z takes back, counted from the last
	began   time.Time // when the first reading was typed
	beeps   int       // rung so far
	bells   bells
	rang    time.Time // the ceiling's pattern, at last
	back    []DialReading
	problem string
	leaving bool
	alarmed bool // the screen of the ceiling was answered by a key
	gain    string
	began0  bool // Begin was called
	resumed bool // a hold is gone on with
	saved   bool
	failure error
}

func newHand(o HandOptions, term terminal) *hand {
	if o.Every <= 0 {
		o.Every = handEvery
	}
	m := &hand{o: o, term: term, stage: dialReady}
	m.s = scene{
		set: o.Setup.WithDefaults(), unit: o.Unit, title: o.Title, bell: o.Bell, ascii: o.Look.ASCII,
		about: sensor.About{Name: "dial, read by eye"},
	}
	if m.s.unit.Pascal <= 0 {
		m.s.unit = decay.PressureUnits[0]
	}
	m.run = NewHandRun(o.Setup)
	m.of = usualPart
	m.ask()
	m.look()
	return m
}

// ask goes to the next question that was not answered, or begins. Of a hold that
// is gone on with the part is no question: its record has it, or left it open.
func (m *hand) ask() {
	m.stage = dialAsked
	switch set := m.o.Setup; {
	case set.Division == 0:
		m.asks = askDivision
	case set.Of == decay.PartUnstated && len(m.o.Earlier) == 0:
		m.asks = askPart
	case set.Volume == 0 && !m.unsized:
		m.asks = askVolume
	default:
		m.begin()
	}
}

// begin opens the record.
func (m *hand) begin() {
	m.run = NewHandRun(m.o.Setup)
	m.stage = dialReady
	if m.began0 || m.o.Begin == nil {
		return
	}
	if err := m.o.Begin(m.o.Setup); err != nil {
		m.failure, m.problem = err, "nothing is kept: "+err.Error()
		return
	}
	m.began0 = true
	m.resume()
}

// resume puts the readings of a hold that is gone on with in their place.
func (m *hand) resume() {
	for _, r := range m.o.Earlier {
		if err := m.run.Add(r); err != nil {
			m.problem = "an earlier reading was left out: " + err.Error()
		}
	}
	if len(m.run.Readings()) == 0 {
		return
	}
	m.stage, m.resumed = dialReads, true
	m.changed()
}

// Init starts the clock.
func (m *hand) Init() tea.Cmd { return tick() }

// Update takes a message.
func (m *hand) Update(msg tea.Msg) (tea.Model, tea.Cmd) {
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
func (m *hand) View() string {
	if m.pal == nil {
		m.pal = m.o.Look.palette()
	}
	return m.draw(m.w, m.h).render(m.pal)
}

// tick lets the time go on and rings at each beep.
func (m *hand) tick(now time.Time) {
	m.now = now
	if m.resumed && m.began.IsZero() { // the first tick brings the time
		m.began = now.Add(-m.o.Ago)
		m.beeps = int(m.o.Ago / m.o.Every)
	}
	if m.stage == dialReads {
		if n := int(m.since(now) / m.o.Every); n > m.beeps {
			m.beeps = n
			m.bells.ring(ringPhase, now)
		}
	}
	if m.over() && now.Sub(m.rang) >= bellEvery {
		m.rang = now
		m.bells.ring(ringCeiling, now)
	}
	m.bells.sound(now, m.s.bell, m.term)
}

// since is the time of the hold at a moment.
func (m *hand) since(t time.Time) time.Duration {
	if m.began.IsZero() {
		return 0
	}
	return t.Sub(m.began)
}

// stamp is the time a reading belongs to whose first key was pressed at t:
// that of the beep it answers, else its own.
func (m *hand) stamp(t time.Time) time.Duration {
	d := m.since(t)
	beep := d / m.o.Every * m.o.Every
	var last time.Duration
	if l := m.run.Readings(); len(l) > 0 {
		last = l[len(l)-1].At
	}
	if beep > last && d-beep <= min(atTheBeep, m.o.Every/2) {
		return beep
	}
	return d
}

// enter takes what stands in the field.
func (m *hand) enter() {
	text := string(m.field)
	switch m.stage {
	case dialAsked:
		switch m.asks {
		case askVolume:
			m.size(strings.TrimSpace(text))
			return
		case askPart:
			m.o.Setup.Of, m.field, m.problem = m.of, nil, ""
			m.s.set = m.o.Setup.WithDefaults()
			m.ask()
			return
		}
		if strings.TrimSpace(text) == "" {
			text = usualDivision(m.s.unit)
		}
		g, err := ParseDial(text, m.s.unit)
		if err != nil || g <= 0 || g > decay.Bar {
			m.problem = "the smallest division is the step between two marks of the dial, as " + usualDivision(m.s.unit)
			m.field = nil
			return
		}
		m.o.Setup.Division, m.s.set.Division = g, g
		m.field, m.problem = nil, ""
		m.ask()
	case dialReady, dialReads:
		if strings.TrimSpace(text) == "" {
			m.problem = "type what the dial shows, then Enter"
			return
		}
		g, err := ParseDial(text, m.s.unit)
		if err != nil {
			m.problem = err.Error()
			m.field = nil
			return
		}
		first := m.began.IsZero()
		if first {
			m.began, m.beeps = m.keyed, 0
		}
		r := DialReading{At: m.stamp(m.keyed), P: g}
		if odd := m.run.Misfit(r, m.s.unit); odd != "" && m.asked != text {
			m.asked, m.problem = text, odd+": Enter once more takes it, Esc clears it"
			return
		}
		if err := m.run.Add(r); err != nil {
			if first {
				m.began = time.Time{}
			}
			m.problem, m.field = strings.TrimSpace(text)+": "+err.Error(), nil
			return
		}
		m.field, m.problem, m.stage, m.alarmed = nil, "", dialReads, false
		m.asked, m.pick = "", 0
		verdict := m.s.st.Verdict
		m.changed()
		if m.s.st.Verdict != verdict {
			m.bells.ring(ringVerdict, m.now)
		}
	}
}

// size takes the volume in litres; nothing typed means that it is not known.
func (m *hand) size(text string) {
	m.field, m.problem = nil, ""
	if text != "" {
		v, _, err := decay.ParseVolume(text + " L")
		if err != nil || v > 1 {
			m.problem = "the volume is that of the air in the duct, in litres, as 10; Enter alone when it is not known"
			return
		}
		m.o.Setup.Volume, m.s.set.Volume = v, v
	}
	m.unsized = text == ""
	m.ask()
}

// choose moves to another reading that z is to take back.
func (m *hand) choose(by int) {
	list := m.run.Readings()
	m.pick = min(max(m.pick+by, 0), len(list)-1)
	r := list[len(list)-1-m.pick]
	m.problem = "z takes back " + r.P.Format(m.s.unit) + " at " + clock(r.At.Seconds())
}

// undo takes the chosen reading back; the time goes on.
func (m *hand) undo() {
	r, ok := m.run.TakeBack(len(m.run.Readings()) - 1 - m.pick)
	m.pick = 0
	if !ok {
		m.problem = "there is no reading to take back"
		return
	}
	m.back = append(m.back, r)
	m.problem = "taken back: " + r.P.Format(m.s.unit) + " at " + clock(r.At.Seconds())
	if len(m.run.Readings()) == 0 {
		m.began, m.stage, m.resumed = time.Time{}, dialReady, false
	}
	m.changed()
}

// changed stores the readings and looks at them.
func (m *hand) changed() {
	m.look()
	if m.o.Keep == nil || !m.began0 {
		return
	}
	if err := m.o.Keep(m.run.Readings(), m.back); err != nil {
		m.failure = err
		m.problem = "the reading was not stored: " + err.Error()
	}
}

// look brings the picture up to date.
func (m *hand) look() {
	m.s.st = m.run.State()
	if math.IsNaN(m.s.st.Slope) || m.stage != dialDone {
		m.s.st.Slope, m.s.st.ToCeiling = math.NaN(), 0
	}
	list := m.run.Readings()
	m.s.trace = chart.NewColumns(2400, 0.25)
	m.s.marks = nil
	if len(list) == 0 {
		return
	}
	m.s.marks = []mark{{0, decay.PhaseHold}}
	// Lines from reading to reading; the readings themselves are drawn over them.
	for i, r := range list {
		if i > 0 {
			a := list[i-1]
			span := (r.At - a.At).Seconds()
			for t := 0.25; t < span; t += math.Max(0.25, span/400) {
				m.s.trace.Add(a.At.Seconds()+t, float64(a.P)+t/span*float64(r.P-a.P))
			}
		}
		m.s.trace.Add(r.At.Seconds(), float64(r.P))
	}
}

// finish ends the hold and keeps it.
func (m *hand) finish() {
	if len(m.run.Readings()) == 0 {
		m.problem = "there is no reading yet"
		return
	}
	m.run.Finish()
	m.stage, m.field = dialDone, nil
	m.look()
	m.save()
	if m.o.Gain != nil {
		m.gain = m.o.Gain(m.run.Finish())
	}
	m.bells.ring(ringVerdict, m.now)
}

// save ends the record once.
func (m *hand) save() {
	if m.saved || !m.began0 {
		return
	}
	m.saved = true
	path, err := m.o.Save(m.run.Finish())
	if err != nil {
		m.failure = errors.Join(m.failure, err)
		m.problem = "the record was not saved: " + err.Error()
		return
	}
	m.s.saved = path
}

// over reports whether the latest reading is above the ceiling and nobody has
// answered the alarm yet.
func (m *hand) over() bool {
	l := m.run.Readings()
	return !m.alarmed && m.stage == dialReads && len(l) > 0 && l[len(l)-1].P > m.s.set.Ceiling
}

// readingsLine is the latest readings that fit into w cells.
func (m *hand) readingsLine(w int) string {
	var parts []string
	n := 0
	list := m.run.Readings()
	for i := len(list) - 1; i >= 0; i-- {
		p := clock(list[i].At.Seconds()) + " " + list[i].P.Number(m.s.unit)
		if n += width(p) + 3; n > w {
			break
		}
		parts = append(parts, p)
	}
	for i, j := 0, len(parts)-1; i < j; i, j = i+1, j-1 {
		parts[i], parts[j] = parts[j], parts[i]
	}
	return strings.Join(parts, "   ")
}

// next is how long until the next beep, in whole seconds.
func (m *hand) next() string {
	left := m.o.Every - m.since(m.now)%m.o.Every
	return strconv.Itoa(int(math.Ceil(left.Seconds())))
}

// due reports whether a beep has just rung and its reading is not typed yet.
func (m *hand) due() bool {
	d := m.since(m.now)
	beep := d / m.o.Every * m.o.Every
	l := m.run.Readings()
	return m.stage == dialReads && beep > 0 && d-beep <= atTheBeep && len(m.field) == 0 && (len(l) == 0 || l[len(l)-1].At < beep)
}

// RunByHand shows the screen of a hold that is read by eye until the reader
// leaves, ctx ends or the program is told to stop. However it ends, what was
// typed is kept.
func RunByHand(ctx context.Context, o HandOptions) (decay.Result, error) {
	if o.Keep == nil || o.Save == nil || o.Begin == nil {
		return decay.Result{}, errors.New("tui: a hold by hand needs Begin, Keep and Save")
	}
	if o.FPS <= 0 {
		o.FPS = 15 // nothing here moves faster
	}
	m := newHand(o, newTerminal(o.Output))
	defer m.term.close()
	err := runScreen(ctx, m, m.term, o.FPS, o.Input)
	m.save()
	return m.run.Finish(), errors.Join(err, m.failure)
}
