package tui

import (
	"io"
	"math"
	"strings"
	"testing"
	"time"

	"ebbline/decay"
)

// day is a bench with a start card, whose tests are kept.
type day struct {
	*bench
	began []Start
	saved []decay.Result
}

func newDay(set decay.Setup) *day {
	d := &day{}
	d.bench = newBench(Options{Card: true, Title: "van", Setup: set,
		Apply: func(x Texts) (decay.Setup, error) {
			s := decay.Setup{Ambient: decay.DefaultAmbient, Rigid: true, Of: x.Of}
			var err error
			if x.Volume != "" {
				s.Volume, s.VolumeTolerance, err = decay.ParseVolume(x.Volume)
			}
			return s, err
		},
		Begin: func(s Start) error { d.began = append(d.began, s); return nil },
		Save:  func(r decay.Result) (string, error) { d.saved = append(d.saved, r); return "there", nil }})
	return d
}

// whole holds a duct of that size for a time, from now on, and lets it out.
func (d *day) whole(t *testing.T, litres, mm float64, release bool) {
	t.Helper()
	x, from := newDuct(litres, mm), d.at.Seconds()
	d.run(t, 45*time.Second, func(s float64) decay.Gauge { return x.at(s - from) })
	if release {
		d.run(t, 6*time.Second, func(s float64) decay.Gauge {
			x.abs += (decay.Atmosphere - x.abs) * 0.03
			return decay.Gauge(x.abs - decay.Atmosphere + 20*math.Sin(s*s*977))
		})
	}
}

func (d *day) enters(n int) {
	for range n {
		d.keys("enter")
	}
}

var tenLitres = decay.Setup{Volume: 10 * decay.Litre, Of: decay.PartManifold}

func TestRetestTellsWhatTheRepairDid(t *testing.T) {
	d := newDay(tenLitres)
	d.run(t, time.Second, still)
	d.enters(6)
	d.whole(t, 10, 1, true)
	d.keys("t")
	d.says(t, "Compared with van: leaks, 1.0", "Start the test")
	if len(d.saved) != 1 || d.saved[0].Outcome != decay.Leaks {
		t.Fatalf("saved %d: %+v", len(d.saved), d.saved)
	}
	d.run(t, 2*time.Second, func(float64) decay.Gauge { return 31 * psi })
	if !d.model.s.st.OverCeiling {
		t.Error("the ceiling is not watched on the second card")
	}
	d.run(t, 31*time.Second, still)
	d.says(t, "a good zero")
	d.keys("enter")
	if first := d.model.s.trace.Start(); d.at.Seconds()-first < 20 || d.at.Seconds()-first > 70 {
		t.Errorf("the trace begins %.0f s before the test", d.at.Seconds()-first)
	}
	if len(d.began) != 2 || !d.began[1].Retest || d.began[0].Retest {
		t.Fatalf("began %+v", d.began)
	}
	d.whole(t, 10, 0.2, false)
	d.says(t, "MENDED: 1.0", "dotted: before")
	if d.model.s.st.Verdict != decay.Holds {
		t.Errorf("verdict %v", d.model.s.st.Verdict)
	}
	d.model.finish()
	if len(d.saved) != 2 {
		t.Errorf("%d records", len(d.saved))
	}
}

func TestAnotherTestIsNotBegunOverPressureByOneKey(t *testing.T) {
	d := newDay(tenLitres)
	d.run(t, time.Second, still)
	d.enters(6)
	d.whole(t, 10, 0.3, false)
	d.keys("n")
	d.model.tick(d.now)
	d.says(t, "press n again to end the test")
	d.keys("t")
	if d.model.s.card != nil || len(d.saved) != 0 {
		t.Fatal("another key ended the test")
	}
	d.run(t, 5*time.Second, func(float64) decay.Gauge { return 100e3 })
	d.keys("t") // too late to be the second time
	if d.model.s.card != nil {
		t.Fatal("it ended after five seconds")
	}
	d.keys("t")
	if d.model.s.card == nil || len(d.saved) != 1 {
		t.Errorf("the second press does not end it: %d records", len(d.saved))
	}
	d.run(t, time.Second, func(float64) decay.Gauge { return 100e3 })
	d.says(t, "NOT zero")
}

func TestRigCheckIsSubtractedFromLaterTests(t *testing.T) {
	d := newDay(decay.Setup{Volume: 0.3 * decay.Litre, Of: decay.PartFittings})
	d.run(t, time.Second, still)
	d.enters(6)
	d.whole(t, 0.3, 0.1, true)
	d.keys("n")
	rig := d.model.rigLeak
	if want := 0.62 * math.Pi / 4 * 0.01; rig.Low/decay.SquareMM > want || rig.High/decay.SquareMM < want {
		t.Fatalf("the fittings leak %+v, want %g mm²", rig, want)
	}
	d.says(t, "they leak like a hole of 0.10 mm; this test replaces it")
	d.keys("down", "left", "left", "left", "down", "ctrl+u", "10L")
	d.says(t, "the duct, blocked off at the manifold")
	d.enters(4)
	if len(d.began) != 2 || d.began[1].Setup.RigLeak != rig || d.began[0].Setup.RigLeak != (decay.Interval{}) {
		t.Fatalf("began %+v", d.began)
	}
	d.whole(t, 10, 0.8, true)
	d.model.finish()
	r := d.saved[1]
	if want := 0.62 * math.Pi / 4 * (0.64 - 0.01); r.Area.Low/decay.SquareMM > want || r.Area.High/decay.SquareMM < want {
		t.Errorf("net of the fittings %+v, want %g mm²", r.Area, want)
	}
	if w := r.Warnings[len(r.Warnings)-1]; w.Code != "rig-subtracted" {
		t.Errorf("warnings %+v", r.Warnings)
	}
}

func TestSplitFindsTheSection(t *testing.T) {
	d := newDay(tenLitres)
	d.run(t, time.Second, still)
	d.enters(6)
	d.keys("s")
	d.says(t, "Test the whole first", "a test a section", "s back")
	d.whole(t, 10, 1, true)
	d.says(t, "whole", "Plug the duct in the middle")
	for i, c := range []struct {
		name string
		mm   float64
	}{{"upper hose", 0.3}, {"cooler", 0.9}} {
		d.keys("a", c.name)
		d.says(t, "Name of the section: "+c.name)
		d.keys("enter")
		d.says(t, "van: "+c.name, "one branch of the duct", "Volume")
		d.keys("4L", "enter", "enter", "enter")
		d.run(t, time.Second, still)
		d.keys("enter")
		if len(d.began) != i+2 || d.began[i+1].Setup.Of != decay.PartBranch || d.began[i+1].Setup.Volume != 4*decay.Litre {
			t.Fatalf("began %+v", d.began)
		}
		d.whole(t, 4, c.mm, true)
		d.keys("s")
		d.says(t, c.name+" (now)")
	}
	d.says(t, "Most of it is in cooler", "upper hose", "not tested")
	d.keys("n")
	if s := d.model.s.split; len(s.sections) != 2 || s.sections[1].Name != "cooler" || s.title != "van" {
		t.Errorf("%+v", s)
	}
	if len(d.saved) != 3 {
		t.Errorf("%d records", len(d.saved))
	}
	// Names are typed, so a q in one must not leave.
	d.keys("esc")
}

func TestSplitKeepsKeysOutOfNames(t *testing.T) {
	d := newDay(tenLitres)
	d.run(t, time.Second, still)
	d.enters(6)
	d.run(t, time.Second, still)
	d.keys("s", "a", "quest")
	if e := d.model.s.split.naming; e == nil || e.text != "quest" {
		t.Fatalf("typed %+v", e)
	}
	d.keys("esc", "esc")
	if d.model.s.view != viewRoom || d.model.over {
		t.Error("Esc does not go back, or ends the test")
	}
}

func TestNoNextTestWithoutReadings(t *testing.T) {
	d := newDay(tenLitres)
	d.run(t, time.Second, still)
	d.enters(6)
	d.model.ended(io.EOF)
	d.keys("n")
	d.says(t, "the readings have ended")
	if d.model.s.card != nil {
		t.Error("a card without readings")
	}
}

func TestRecordBeforeTheRepairIsDrawn(t *testing.T) {
	var before Past
	x := newDuct(10, 1)
	for i := range 40 * 50 {
		at := time.Duration(i) * 20 * time.Millisecond
		before.Samples = append(before.Samples, decay.Sample{At: at, P: x.at(at.Seconds()).Absolute(decay.DefaultAmbient)})
	}
	before.Setup = decay.Setup{Volume: 10 * decay.Litre, Ambient: decay.DefaultAmbient}
	before.Result = decay.Analyse(before.Setup, before.Samples)
	before.Simulated = true // as the bench is
	b := newBench(Options{Setup: before.Setup, Before: &before})
	y := newDuct(10, 0.4)
	b.run(t, 40*time.Second, y.at)
	b.says(t, "dotted: before", "MENDED")
	b.model.s.before.set.Volume = 0.3 * decay.Litre // another thing was tested then
	b.says(t, "not the same part")
	if text := b.text(); strings.Contains(text, "MENDED") {
		t.Errorf("a repair is told between two parts:\n%s", text)
	}
	b.model.s.before.set.Volume = before.Setup.Volume
	old := 0
	for _, c := range b.model.s.draw(80, 24).cells {
		if c.st == trace2 && c.r > 0x2800 && c.r <= 0x28ff {
			old++
		}
	}
	if old < 10 {
		t.Errorf("%d cells of the trace before", old)
	}
}

func TestHuntingDoesNotSpoilWhatTheTestFound(t *testing.T) {
	d := newDay(tenLitres)
	d.run(t, time.Second, still)
	d.enters(6)
	x, from := newDuct(10, 1), d.at.Seconds()
	follow := func(s float64) decay.Gauge { return x.at(s - from) }
	d.run(t, 30*time.Second, follow)
	d.keys("h")
	for range 4 { // joints pressed and let go
		x.mm = 0.3
		d.run(t, 2*time.Second, follow)
		x.mm = 1
		d.run(t, 2*time.Second, follow)
	}
	d.keys("t", "t")
	if d.model.before == nil {
		t.Fatal("no retest")
	}
	if h := d.model.before.result.Hole; h.Low > decay.Millimetre || h.High < decay.Millimetre || h.High-h.Low > 0.4*decay.Millimetre {
		t.Errorf("the test found %+v, want 1 mm", h)
	}
}

// The next card offers what the last test was, whether a card began that or flags.
func TestNextOffersWhatTheLastTestWas(t *testing.T) {
	for of, want := range map[decay.Part]decay.Part{decay.PartHose: decay.PartHose, decay.PartUnstated: decay.PartManifold} {
		for _, key := range []string{"n", "t"} {
			b := newBench(Options{Setup: decay.Setup{Volume: 10 * decay.Litre, Of: of}})
			limit := b.model.s.set.Limit
			b.run(t, time.Second, still)
			b.keys(key)
			if c := b.model.s.card; c == nil || c.of != want || c.of.DefaultLimit() != limit || c.limit.text != "" {
				t.Errorf("after %v with a limit of %v, key %s offers %+v", of, limit, key, c)
			}
		}
	}
}

func TestHelpTurnsItsPagesAndShowsEveryKey(t *testing.T) {
	b := newBench(Options{Controls: noControls{}})
	for _, wh := range [][2]int{{40, 12}, {80, 24}, {34, 9}} {
		b.model.w, b.model.h = wh[0], wh[1]
		seen := ""
		for n := 0; ; n++ {
			b.keys("?")
			if !b.model.s.help {
				break
			}
			if n > 20 {
				t.Fatalf("%v: the help has no end", wh)
			}
			seen += b.text()
		}
		all := strings.Join(strings.Fields(seen), " ")
		for _, a := range actions {
			word, _, _ := strings.Cut(a.Help().Desc, ":")
			if !strings.Contains(all, a.Help().Key+" "+word+":") {
				t.Errorf("%v: the help lacks %s %s", wh, a.Help().Key, word)
			}
		}
		if !strings.Contains(all, "Eye protection") || !strings.Contains(all, "gauge") {
			t.Errorf("%v: the help lacks cautions or the pressure", wh)
		}
	}
}
