package tui

import (
	"fmt"
	"strings"
	"testing"

	tea "github.com/charmbracelet/bubbletea"
	"github.com/charmbracelet/lipgloss"
	"pgregory.net/rapid"

	"ebbline/decay"
)

// TestViewFillsTheScreenExactly draws every moment at any size: a line too
// many would push the top one, and with it a warning, off the screen.
func TestViewFillsTheScreenExactly(t *testing.T) {
	all := moments()
	var names []string
	for n := range all {
		names = append(names, n)
	}
	rapid.Check(t, func(t *rapid.T) {
		s := all[rapid.SampledFrom(names).Draw(t, "moment")]
		w, h := rapid.IntRange(0, 220).Draw(t, "w"), rapid.IntRange(0, 70).Draw(t, "h")
		s.help, s.detail = rapid.Bool().Draw(t, "help"), rapid.Bool().Draw(t, "detail")
		s.title = rapid.String().Draw(t, "title")
		s.unit = rapid.SampledFrom(decay.PressureUnits).Draw(t, "unit")
		s.st.P = decay.Gauge(rapid.Float64().Draw(t, "p"))
		if rapid.Bool().Draw(t, "no trace") {
			s.trace = nil
		}
		m := &model{s: s, w: w, h: h}
		v := m.View()
		if w == 0 || h == 0 {
			if strings.Trim(v, "\n") != "" {
				t.Fatalf("a screen of %d by %d is not empty: %q", w, h, v)
			}
			return
		}
		lines := strings.Split(v, "\n")
		if len(lines) != h {
			t.Fatalf("%d lines on a screen of %d", len(lines), h)
		}
		for i, l := range lines {
			if got := lipgloss.Width(l); got != w {
				t.Fatalf("line %d is %d cells wide on a screen of %d: %q", i, got, w, l)
			}
		}
	})
}

func TestWhatMattersStaysOnEveryScreen(t *testing.T) {
	all := moments()
	for _, c := range []struct {
		moment string
		words  []string
		w, h   int
	}{
		{"over", []string{"SHUT", "SUPPLY", "31.48 psi gauge"}, 20, 8},
		{"over", []string{"SHUT THE SUPPLY"}, 15, 1},
		{"band", []string{"BAND", "Slow down"}, 40, 12},
		{"band", []string{"WARNING BAND: ceiling in 3.2 s", "ceiling 30.00 psi gauge"}, 80, 24},
		{"lost", []string{"SENSOR LOST", "/dev/ttyUSB0", "shut the supply"}, 80, 24},
		{"leaks", []string{"LEAKS", "0.84"}, 40, 12},
		{"ready", []string{"SIMULATED RIG – no real pressure", "relief valve", "Eye protection", "--port /dev/ttyUSB0"}, 80, 24},
		{"ready", []string{"SIMULATED"}, 30, 8},
		{"undecided", []string{"limit 0.50 mm", "0.38 to 0.71", "about 50 s more", "q quit"}, 80, 24},
	} {
		s := all[c.moment]
		text := s.draw(c.w, c.h).render(&none)
		for _, w := range c.words {
			if !strings.Contains(text, w) {
				t.Errorf("%s at %d×%d does not say %q:\n%s", c.moment, c.w, c.h, w, text)
			}
		}
	}
}

// TestSentenceIsNeverCut: what to do next fits the place it has, whatever is
// under test and however the test went.
func TestSentenceIsNeverCut(t *testing.T) {
	s := moments()["leaks"]
	for _, p := range append([]decay.Part{decay.PartUnstated}, decay.Parts...) {
		for o := decay.Undecided; o <= decay.Unusable; o++ {
			for _, a := range []decay.Advice{decay.AdviseRelease, decay.AdviseDone, decay.AdviseListen, decay.AdviseMoreHelp, decay.AdviseFill, decay.AdviseReleasing, decay.AdviseShut} {
				s.set.Of, s.st.Verdict, s.st.Result.Outcome, s.st.Advice = p, o, o, a
				words := strings.Fields(s.advice())
				for _, wh := range [][2]int{{80, 24}, {40, 12}} {
					if !strings.Contains(strings.Join(strings.Fields(s.draw(wh[0], wh[1]).render(&none)), " "), strings.Join(words, " ")) {
						t.Errorf("%v, %v, %v: cut at %v: %q", p, o, a, wh, s.advice())
					}
				}
			}
		}
	}
}

func TestNoColourKeepsShapeAndWeight(t *testing.T) {
	s := moments()["over"]
	v := (&model{s: s, w: 80, h: 24, o: Options{Look: Look{Colours: ColoursNone}}}).View()
	if strings.Contains(v, "38;5") {
		t.Error("a screen without colour sets one")
	}
	if !strings.Contains(v, "\x1b[1;7m") {
		t.Error("the alarm is not reversed without colour")
	}
	if (&model{s: s, w: 80, h: 24}).View() == v {
		t.Error("colour makes no difference")
	}
}

func TestTitleCannotSteerTheTerminal(t *testing.T) {
	s := base()
	s.title = "van \x1b[2J\x07 夜 x"
	row, _, _ := strings.Cut(s.draw(80, 24).render(&none), "\n")
	if strings.ContainsAny(row, "\x1b\x07") || !strings.Contains(row, "夜 x") || lipgloss.Width(row) != 80 {
		t.Errorf("title row %q", row)
	}
}

func TestKeysHelpAndDispatchAgree(t *testing.T) {
	m := &model{s: base()}
	m.refreshKeys()
	if strings.Contains(foot(m.s.keys, 200), "fill") {
		t.Error("the valves of a rig are offered without a rig")
	}
	r := &countedControls{}
	m.o.Controls = r
	m.proc = decay.NewNetProcedure(decay.Setup{})
	m.refreshKeys()
	for _, a := range actions {
		word, _, _ := strings.Cut(a.Help().Desc, ":")
		if !strings.Contains(foot(m.s.keys, 200), a.Help().Key+" "+word) {
			t.Errorf("the foot of the screen does not offer %q", a.Help().Key)
		}
		if !strings.Contains(fmt.Sprint(m.s.helpLines()), a.Help().Desc) {
			t.Errorf("the help does not list %q", a.Help().Key)
		}
	}
	press := func(k string) tea.Cmd {
		if k == "esc" {
			return m.press(tea.KeyMsg{Type: tea.KeyEsc})
		}
		return m.press(tea.KeyMsg{Type: tea.KeyRunes, Runes: []rune(k)})
	}
	m.o.Pinch = func(bool) error { return nil }
	for _, k := range []string{"f", "i", "i", "r", "u", "d", "?", "b", "x"} {
		if press(k) != nil {
			t.Errorf("%s gives a command", k)
		}
	}
	if *r != (countedControls{1, 2, 1}) {
		t.Errorf("valves worked %+v, want 1 2 1", *r)
	}
	if m.s.unit.Name != "bar" || !m.s.help || !m.s.detail && m.s.help == false || m.s.bell {
		t.Errorf("unit %s, help %v, bell %v after u d ? b", m.s.unit.Name, m.s.help, m.s.bell)
	}
	if !strings.Contains(foot(m.s.keys, 200), "bell off") {
		t.Errorf("the foot says %q with the bell off", foot(m.s.keys, 200))
	}
}

type countedControls struct{ fill, isolate, release int }

func (c *countedControls) Fill()    { c.fill++ }
func (c *countedControls) Isolate() { c.isolate++ }
func (c *countedControls) Release() { c.release++ }

// BenchmarkFrame is the budget of a frame: at most 2 ms at 200×60.
func BenchmarkFrame(b *testing.B) {
	all := moments()
	for _, name := range []string{"undecided", "retest", "hunt-smaller", "split", "card", "over"} {
		b.Run(name, func(b *testing.B) {
			m := &model{s: all[name], w: 200, h: 60}
			b.ReportAllocs()
			for b.Loop() {
				m.View()
			}
		})
	}
}
