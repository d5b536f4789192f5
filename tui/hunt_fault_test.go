package tui

import (
	"strings"
	"testing"
	"testing/synctest"
	"time"

	"ebbline/decay"
	"ebbline/sensor"
	"ebbline/sensor/rig"
)

// faulty is a bench on a rig that is worked by hand and whose readings are
// watched, in the time of a test's bubble.
type faulty struct {
	*bench
	rig *rig.Source
	src sensor.Source
}

func newFaulty(c rig.Config, o Options) *faulty {
	r := rig.NewSource(c, nil)
	o.Setup.Volume, o.Setup.Ambient, o.Setup.FullScale = c.Volume, c.Ambient, c.FullScale
	return &faulty{newBench(o), r, sensor.Watch(r, sensor.HealthConfig{Name: "rig", Ambient: c.Ambient, FullScale: c.FullScale})}
}

// run takes what comes in a time, and asks each with every tick.
func (f *faulty) run(t *testing.T, long time.Duration, each func()) {
	t.Helper()
	for end, n := time.Now().Add(long), 0; time.Now().Before(end); n++ {
		it, err := f.src.Next(t.Context())
		if err != nil {
			t.Fatal(err)
		}
		f.model.take(it, time.Now())
		if n%2 == 0 {
			f.model.tick(time.Now())
			if each != nil {
				each()
			}
		}
	}
}

// A sensor that fails presses no joint: while its fault is on, and until the
// meter has trusted readings alone, there is no word, and none dates a touch.
func TestASensorThatFailsIsNoJointThatIsPressed(t *testing.T) {
	for _, hole := range []decay.Length{0, 1 * decay.Millimetre} {
		for _, fault := range []rig.Fault{rig.Stuck, rig.Noisy, rig.TimesTen, rig.Sag} {
			t.Run(fault.String(), func(t *testing.T) {
				synctest.Test(t, func(t *testing.T) {
					c := rig.Default()
					c.Volume, c.Hole = 8*decay.Litre, hole
					f := newFaulty(c, Options{Setup: decay.Setup{Of: decay.PartManifold}})
					defer f.model.pump.Stop()
					f.run(t, 3*time.Second, nil)
					f.rig.Fill()
					f.run(t, 8*time.Second, nil)
					f.rig.Isolate()
					f.model.isolate()
					f.run(t, 26*time.Second, nil)
					f.keys("h")
					f.run(t, 3*time.Second, nil)
					seen, was := false, false
					look := func() {
						_, on := f.model.faults.Worst()
						seen = seen || on
						w, _ := f.model.s.huntWord()
						word := w == "SMALLER" || w == "LARGER" || strings.Contains(f.model.s.huntAdvice(), "right at once")
						if on && was && word { // was: a tick may come just before it
							t.Fatalf("at %v: %s: %s", f.model.at, w, f.model.s.huntAdvice())
						}
						was = on
					}
					if err := f.rig.Inject(fault, 0); err != nil {
						t.Fatal(err)
					}
					f.run(t, 8*time.Second, look)
					if !seen {
						t.Fatal("the fault was not seen")
					}
					f.rig.Clear(fault)
					f.run(t, 15*time.Second, look)
					if r := f.model.proc.State().Result; r.Touched != 0 {
						t.Errorf("touched at %v", r.Touched)
					}
				})
			})
		}
	}
}

// The details that are asked for in the hunt stand under the pressure and over
// the keys.
func TestDetailsInTheHuntKeepPressureAndKeys(t *testing.T) {
	d := newDuct(10, 1)
	b := newBench(Options{Setup: decay.Setup{Volume: 10 * decay.Litre, Ambient: decay.DefaultAmbient}})
	b.run(t, 30*time.Second, d.at)
	b.keys("h", "d")
	b.says(t, "psi", "gauge", "effective area", "q quit")
	b.keys("m")
	b.says(t, "where?")
}

// What was found not to be the duct's pressure sets no scale.
func TestAReadingInDoubtSetsNoScale(t *testing.T) {
	s := base()
	c, marks := moment(60, 25, .9)
	s.trace = c
	marks(&s)
	s.st = decay.State{Seen: true, Now: 60 * time.Second, P: 20 * psi, Phase: decay.PhaseHold}
	s.st.Result.Peak = 25 * psi
	c.Add(60.02, 250*decay.PSI)
	if got := s.draw(80, 24).render(&none); strings.Contains(got, " 50 ") {
		t.Errorf("the wall goes above the ceiling:\n%s", got)
	}
	s.st.Result.Peak = 250 * psi
	if !strings.Contains(s.draw(80, 24).render(&none), " 50 ") {
		t.Errorf("a passed ceiling is not in the picture:\n%s", s.draw(80, 24).render(&none))
	}
}
