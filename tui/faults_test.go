package tui

import (
	"math"
	"strings"
	"testing"
	"time"

	"ebbline/decay"
	"ebbline/sensor"
)

// A fault is shown with its name and next step as long as it lasts, takes the
// verdict away while the readings are in doubt, and stays in the result.
func TestFaultsOnTheScreen(t *testing.T) {
	b := newBench(Options{Setup: decay.Setup{Volume: 10 * decay.Litre, Ambient: decay.DefaultAmbient}, Save: func(decay.Result) (string, error) { return "kept", nil }})
	defer b.model.pump.Stop()
	level := func(s float64) decay.Gauge {
		noise := decay.Gauge(20 * math.Sin(s*s*977))
		if s < 3 {
			return noise
		}
		if s < 10 {
			return decay.Gauge((s-3)/7*150e3) + noise
		}
		return decay.Gauge(150e3*math.Exp(-(s-10)*0.02)) + noise
	}
	fault := func(state sensor.FaultState) {
		b.model.take(sensor.Item{Fault: &sensor.Fault{At: b.at, Code: sensor.FaultSag, State: state, Text: "p: all values fell", Hint: "look at the supply wire"}}, b.now)
	}
	b.run(t, 40*time.Second, level)
	if b.s.st.Verdict != decay.Leaks {
		t.Fatalf("no verdict to take away: %+v", b.s.st)
	}
	fault(sensor.Begins)
	b.run(t, 15*time.Second, level)
	b.says(t, "DO NOT TRUST", "supply sag", "Look at the supply wire. This test is unusable: test again")
	if b.s.st.Verdict != decay.Undecided {
		t.Error("a verdict stands on readings in doubt")
	}
	fault(sensor.Ends)
	b.run(t, time.Second, level)
	if b.s.st.Verdict != decay.Unusable || b.s.fault != "" {
		t.Errorf("it is over, and there is %v, %q", b.s.st.Verdict, b.s.fault)
	}
	b.says(t, "This test is unusable", "test again. Key n.")
	b.model.take(sensor.Item{Fault: &sensor.Fault{At: b.at, Code: sensor.FaultBoardReset, Text: "p: the board started anew", Hint: "check its supply"}}, b.now)
	b.run(t, time.Second, level)
	b.says(t, "board reset: ")
	b.run(t, faultShown+time.Second, level)
	if b.s.fault != "" {
		t.Errorf("still shown: %q", b.s.fault)
	}
	b.model.finish()
	if b.result.Outcome != decay.Unusable || !hasWarning(b.result, sensor.FaultSag) || !hasWarning(b.result, sensor.FaultBoardReset) {
		t.Errorf("result %v, %+v", b.result.Outcome, b.result.Warnings)
	}
}

// A sensor that was taken for the wrong kind is not mended by a next test: the
// screen says how to start again.
func TestReferenceInDoubtAsksForAnotherStart(t *testing.T) {
	b := newBench(Options{Setup: decay.Setup{Volume: 10 * decay.Litre, Ambient: decay.DefaultAmbient}})
	b.run(t, 3*time.Second, still)
	b.model.take(sensor.Item{Fault: &sensor.Fault{At: b.at, Code: sensor.FaultReference, State: sensor.Begins, Text: "/dev/ttyUSB0: it looks absolute", Hint: "quit and start again with --port /dev/ttyUSB0 --reads absolute"}}, b.now)
	for range 3 { // before the fill, in it, and in the hold
		b.run(t, 7*time.Second, func(s float64) decay.Gauge { return decay.Gauge(min(150e3, max(0, s-9)*30e3)) + still(s) })
		b.says(t, "DO NOT TRUST", "uit and start again with --port /dev/ttyUSB0 --reads absolute. Key q quits.")
		if strings.Contains(b.text(), "ey n.") {
			t.Errorf("key n is said to help:\n%s", b.text())
		}
	}
}

func hasWarning(r decay.Result, code string) bool {
	for _, w := range r.Warnings {
		if w.Code == code {
			return true
		}
	}
	return false
}
