package report

import (
	"math"
	"strings"
	"testing"
	"time"
	"unicode"

	"pgregory.net/rapid"

	"ebbline/decay"
)

func slipOf(o decay.Outcome) Slip {
	iv := decay.Interval{Value: .45e-3, Low: .38e-3, High: .53e-3, Level: .95}
	set := decay.Setup{Volume: 1.226 * decay.Litre, VolumeTolerance: .08, Of: decay.PartHose}
	return Slip{
		Part: "left hose, long", Size: "bore 51 mm, length 600 mm", When: time.Date(2026, 1, 31, 15, 4, 5, 0, time.FixedZone("", 3600)),
		Setup: set, Sensor: "grey transducer", Calibrated: "2026-01-02", By: "desk 2", Record: "20260131T140405.000000Z-left-hose-long.ebbline",
		Result: decay.Result{Outcome: o, HasFit: true, HasVolume: true, Hole: iv, Cd: .62, Limit: .2 * decay.Millimetre, Samples: 900,
			Peak: decay.Gauge(25 * decay.PSI), Smallest: .1 * decay.Millimetre, HasDecide: true, ToDecide: 40 * time.Second,
			Hold:     decay.Hold{Span: decay.Span{End: 40 * time.Second}, StartAbs: 270e3, StartGauge: decay.Gauge(24 * decay.PSI)},
			Warnings: []decay.Warning{{Code: "compliance", Text: "rubber may swell by 2 %; say --compliance 0% for a rigid duct"}}},
	}
}

// TestSlipSaysAll: whatever the answer, a customer finds what was tested, when,
// by whom, at what pressure, against what limit, with which sensor, and what the
// test cannot show.
func TestSlipSaysAll(t *testing.T) {
	for o, says := range map[decay.Outcome][]string{
		decay.Holds:      {"H O L D S", "It holds: any leak is smaller than a 0.20 mm"},
		decay.Leaks:      {"L E A K S", "It leaks: more than a 0.20 mm hole would."},
		decay.Undecided:  {"U N D E C I D E D", "cannot say", "About 40 s more of hold"},
		decay.NeverBuilt: {"N E V E R", "would not come up"},
		decay.NoHold:     {"N O", "Nothing can be said of the part"},
		decay.Unusable:   {"U N U S A B L E", "cannot be trusted"},
	} {
		text := strings.Join(slipOf(o).Lines(), "\n")
		flat := strings.Join(strings.Fields(text), " ")
		for _, w := range append(says, "left hose, long", "bore 51 mm, length 600 mm", "2026-01-31 15:04 +01:00", "desk 2", "0.45 mm round",
			"95 % sure: 0.38 to 0.53 mm", "0.20 mm hole", "24.00 psi gauge", "1.23 L of air, +-8 %", "grey transducer", "2026-01-02",
			"may leak when hot", "Eye protection", "relief valve") {
			if !strings.Contains(flat, w) {
				t.Errorf("%v: the slip does not say %q:\n%s", o, w, text)
			}
		}
		if strings.Contains(text, "SIMULATED") || strings.Contains(text, "--compliance") {
			t.Errorf("%v: the slip says what it must not:\n%s", o, text)
		}
	}
}

func TestSlipOwnsUp(t *testing.T) {
	s := slipOf(decay.Holds)
	s.Simulated, s.Stopped, s.By, s.Calibrated = true, true, "", ""
	text := strings.Join(s.Lines(), "\n")
	if strings.Count(text, "SIMULATED, NO PROOF") != 2 || strings.Count(text, "not stated") != 2 || !strings.Contains(text, "stopped by hand") {
		t.Errorf("%s", text)
	}
	s.Result = decay.Result{}
	if text := strings.Join(s.Lines(), "\n"); !strings.Contains(text, "not measured") || !strings.Contains(text, "U N D E C I D E D") {
		t.Errorf("an empty result: %s", text)
	}
	s = slipOf(decay.Leaks)
	s.Result.Warnings = []decay.Warning{{Code: "unsettled", Text: "the air was still settling: the leak may be smaller than is said; hold for 18 s to be sure"}}
	text = strings.Join(strings.Fields(strings.Join(s.Lines(), "\n")), " ")
	if !strings.Contains(text, "smaller than is said.") || strings.Contains(text, "18 s") {
		t.Errorf("a customer is told to hold for longer: %s", text)
	}
	s.Result.Hole.High = math.Inf(1)
	s.Result.Peak = decay.Gauge(31 * decay.PSI)
	text = strings.Join(strings.Fields(strings.Join(s.Lines(), "\n")), " ")
	if !strings.Contains(text, "0.38 mm or more") || !strings.Contains(text, "OVER THE CEILING before: 31.00 psi gauge") {
		t.Errorf("%s", text)
	}
}

// TestSlipFitsItsPaper: no line is wider than the paper, and nothing in it can
// steer a printer, whatever people have typed.
func TestSlipFitsItsPaper(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		s := slipOf(decay.Outcome(rapid.IntRange(0, 5).Draw(t, "outcome")))
		s.Part, s.By, s.Sensor = rapid.String().Draw(t, "part"), rapid.String().Draw(t, "by"), rapid.String().Draw(t, "sensor")
		s.Unit = rapid.SampledFrom(decay.PressureUnits).Draw(t, "unit")
		s.Simulated = rapid.Bool().Draw(t, "simulated")
		for _, l := range s.Lines() {
			if columns(l) > SlipWidth {
				t.Fatalf("%d columns: %q", columns(l), l)
			}
			if strings.ContainsFunc(l, unicode.IsControl) {
				t.Fatalf("a control character: %q", l)
			}
		}
	})
	if got := columns("hose 夜é́"); got != 8 {
		t.Errorf("%d columns, want 8", got)
	}
	for _, l := range slipOf(decay.Leaks).Lines() {
		if strings.ContainsFunc(l, func(r rune) bool { return r > 0x7e }) {
			t.Errorf("not plain ASCII: %q", l)
		}
	}
}

func TestWallHasAShapeForEachVerdict(t *testing.T) {
	for o, want := range map[decay.Outcome]string{
		decay.Holds: "============", decay.Leaks: `====\  /====`, decay.Undecided: "==  ==  ==  ",
	} {
		if got := Wall(o, 12); got != want {
			t.Errorf("%v: %q, want %q", o, got, want)
		}
	}
	for n := range 8 {
		if got := len(Wall(decay.Leaks, n)); got != n {
			t.Errorf("a wall of %d is %d long", n, got)
		}
	}
}
