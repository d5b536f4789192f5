package tui

import (
	"math"
	"math/rand/v2"
	"strings"
	"testing"
	"time"

	tea "github.com/charmbracelet/bubbletea"

	"ebbline/decay"
	"ebbline/decay/record"
	"ebbline/sensor/rig"
)

// duct is a hold of a duct whose hole can be changed: 3 s of rest, a fill of
// 7 s, then the leak.
type duct struct {
	litres, mm float64
	abs        float64
	rng        *rand.Rand
}

func newDuct(litres, mm float64) *duct {
	return &duct{litres: litres, mm: mm, abs: decay.Atmosphere, rng: rand.New(rand.NewPCG(5, 6))}
}

// at is the gauge reading at t seconds; it is asked every 20 ms, in order.
func (d *duct) at(t float64) decay.Gauge {
	switch {
	case t < 3:
	case t < 10:
		d.abs = decay.Atmosphere + 170e3*(t-3)/7
	default:
		k := 0.62 * math.Pi / 4 * d.mm * d.mm * 1e-6 * math.Sqrt(decay.RAir*293.15) / (d.litres / 1000)
		d.abs -= k * d.abs * decay.Psi(decay.Atmosphere/d.abs) * 0.02
	}
	return decay.Gauge(d.abs - decay.Atmosphere + 60*d.rng.NormFloat64())
}

// TestHuntShowsAPinchedJointWithinTwoSeconds is the technician's session: hunt,
// press a joint, see the word, keep a mark.
func TestHuntShowsAPinchedJointWithinTwoSeconds(t *testing.T) {
	var kept []record.Mark
	d := newDuct(10, 1)
	b := newBench(Options{Setup: decay.Setup{Volume: 10 * decay.Litre, Ambient: decay.DefaultAmbient, Rigid: true},
		OnMark: func(m record.Mark) { kept = append(kept, m) }})
	b.run(t, 6*time.Second, d.at)
	b.keys("h")
	b.says(t, "Supply on", "no rate can be read", "change")
	b.run(t, 22*time.Second, d.at)
	b.says(t, "loss, psi/min, the last minute", "like a hole of")
	if h := b.model.s.hunt; h.trend != trendSame || math.Abs(h.hole/decay.Millimetre-1) > 0.1 {
		t.Errorf("before: trend %d, hole %.2f mm", h.trend, h.hole/decay.Millimetre)
	}
	before := b.model.s.hunt.rate
	d.mm = 0.6
	b.run(t, 2*time.Second, d.at)
	if w, _ := b.model.s.huntWord(); w != "SMALLER" {
		t.Errorf("two seconds after the joint was pressed: %s", w)
	}
	b.says(t, "was ")
	b.says(t, "rate in 11 s", "not yet a rate")
	b.keys("m", "lower cooler hoseq")
	b.says(t, "Mark, held 0:20, where?", "lower cooler hoseq")
	b.run(t, 3*time.Second, d.at)
	b.keys("backspace", "enter")
	was := b.model.s.perMinute(-b.model.s.hunt.was)
	if len(kept) != 1 || !strings.HasPrefix(kept[0].Word, "lower cooler hose: smaller, was ") || !math.IsNaN(kept[0].Rate) {
		t.Errorf("kept %+v, want the word and the rate before, %v", kept, was)
	}
	b.says(t, "lower cooler hose: smaller", "no rate")
	b.run(t, 9*time.Second, d.at)
	b.says(t, "loss, psi/min")
	if rate := b.model.s.hunt.rate; rate < 0.5*before || rate > 0 {
		t.Errorf("rate %v, and %v before", rate, before)
	}
	b.keys("m", "there", "enter")
	if kept[1].Word != "there" || kept[1].Rate != b.model.s.hunt.rate {
		t.Errorf("kept %+v once the heat had settled, want the rate %v", kept[1], b.model.s.hunt.rate)
	}
	d.mm = 1
	b.run(t, 2*time.Second, d.at)
	if w, _ := b.model.s.huntWord(); w != "LARGER" {
		t.Errorf("two seconds after it was let go: %s", w)
	}
	b.keys("m", "x", "esc")
	b.keys("m", "enter")
	if len(kept) != 3 || !strings.HasPrefix(kept[2].Word, "mark 3: larger, was ") {
		t.Errorf("kept %+v", kept)
	}
	b.keys("esc")
	if b.model.s.view != viewRoom || b.model.over {
		t.Error("Esc does not go back, or ends the test")
	}
	b.keys("esc")
	b.says(t, "q saves the record and leaves")
}

func TestHuntWithoutAVolumeShowsTheRateAlone(t *testing.T) {
	d := newDuct(10, 1)
	b := newBench(Options{Setup: decay.Setup{Ambient: decay.DefaultAmbient}})
	b.keys("h")
	b.run(t, time.Second, d.at)
	b.says(t, "Nothing to hunt")
	b.run(t, 29*time.Second, d.at)
	if h := b.model.s.hunt; h.hole != 0 || !h.known || h.rate > -1000 {
		t.Errorf("%+v", h)
	}
	b.keys("u")
	b.says(t, "bar/min")
}

// TestHuntOnTheSimulatedRig presses and lets go the leak of a rig whose air
// takes up heat: no word may come that nobody caused.
func TestHuntOnTheSimulatedRig(t *testing.T) {
	c := rig.Default()
	r := rig.New(c)
	b := newBench(Options{Setup: decay.Setup{Volume: c.Volume, Ambient: c.Ambient}})
	b.keys("h")
	flow := func(float64) decay.Gauge { r.Advance(20 * time.Millisecond); return r.Read() }
	b.run(t, 3*time.Second, flow)
	r.Fill()
	b.run(t, 5*time.Second, flow)
	r.Isolate()
	hole := c.Hole
	said := func(long time.Duration) (words []string) {
		for from, end := b.at, b.at+long; b.at < end; {
			b.run(t, 200*time.Millisecond, flow)
			// A number that is shown is the leak's (dp/dt of an isothermal duct, Cd 0.62),
			// not that of the air's heat: to a fifth and its noise.
			s := &b.model.s
			p := float64(s.st.P) + b.model.meter.pa
			k := 0.62 * math.Pi / 4 * float64(hole*hole) * math.Sqrt(decay.RAir*float64(c.Temperature)) / float64(c.Volume)
			leak := k * p * decay.Psi(b.model.meter.pa/p)
			if n := s.huntNumber(); s.hunt.settled && n != "--.-" && b.at-from > 1200*time.Millisecond && math.Abs(-s.hunt.rate-leak) > leak/5+0.8*decay.PSI/60 {
				t.Errorf("at %v the screen shows %s %s/min, the leak loses %s", b.at, n, s.unit.Name, s.perMinute(leak))
			}
			if w, _ := s.huntWord(); len(words) == 0 || words[len(words)-1] != w {
				words = append(words, w)
			}
		}
		return words
	}
	if got := strings.Join(said(22*time.Second), " "); !strings.HasSuffix(got, "SETTLES SAME") {
		t.Errorf("until settled: %s", got)
	}
	hole = c.Hole / 2
	if err := r.SetHole(hole); err != nil {
		t.Fatal(err)
	}
	if got := strings.Join(said(18*time.Second), " "); got != "SAME SMALLER" {
		t.Errorf("pressed: %s", got)
	}
	hole = c.Hole
	if err := r.SetHole(hole); err != nil {
		t.Fatal(err)
	}
	if got := strings.Join(said(10*time.Second), " "); got != "SMALLER LARGER" {
		t.Errorf("let go: %s", got)
	}
}

// While the air settles nobody has pressed a joint, whatever an early fit made of
// it: no word may say so, and the hold goes on.
func TestNoWordWhileTheAirSettles(t *testing.T) {
	for _, x := range []struct{ litres, hole, feed float64 }{{8, 1, 4}, {2, 0.3, 8}, {10, 0.6, 4}} {
		for seed := range uint64(4) {
			c := rig.Default()
			c.Volume, c.Hole = decay.Volume(x.litres)*decay.Litre, decay.Length(x.hole)*decay.Millimetre
			c.FeedBore, c.Seed = decay.Length(x.feed)*decay.Millimetre, seed+1
			r := rig.New(c)
			b := newBench(Options{Setup: decay.Setup{Of: decay.PartHose, Volume: c.Volume, Ambient: c.Ambient}})
			flow := func(float64) decay.Gauge { r.Advance(20 * time.Millisecond); return r.Read() }
			b.run(t, 3*time.Second, flow)
			for r.Fill(); float64(r.Pressure().Gauge(c.Ambient)) < 0.98*float64(c.Supply); {
				b.run(t, 100*time.Millisecond, flow)
			}
			r.Isolate()
			b.keys("h")
			same := false
			for end := b.at + 40*time.Second; b.at < end; {
				b.run(t, 200*time.Millisecond, flow)
				w, _ := b.model.s.huntWord()
				same = same || w == "SAME"
				if w == "SMALLER" || w == "LARGER" {
					t.Fatalf("%+v, seed %d, at %v: %s", x, c.Seed, b.at, w)
				}
			}
			if r := b.model.s.st.Result; !same || r.Touched != 0 || (b.at-r.Hold.End) > 5*time.Second {
				t.Errorf("%+v, seed %d: SAME came: %v; touched %v, held %v to %v", x, c.Seed, same, r.Touched, r.Hold.Start, r.Hold.End)
			}
		}
	}
}

// At low pressure the hunt tells one story: no size beside "fill again".
func TestHuntAtLowPressure(t *testing.T) {
	d := newDuct(10, 2)
	b := newBench(Options{Setup: decay.Setup{Volume: 10 * decay.Litre, Ambient: decay.DefaultAmbient, Rigid: true}})
	b.keys("h")
	for p, low := decay.Gauge(0), false; b.at < 90*time.Second; p = b.model.s.st.P {
		b.run(t, time.Second, d.at)
		switch text := b.text(); {
		case b.model.s.st.Phase != decay.PhaseHold && b.model.s.st.Phase != decay.PhaseEmpty:
		case strings.Contains(text, "fill again"), strings.Contains(text, "Nothing to hunt"):
			low = true
			if strings.Contains(text, "like a hole") {
				t.Fatalf("at %.1f kPa:\n%s", p/1000, text)
			}
		case low:
			t.Fatalf("the story changes at %.1f kPa:\n%s", p/1000, text)
		}
	}
	b.says(t, "the duct ran empty through its leak")
}

// Keys that come in one read, and so in one message, are each taken.
func TestKeysOfOneReadAreTakenOneByOne(t *testing.T) {
	b := newBench(Options{})
	b.model.Update(tea.KeyMsg{Type: tea.KeyRunes, Runes: []rune("uhb")})
	if b.model.s.unit.Name != "bar" || b.model.s.view != viewHunt || !b.model.s.bell {
		t.Errorf("unit %s, view %d, bell %v", b.model.s.unit.Name, b.model.s.view, b.model.s.bell)
	}
}

// A rig that works its own valves says so, until a key takes them over.
func TestTheRigSaysThatItFillsByItself(t *testing.T) {
	b := newBench(Options{Auto: true, Controls: noControls{}})
	b.run(t, time.Second, still)
	b.says(t, "fills and shuts its valve by itself")
	b.keys("f")
	b.run(t, time.Second, still)
	b.says(t, "Turn the regulator down")
}
