package tui

import (
	"errors"
	"math"
	"slices"
	"strconv"
	"strings"
	"testing"
	"testing/synctest"
	"time"

	tea "github.com/charmbracelet/bubbletea"
	"github.com/charmbracelet/lipgloss"
	"pgregory.net/rapid"

	"ebbline/decay"
	"ebbline/sensor"
	"ebbline/sensor/rig"
)

type deaf struct {
	quick
	rings int
}

func (d *deaf) bell() { d.rings++ }

var shop = []Part{
	{Label: "left hose long", Bore: .051, Length: .6, Volume: 1.23 * decay.Litre, VolumeTolerance: .08},
	{Label: "left hose short", Bore: .051, Length: .3, Volume: .613 * decay.Litre, VolumeTolerance: .08, Limit: .3 * decay.Millimetre},
	{Label: "small cooler", Volume: 3.1 * decay.Litre},
}

func findInShop(text string) (Part, error) {
	for _, p := range shop {
		if strings.EqualFold(p.Label, text) {
			return p, nil
		}
	}
	if text == "51x600" {
		p := shop[0]
		p.Label = "hose 51x600 mm"
		return p, nil
	}
	return Part{}, errors.New("no such part")
}

func keyOf(k string) tea.KeyMsg {
	switch k {
	case "enter":
		return tea.KeyMsg{Type: tea.KeyEnter}
	case "esc":
		return tea.KeyMsg{Type: tea.KeyEsc}
	case "up":
		return tea.KeyMsg{Type: tea.KeyUp}
	case "down":
		return tea.KeyMsg{Type: tea.KeyDown}
	case "ctrl+c":
		return tea.KeyMsg{Type: tea.KeyCtrlC}
	case "backspace":
		return tea.KeyMsg{Type: tea.KeyBackspace}
	}
	return tea.KeyMsg{Type: tea.KeyRunes, Runes: []rune(k)}
}

// clerk is a whole session at the counter in the bubble's time.
type clerk struct {
	t     *testing.T
	m     *counter
	saves []decay.Result
	stops int
	begun time.Time
	src   *rig.Source
}

func newClerk(t *testing.T, hole decay.Length, script *rig.Script) *clerk {
	c := rig.Default()
	c.Volume, c.Hole, c.FeedBore, c.VentBore = shop[0].Volume, hole, 1.5*decay.Millimetre, 3*decay.Millimetre
	k := &clerk{t: t, src: rig.NewSource(c, script)}
	k.m = newCounter(CounterOptions{
		Source: k.src, Parts: shop, Find: findInShop, Bell: true,
		Begin: func(p Part) (CounterTest, error) {
			k.begun = time.Now()
			set := decay.Setup{Volume: p.Volume, VolumeTolerance: p.VolumeTolerance, Limit: .2 * decay.Millimetre, Ambient: decay.DefaultAmbient}
			return CounterTest{Setup: set, From: k.m.at, Save: func(run *CounterRun, _ decay.PressureUnit) (Kept, error) {
				k.saves = append(k.saves, run.Result())
				if run.Stopped() {
					k.stops++
				}
				return Kept{Slip: []string{"slip of " + p.Label}, SlipPath: "there.slip.txt", RecordPath: "there.ebbline"}, nil
			}}, nil
		},
	}, &deaf{})
	k.m.w, k.m.h = 80, 24
	k.m.pump = sensor.NewPump(k.src, nil)
	t.Cleanup(k.m.pump.Stop)
	return k
}

// wait lets time go by until done, at most d, and returns how long that took.
func (k *clerk) wait(d time.Duration, done func() bool) time.Duration {
	began := time.Now()
	for time.Since(began) < d {
		time.Sleep(tickEvery)
		k.m.Update(tickMsg(time.Now()))
		if lines := strings.Split(k.m.View(), "\n"); len(lines) != 24 {
			k.t.Fatalf("%d lines", len(lines))
		}
		if done != nil && done() {
			break
		}
	}
	return time.Since(began)
}

func (k *clerk) press(keys ...string) (quit bool) {
	for _, key := range keys {
		if key == "enter" {
			k.wait(unread, nil) // has read the screen
		}
		if _, cmd := k.m.Update(keyOf(key)); cmd != nil {
			if _, is := cmd().(tea.QuitMsg); is {
				quit = true
			}
		}
		if len(k.m.burst) == 1 {
			k.wait(2*burst, nil) // nothing came after it
		}
	}
	return quit
}

func (k *clerk) says(words ...string) {
	k.t.Helper()
	text := k.m.draw(80, 24).render(&none)
	for _, w := range words {
		if !strings.Contains(strings.Join(strings.Fields(text), " "), strings.Join(strings.Fields(w), " ")) {
			k.t.Errorf("the screen does not say %q:\n%s", w, text)
		}
	}
}

// TestCounterSessions runs customers whose parts leak, hold and stand near the
// limit, from the first key to the slip.
func TestCounterSessions(t *testing.T) {
	for _, c := range []struct {
		name string
		hole decay.Length
		want []decay.Outcome
	}{
		{"leaks", .5 * decay.Millimetre, []decay.Outcome{decay.Leaks}},
		{"leaks less", .35 * decay.Millimetre, []decay.Outcome{decay.Leaks}},
		{"leaks more", .8 * decay.Millimetre, []decay.Outcome{decay.Leaks}},
		{"leaks very much", 2 * decay.Millimetre, []decay.Outcome{decay.Leaks}},
		{"holds", 0, []decay.Outcome{decay.Holds}},
		{"near the limit", .2 * decay.Millimetre, []decay.Outcome{decay.Undecided}},
	} {
		t.Run(c.name, func(t *testing.T) {
			synctest.Test(t, func(t *testing.T) {
				s := rig.Script{Ready: 5 * time.Second, FillMax: 20 * time.Second, Hold: time.Hour}
				k := newClerk(t, c.hole, &s)
				k.wait(time.Second, nil)
				k.says("Type its label", "left hose short", "SIMULATED RIG")
				k.press("5", "1", "x", "6", "0", "0", "enter")
				k.says("Before you fill", "relief valve", "plugs' axis", "hose 51x600 mm")
				k.press("enter")
				k.wait(2*time.Second, nil)
				k.says("fills and shuts its valve by itself")
				k.wait(2*time.Minute, func() bool { return k.m.stage == answered })
				if took := time.Since(k.begun); took > CounterTime+4*time.Second {
					t.Errorf("from the key to the slip %v, of which 4 s before the air", took)
				}
				if len(k.saves) != 1 {
					t.Fatalf("%d records saved", len(k.saves))
				}
				if got := k.saves[0].Outcome; got != c.want[0] {
					t.Errorf("outcome %v, want %v: hole %+v", got, c.want, k.saves[0].Hole)
				}
				if k.m.run.Left() > 2*counterSlip && k.m.s.st.P > k.saves[0].Hold.StartGauge/2 && slices.ContainsFunc(k.saves[0].Warnings, func(w decay.Warning) bool { return w.Code == "unsettled" }) {
					t.Errorf("the answer came with %v left, and a longer hold would be surer: %v", k.m.run.Left(), k.saves[0].Warnings)
				}
				k.says("hole ", "limit 0.20 mm", "there.slip.txt", "Enter next customer")
				if k.m.s.st.P > 3*decay.Kilopascal { // the part is still full
					k.says("let the air out")
				}
				if k.m.term.(*deaf).rings == 0 {
					t.Error("no bell with the answer")
				}
				k.press("s")
				k.says("slip of hose 51x600 mm")
				if k.m.Update(keyOf("enter")); k.m.stage != answered {
					t.Error("a key that was meant for the test takes the answer away")
				}
				k.press("enter")
				k.says("Type its label")
				if k.m.s.st.P > 3*decay.Kilopascal {
					k.says("let the air out")
				} else if c.hole < decay.Millimetre {
					t.Error("the part is empty")
				}
				if simulated := k.m.s.about.Simulated; k.m.pressed() {
					k.m.s.about.Simulated = false
					k.m.typed([]rune("left hose long"))
					if k.m.choose(); k.m.stage != choosing || !strings.Contains(k.m.problem, "let the air out first") {
						t.Errorf("the air of the part before is taken for this one's: %q", k.m.problem)
					}
					k.m.s.about.Simulated = simulated
					k.m.next()
				}
				k.press("left hose long", "enter") // as a scanner types
				if k.m.stage != underTest || k.m.part.Label != "left hose long" {
					t.Errorf("stage %v, part %q: the cautions were asked again, or the label was not taken", k.m.stage, k.m.part.Label)
				}
				k.press("esc")
				k.m.stage = answered
				k.press("small cooler")
				k.wait(2*burst, nil)
				if k.m.stage != choosing || string(k.m.field) != "small cooler" {
					t.Errorf("a label that comes at once on the answer gives stage %v, field %q", k.m.stage, string(k.m.field))
				}
			})
		})
	}
}

// What a scanner types at once is a label, however its letters are parted into
// messages and reads, and on whatever screen; letters of a person are keys.
func TestCounterTakesALabelForNoKeys(t *testing.T) {
	parts := append([]Part{{Label: "big cooler", Volume: decay.Litre}, {Label: "a4 hose", Volume: decay.Litre}, {Label: "sb", Volume: decay.Litre}}, shop...)
	answer := func(t *testing.T) *clerk {
		k := newClerk(t, 0, nil)
		k.m.o.Parts, k.m.warned = parts, true
		k.m.o.Find = func(text string) (Part, error) {
			for _, p := range parts {
				if strings.EqualFold(p.Label, text) {
					return p, nil
				}
			}
			return Part{}, errors.New("no such part: " + text)
		}
		k.m.part, k.m.stage = shop[0], answered
		k.wait(time.Second, nil)
		return k
	}
	// reads gives what one read after another brings, as bubbletea parts it.
	reads := func(k *clerk, between time.Duration, texts ...string) {
		for i, text := range texts {
			if i > 0 {
				k.wait(between, nil)
			}
			run := ""
			flush := func() {
				if run != "" {
					k.m.Update(keyOf(run))
				}
				run = ""
			}
			for _, r := range text {
				switch r {
				case ' ':
					flush()
					k.m.Update(tea.KeyMsg{Type: tea.KeySpace, Runes: []rune{' '}})
				case '\r':
					flush()
					k.m.Update(keyOf("enter"))
				default:
					run += string(r)
				}
			}
			flush()
		}
	}
	for _, label := range []string{"big cooler", "a4 hose", "sb", "small cooler"} {
		for name, cut := range map[string][]string{
			"one read":         {label + "\r"},
			"two reads":        {label[:1], label[1:] + "\r"},
			"Enter by itself":  {label, "\r"},
			"letter by letter": append(strings.Split(label, ""), "\r"),
		} {
			for _, on := range []stage{answered, cautioned, choosing} { // choosing with the help open
				synctest.Test(t, func(t *testing.T) {
					k := answer(t)
					k.m.stage, k.m.s.help = on, on == choosing
					reads(k, 2*tickEvery, cut...)
					if k.m.stage != underTest || k.m.part.Label != label || !k.m.s.bell || k.m.s.help {
						t.Errorf("%q, %s, on %v: stage %v, part %q, bell %v, %q", label, name, on, k.m.stage, k.m.part.Label, k.m.s.bell, k.m.problem)
					}
				})
			}
		}
	}
	synctest.Test(t, func(t *testing.T) {
		k := answer(t)
		reads(k, 0, "unheard of\r", "a4 hose\r") // the first is on no list
		if k.m.stage != underTest || k.m.part.Label != "a4 hose" {
			t.Errorf("after a label that was refused: stage %v, field %q", k.m.stage, string(k.m.field))
		}
	})
	synctest.Test(t, func(t *testing.T) {
		k := answer(t)
		reads(k, 0, "51x60\r") // and a person goes on typing
		reads(k, 0, "0")
		k.wait(2*burst, nil)
		if string(k.m.field) != "51x600" || k.m.problem != "" {
			t.Errorf("field %q, problem %q", string(k.m.field), k.m.problem)
		}
	})
	synctest.Test(t, func(t *testing.T) {
		k := answer(t)
		for _, key := range []string{"b", "s", "u"} { // a person's
			reads(k, 0, key)
			k.wait(2*burst, nil)
		}
		if k.m.stage != answered || k.m.s.bell || !k.m.full || k.m.s.unit.Name != "bar" {
			t.Errorf("single keys: stage %v, bell %v, slip %v, unit %v", k.m.stage, k.m.s.bell, k.m.full, k.m.s.unit.Name)
		}
		reads(k, 40*time.Millisecond, strings.Split("bbbbbb", "")...) // held down
		k.wait(2*burst, nil)
		if k.m.stage != answered || k.m.s.bell {
			t.Errorf("a key held down: stage %v, bell %v", k.m.stage, k.m.s.bell)
		}
		reads(k, 0, "big cooler") // a scanner that types no Enter
		k.wait(2*burst, nil)
		if k.m.stage != choosing || string(k.m.field) != "big cooler" {
			t.Errorf("a label without Enter: stage %v, field %q", k.m.stage, string(k.m.field))
		}
	})
	synctest.Test(t, func(t *testing.T) {
		k := answer(t)
		k.press("a")
		if k.m.stage != underTest || k.m.part.Label != shop[0].Label {
			t.Fatalf("a does not test again: %v", k.m.stage)
		}
		reads(k, 0, "big cooler\r")
		if k.m.stage != underTest || !k.m.s.bell || k.m.part.Label != shop[0].Label {
			t.Errorf("a label in the middle of a test: stage %v, bell %v, part %q", k.m.stage, k.m.s.bell, k.m.part.Label)
		}
		k.says("a label was read in the middle of a test")
	})
}

func TestCounterStoppedByHandKeepsTheRecord(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		s := rig.Script{Ready: 8 * time.Second, FillMax: 20 * time.Second, Hold: time.Hour}
		k := newClerk(t, .1*decay.Millimetre, &s)
		k.press("down", "enter", "enter")
		k.wait(time.Second, nil)
		k.press("esc")
		if k.m.stage != choosing || len(k.saves) != 1 || k.stops != 1 {
			t.Fatalf("before the air: stage %v, %d saves", k.m.stage, len(k.saves))
		}
		k.says("kept in there.ebbline")
		k.press("down", "enter")
		k.wait(12*time.Second, nil)
		if !k.m.run.Began() {
			t.Fatal("no air came")
		}
		k.press("esc")
		if k.m.stage != answered || len(k.saves) != 2 || k.stops != 2 {
			t.Fatalf("with air: stage %v, %d saves", k.m.stage, len(k.saves))
		}
		k.says("stopped by hand")
		k.press("a") // the same part again
		if k.m.stage != underTest {
			t.Error("a does not test again")
		}
		if !k.press("ctrl+c") {
			t.Error("ctrl+c does not leave")
		}
	})
}

// TestCounterLosesNothingWithoutASensor: a silent sensor ends the test in its
// time, and the screen says why.
func TestCounterLosesNothingWithoutASensor(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		s := rig.Script{Ready: time.Second, FillMax: 20 * time.Second, Hold: time.Hour}
		k := newClerk(t, .1*decay.Millimetre, &s)
		k.press("down", "enter", "enter")
		k.wait(8*time.Second, nil)
		k.src.Close()
		k.wait(time.Second, nil)
		k.says("SENSOR LOST")
		took := k.wait(3*time.Minute, func() bool { return k.m.stage == answered })
		if len(k.saves) != 1 || took > CounterTime {
			t.Errorf("%d saves after %v", len(k.saves), took)
		}
	})
}

// TestCounterSupplyLeftOn: a part that its supply holds up is never called
// tight.
func TestCounterSupplyLeftOn(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		k := newClerk(t, .5*decay.Millimetre, nil)
		k.press("down", "enter", "enter")
		k.wait(2*time.Second, nil)
		k.src.Fill()
		k.wait(20*time.Second, nil)
		k.says("shut the supply valve")
		k.wait(3*time.Minute, func() bool { return k.m.stage == answered })
		if len(k.saves) != 1 || k.saves[0].Outcome == decay.Holds {
			t.Errorf("%+v", k.saves)
		}
	})
}

// TestCounterWaitsAfterABump: a valve that is opened for a moment is no test.
func TestCounterWaitsAfterABump(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		k := newClerk(t, 0, nil)
		k.press("down", "enter", "enter")
		k.wait(3*time.Second, nil)
		k.src.Fill()
		k.wait(200*time.Millisecond, nil)
		k.src.Release()
		k.wait(40*time.Second, nil)
		k.says("went out again")
		if k.m.stage != underTest || len(k.saves) != 0 || k.m.run.Began() {
			t.Fatalf("the bump ended the test: stage %v, peak %v", k.m.stage, k.m.s.st.Result.Peak)
		}
		k.src.Fill()
		k.wait(6*time.Second, nil)
		k.src.Isolate()
		k.wait(2*time.Minute, func() bool { return k.m.stage == answered })
		if len(k.saves) != 1 || k.saves[0].Outcome != decay.Holds {
			t.Errorf("%+v", k.saves)
		}
	})
}

func TestCounterNeverBuilt(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		for _, hole := range []float64{3, 4, 4.5, 6} {
			// The supply stays on, is shut after a while, or after some seconds.
			for _, fill := range []time.Duration{time.Hour, 20 * time.Second, 12 * time.Second, 8 * time.Second} {
				s := rig.Script{Ready: time.Second, FillMax: fill, Hold: time.Hour}
				k := newClerk(t, decay.Length(hole)*decay.Millimetre, &s)
				k.press("down", "enter", "enter")
				took := k.wait(3*time.Minute, func() bool { return k.m.stage == answered })
				if len(k.saves) != 1 || k.saves[0].Outcome != decay.NeverBuilt || k.stops != 0 || took > CounterTime || !k.m.run.Began() {
					t.Fatalf("hole %g mm, supply on for %v: after %v %v, by hand %d, air %v", hole, fill, took, k.saves, k.stops, k.m.run.Began())
				}
				k.says("would not come up")
			}
		}
	})
}

func TestCounterChoosesAsOneTypes(t *testing.T) {
	m := newCounter(CounterOptions{Source: newHose(), Parts: shop, Find: findInShop, Begin: func(Part) (CounterTest, error) {
		return CounterTest{}, errors.New("the disk is full")
	}}, &deaf{})
	labels := func() string {
		var l []string
		for _, p := range m.offers {
			l = append(l, p.Label)
		}
		return strings.Join(l, ",")
	}
	type_ := func(s string) {
		for _, r := range s {
			m.press(keyOf(string(r)))
		}
	}
	type_("H")
	if labels() != "left hose long,left hose short" {
		t.Errorf("H offers %q", labels())
	}
	m.press(keyOf("enter"))
	if m.stage != choosing || !strings.Contains(m.problem, "more than one") {
		t.Errorf("an open choice was taken: %v %q", m.stage, m.problem)
	}
	m.press(keyOf("esc"))
	type_("coo")
	m.press(keyOf("enter"))
	if m.stage != cautioned || m.part.Label != "small cooler" {
		t.Errorf("coo gives %q", m.part.Label)
	}
	m.press(keyOf("esc"))
	if m.stage != choosing {
		t.Error("Esc does not go back")
	}
	m.press(keyOf("enter"))
	if m.press(keyOf("enter")); m.stage != cautioned {
		t.Error("a key pressed twice takes the cautions away unread")
	}
	m.now = m.now.Add(unread)
	m.press(keyOf("enter"))
	if m.stage != choosing || !strings.Contains(m.problem, "disk is full") {
		t.Errorf("a record that cannot be made gives stage %v, %q", m.stage, m.problem)
	}
	m.press(keyOf("esc"))
	if cmd := m.press(keyOf("esc")); cmd != nil || !m.leaving {
		t.Error("the first Esc on an empty field leaves at once, or says nothing")
	}
	m.press(keyOf("x"))
	m.press(keyOf("backspace"))
	m.press(keyOf("esc"))
	if cmd := m.press(keyOf("esc")); cmd == nil {
		t.Error("Esc twice does not leave")
	}
	if m.press(keyOf("enter")); !strings.Contains(m.problem, "type the part") {
		t.Errorf("nothing typed: %q", m.problem)
	}
}

func TestCounterKeysAreShownWhereTheyWork(t *testing.T) {
	m := counterMoments()["counter-leaks"]
	for _, st := range []stage{choosing, cautioned, underTest, answered} {
		m.stage = st
		var help strings.Builder
		for _, f := range m.keyList() {
			help.WriteString(f.text + "\n")
		}
		for _, a := range counterActions {
			if a.in&st != 0 && !strings.Contains(help.String(), a.Help().Desc) {
				t.Errorf("stage %d: the help lacks %q", st, a.Help().Desc)
			}
		}
		if foot := m.foot(76); !strings.Contains(foot, "? help") || width(foot) > 76 {
			t.Errorf("stage %d: foot %q", st, foot)
		}
	}
}

// counterMoments are the counter's screens that are kept as golden files.
func counterMoments() map[string]*counter {
	out := map[string]*counter{}
	make := func(name string, st stage, at, top, rate float64, change func(*counter)) {
		m := newCounter(CounterOptions{Source: newHose(), Parts: shop, Find: findInShop, Bell: true}, &deaf{})
		m.stage, m.part = st, shop[0]
		m.tally, m.counted = Tally{Holds: 12, Leaks: 3, Undecided: 1}, true
		m.s.about.Name = "simulated rig"
		m.s.set.Limit = .2 * decay.Millimetre
		m.s.st.Slope = math.NaN()
		if at > 0 {
			trace, marks := moment(at, top, rate)
			m.s.trace = trace
			marks(&m.s)
			_, p := trace.Last()
			m.s.st.Seen, m.s.st.P, m.s.st.Now = true, decay.Gauge(math.Round(p)), time.Duration(at*1e9)
			if n := len(m.s.marks); n > 0 {
				m.s.st.Phase = m.s.marks[n-1].to
				m.s.st.PhaseSince = time.Duration(m.s.marks[n-1].at * 1e9)
			}
			m.s.st.InBand = m.s.st.P >= m.s.set.Ceiling*decay.WarningBand
			m.s.st.OverCeiling = m.s.st.P > m.s.set.Ceiling
		}
		change(m)
		out[name] = m
	}
	answer := func(o decay.Outcome, v, lo, hi float64) func(*counter) {
		return func(m *counter) {
			r := estimate(v, lo, hi)
			r.Outcome, r.Limit = o, .2*decay.Millimetre
			r.Hold.End = 40 * time.Second
			r.HasDecide, r.ToDecide = o == decay.Undecided, 100*time.Second
			m.run.over, m.run.result, m.s.st.Result = true, r, r
			m.s.set.Volume = r.Volume
			m.kept = Kept{SlipPath: "/home/desk/book/20260131T150405.000000Z-left-hose-long.slip.txt"}
			for i := range 40 {
				m.kept.Slip = append(m.kept.Slip, "line "+strconv.Itoa(i+1)+" of the slip")
			}
		}
	}
	make("counter-part", choosing, 0, 0, 0, func(m *counter) {
		m.field = []rune("ho")
		m.offer()
		m.pick = 1
	})
	make("counter-cautions", cautioned, 0, 0, 0, func(*counter) {})
	make("counter-fill", underTest, 12, 25, .95, func(m *counter) {
		m.s.st.Advice, m.s.st.Slope = decay.AdviseKeepFilling, 8000
		m.run.began = true
	})
	make("counter-hold", underTest, 60, 25, .88, func(m *counter) {
		m.s.st.Advice, m.s.st.Result = decay.AdviseHoldOn, estimate(.22, .13, .31)
		m.run.began = true
		m.run.first = -50 * time.Second
	})
	make("counter-over", underTest, 24, 31.5, .95, func(m *counter) { m.s.st.Advice = decay.AdviseShut })
	make("counter-leaks", answered, 100, 25, .8, answer(decay.Leaks, .45, .38, .53))
	make("counter-holds", answered, 100, 25, .995, answer(decay.Holds, .05, 0, .11))
	make("counter-undecided", answered, 100, 25, .9, answer(decay.Undecided, .2, .14, .27))
	make("counter-leaks-ascii", answered, 100, 25, .8, func(m *counter) {
		answer(decay.Leaks, .45, .38, .53)(m)
		m.s.ascii = true
	})
	make("counter-lost", underTest, 60, 25, .9, func(m *counter) {
		m.s.st.Advice, m.s.st.Lost, m.s.st.LostWhy = decay.AdviseSensor, true, "nothing from /dev/ttyUSB0 for 3 s"
		m.s.about.Simulated = false
	})
	return out
}

// What is wrong and what to do about it stands whole where the clerk types.
func TestCounterSaysAProblemWhole(t *testing.T) {
	for _, wh := range [][2]int{{40, 12}, {64, 20}, {80, 24}} {
		m := counterMoments()["counter-part"]
		m.problem = "book: mkdir /srv/shop/bench: read-only file system; name a folder you may write to with --book"
		text := strings.Join(strings.Fields(m.draw(wh[0], wh[1]).render(&none)), " ")
		if !strings.Contains(text, "! "+m.problem) || !strings.Contains(text, "left hose long") {
			t.Errorf("%v: %s", wh, text)
		}
	}
}

// Whatever the size of the screen, the slip's end can be reached and is not passed.
func TestCounterSlipToItsEnd(t *testing.T) {
	for _, wh := range [][2]int{{40, 12}, {64, 20}, {80, 24}, {120, 40}} {
		m := counterMoments()["counter-leaks"]
		m.w, m.h = wh[0], wh[1]
		shows := func(line, after string) {
			t.Helper()
			if text := m.draw(m.w, m.h).render(&none); !strings.Contains(text, line+" of the slip") {
				t.Errorf("%v: no %q after %s:\n%s", wh, line, after, text)
			}
		}
		m.full = true
		m.press(tea.KeyMsg{Type: tea.KeyEnd})
		shows("line 40", "End")
		m.press(tea.KeyMsg{Type: tea.KeyHome})
		shows("line 1", "Home")
		for range 40/m.page() + 1 {
			m.press(tea.KeyMsg{Type: tea.KeyPgDown})
		}
		shows("line 40", "PgDn")
		shows("line "+strconv.Itoa(41-m.page()), "PgDn")
		for range 9 {
			m.press(keyOf("up"))
		}
		shows("line 1", "up")
		for range 9 {
			m.press(keyOf("down"))
		}
		shows("line 40", "down")
	}
}

func TestCounterScreensMatchTheGoldenOnes(t *testing.T) {
	for name, m := range counterMoments() {
		for _, wh := range sizes {
			golden(t, name, wh, m.draw(wh[0], wh[1]).render(&none)+"\n")
		}
	}
}

func TestCounterFillsTheScreenExactly(t *testing.T) {
	all := counterMoments()
	var names []string
	for n := range all {
		names = append(names, n)
	}
	rapid.Check(t, func(t *rapid.T) {
		m := *all[rapid.SampledFrom(names).Draw(t, "moment")]
		m.w, m.h = rapid.IntRange(0, 220).Draw(t, "w"), rapid.IntRange(0, 70).Draw(t, "h")
		m.s.help, m.full = rapid.Bool().Draw(t, "help"), rapid.Bool().Draw(t, "full")
		m.part.Label = rapid.String().Draw(t, "label")
		m.problem = rapid.String().Draw(t, "problem")
		none := rapid.Bool().Draw(t, "no colour")
		if none {
			m.o.Look.Colours = ColoursNone
		}
		m.s.ascii = rapid.Bool().Draw(t, "ascii")
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
		for _, r := range v {
			if m.s.ascii && r > 0x7e {
				t.Fatalf("%q on a terminal of ASCII", r)
			}
		}
		if none && strings.Contains(v, "38;5") {
			t.Fatal("a screen without colour sets one")
		}
	})
}

// TestVerdictsDifferByShape: without colour and without reading, holds, leaks
// and undecided look different.
func TestVerdictsDifferByShape(t *testing.T) {
	seen := map[string]decay.Outcome{}
	for _, o := range []decay.Outcome{decay.Holds, decay.Leaks, decay.Undecided} {
		g := newGrid(60, 1)
		wall(g, 0, 0, 60, 1, o, plain)
		s := g.render(&none)
		if other, same := seen[s]; same {
			t.Errorf("%v and %v have one shape: %q", o, other, s)
		}
		seen[s] = o
		if o == decay.Holds && strings.Contains(s, " ") {
			t.Errorf("the wall of a part that holds has a gap: %q", s)
		}
	}
}

// BenchmarkCounterFrame is the budget of a frame: at most 2 ms at 200×60.
func BenchmarkCounterFrame(b *testing.B) {
	m := counterMoments()["counter-hold"]
	m.w, m.h = 200, 60
	b.ReportAllocs()
	for b.Loop() {
		m.View()
	}
}

// Esc leads from the slip back to the result, and a disk that takes nothing more
// is said while the test runs.
func TestCounterSlipBackAndTrouble(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		k := newClerk(t, .5*decay.Millimetre, &rig.Script{Ready: time.Second, FillMax: 20 * time.Second, Hold: time.Hour})
		trouble := ""
		k.m.o.Trouble = func() string { return trouble }
		k.press("down", "enter", "enter")
		k.wait(5*time.Second, nil)
		k.says("limit 0.20 mm (our default): a larger hole counts as a leak")
		trouble = "NOT BEING KEPT: the disk is full; make room"
		k.wait(time.Second, nil)
		k.says(trouble)
		trouble = ""
		k.wait(3*time.Minute, func() bool { return k.m.stage == answered })
		k.says("our default", "slip: there.slip.txt")
		k.m.unsaved = errors.Join(errors.New("the disk is full"), errors.New("slip: the disk is full"))
		k.says("NOT KEPT, so test again once that is mended: the disk is full; slip: the disk is full")
		k.m.unsaved = nil
		k.press("s")
		k.says("slip of left hose long", "Esc back to the result")
		k.press("esc")
		if k.m.stage != answered || k.m.full {
			t.Errorf("stage %v, slip %v after Esc", k.m.stage, k.m.full)
		}
		k.press("esc")
		if k.m.stage != choosing {
			t.Errorf("stage %v after Esc on the result", k.m.stage)
		}
	})
}
