package tui

import (
	"fmt"
	"io"
	"math"
	"strings"
	"testing"
	"time"

	tea "github.com/charmbracelet/bubbletea"
	"github.com/charmbracelet/lipgloss"
	"github.com/charmbracelet/x/ansi"
	"github.com/charmbracelet/x/vt"
	"pgregory.net/rapid"

	"ebbline/decay"
	"ebbline/sensor"
	"ebbline/sensor/rig"
)

// silentTerm is a terminal that only counts its bells.
type silentTerm struct {
	quick
	bells int
}

func (s *silentTerm) bell() { s.bells++ }

// testRig is the simulated rig of one trace.
func testRig(d Duct) (Rig, error) {
	c := rig.Default()
	c.Volume, c.Hole, c.Ambient, c.Temperature, c.Supply = d.Volume, d.Hole, d.Ambient, d.Temperature, d.Supply
	if d.Seep {
		c.Hole, c.Seep = 0, d.SeepCoefficient(d.Supply.Absolute(d.Ambient))
	}
	if err := c.Validate(); err != nil {
		return nil, err
	}
	return rig.New(c), nil
}

// classroom drives a lesson in fake time: a tick every 40 ms of a clock that
// only this test turns.
type classroom struct {
	t     testing.TB
	m     *lesson
	term  *silentTerm
	begun time.Time
	now   time.Time
	quit  bool
}

func openClass(t testing.TB, o LessonOptions) *classroom {
	if o.NewRig == nil && o.Source == nil {
		o.NewRig = testRig
	}
	o.Bell = true
	c := &classroom{t: t, term: &silentTerm{}, begun: time.Date(2026, 1, 5, 8, 0, 0, 0, time.UTC)}
	c.now = c.begun
	c.m = newLesson(o.withDefaults(), c.term)
	c.m.Update(tea.WindowSizeMsg{Width: 80, Height: 24})
	return c
}

// wait lets d go by.
func (c *classroom) wait(d time.Duration) {
	for end := c.now.Add(d); c.now.Before(end); {
		c.now = c.now.Add(tickEvery)
		c.m.Update(tickMsg(c.now))
	}
}

// until waits for something, at most two minutes.
func (c *classroom) until(what string, ok func() bool) {
	c.t.Helper()
	for end := c.now.Add(2 * time.Minute); c.now.Before(end); {
		if ok() {
			return
		}
		c.wait(tickEvery)
	}
	c.t.Fatalf("it never came to this: %s; the screen says\n%s", what, c.screen())
}

func (c *classroom) key(k tea.KeyMsg) {
	if _, cmd := c.m.Update(k); cmd != nil {
		if _, ok := cmd().(tea.QuitMsg); ok {
			c.quit = true
		}
	}
}

// keys types characters, each a key of its own.
func (c *classroom) keys(s string) {
	for _, r := range s {
		if r == ' ' {
			c.key(tea.KeyMsg{Type: tea.KeySpace, Runes: []rune{' '}})
			continue
		}
		c.key(tea.KeyMsg{Type: tea.KeyRunes, Runes: []rune{r}})
	}
}

func (c *classroom) enter() { c.key(tea.KeyMsg{Type: tea.KeyEnter}) }
func (c *classroom) esc()   { c.key(tea.KeyMsg{Type: tea.KeyEsc}) }

func (c *classroom) screen() string { return c.m.draw(c.m.w, c.m.h).render(&none) }

func (c *classroom) says(words string) {
	c.t.Helper()
	if !strings.Contains(strings.Join(strings.Fields(c.screen()), " "), words) {
		c.t.Errorf("the screen does not say %q:\n%s", words, c.screen())
	}
}

// complete waits until the trace under way is complete.
func (c *classroom) complete() {
	c.t.Helper()
	c.until("a complete trace", func() bool { return c.m.cur != nil && !c.m.cur.running() })
}

// TestLessonOfFiveSizesAndAGuessingRound is a whole lesson: five sizes laid
// over one another, a hidden hole, three guesses and the reveal, within five
// minutes on the wall.
func TestLessonOfFiveSizesAndAGuessingRound(t *testing.T) {
	c := openClass(t, LessonOptions{Seed: 3})
	c.says("SIMULATED RIG – no real pressure")
	c.says("Press a number")
	c.keys("s")
	for i, name := range []string{"A tight", "B 0.30 mm", "C 0.50 mm", "D 1.00 mm", "E 2.00 mm"} {
		c.keys(string(rune('1' + i)))
		c.complete()
		c.says(name)
	}
	for i, tr := range c.m.traces {
		if tr.size != DefaultLessonSizes()[i] {
			t.Errorf("trace %d is of %v", i, tr.size)
		}
		h := tr.result.Hole
		t.Logf("%s: %.3f mm (%.3f to %.3f)", tr.name(), h.Value*1e3, h.Low*1e3, h.High*1e3)
		if !tr.result.HasFit || h.Low > float64(tr.size)*1.03 || h.High < float64(tr.size)*0.97 {
			t.Errorf("%s is judged %v", tr.name(), h)
		}
		if s := tr.seconds(); math.Abs(s-60) > 0.1 {
			t.Errorf("%s was watched for %v s", tr.name(), s)
		}
	}

	c.keys("g")
	truth := c.m.round.tr.size
	if truth < 0.3e-3 || truth > 3e-3 {
		t.Fatalf("the hidden hole is %v m", truth)
	}
	c.keys("Ann 1,2 mm")
	c.enter()
	c.keys("3")
	c.enter()
	c.keys("what")
	c.enter()
	c.says("write a size in mm")
	c.key(tea.KeyMsg{Type: tea.KeyCtrlU})
	c.keys(fmt.Sprintf("Bo %.2f", truth/decay.Millimetre+0.01))
	c.enter()
	c.says("3 guesses: Bo")
	if strings.Contains(c.screen(), lessonSize(truth)) {
		t.Errorf("the hidden size stands on the screen:\n%s", c.screen())
	}
	c.wait(10 * time.Second)
	c.enter()
	c.says("It was " + lessonSize(truth) + ". The program said ")
	c.says("Nearest: Bo, 0.01 mm off.")
	said := c.m.round.said.Hole
	if said.Low > float64(truth)*1.05 || said.High < float64(truth)*0.95 {
		t.Errorf("the program said %v of %v m", said, truth)
	}
	if took := c.now.Sub(c.begun); took > 5*time.Minute {
		t.Errorf("the lesson took %v", took)
	} else {
		t.Logf("the lesson took %v on the wall", took)
	}

	c.keys("q")
	c.says("Leave the lesson?")
	c.keys("n")
	if c.quit || len(c.m.traces) != 6 {
		t.Fatalf("after no: left %v, %d traces", c.quit, len(c.m.traces))
	}
	c.esc()
	c.keys("y")
	if !c.quit {
		t.Error("yes does not leave")
	}
	sum := strings.Join(c.m.summary(), "\n")
	for _, words := range []string{"A tight: watched for 1:00, estimate ", "guessing round: It was " + lessonSize(truth)} {
		if !strings.Contains(sum, words) {
			t.Errorf("the summary lacks %q:\n%s", words, sum)
		}
	}
}

// A trace never goes without a yes: neither by Esc nor by a seventh one.
func TestNoTraceIsLostUnasked(t *testing.T) {
	c := openClass(t, LessonOptions{Hold: 10 * time.Second})
	c.esc()
	if !c.quit {
		t.Error("an empty lesson asks before it ends")
	}
	c.quit = false
	c.keys("ss")
	for i := range 6 {
		c.keys(string(rune('1' + i)))
		c.complete()
	}
	before := append([]*lessonTrace(nil), c.m.traces...)
	same := func() bool {
		if len(c.m.traces) != len(before) {
			return false
		}
		for i := range before {
			if c.m.traces[i] != before[i] {
				return false
			}
		}
		return true
	}
	for _, k := range []string{"1", "g", "x", "q"} {
		c.keys(k)
		c.says("y yes n no")
		c.keys("5z ") // no answers
		c.esc()
		c.wait(time.Second)
		if !same() || c.quit || c.m.ask != nil {
			t.Errorf("%s and Esc changed the picture: %d traces, left %v", k, len(c.m.traces), c.quit)
		}
	}
	c.key(tea.KeyMsg{Type: tea.KeyCtrlC})
	if c.quit {
		t.Error("the first ctrl+c leaves unasked")
	}
	c.key(tea.KeyMsg{Type: tea.KeyCtrlC})
	if !c.quit {
		t.Error("the second ctrl+c does not leave")
	}
	c.keys("n")
	c.keys("4")
	c.says("Take away A tight, the oldest?")
	c.keys("y")
	c.complete()
	if len(c.m.traces) != 6 || c.m.traces[0] != before[1] || c.m.traces[5].size != 1e-3 {
		t.Errorf("the seventh trace did not take the place of the oldest")
	}
	c.keys("xy")
	if len(c.m.traces) != 5 {
		t.Errorf("%d traces after one was taken away", len(c.m.traces))
	}

	// Guesses are not thrown away unasked either.
	c.keys("g")
	c.keys("1.5")
	c.enter()
	c.esc()
	c.says("1 guess will be lost")
	c.keys("n")
	if c.m.round == nil || len(c.m.round.guesses) != 1 {
		t.Error("a guess was lost without a yes")
	}
	c.esc()
	c.keys("y")
	if c.m.round != nil || c.m.entry != nil {
		t.Error("the round did not end")
	}
}

// Settings are for the next trace: the one under way keeps its own.
func TestSettingsNameWhatDiffers(t *testing.T) {
	c := openClass(t, LessonOptions{Hold: 10 * time.Second})
	c.keys("ss4")
	c.complete()
	c.keys("lfvaa")
	c.says("next trace: seep, slow fill, 3 L, 3000 m; time ×10")
	if got := labels(c.m.traces)[0]; got != "A 1.00 mm" {
		t.Errorf("label %q", got)
	}
	c.keys("4")
	c.complete()
	if got := labels(c.m.traces); got[0] != "A 1.00 mm quick 10 L" || got[1] != "B 1.00 mm seep slow 3 L 3000 m" {
		t.Errorf("labels %q", got)
	}
	d := c.m.traces[1].duct
	if math.Abs(float64(d.Ambient)-70.1e3) > 100 || d.Volume != 3e-3 || !d.Seep {
		t.Errorf("the duct is %+v", d)
	}
	// Settings go round.
	c.keys("lfva")
	c.says("next trace: orifice, quick fill, 10 L, sea; time ×10")
}

// The same leak by either law passes the same flow at the supply's pressure.
func TestSeepPassesWhatItsHoleWould(t *testing.T) {
	for _, hole := range []decay.Length{0.3e-3, 1e-3, 3e-3} {
		d := Duct{Hole: hole, Volume: 0.01, Ambient: 85e3, Temperature: decay.DefaultTemperature, Supply: 25 * psi}
		p := d.Supply.Absolute(d.Ambient)
		want := decay.NozzleFlow(decay.Area(decay.DefaultCd*float64(decay.CircleArea(hole))), p, d.Temperature, d.Ambient)
		got := d.SeepCoefficient(p) * float64(p*p-d.Ambient*d.Ambient)
		if math.Abs(got/float64(want)-1) > 1e-9 {
			t.Errorf("%v: %v kg/s, want %v", hole, got, want)
		}
	}
	if (Duct{Ambient: 1e5}).SeepCoefficient(1e5) != 0 {
		t.Error("a duct without pressure has a seep")
	}
}

// TestLookIsAlwaysRight runs every kind of trace and holds each sentence
// against the true air.
func TestLookIsAlwaysRight(t *testing.T) {
	seen := map[string]int{}
	for _, law := range []bool{false, true} {
		for _, slow := range []bool{false, true} {
			for _, small := range []bool{false, true} {
				for high := range altitudes {
					if slow && high > 0 {
						continue // altitude and a slow fill have no sentence in common
					}
					for _, k := range []int{0, 2, 3, 5} {
						c := openClass(t, LessonOptions{Hold: 30 * time.Second})
						c.m.seep, c.m.slow, c.m.small, c.m.high, c.m.speed = law, slow, small, high, 2
						c.keys(string(rune('1' + k)))
						for c.m.cur.running() {
							checkLook(t, c, seen)
							// Without the estimate, which is another test's.
							c.m.run.advance(400 * time.Millisecond)
							c.m.followRun()
						}
					}
				}
			}
		}
	}
	for _, words := range []string{"Slow fill", "Quick fill", "No leak at all", "flat", "gone", "looks like", "Two things", "gets cold", "never choked", "never quite ends", "Choked:", "no longer choked", "sensor's zero"} {
		if seen[words] == 0 {
			t.Errorf("the sentence with %q was never shown", words)
		}
	}
}

func checkLook(t *testing.T, c *classroom, seen map[string]int) {
	t.Helper()
	r, d := c.m.run, c.m.run.tr.duct
	says := c.m.looking()
	p, warm := float64(r.rig.Pressure()), float64(r.rig.Temperature()-d.Temperature)
	gauge := p - float64(d.Ambient)
	has := func(w string) bool {
		if strings.Contains(says, w) {
			seen[w]++
			return true
		}
		return false
	}
	isolated := r.stage == decay.PhaseHold
	bad := func(why string) {
		t.Errorf("%s, but %v %s, %.0f Pa gauge, %.2f K warm, %v: %s", why, r.stage, labels([]*lessonTrace{r.tr})[0], gauge, warm, r.tr.settings(), says)
	}
	if has("Slow fill") && (!r.tr.slow || r.stage != decay.PhaseFill) || has("Quick fill") && (r.tr.slow || r.stage != decay.PhaseFill) {
		bad("the fill is another")
	}
	if has("sensor's zero") && math.Abs(gauge) > 100 {
		bad("it is not at ambient")
	}
	if (has("No leak")) != (isolated && d.Hole == 0) && isolated {
		bad("leak or none")
	}
	if has("No leak at all") && !(warm > 0.5) {
		bad("nothing cools")
	}
	// Half a kelvin is at most 0.17 % of the absolute pressure.
	if has("flat") && isolated && d.Hole == 0 && math.Abs(warm) > 0.5 {
		bad("it is not flat")
	}
	if has("gone") && gauge >= 1000 || isolated && !strings.Contains(says, "gone") && d.Hole > 0 && gauge < 1000 {
		bad("gone or not")
	}
	if _, after, ok := strings.Cut(says, "looks like a hole of "); ok {
		seen["looks like"]++
		var mm float64
		if _, err := fmt.Sscan(after, &mm); err != nil {
			bad("no size")
		}
		// The same fall at constant temperature, from the gas law and the flow.
		area := decay.Area(decay.DefaultCd * float64(decay.CircleArea(decay.Length(mm*decay.Millimetre))))
		fall := float64(decay.NozzleFlow(area, decay.Pressure(p), d.Temperature, d.Ambient)) * decay.RAir * float64(d.Temperature) / float64(d.Volume)
		// The air cools with the rig's own time constant, which is 6 s at the supply's pressure.
		if cools := p / float64(r.rig.Temperature()) * warm / 6; fall < 0.5*cools-400 || fall > 1.6*cools+400 {
			bad(fmt.Sprintf("that hole lets the pressure fall by %.0f Pa/s and cooling does by %.0f", fall, cools))
		}
	}
	if has("Two things") && !(warm > 0) || has("gets cold") && !(warm < 0) {
		bad("the air has another temperature")
	}
	if has("warmer than the duct") && warm < 0 || has("colder than the duct") && warm > 0 {
		bad("the temperature has another sign")
	}
	choked := float64(d.Ambient)/p <= decay.CriticalRatio
	if has("Choked:") && (d.Seep || !choked) || has("no longer choked") && (d.Seep || choked) {
		bad("choked or not")
	}
	if (has("never choked") || has("never quite ends")) && (!d.Seep || d.Hole == 0) {
		bad("no seep")
	}
	if strings.Contains(says, "psi") && !strings.Contains(says, "psi gauge") {
		bad("a pressure does not say gauge")
	}
}

// TestShownEstimatesCoverTheHole looks at what is shown all through traces of
// either law and fill: before the estimate has recognised the isolation, and
// while the supply still held the pressure up, nothing may be shown.
func TestShownEstimatesCoverTheHole(t *testing.T) {
	for _, law := range []bool{false, true} {
		for _, slow := range []bool{false, true} {
			for _, k := range []int{1, 3, 5} {
				c := openClass(t, LessonOptions{Hold: 40 * time.Second})
				c.m.seep, c.m.slow, c.m.speed = law, slow, 1
				c.keys(string(rune('1' + k)))
				shown := 0
				for next := 1.0; c.m.cur.running(); {
					c.wait(200 * time.Millisecond)
					s := c.m.cur.seconds()
					if s < next && c.m.cur.running() {
						continue
					}
					next *= 1.5
					if c.m.cur.estimate() == "" {
						continue
					}
					shown++
					truth, h := float64(c.m.cur.size), c.m.cur.said().Hole
					// One look in twenty may miss by a little; none by much.
					if h.Low > truth*1.05 || h.High < truth*0.95 {
						t.Errorf("%s, %v, after %.1f s: %.3f mm (%.3f to %.3f) is shown", c.m.cur.name(), c.m.cur.settings(), s, h.Value*1e3, h.Low*1e3, h.High*1e3)
					}
				}
				if shown < 3 {
					t.Errorf("%s, %v: an estimate was shown only %d times", c.m.cur.name(), c.m.cur.settings(), shown)
				}
			}
		}
	}
}

// The number keys can change the hole of the trace under way.
func TestChangeTheHoleWhileTheTraceRuns(t *testing.T) {
	c := openClass(t, LessonOptions{})
	c.keys("n4")
	c.says("no trace is under way")
	c.keys("nsf3")
	c.until("isolation", func() bool { return len(c.m.traces) == 1 })
	c.wait(5 * time.Second) // 20 s
	fall := func() float64 {
		p := c.m.run.rig.Pressure()
		c.wait(time.Second)
		return float64(p - c.m.run.rig.Pressure())
	}
	before := fall()
	c.keys("n4")
	c.says("the hole was changed to 1.00 mm")
	if after := fall(); after < 3*before {
		t.Errorf("the pressure fell by %v Pa a second, and by %v with four times the area", before, after)
	}
	c.keys("1")
	c.wait(5 * time.Second)
	c.says("No leak now")
	if p := c.m.run.rig.Pressure(); fall() > 50 {
		t.Errorf("the closed duct at %v Pa still loses air", p)
	}
	if l := labels(c.m.traces); len(l) != 1 || l[0] != "A 1.00→tight" {
		t.Errorf("labels %q", l)
	}
	c.complete()
	if sum := c.m.summary(); strings.Contains(sum[0], "estimate") {
		t.Errorf("an estimate is given for three holes: %q", sum)
	}
}

// air is real hardware for a lesson: the simulated rig's readings, with nobody
// telling the lesson what it does.
type air struct {
	*classroom
	r  *rig.Rig
	at time.Duration
	ok bool // readings come
}

func realClass(t *testing.T, o LessonOptions) *air {
	h := newHose()
	h.about.Simulated = false
	o.Source = h
	a := &air{classroom: openClass(t, o), r: rig.New(rig.Default()), ok: true}
	// The tick drains this pump, which has nothing; readings are handed over
	// directly, so that no goroutine takes part.
	a.m.pump = sensor.NewPump(h, nil)
	t.Cleanup(a.m.pump.Stop)
	return a
}

func (a *air) pass(d time.Duration) {
	for end := a.at + d; a.at < end; {
		a.at += 20 * time.Millisecond
		a.r.Advance(20 * time.Millisecond)
		if a.ok {
			a.m.take(sensor.Item{Reading: sensor.Reading{Sample: decay.Sample{At: a.at, P: a.r.Read().Absolute(decay.DefaultAmbient)}}}, a.now)
		}
		if a.at%(40*time.Millisecond) == 0 {
			a.wait(tickEvery)
		}
	}
}

// hold fills, isolates and releases one jet.
func (a *air) hold(jet decay.Length, long time.Duration) {
	if err := a.r.SetHole(jet); err != nil {
		a.t.Fatal(err)
	}
	a.pass(4 * time.Second)
	a.r.Fill()
	a.pass(9 * time.Second)
	a.r.Isolate()
	a.pass(long)
}

func (a *air) release() {
	a.r.Release()
	a.pass(14 * time.Second)
}

// TestLessonOnRealHardware lays two jets over one another and hides a third.
func TestLessonOnRealHardware(t *testing.T) {
	var kept []string
	a := realClass(t, LessonOptions{
		Setup: decay.Setup{Volume: 10 * decay.Litre, VolumeTolerance: 0.03},
		Save: func(r *decay.Result, more bool) error {
			if r == nil {
				kept = append(kept, "nothing")
			} else {
				kept = append(kept, r.Outcome.String())
			}
			if !more {
				kept = append(kept, "last")
			}
			return nil
		},
	})
	a.pass(time.Second)
	a.says("no safety device")
	if strings.Contains(a.screen(), "SIMULATED") {
		t.Error("real hardware is called simulated")
	}
	a.keys("j")
	a.keys("1.2")
	a.enter()
	a.says("no trace yet")
	a.hold(1e-3, 30*time.Second)
	a.says("A jet ?")
	a.says("no longer choked")
	a.keys("4")
	a.says("A 1.00 mm")
	a.release()
	a.hold(2e-3, 20*time.Second)
	a.keys("j")
	a.keys("2 mm")
	a.enter()
	a.says("B 2.00 mm")
	a.release()
	if len(a.m.traces) != 2 {
		t.Fatalf("%d traces of two holds", len(a.m.traces))
	}
	for i, want := range []float64{1e-3, 2e-3} {
		tr := a.m.traces[i]
		if h := tr.result.Hole; h.Low > want || h.High < want || h.High > 1.5*want {
			t.Errorf("jet %d is judged %v", i, h)
		}
		if s := tr.seconds(); math.Abs(s-float64(30-10*i)) > 1.5 {
			t.Errorf("trace %d was watched for %v s", i, s)
		}
		if tr.running() {
			t.Errorf("trace %d goes on after the release", i)
		}
	}

	a.keys("g")
	a.says("fit the hidden jet")
	a.hold(0.7e-3, 30*time.Second)
	a.says("C hidden")
	a.keys("Ann 0.8")
	a.enter()
	a.enter()
	a.says("The true size of the hidden jet")
	a.keys("0.7")
	a.enter()
	a.says("It was 0.70 mm.")
	a.says("Nearest: Ann, 0.10 mm off.")
	a.says("C 0.70 mm")
	a.esc()
	a.says("the readings are kept in the book")
	a.keys("n")
	a.release()
	a.m.finish()
	if got := strings.Join(kept, " "); got != "leaks leaks leaks nothing last" {
		t.Errorf("kept %q of three tests", got)
	}
}

// Past the ceiling a lesson on real hardware is the alarm, whatever else was
// on the screen.
func TestLessonAlarm(t *testing.T) {
	a := realClass(t, LessonOptions{Setup: decay.Setup{Ceiling: 20 * psi}})
	a.pass(2 * time.Second)
	a.keys("?")
	a.r.Fill()
	a.pass(6 * time.Second)
	a.says("ceiling 20.00 psi gauge")
	if !strings.Contains(a.screen(), "╱ ╱ ╱") || a.term.bells < 2 {
		t.Errorf("no alarm past the ceiling, %d bells:\n%s", a.term.bells, a.screen())
	}
}

func TestLessonTellsOfALostSensor(t *testing.T) {
	a := realClass(t, LessonOptions{})
	a.pass(time.Second)
	a.ok = false
	a.pass(3 * time.Second)
	a.says("SENSOR LOST: nothing from hose for")
	a.ok = true
	a.pass(time.Second)
	if strings.Contains(a.screen(), "LOST") {
		t.Errorf("the sensor is back:\n%s", a.screen())
	}
	a.m.take(sensor.Item{Fault: &sensor.Fault{At: a.at, Code: "unplugged", State: sensor.Begins, Text: "the board was pulled out", Hint: "plug it in again"}}, a.now)
	a.says("SENSOR LOST: the board was pulled out; plug it in again")
}

func TestParseGuess(t *testing.T) {
	for _, c := range []struct {
		in, who string
		mm      float64
	}{
		{"1.2", "", 1.2}, {"1,2", "", 1.2}, {"Ann 1.2", "Ann", 1.2}, {"Ann 1.2 mm", "Ann", 1.2}, {"1.2mm Ann", "Ann", 1.2},
		{"row 2 0.8", "row 2", 0.8}, {"0", "", 0}, {"Jürgen .5", "Jürgen", 0.5},
	} {
		g, err := parseGuess(c.in)
		if err != nil || g.who != c.who || math.Abs(float64(g.size)/decay.Millimetre-c.mm) > 1e-9 {
			t.Errorf("%q: %+v, %v", c.in, g, err)
		}
	}
	for _, in := range []string{"", "Ann", "-1", "Ann 51", "NaN", "Inf", "1e9", "mm"} {
		if g, err := parseGuess(in); err == nil {
			t.Errorf("%q is taken for %+v", in, g)
		}
	}
	rapid.Check(t, func(t *rapid.T) {
		g, err := parseGuess(rapid.String().Draw(t, "typed"))
		if err == nil && !(g.size >= 0 && g.size <= largestGuess) {
			t.Fatalf("size %v", g.size)
		}
	})
}

func TestNearestNamesAllThatAreEquallyNear(t *testing.T) {
	r := &round{truth: 1e-3, told: true}
	for _, s := range []string{"Ann 0.8", "1.2", "Bo 3"} {
		g, err := parseGuess(s)
		if err != nil {
			t.Fatal(err)
		}
		r.add(g)
	}
	if got := r.verdict(); !strings.Contains(got, "Nearest: Ann and guess 2, 0.20 mm off.") || !strings.Contains(got, "no estimate yet") {
		t.Errorf("verdict %q", got)
	}
}

func TestHiddenHolesAreInRangeAndDiffer(t *testing.T) {
	seen := map[decay.Length]bool{}
	for i := range 200 {
		d := hide(float64(i) / 199)
		if d < 0.3e-3-1e-12 || d > 3e-3+1e-12 {
			t.Errorf("a hidden hole of %v m", d)
		}
		seen[d] = true
	}
	if len(seen) < 40 {
		t.Errorf("only %d sizes are hidden", len(seen))
	}
}

func TestLessonKeysHelpAndDispatchAgree(t *testing.T) {
	for _, real := range []bool{false, true} {
		o := LessonOptions{}
		if real {
			o.Source = newHose()
		}
		c := openClass(t, o)
		if real {
			c.m.pump = sensor.NewPump(o.Source, nil)
			defer c.m.pump.Stop()
		}
		help := ""
		for _, f := range c.m.helpLines() {
			help += f.text + "\n"
		}
		for _, a := range lessonActions {
			word, _, _ := strings.Cut(a.Help().Desc, ":")
			want := a.at == always || (a.at == onReal) == real
			if strings.Contains(c.m.foot(), a.Help().Key+" "+word) != want || strings.Contains(help, a.Help().Desc) != want {
				t.Errorf("real %v: key %q is offered wrongly", real, a.Help().Key)
			}
		}
		if !strings.Contains(help, "1-6   ") {
			t.Error("the help lacks the number keys")
		}
	}
	c := openClass(t, LessonOptions{})
	c.keys("?")
	c.says("keys")
	c.esc()
	if c.quit || c.m.help {
		t.Error("Esc does not close the help first")
	}
	for _, u := range []string{"bar", "kPa", "hPa", "psi"} {
		c.keys("u")
		if c.m.unit.Name != u {
			t.Errorf("unit %s, want %s", c.m.unit.Name, u)
		}
		c.says(u + " gauge")
	}
	c.keys("4")
	c.wait(12 * time.Second)
	c.keys(" ")
	c.says("STOPPED")
	at := c.m.run.now
	c.wait(3 * time.Second)
	if c.m.run.now != at {
		t.Error("stopped time went on")
	}
	c.keys(" ")
	c.wait(time.Second)
	if d := c.m.run.now - at; d != time.Second {
		t.Errorf("%v of simulated time in a second at ×1", d)
	}
	c.keys("s")
	at = c.m.run.now
	c.wait(time.Second)
	if d := c.m.run.now - at; d != 4*time.Second {
		t.Errorf("%v of simulated time in a second at ×4", d)
	}
}

// TestLessonFillsTheScreenExactly draws lessons in many states at any size.
func TestLessonFillsTheScreenExactly(t *testing.T) {
	all := lessonMoments(t)
	var names []string
	for n := range all {
		names = append(names, n)
	}
	rapid.Check(t, func(t *rapid.T) {
		m := *all[rapid.SampledFrom(names).Draw(t, "moment")]
		m.w, m.h = rapid.IntRange(1, 220).Draw(t, "w"), rapid.IntRange(1, 70).Draw(t, "h")
		m.help, m.table = rapid.Bool().Draw(t, "help"), rapid.Bool().Draw(t, "table")
		m.o.Title = rapid.String().Draw(t, "title")
		m.unit = rapid.SampledFrom(decay.PressureUnits).Draw(t, "unit")
		if rapid.Bool().Draw(t, "ask") {
			m.ask = &question{text: rapid.String().Draw(t, "question")}
		}
		lines := strings.Split(m.View(), "\n")
		if len(lines) != m.h {
			t.Fatalf("%d lines on a screen of %d", len(lines), m.h)
		}
		for i, l := range lines {
			if got := lipgloss.Width(l); got != m.w {
				t.Fatalf("line %d is %d cells wide on a screen of %d: %q", i, got, m.w, l)
			}
		}
	})
}

// played are the moments once they were played.
var played map[string]*lesson

// lessonMoments are the states of a lesson that are kept as golden screens.
func lessonMoments(t testing.TB) map[string]*lesson {
	if played != nil {
		return played
	}
	out := map[string]*lesson{}
	for name, play := range map[string]func(c *classroom){
		"start": func(*classroom) {},
		"fill":  func(c *classroom) { c.keys("f4"); c.wait(14 * time.Second) },
		"settle": func(c *classroom) {
			c.keys("f1") // slow first, to lay the quick one over it
			c.complete()
			c.keys("f1")
			c.wait(3 * time.Second)
		},
		"sizes": func(c *classroom) {
			for _, k := range "12345" {
				c.keys(string(k))
				c.complete()
			}
			c.keys("6")
			c.wait(3 * time.Second)
		},
		"laws": func(c *classroom) {
			c.keys("4")
			c.complete()
			c.keys("l4")
			c.complete()
			c.keys("lva4")
			c.wait(4 * time.Second)
		},
		"guess": func(c *classroom) {
			c.keys("g")
			c.wait(5 * time.Second)
			c.keys("Ann 1.2")
			c.enter()
			c.keys("0.8")
			c.enter()
			c.keys("Bo 2")
		},
		"reveal": func(c *classroom) {
			c.keys("g")
			c.wait(5 * time.Second)
			for _, g := range []string{"Ann 1.2", "0.8", "Bo 2"} {
				c.keys(g)
				c.enter()
			}
			c.enter()
		},
	} {
		c := openClass(t, LessonOptions{Title: "evening class (made up)", Seed: 7, Hold: 30 * time.Second})
		c.m.speed = 1
		if name == "sizes" {
			c.m.speed = 2
		}
		play(c)
		// The estimate is another package's: the screens do not depend on it.
		for _, tr := range c.m.traces {
			v := float64(tr.size) / decay.Millimetre
			tr.result = estimate(v, v*0.93, v*1.04+0.02)
			tr.result.Hold.Start = time.Duration(tr.iso * float64(time.Second))
			if c.m.round != nil && c.m.round.tr == tr {
				c.m.round.said = tr.result
			}
		}
		out["lesson-"+name] = c.m
	}
	played = out
	return out
}

func TestLessonScreensMatchTheGoldenOnes(t *testing.T) {
	for name, m := range lessonMoments(t) {
		for _, wh := range sizes {
			golden(t, name, wh, m.draw(wh[0], wh[1]).render(&none)+"\n")
		}
	}
	m := *lessonMoments(t)["lesson-sizes"]
	m.o.Look.ASCII = true
	for _, wh := range sizes {
		got := m.draw(wh[0], wh[1]).render(&none) + "\n"
		golden(t, "lesson-sizes-ascii", wh, got)
		for _, r := range got {
			if r > '~' {
				t.Errorf("%q is not ASCII at %v", r, wh)
			}
		}
	}
}

// In every look the cells hold the same characters; without colours there are
// none, and with them each trace has its own, on its line and on its name.
func TestLessonLooks(t *testing.T) {
	m := *lessonMoments(t)["lesson-sizes"]
	m.w, m.h = 100, 30
	want := m.draw(m.w, m.h).render(&none)
	for _, look := range []Look{
		{}, {Colours: ColoursNone}, {Colours: Colours16}, {Colours: ColoursTrue},
		{Background: BackgroundDark}, {Background: BackgroundLight, Colours: ColoursTrue},
	} {
		m.o.Look, m.pal = look, nil
		got := m.View()
		if ansi.Strip(got) != want {
			t.Errorf("%+v shows other characters", look)
		}
		if look.Colours == ColoursNone {
			if strings.Contains(got, ";3") || strings.Contains(got, "[3") {
				t.Error("colours without colours")
			}
			continue
		}
		em := vt.NewEmulator(m.w, m.h)
		go io.Copy(io.Discard, em)
		if _, err := em.WriteString(strings.ReplaceAll(got, "\n", "\r\n")); err != nil {
			t.Fatal(err)
		}
		seen := map[string]string{}
		for i, tr := range m.traces[:5] { // the sixth is the latest, and strong
			row, col := find(want, labels(m.traces)[i])
			c := em.CellAt(col, row)
			hue := fmt.Sprint(c.Style.Fg)
			if c.Style.Fg == nil || seen[hue] != "" {
				t.Errorf("%+v: the name of trace %s has the colour %s of %q", look, tr.letter(), hue, seen[hue])
			}
			seen[hue] = tr.letter()
		}
	}
}

// find is where words stand on a screen.
func find(screen, words string) (row, col int) {
	for y, l := range strings.Split(screen, "\n") {
		if i := strings.Index(l, words); i >= 0 {
			return y, lipgloss.Width(l[:i])
		}
	}
	return 0, 0
}

// BenchmarkLessonFrame is the budget of a frame with six traces: at most 2 ms
// at 200×60.
func BenchmarkLessonFrame(b *testing.B) {
	m := lessonMoments(b)["lesson-sizes"]
	m.w, m.h = 200, 60
	b.ReportAllocs()
	for b.Loop() {
		m.View()
	}
}

// Numbers pressed fast, one by one or in one read: the last one counts, and the
// screen says so.
func TestLessonFastNumbers(t *testing.T) {
	for _, together := range []bool{false, true} {
		c := openClass(t, LessonOptions{})
		c.says("Press a number")
		if together {
			c.key(tea.KeyMsg{Type: tea.KeyRunes, Runes: []rune("45")})
		} else {
			c.keys("45")
		}
		c.wait(time.Second)
		c.says("the trace of 1.00 mm gave way, for its valve was not shut yet; press its number again later")
		if size := c.m.cur.size; size != 2*decay.Millimetre {
			t.Errorf("the trace is of %v", size)
		}
	}
	c := openClass(t, LessonOptions{})
	c.keys("4")
	c.wait(30 * time.Second)
	c.keys("q5")
	c.says("answer the question first: y yes n no")
}

// What cannot be kept of a real lesson is said on the screen.
func TestLessonSaysThatNothingIsKept(t *testing.T) {
	a := realClass(t, LessonOptions{Trouble: func() string { return "NOT BEING KEPT: the disk is full; make room" }})
	a.pass(time.Second)
	for _, wh := range sizes {
		a.m.w, a.m.h = wh[0], wh[1]
		a.says("NOT BEING KEPT: the disk is full; make room")
	}
}

// A slow fill ends level with the supply, so that a tight duct shows no bend where
// the valve was shut: the rig says it, and there is an estimate. A leak as large
// as the supply has none, and its lines say why.
func TestLessonSaysWhyThereIsNoEstimate(t *testing.T) {
	c := openClass(t, LessonOptions{Hold: 20 * time.Second})
	c.m.slow = true
	c.keys("1")
	c.complete()
	c.says("the air had settled before the valve was shut, so the line is flat")
	if w := c.m.cur.noEstimate(); w != "" || c.m.cur.estimate() == "" || c.m.cur.result.Outcome != decay.Holds {
		t.Errorf("after a slow fill: %q, %q, %v", w, c.m.cur.estimate(), c.m.cur.result.Outcome)
	}
	c = openClass(t, LessonOptions{Hold: 20 * time.Second, Sizes: []decay.Length{10 * decay.Millimetre}})
	c.keys("1")
	c.complete()
	const why = "no estimate: the leak takes all that the supply gives"
	c.keys("t")
	c.says(why)
	if s := strings.Join(c.m.summary(), "\n"); !strings.Contains(s, why) {
		t.Errorf("%s", s)
	}
	c = openClass(t, LessonOptions{Hold: 20 * time.Second})
	c.keys("1")
	c.complete()
	if w := c.m.cur.noEstimate(); w != "" || c.m.cur.estimate() == "" {
		t.Errorf("after a quick fill: %q, %q", w, c.m.cur.estimate())
	}
}

func TestLessonForgetsWhatIsNoGuess(t *testing.T) {
	c := openClass(t, LessonOptions{Hold: 20 * time.Second})
	c.keys("g")
	c.until("the hidden hole is isolated", func() bool { return c.m.round.tr != nil && !math.IsNaN(c.m.round.tr.iso) })
	c.keys("xx")
	c.enter()
	c.says(`"xx" is no guess: write a size in mm`)
	c.enter()
	if !c.m.round.revealed {
		t.Errorf("Enter alone does not reveal:\n%s", c.screen())
	}
}
