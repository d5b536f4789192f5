package tui

import (
	"errors"
	"math"
	"strconv"
	"strings"
	"testing"
	"time"

	tea "github.com/charmbracelet/bubbletea"
	"github.com/charmbracelet/lipgloss"
	"pgregory.net/rapid"

	"ebbline/decay"
	"ebbline/sensor/rig"
)

// dialed is a duct of 10 L behind a dial: the rig's true pressure, read to
// half a division of 0.5 psi.
type dialed struct {
	duct *rig.Rig
	at   time.Duration
}

func newDialed(hole decay.Length) *dialed {
	c := rig.Default()
	c.Hole = hole
	d := &dialed{duct: rig.New(c)}
	d.duct.Fill()
	d.duct.Advance(20 * time.Second)
	d.duct.Isolate()
	return d
}

func (d *dialed) read(at time.Duration) string {
	d.duct.Advance(at - d.at)
	d.at = at
	p := float64(d.duct.Pressure().Gauge(decay.DefaultAmbient)) / decay.PSI
	return strconv.FormatFloat(math.Round(p/0.25)*0.25, 'f', 2, 64)
}

// person types at a screen whose time is its own.
type person struct {
	t     *testing.T
	m     *hand
	now   time.Time
	kept  []DialReading
	back  int
	saved []decay.Result
}

func newPerson(t *testing.T, division decay.Gauge) *person {
	p := &person{t: t, now: time.Unix(1e9, 0)}
	p.m = newHand(HandOptions{
		Setup: decay.Setup{Of: usualPart, Volume: 10 * decay.Litre, Ambient: decay.DefaultAmbient, Division: division}, Bell: true,
		Begin: func(decay.Setup) error { return nil },
		Keep: func(all, back []DialReading) error {
			p.kept, p.back = append(p.kept[:0], all...), len(back)
			return nil
		},
		Save: func(r decay.Result) (string, error) { p.saved = append(p.saved, r); return "there.ebbline", nil },
		Gain: func(decay.Result) string { return "a transducer would see more" },
	}, &deaf{})
	p.m.w, p.m.h = 80, 24
	p.wait(0)
	return p
}

func (p *person) wait(d time.Duration) {
	for end := p.now.Add(d); p.now.Before(end); {
		p.now = p.now.Add(tickEvery)
		p.m.Update(tickMsg(p.now))
	}
	p.m.Update(tickMsg(p.now))
}

func (p *person) types(text string) {
	for _, r := range text {
		p.m.Update(keyOf(string(r)))
		p.wait(300 * time.Millisecond)
	}
	p.m.Update(keyOf("enter"))
}

func (p *person) says(words ...string) {
	p.t.Helper()
	text := p.m.draw(80, 24).render(&none)
	for _, w := range words {
		if !strings.Contains(text, w) {
			p.t.Errorf("the screen does not say %q:\n%s", w, text)
		}
	}
}

// TestByHandSession reads a dial at each beep until there is a verdict.
func TestByHandSession(t *testing.T) {
	for _, c := range []struct {
		hole decay.Length
		want decay.Outcome
	}{{1 * decay.Millimetre, decay.Leaks}, {.2 * decay.Millimetre, decay.Holds}} {
		p := newPerson(t, 0)
		p.says("How far apart", "Enter alone: 0.5 psi", "READ BY EYE", "relief valve")
		p.m.Update(keyOf("enter"))
		p.says("division 0.5 psi", "Fill, shut the valve", "relief valve")
		dial := newDialed(c.hole)
		p.wait(4 * time.Second)
		p.types(dial.read(0))
		p.says("1 of at least 4")
		rings := p.m.term.(*deaf).rings
		for k := 1; k <= 14; k++ {
			at := time.Duration(k) * 10 * time.Second
			for p.m.since(p.now) < at+time.Second { // the person takes a second to look
				p.wait(tickEvery)
			}
			if !p.m.due() {
				t.Fatalf("at %v the screen does not ask for a reading", p.m.since(p.now))
			}
			p.says("READ", "Read the dial now")
			p.types(dial.read(at))
			if got := p.kept[len(p.kept)-1].At; got != at {
				t.Errorf("the reading of the beep at %v is stamped %v", at, got)
			}
		}
		if got := p.m.term.(*deaf).rings - rings; got < 14 {
			t.Errorf("%d bells in 14 beeps", got)
		}
		p.m.Update(keyOf("e"))
		if len(p.saved) != 1 || p.saved[0].Outcome != c.want {
			t.Fatalf("hole %v: %d records, %+v", c.hole, len(p.saved), p.saved)
		}
		if h := p.saved[0].Hole; h.Low > float64(c.hole) || h.High < float64(c.hole) {
			t.Errorf("hole %v: interval %v to %v", c.hole, h.Low, h.High)
		}
		p.says("a transducer would see more", "15 readings", "there.ebbline", "let the air out")
		if cmd := p.m.press(keyOf("enter")); cmd == nil {
			t.Error("Enter does not leave")
		}
	}
}

func TestByHandTakesReadingsWheneverTheyCome(t *testing.T) {
	p := newPerson(t, 0.5*psi)
	p.types("25")
	first := p.m.began
	p.wait(3 * time.Second)
	p.m.Update(keyOf("2"))
	typed := p.now.Sub(first)
	p.wait(2 * time.Second) // thinks
	p.m.Update(keyOf("4"))
	p.says("> 24")
	p.m.Update(keyOf("enter"))
	if got := p.kept[1].At; got != typed {
		t.Errorf("stamped %v, the first digit came at %v", got, typed)
	}
	p.m.Update(keyOf("z"))
	if len(p.kept) != 1 || p.back != 1 {
		t.Errorf("%d readings and %d taken back after z", len(p.kept), p.back)
	}
	p.says("taken back: 24.00 psi gauge")
	p.m.Update(keyOf("z"))
	p.m.Update(keyOf("z"))
	if p.m.stage != dialReady || len(p.kept) != 0 {
		t.Error("the first reading cannot be taken back")
	}
	p.types("1.2.3")
	p.says("is no pressure")
	p.m.Update(keyOf("enter"))
	p.says("type what the dial shows")
	p.m.Update(keyOf("u"))
	p.types("1,7")
	if got := float64(p.kept[0].P); math.Abs(got-1.7*decay.Bar) > 1 {
		t.Errorf("1,7 bar is taken as %v Pa", got)
	}
	p.wait(5 * time.Second)
	p.types("2,5")
	if !p.m.over() {
		t.Fatal("2.5 bar are not over the ceiling of 30 psi")
	}
	if text := p.m.draw(80, 24).render(&none); !strings.Contains(text, "ceiling 2.068 bar gauge") {
		t.Errorf("the alarm says:\n%s", text)
	}
	p.m.Update(keyOf("x"))
	if p.m.over() {
		t.Error("a key does not answer the alarm")
	}
	p.says("Over the ceiling")
	p.m.Update(keyOf("esc"))
	if cmd := p.m.press(keyOf("esc")); cmd == nil {
		t.Error("Esc twice does not leave")
	}
	p.m.save()
	p.m.save()
	if len(p.saved) != 1 {
		t.Errorf("leaving saves %d records", len(p.saved))
	}
}

func TestByHandAsksAboutAReadingThatDoesNotFit(t *testing.T) {
	p := newPerson(t, 0.5*psi)
	for _, text := range []string{"25", "24", "23", "22.5"} {
		p.types(text)
		p.wait(9 * time.Second)
	}
	p.types("2a")
	p.says(`"2a" is no pressure`)
	p.types("24e")
	if len(p.kept) != 4 || p.m.stage != dialReads {
		t.Fatalf("%d readings, stage %v after 2a and 24e", len(p.kept), p.m.stage)
	}
	p.wait(2 * time.Second)
	p.types("2.00")
	p.says("2.00 is far below the 22.50 of", "Enter once more takes it")
	p.m.Update(keyOf("esc"))
	p.types("2.2")
	p.m.Update(keyOf("enter"))
	if len(p.kept) != 5 {
		t.Fatalf("a second Enter does not take it: %d readings", len(p.kept))
	}
	p.wait(9 * time.Second)
	p.types("21")
	p.says("21.00 is higher than the 2.20 of")
	p.m.Update(keyOf("enter"))
	p.m.Update(tea.KeyMsg{Type: tea.KeyUp})
	p.says("z takes back 2.20 psi gauge")
	p.m.Update(keyOf("z"))
	if len(p.kept) != 5 || p.back != 1 || p.kept[4].P != 21*psi || p.kept[3].P != 22.5*psi {
		t.Errorf("after the slip was taken back: %v", p.kept)
	}
}

func TestByHandSaysWhenNothingIsKept(t *testing.T) {
	full := errors.New("the disk is full")
	m := newHand(HandOptions{Setup: decay.Setup{Of: usualPart, Division: psi, Volume: decay.Litre}, Begin: func(decay.Setup) error { return full }}, &deaf{})
	if text := m.draw(80, 24).render(&none); !strings.Contains(text, "nothing is kept: the disk is full") {
		t.Errorf("%s", text)
	}
	if !errors.Is(m.failure, full) {
		t.Error("the failure is lost")
	}
}

func TestByHandGoesOn(t *testing.T) {
	var kept []DialReading
	m := newHand(HandOptions{
		Setup: decay.Setup{Volume: 10 * decay.Litre, Division: .5 * psi}, Ago: 47 * time.Second,
		Earlier: []DialReading{{0, 25 * psi}, {10 * time.Second, 24.5 * psi}, {20 * time.Second, 24 * psi}},
		Begin:   func(decay.Setup) error { return nil },
		Keep:    func(all, _ []DialReading) error { kept = append(kept[:0], all...); return nil },
	}, &deaf{})
	p := &person{t: t, m: m, now: time.Unix(1e9, 0)}
	p.wait(0)
	if m.stage != dialReads || len(kept) != 3 {
		t.Fatalf("stage %v, %d readings kept", m.stage, len(kept))
	}
	p.says("time 0:47", "0:20 24.00")
	p.types("23")
	if len(kept) != 4 || kept[3].At != 47*time.Second {
		t.Errorf("%v", kept)
	}
}

func TestByHandAsksForTheVolume(t *testing.T) {
	m := newHand(HandOptions{Setup: decay.Setup{Of: usualPart}, Begin: func(decay.Setup) error { return nil }}, &deaf{})
	says := func(words string) {
		t.Helper()
		if text := m.draw(80, 24).render(&none); !strings.Contains(text, words) {
			t.Errorf("the screen does not say %q:\n%s", words, text)
		}
	}
	m.press(keyOf("enter"))
	says("How much air is in the duct?")
	m.press(keyOf("0"))
	m.press(keyOf("enter"))
	says("in litres, as 10")
	for _, k := range []string{"8", ",", "5", "enter"} {
		m.press(keyOf(k))
	}
	if v := float64(m.run.set.Volume) / decay.Litre; math.Abs(v-8.5) > 1e-9 || m.stage != dialReady {
		t.Errorf("volume %v L, stage %v", v, m.stage)
	}
	m = newHand(HandOptions{Setup: decay.Setup{Of: usualPart, Division: psi}, Begin: func(decay.Setup) error { return nil }}, &deaf{})
	says("How much air is in the duct?")
	m.press(keyOf("enter"))
	if m.stage != dialReady || m.run.set.Volume != 0 {
		t.Errorf("not known gives stage %v, volume %v", m.stage, m.run.set.Volume)
	}
}

// TestByHandWithoutAVolumeGivesARate in the dial's unit per minute, and says at
// the question that there will be no verdict.
func TestByHandWithoutAVolumeGivesARate(t *testing.T) {
	p := newPerson(t, 0.5*psi)
	p.m.o.Setup.Volume = 0
	p.m.ask()
	p.says("Without it there is no verdict")
	p.m.Update(keyOf("enter"))
	p.types("230")
	p.says("230: outside -1 to 10 bar gauge (-14.5 to 145 psi)")
	for k := range 8 {
		p.types(strconv.FormatFloat(25-0.5*float64(k), 'f', 1, 64))
		p.wait(10*time.Second - 1200*time.Millisecond)
	}
	p.m.Update(keyOf("e"))
	p.says("psi a minute", "with the volume")
	if text := p.m.draw(80, 24).render(&none); strings.Contains(text, "--volume") || strings.Contains(text, "1000 s") {
		t.Errorf("the answer speaks of a flag, or of a rate nobody knows:\n%s", text)
	}
}

func TestHandRunRefuses(t *testing.T) {
	h := NewHandRun(decay.Setup{Division: psi})
	if err := h.Add(DialReading{0, 25 * psi}); err != nil {
		t.Fatal(err)
	}
	for _, r := range []DialReading{{0, 24 * psi}, {-time.Second, 24 * psi}, {time.Second, decay.Gauge(math.NaN())}, {time.Second, 20 * decay.Bar}} {
		if h.Add(r) == nil {
			t.Errorf("%+v was taken", r)
		}
	}
	if len(h.Readings()) != 1 {
		t.Errorf("%d readings", len(h.Readings()))
	}
	h.Finish()
	if h.Add(DialReading{time.Second, 24 * psi}) == nil {
		t.Error("a hold that is over takes a reading")
	}
	if _, ok := h.TakeBack(len(h.Readings()) - 1); ok {
		t.Error("a hold that is over takes a reading back")
	}
}

func TestParseDial(t *testing.T) {
	u := decay.PressureUnits[0]
	for text, want := range map[string]float64{"25.5": 25.5 * decay.PSI, "25,5": 25.5 * decay.PSI, "1.7 bar": 1.7 * decay.Bar, "170kpa": 170e3, "0": 0, "25psi gauge": 25 * decay.PSI} {
		if g, err := ParseDial(text, u); err != nil || math.Abs(float64(g)-want) > 1e-6 {
			t.Errorf("%q: %v %v", text, g, err)
		}
	}
	for _, text := range []string{"", "x", "NaN", "inf", "25 psi absolute", "1e400", "25 mm", "--3", "2a", "2e1", "0x1p4", "1_0"} {
		if g, err := ParseDial(text, u); err == nil {
			t.Errorf("%q is %v", text, g)
		}
	}
}

// TestUndoForgetsNothingElse: however readings come and are taken back, what is
// left is judged as if the others had never been.
func TestUndoForgetsNothingElse(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		set := decay.Setup{Volume: 10 * decay.Litre, Ambient: decay.DefaultAmbient, Division: .5 * psi}
		h := NewHandRun(set)
		at := time.Duration(0)
		for range rapid.IntRange(1, 7).Draw(t, "n") {
			if rapid.IntRange(0, 3).Draw(t, "undo") == 0 {
				h.TakeBack(len(h.Readings()) - 1)
				continue
			}
			at += time.Duration(rapid.IntRange(1, 15).Draw(t, "s")) * time.Second
			if err := h.Add(DialReading{at, decay.Gauge(rapid.IntRange(60, 110).Draw(t, "quarters")) * psi / 4}); err != nil {
				t.Fatal(err)
			}
		}
		fresh := NewHandRun(set)
		for _, r := range h.Readings() {
			if err := fresh.Add(r); err != nil {
				t.Fatal(err)
			}
		}
		a, b := h.Finish(), fresh.Finish()
		if a.Outcome != b.Outcome || a.Hole != b.Hole || a.Samples != b.Samples {
			t.Fatalf("%v %v, want %v %v", a.Outcome, a.Hole, b.Outcome, b.Hole)
		}
	})
}

// handMoments are the screens that are kept as golden files. The estimate is
// made up, so that they do not move with the estimator.
func handMoments() map[string]*hand {
	out := map[string]*hand{}
	make := func(name string, n int, after time.Duration, change func(*hand)) {
		set := decay.Setup{Of: usualPart, Volume: 10 * decay.Litre, Ambient: decay.DefaultAmbient, Division: .5 * psi}
		m := newHand(HandOptions{Setup: set, Bell: true, Title: "Job 12, blue van (made up)"}, &deaf{})
		m.now = time.Unix(1e9, 0)
		if n > 0 {
			m.stage, m.began = dialReads, m.now
			for k := range n {
				m.run.list = append(m.run.list, DialReading{time.Duration(k) * 10 * time.Second, decay.Gauge(25-0.25*float64(k)) * psi})
			}
			m.now = m.now.Add(time.Duration(n-1)*10*time.Second + after)
			m.beeps = n
		}
		m.look()
		if n > 0 {
			m.s.st.Seen, m.s.st.P = true, m.run.list[n-1].P
		}
		change(m)
		out[name] = m
	}
	estimated := func(o decay.Outcome) func(*hand) {
		return func(m *hand) {
			r := estimate(.42, .2, .66)
			r.Outcome, r.Limit = o, decay.DefaultLimit
			r.HasDecide, r.ToDecide = true, 60*time.Second
			m.run.result, m.s.st.Result = r, r
		}
	}
	make("hand-division", 0, 0, func(m *hand) { m.stage = dialAsked })
	make("hand-part", 0, 0, func(m *hand) { m.stage, m.asks = dialAsked, askPart })
	make("hand-volume", 0, 0, func(m *hand) { m.stage, m.asks, m.field = dialAsked, askVolume, []rune("8,5") })
	make("hand-ready", 0, 0, func(*hand) {})
	make("hand-reading", 7, 4*time.Second, func(m *hand) {
		estimated(decay.Undecided)(m)
		m.field, m.keyed = []rune("23"), m.now
	})
	make("hand-beep", 6, 11*time.Second, estimated(decay.Undecided))
	make("hand-over", 2, time.Second, func(m *hand) {
		m.run.list[1].P = 31 * psi
		m.s.st.P = 31 * psi
	})
	make("hand-done", 12, time.Second, func(m *hand) {
		estimated(decay.Undecided)(m)
		m.run.over, m.stage = true, dialDone
		m.gain = "a transducer (50 readings a second, noise 60 Pa) would narrow 0.20 to 0.66 mm to about 0.39 to 0.46 mm in the same time"
		m.s.saved = "/home/bench/book/20260131T150405.000000Z.ebbline"
	})
	return out
}

func TestHandScreensMatchTheGoldenOnes(t *testing.T) {
	for name, m := range handMoments() {
		for _, wh := range sizes {
			golden(t, name, wh, m.draw(wh[0], wh[1]).render(&none)+"\n")
		}
	}
	m := handMoments()["hand-reading"]
	m.s.ascii = true
	golden(t, "hand-reading-ascii", [2]int{80, 24}, m.draw(80, 24).render(&none)+"\n")
}

func TestHandFillsTheScreenExactly(t *testing.T) {
	all := handMoments()
	var names []string
	for n := range all {
		names = append(names, n)
	}
	rapid.Check(t, func(t *rapid.T) {
		m := *all[rapid.SampledFrom(names).Draw(t, "moment")]
		m.w, m.h = rapid.IntRange(0, 220).Draw(t, "w"), rapid.IntRange(0, 70).Draw(t, "h")
		m.s.help = rapid.Bool().Draw(t, "help")
		m.s.title = rapid.String().Draw(t, "title")
		m.problem = rapid.String().Draw(t, "problem")
		m.s.unit = rapid.SampledFrom(decay.PressureUnits).Draw(t, "unit")
		m.s.ascii = rapid.Bool().Draw(t, "ascii")
		bare := rapid.Bool().Draw(t, "no colour")
		if bare {
			m.o.Look.Colours = ColoursNone
		}
		v := m.View()
		if m.w == 0 || m.h == 0 {
			return
		}
		lines := strings.Split(v, "\n")
		if len(lines) != m.h {
			t.Fatalf("%d lines on a screen of %d", len(lines), m.h)
		}
		for i, l := range lines {
			if got := lipgloss.Width(l); got != m.w {
				t.Fatalf("line %d is %d cells wide on a screen of %d: %q", i, got, m.w, l)
			}
		}
		if bare && strings.Contains(v, "38;5") {
			t.Fatal("a screen without colour sets one")
		}
		for _, r := range v {
			if m.s.ascii && r > 0x7e {
				t.Fatalf("%q on a terminal of ASCII", r)
			}
		}
	})
}

func TestHandKeysAreShownWhereTheyWork(t *testing.T) {
	for name, m := range handMoments() {
		var help strings.Builder
		for _, f := range m.helpLines() {
			help.WriteString(f.text + "\n")
		}
		for _, a := range handActions {
			if a.in&m.stage != 0 && !strings.Contains(help.String(), a.Help().Desc) {
				t.Errorf("%s: the help lacks %q", name, a.Help().Desc)
			}
		}
		if f := foot(m.hints(), 76); !strings.Contains(f, "? help") || !strings.Contains(f, "Enter") {
			t.Errorf("%s: foot %q", name, f)
		}
	}
	m := handMoments()["hand-reading"]
	m.press(keyOf("?"))
	if !m.s.help {
		t.Error("? does not open the help")
	}
	if m.press(keyOf("e")); m.stage == dialDone || m.s.help {
		t.Error("a key of the help works below it, or does not close it")
	}
	if _, quit := m.press(keyOf("ctrl+c"))().(tea.QuitMsg); !quit {
		t.Error("ctrl+c does not leave")
	}
}
