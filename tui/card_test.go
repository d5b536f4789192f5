package tui

import (
	"errors"
	"math"
	"strings"
	"testing"
	"time"

	tea "github.com/charmbracelet/bubbletea"

	"ebbline/decay"
	"ebbline/sensor"
)

// belfry is a terminal that counts its bells.
type belfry struct {
	quick
	bells int
}

func (d *belfry) bell() { d.bells++ }

// quick is a terminal that has taken everything at once.
type quick struct{}

func (quick) Write(p []byte) (int, error)       { return len(p), nil }
func (quick) WriteString(s string) (int, error) { return len(s), nil }
func (quick) behind() bool                      { return false }
func (quick) current(time.Time) bool            { return true }
func (quick) close()                            {}

// bench is a model whose time and readings a test makes.
type bench struct {
	*model
	term *belfry
	hose *hose
	now  time.Time
	at   time.Duration
}

func newBench(o Options) *bench {
	h := newHose()
	o.Source = h
	b := &bench{term: &belfry{}, hose: h, now: time.Unix(1e9, 0)}
	b.model = newModel(o, b.term)
	b.model.pump = sensor.NewPump(h, o.OnItem)
	b.model.w, b.model.h = 80, 24
	return b
}

// run lets the pressure follow p for a time, at 50 readings a second.
func (b *bench) run(t *testing.T, long time.Duration, p func(s float64) decay.Gauge) {
	t.Helper()
	for end := b.at + long; b.at < end; b.at += 20 * time.Millisecond {
		v := p(b.at.Seconds())
		b.model.take(sensor.Item{Reading: sensor.Reading{Sample: decay.Sample{At: b.at, P: v.Absolute(decay.DefaultAmbient)}}}, b.now)
		b.now = b.now.Add(20 * time.Millisecond)
		if b.at%(40*time.Millisecond) == 0 {
			b.model.tick(b.now)
		}
	}
}

func (b *bench) keys(words ...string) {
	named := map[string]tea.KeyType{"enter": tea.KeyEnter, "esc": tea.KeyEsc, "up": tea.KeyUp, "down": tea.KeyDown,
		"left": tea.KeyLeft, "right": tea.KeyRight, "ctrl+u": tea.KeyCtrlU, "backspace": tea.KeyBackspace}
	for _, w := range words {
		if k, ok := named[w]; ok {
			b.model.Update(tea.KeyMsg{Type: k})
			continue
		}
		for _, r := range w {
			b.model.Update(tea.KeyMsg{Type: tea.KeyRunes, Runes: []rune{r}})
		}
	}
}

func (b *bench) text() string { return b.model.s.draw(b.w, b.h).render(&none) }

func (b *bench) says(t *testing.T, words ...string) {
	t.Helper()
	for _, w := range words {
		if !strings.Contains(strings.Join(strings.Fields(b.text()), " "), w) {
			t.Errorf("the screen does not say %q:\n%s", w, b.text())
		}
	}
}

func still(s float64) decay.Gauge { return 40 + decay.Gauge(20*math.Sin(s*s*977)) }

func TestEnterAllTheWayStartsTheTest(t *testing.T) {
	var began []Start
	var typed []Texts
	b := newBench(Options{Card: true, Title: "van", Setup: decay.Setup{Volume: 8 * decay.Litre, VolumeTolerance: 0.03},
		Apply: func(x Texts) (decay.Setup, error) {
			typed = append(typed, x)
			return decay.Setup{Of: x.Of, Volume: 8 * decay.Litre}, nil
		},
		Begin: func(s Start) error { began = append(began, s); return nil }})
	b.run(t, 40*time.Second, still)
	b.says(t, "Before the test", "the duct, blocked off at the manifold", "This decides the limit: a hole of 0.500 mm", "8L±3%", "0.500 mm, by what is under test", "30.00psi", "common practice", "a good zero", "Eye protection")
	for range 5 {
		b.keys("enter")
	}
	if len(began) != 0 {
		t.Fatal("it began before the last line")
	}
	b.keys("enter")
	if len(began) != 1 || len(typed) == 0 {
		t.Fatalf("%d tests began with %d set-ups", len(began), len(typed))
	}
	if want := (Texts{"van", "8L±3%", "", "", decay.PartManifold}); typed[len(typed)-1] != want {
		t.Errorf("typed %+v, want %+v", typed[len(typed)-1], want)
	}
	if s := b.model.s; s.card != nil || s.set.Limit != decay.DefaultLimit || s.title != "van" {
		t.Errorf("after the card: %+v", s.set)
	}
	// The zero before the test belongs to it.
	b.run(t, 6*time.Second, func(s float64) decay.Gauge { return 40 + decay.Gauge(20e3*(s-40)) + decay.Gauge(20*math.Sin(s*s*977)) })
	if z := b.model.proc.State().Result.Zero; z < 30 || z > 50 {
		t.Errorf("the zero is %v Pa: %+v", z, b.model.proc.State().Result)
	}
	if n := b.model.proc.State().Result.Samples; n < 1000 || n > 2500 {
		t.Errorf("%d readings of about 36 s came along", n)
	}
}

func TestCardTakesWhatIsTypedAndSaysWhatIsWrong(t *testing.T) {
	var got Texts
	b := newBench(Options{Card: true, Setup: decay.Setup{Limit: 0.7 * decay.Millimetre, Ceiling: 20 * psi},
		Apply: func(x Texts) (decay.Setup, error) {
			if x.Volume == "10" {
				return decay.Setup{}, errors.New("volume: 10 has no unit; write 10L")
			}
			got = x
			return decay.Setup{}, nil
		}})
	b.keys("left seam", "enter", "right", "right", "enter", "10", "enter")
	if b.model.s.card.at != cardVolume {
		t.Fatal("Enter leaves a line that cannot be taken")
	}
	b.says(t, "! volume: 10 has no unit; write 10L", "one hose or cooler")
	b.keys("L", "enter")
	if text := b.text(); strings.Contains(text, "has no unit") {
		t.Errorf("the fault stays after it was mended:\n%s", text)
	}
	b.keys("15psi", "enter", "backspace", "backspace", "mm", "up", "up", "10", "down", "down", "down", "enter")
	b.says(t, "volume: 10 has no unit")
	if b.model.s.card == nil || b.model.s.card.at != cardVolume {
		t.Fatal("it began with a wrong volume, or does not show the line")
	}
	b.keys("10L", "enter", "enter", "enter", "enter")
	if want := (Texts{"left seam", "10L", "15psi", "0.7mm", decay.PartHose}); got != want || b.model.s.card != nil {
		t.Errorf("typed %+v, want %+v", got, want)
	}
}

func TestCardStaysWhenTheRecordCannotBeOpened(t *testing.T) {
	b := newBench(Options{Card: true, Begin: func(Start) error { return errors.New("book: no room on the disk") }})
	b.run(t, time.Second, still)
	b.keys("enter", "enter", "enter", "enter", "enter", "enter")
	b.says(t, "no room on the disk", "Before the test")
}

func TestCardWarnsOfPressureAndAlarms(t *testing.T) {
	b := newBench(Options{Card: true, Bell: true})
	b.run(t, time.Second, func(float64) decay.Gauge { return 10 * psi })
	b.says(t, "NOT zero")
	b.run(t, time.Second, func(float64) decay.Gauge { return 31 * psi })
	b.says(t, "ceiling 30.00 psi gauge")
	if !b.model.s.st.OverCeiling || b.term.bells < 3 {
		t.Errorf("over the ceiling on the card: %d bells", b.term.bells)
	}
}

func TestQuitOnTheCardSavesNothing(t *testing.T) {
	saves := 0
	b := newBench(Options{Card: true, Save: func(decay.Result) (string, error) { saves++; return "", nil }})
	b.run(t, time.Second, still)
	if cmd := b.model.pressCard(tea.KeyMsg{Type: tea.KeyEsc}); cmd == nil {
		t.Error("Esc does not leave")
	}
	b.model.finish()
	if saves != 0 {
		t.Errorf("%d records of no test", saves)
	}
}

// TestBellsCanBeToldApart counts the bells of each event, and when they ring.
func TestBellsCanBeToldApart(t *testing.T) {
	b := newBench(Options{Bell: true})
	count := func(what func()) int {
		before := b.term.bells
		what()
		for range 22 { // 0.9 s
			b.now = b.now.Add(tickEvery)
			b.model.now = b.now
			b.model.sound()
		}
		return b.term.bells - before
	}
	b.model.now = b.now
	one := count(func() { b.model.ring(ringPhase) })
	two := count(func() { b.model.ring(ringVerdict) })
	three := count(func() { b.model.ring(ringCeiling) })
	if one != 1 || two != 2 || three != 3 {
		t.Errorf("%d, %d and %d bells", one, two, three)
	}
	b.model.s.bell = false
	if n := count(func() { b.model.ring(ringCeiling) }); n != 0 {
		t.Errorf("%d bells with the bell off", n)
	}
}

// TestOneLimitInEveryForm: what the card and the screen for a dial propose has
// the limit of a test whose part is not stated.
func TestOneLimitInEveryForm(t *testing.T) {
	want := decay.Setup{}.WithDefaults().Limit
	c := newCard("", decay.Setup{}, decay.PressureUnits[0])
	if got := c.of.DefaultLimit(); got != want {
		t.Errorf("the card's limit is %v, want %v", got, want)
	}
	begin := func(decay.Setup) error { return nil }
	m := newHand(HandOptions{Setup: decay.Setup{Division: psi, Volume: decay.Litre}, Begin: begin}, &deaf{})
	text := m.draw(80, 24).render(&none)
	for _, w := range []string{"What is under test?", "blocked off at the manifold", "0.500 mm"} {
		if !strings.Contains(text, w) {
			t.Errorf("the screen for a dial does not say %q:\n%s", w, text)
		}
	}
	m.press(tea.KeyMsg{Type: tea.KeyEnter})
	if m.stage != dialReady || m.run.set.Of != usualPart || m.run.set.WithDefaults().Limit != want {
		t.Errorf("Enter gives stage %v, %v", m.stage, m.run.set.Of)
	}
	m = newHand(HandOptions{Setup: decay.Setup{Division: psi, Volume: decay.Litre}, Begin: begin}, &deaf{})
	m.press(tea.KeyMsg{Type: tea.KeyLeft})
	m.press(tea.KeyMsg{Type: tea.KeyEnter})
	if m.run.set.Of != decay.PartEngine || m.s.set.Limit != 1.5*decay.Millimetre {
		t.Errorf("left of the manifold is %v, limit %v", m.run.set.Of, m.s.set.Limit)
	}
}
