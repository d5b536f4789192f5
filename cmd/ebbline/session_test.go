package main

import (
	"context"
	"encoding/json"
	"errors"
	"io"
	"math"
	"strings"
	"testing"
	"testing/synctest"
	"time"

	"ebbline/decay"
	"ebbline/sensor"
)

// played is a source that plays a hold in the bubble's time.
type played struct {
	p     func(t float64) float64 // gauge, Pa
	until time.Duration
	at    time.Duration
	fault *sensor.Fault
	end   error
}

func (s *played) Next(ctx context.Context) (sensor.Item, error) {
	if s.fault != nil && s.at >= s.fault.At {
		f := s.fault
		s.fault = nil
		return sensor.Item{Fault: f}, nil
	}
	if s.at >= s.until {
		return sensor.Item{}, s.end
	}
	select {
	case <-ctx.Done():
		return sensor.Item{}, ctx.Err()
	case <-time.After(20 * time.Millisecond):
	}
	s.at += 20 * time.Millisecond
	t := s.at.Seconds()
	noise := 20 * math.Sin(t*t*977)
	return sensor.Item{Reading: sensor.Reading{Sample: decay.Sample{At: s.at, P: decay.Pressure(decay.Atmosphere + s.p(t) + noise)}}}, nil
}
func (s *played) About() sensor.About { return sensor.About{Name: "bench"} }
func (s *played) Close() error        { return nil }

// filled is a fill to 190 kPa gauge, then a hold through a nozzle that loses
// the share k a second while choked.
func filled(k float64) func(float64) float64 {
	p, at := decay.Pressure(190000+decay.Atmosphere), 15.0
	return func(t float64) float64 {
		switch {
		case t < 5:
			return 0
		case t < 15:
			return 19000 * (t - 5)
		}
		for ; at < t; at += 0.01 {
			p -= decay.Pressure(0.01 * k / decay.Psi(0) * float64(p) * decay.Psi(decay.Atmosphere/float64(p)))
		}
		return float64(p - decay.Atmosphere)
	}
}

func play(t *testing.T, s *session) (lines []map[string]any, r decay.Result, err error) {
	t.Helper()
	synctest.Test(t, func(t *testing.T) {
		var b strings.Builder
		s.set = decay.Setup{Volume: 0.01, Ambient: decay.Atmosphere, Rigid: true}
		s.out, s.asJSON = &b, true
		r, err = s.run(t.Context())
		for _, l := range strings.Split(strings.TrimSpace(b.String()), "\n") {
			var m map[string]any
			if e := json.Unmarshal([]byte(l), &m); e != nil {
				t.Fatalf("%v in %q", e, l)
			}
			lines = append(lines, m)
		}
	})
	return lines, r, err
}

func TestSessionPrintsALineASecondAndTheResult(t *testing.T) {
	lines, r, err := play(t, &session{src: &played{p: filled(0.01), until: time.Minute, end: io.EOF}})
	if err != nil || r.Outcome != decay.Leaks {
		t.Errorf("outcome %v, %v", r.Outcome, err)
	}
	if n := len(lines); n < 59 || n > 62 {
		t.Errorf("%d lines in a minute", n)
	}
	if last := lines[len(lines)-1]; last["file"] != "bench" || last["outcome"] != "leaks" {
		t.Errorf("last line %v", last)
	}
	for i, m := range lines[:len(lines)-1] {
		if m["phase"] == nil || m["kpa_gauge"] == nil || m["outcome"] == nil {
			t.Fatalf("line %d lacks a key: %v", i, m)
		}
	}
}

// quiet is a source that goes silent and stays open.
type quiet struct{ played }

func (s *quiet) Next(ctx context.Context) (sensor.Item, error) {
	if s.at >= s.until {
		<-ctx.Done()
		return sensor.Item{}, ctx.Err()
	}
	return s.played.Next(ctx)
}

func (s *quiet) About() sensor.About {
	return sensor.About{Name: "bench", Detail: "numbers; psi was assumed"}
}

// late is a source whose readings pause once and then come late.
type late struct{ played }

func (s *late) Next(ctx context.Context) (sensor.Item, error) {
	if s.at >= 5*time.Second && s.at < 5*time.Second+20*time.Millisecond {
		time.Sleep(1500 * time.Millisecond) // the bubble's
	}
	return s.played.Next(ctx)
}

// The clock does not go back when readings come late.
func TestSessionClockNeverGoesBack(t *testing.T) {
	p := played{p: func(t float64) float64 {
		if t > 5.1 {
			return 300000 // over the ceiling
		}
		return 0
	}, until: time.Minute, fault: &sensor.Fault{At: 5040 * time.Millisecond, Code: "silent", Text: "no line for 1 s", Hint: "check the cable"}}
	lines, _, _ := play(t, &session{src: &late{p}, length: 15 * time.Second})
	last, late := -1.0, map[string]float64{}
	for _, m := range lines {
		at, ok := m["t_s"].(float64)
		if !ok {
			continue
		}
		if at < last {
			t.Errorf("%.2f s after %.2f s: %v", at, last, m)
		}
		last = at
		if of, ok := m["of_s"].(float64); ok {
			late[m["text"].(string)] = at - of
		}
	}
	if len(late) < 2 {
		t.Errorf("%d faults and alarms, want both", len(late))
	}
	for text, by := range late {
		if by < 0.5 {
			t.Errorf("%q was %.2f s late", text, by)
		}
	}
}

// The clock goes on while nothing comes, and how the lines are read is said once.
func TestSessionClockGoesOnInSilence(t *testing.T) {
	for name, until := range map[string]time.Duration{"after five seconds": 5 * time.Second, "from the start": 0} {
		var said []string
		lines, _, _ := play(t, &session{src: &quiet{played{p: filled(0), until: until}}, length: 20 * time.Second, tell: func(w string) { said = append(said, w) }})
		n := 0
		for _, m := range lines {
			at, ok := m["t_s"].(float64)
			if !ok || m["phase"] == nil {
				continue
			}
			if n++; math.Abs(at-float64(n)) > 0.3 {
				t.Errorf("%s: line %d is of %.1f s", name, n, at)
			}
		}
		if want := map[bool]int{true: 1}[until > 0]; n < 19 || len(said) != want || want > 0 && said[0] != "how the lines are read: numbers; psi was assumed" {
			t.Errorf("%s: %d lines, said %q", name, n, said)
		}
	}
}

func TestSessionEndsByItself(t *testing.T) {
	lines, _, _ := play(t, &session{src: &played{p: filled(0.01), until: time.Hour}, length: 10 * time.Second})
	if n := len(lines); n < 10 || n > 12 {
		t.Errorf("%d lines in ten seconds", n)
	}
	lines, r, _ := play(t, &session{src: &played{p: filled(0.01), until: time.Hour}, untilVerdict: true})
	if len(lines) > 120 || r.Outcome != decay.Leaks {
		t.Errorf("%d lines until %v", len(lines), r.Outcome)
	}
}

func TestSessionSaysAlarmsAndFaultsAndErrors(t *testing.T) {
	broken := errors.New("port gone")
	lines, _, err := play(t, &session{src: &played{p: func(t float64) float64 { return 30000 * t }, until: 20 * time.Second, end: broken,
		fault: &sensor.Fault{At: 3 * time.Second, Code: "silent", Text: "no line for 1 s", Hint: "check the cable"}}})
	if !errors.Is(err, broken) {
		t.Errorf("error %v", err)
	}
	alarms, faults := 0, 0
	for _, m := range lines {
		if m["alarm"] == "over-ceiling" {
			alarms++
		}
		if m["fault"] == "silent" && m["hint"] == "check the cable" {
			faults++
		}
	}
	if alarms != 1 || faults != 1 {
		t.Errorf("%d alarms and %d faults, want one each", alarms, faults)
	}
}

// While a fault lasts that makes the readings doubtful there is no verdict, and
// a hold with it is no hold.
func TestSessionGivesNoVerdictOnDoubtfulReadings(t *testing.T) {
	lines, _, err := play(t, &session{src: &played{p: filled(0.02), until: 50 * time.Second, end: io.EOF,
		fault: &sensor.Fault{At: 20 * time.Second, Code: sensor.FaultUnitJump, State: sensor.Begins, Text: "bench: the unit changed", Hint: "set it back"}}})
	if err != nil {
		t.Fatal(err)
	}
	on := 0
	for _, m := range lines {
		if list, ok := m["faults"].([]any); ok && len(list) == 1 && list[0] == sensor.FaultUnitJump {
			on++
			if m["outcome"] != "undecided" {
				t.Errorf("with the fault on: %v", m)
			}
		}
	}
	last := lines[len(lines)-1]
	if on < 20 || last["outcome"] != "unusable" {
		t.Errorf("%d seconds with the fault, at last %v", on, last)
	}
}

func TestSessionEndsWithItsContext(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		ctx, stop := context.WithTimeout(t.Context(), 5*time.Second)
		defer stop()
		var b strings.Builder
		s := &session{src: &played{p: filled(0), until: time.Hour}, out: &b, unit: decay.PressureUnit{Name: "psi", Pascal: decay.PSI}}
		if _, err := s.run(ctx); err != nil {
			t.Error(err)
		}
		if !strings.Contains(b.String(), "psi gauge") || !strings.Contains(b.String(), "bench: ") {
			t.Errorf("printed %q", b.String())
		}
	})
}
