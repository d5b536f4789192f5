package decay_test

import (
	"fmt"
	"math"
	"slices"
	"strings"
	"testing"
	"time"

	"ebbline/decay"
	"ebbline/decay/decaytest"
)

// long skips a simulation of many tests under -short, as the race detector is
// run: there is nothing in them that could race.
func long(t *testing.T) {
	t.Helper()
	if testing.Short() {
		t.Skip("a long simulation")
	}
}

// bar is what a group must reach.
type bar struct {
	median, worst float64 // relative error of the area, holes that were judged
	coverage      float64 // share of cases whose interval holds the truth
	wrong         int     // verdicts that are wrong
}

var bars = map[string]bar{
	"clean":   {median: 0.001, worst: 0.015, coverage: 0.92},
	"random":  {median: 0.0025, worst: 0.02, coverage: 0.92},
	"natural": {median: 0.01, worst: 0.01, coverage: 0.92},
	"noisy":   {median: 0.005, worst: 0.10, coverage: 0.92},
	"quick":   {median: 0.01, worst: 0.5, coverage: 0.92},
	"laws":    {median: 0.015, worst: 0.13, coverage: 0.87},
	"tight":   {coverage: 1},
	"lagging": {median: 0.01, worst: 0.15, coverage: 0.92},
	"coarse":  {median: 0.02, worst: 0.6, coverage: 0.92},
	"faults":  {median: 0.01, worst: 0.05, coverage: 0.92},
}

// Errors of the window's ends that a sound segmentation stays within.
const (
	startBar = 500 * time.Millisecond
	endBar   = 700 * time.Millisecond
)

// score gathers what one group's cases gave.
type score struct {
	errors     []float64
	judged     int
	covered    int
	wrong      []string
	starts     []time.Duration
	ends       []time.Duration
	notes      []string
	false      []string // flags that should not be there
	cases      int
	unfitted   int
	undecideds int
}

// wrongVerdict says why an outcome is wrong for the truth, or "".
func wrongVerdict(c decaytest.Case, tr decaytest.Trace, set decay.Setup, got decay.Outcome) string {
	if len(c.Want) > 0 {
		if !slices.Contains(c.Want, got) {
			return fmt.Sprintf("%v, want one of %v", got, c.Want)
		}
		return ""
	}
	set = set.WithDefaults()
	hole := decay.EquivalentHole(tr.TruthArea, set.Cd)
	switch {
	case got == decay.Undecided,
		math.Abs(float64(hole/set.Limit)-1) < 1e-3, // as good as the limit itself: either is right
		got == decay.Leaks && hole > set.Limit,
		got == decay.Holds && hole < set.Limit:
		return ""
	}
	return fmt.Sprintf("%v at a true hole of %.3f mm, limit %.3f mm", got, hole/decay.Millimetre, set.Limit/decay.Millimetre)
}

func (s *score) add(c decaytest.Case, tr decaytest.Trace, set decay.Setup, r decay.Result) {
	s.cases++
	if r.Outcome == decay.Undecided {
		s.undecideds++
	}
	if why := wrongVerdict(c, tr, set, r.Outcome); why != "" {
		s.wrong = append(s.wrong, c.Name+": "+why)
	}
	for _, f := range c.Flags {
		if !r.HasFlag(f) {
			s.notes = append(s.notes, fmt.Sprintf("%s: flag %s missing, has %v", c.Name, f, r.Flags))
		}
	}
	for _, f := range r.Flags {
		if !slices.Contains(c.Flags, f) {
			s.false = append(s.false, fmt.Sprintf("%s: false flag %s", c.Name, f))
		}
	}
	if c.NoArea {
		return
	}
	if !r.HasFit || !r.HasVolume {
		s.unfitted++
		s.notes = append(s.notes, c.Name+": no fit")
		return
	}
	s.judged++
	truth := float64(tr.TruthArea)
	if r.Area.Low <= truth && truth <= r.Area.High {
		s.covered++
	} else {
		s.notes = append(s.notes, fmt.Sprintf("%s: true %.4g mm2 outside %.4g…%.4g (value %.4g, sd %.2g, law %v)", c.Name,
			truth*1e6, r.Area.Low*1e6, r.Area.High*1e6, r.Area.Value*1e6, r.AreaSD*1e6, r.Law))
	}
	if truth > 0 {
		e := math.Abs(r.Area.Value/truth - 1)
		s.errors = append(s.errors, e)
		if e > max(bars[c.Group].worst, 0.1) {
			s.notes = append(s.notes, fmt.Sprintf("%s: area off by %+.0f %%", c.Name, 100*(r.Area.Value/truth-1)))
		}
	}
	start := (r.Hold.Start - tr.IsolatedAt).Abs()
	s.starts = append(s.starts, start)
	if start > startBar {
		s.notes = append(s.notes, fmt.Sprintf("%s: hold starts %v off", c.Name, r.Hold.Start-tr.IsolatedAt))
	}
	// A duct that ran empty may end when it did, and a disturbed one earlier.
	if tr.EmptyAt == 0 && !slices.Contains(c.Flags, decay.FlagDisturbed) {
		end := (r.Hold.End - tr.HoldEnd).Abs()
		s.ends = append(s.ends, end)
		if end > endBar {
			s.notes = append(s.notes, fmt.Sprintf("%s: hold ends %v off", c.Name, r.Hold.End-tr.HoldEnd))
		}
	}
}

func worst[T time.Duration | float64](v []T) (median, top T) {
	if len(v) == 0 {
		return 0, 0
	}
	slices.Sort(v)
	return v[len(v)/2], v[len(v)-1]
}

// off is the share of v above most.
func off(v []time.Duration, most time.Duration) float64 {
	n := 0
	for _, x := range v {
		if x > most {
			n++
		}
	}
	return float64(n) / float64(max(1, len(v)))
}

// TestKnownTruth runs the analysis over every synthetic trace whose leak is
// known.
func TestKnownTruth(t *testing.T) {
	long(t)
	scores := map[string]*score{}
	for _, c := range decaytest.Suite() {
		tr := decaytest.Make(c.Rig)
		set := tr.Setup
		if c.Setup != nil {
			c.Setup(&set)
		}
		s := scores[c.Group]
		if s == nil {
			s = &score{}
			scores[c.Group] = s
		}
		s.add(c, tr, set, decay.Analyse(set, tr.Samples))
	}
	for _, g := range decaytest.Groups {
		s, b := scores[g], bars[g]
		if s == nil {
			t.Fatalf("group %s has no cases", g)
		}
		median, top := worst(s.errors)
		startMid, startTop := worst(s.starts)
		endMid, endTop := worst(s.ends)
		coverage := float64(s.covered) / float64(max(1, s.judged))
		t.Logf("%-8s %2d cases: area error median %.2f %%, worst %.1f %%; coverage %d/%d; %d without a fit; %d wrong verdicts, %d undecided; start off %v (worst %v), end off %v (worst %v)",
			g, s.cases, 100*median, 100*top, s.covered, s.judged, s.unfitted, len(s.wrong), s.undecideds,
			startMid.Round(time.Millisecond), startTop.Round(time.Millisecond), endMid.Round(time.Millisecond), endTop.Round(time.Millisecond))
		for _, n := range append(s.wrong, s.notes...) {
			t.Logf("    %s/%s", g, n)
		}
		for _, n := range s.false {
			t.Errorf("%s/%s", g, n)
		}
		if off(s.starts, time.Second) > 0.05 || off(s.ends, 500*time.Millisecond) > 0.05 {
			t.Errorf("%s: a start is over 1 s off in %.0f %%, an end over 0.5 s in %.0f %%; the bar is 5 %%", g, 100*off(s.starts, time.Second), 100*off(s.ends, 500*time.Millisecond))
		}
		if median > b.median || top > b.worst || coverage < b.coverage || len(s.wrong) > b.wrong || s.unfitted > 0 {
			t.Errorf("%s misses its bar %+v: wrong verdicts:\n%s", g, b, strings.Join(s.wrong, "\n"))
		}
	}
}
