package main

import (
	"fmt"
	"math"
	"strings"
	"testing"
	"time"

	"ebbline/decay"
	"ebbline/sensor"
	"ebbline/sensor/replay"
)

// noisy is filled with a sensor's noise of a few pascals.
func noisy(k float64) func(float64) float64 {
	level := filled(k)
	return func(t float64) float64 { return level(t) + 5*math.Sin(t*t*977) }
}

func TestMeasureReadsACaptureWithoutItsEnd(t *testing.T) {
	var b strings.Builder
	w, err := replay.NewWriter(&b, map[string]string{"unit": "kPa"})
	if err != nil {
		t.Fatal(err)
	}
	level := noisy(0.01)
	for i := range 900 {
		at := time.Duration(i) * 50 * time.Millisecond
		if err := w.Chunk(at, fmt.Appendf(nil, "%.3f\n", level(at.Seconds())/1e3)); err != nil {
			t.Fatal(err)
		}
	}
	if err := w.Flush(); err != nil {
		t.Fatal(err)
	}
	text := b.String()
	path := put(t, "a.capture", text[:len(text)-4])
	status, out, errOut := ebbline(t, "", "measure", "--volume", "10L", path)
	if status != exitLeaks || !strings.Contains(out, "899 readings") || !strings.Contains(out, "end of the capture is missing") {
		t.Errorf("status %d\n%s%s", status, out, errOut)
	}
}

func TestPageKeepsCaptureAndRecord(t *testing.T) {
	dir := t.TempDir()
	when := time.Date(2026, 1, 2, 3, 4, 5, 0, time.UTC)
	open := func() *page {
		p, err := openPage(dir, "left hose", "kPa", when, sensor.About{Name: "bench"}, decay.Setup{Volume: 0.01})
		if err != nil {
			t.Fatal(err)
		}
		return p
	}
	p, other := open(), open()
	if p.recordPath == other.recordPath {
		t.Fatal("two tests share a record")
	}
	level := noisy(0.01)
	for i := range 900 {
		at := time.Duration(i) * 50 * time.Millisecond
		now := level(at.Seconds())
		p.chunk(at, fmt.Appendf(nil, "%.3f\n", now/1e3))
		p.add(sensor.Item{Reading: sensor.Reading{Sample: decay.Sample{At: at, P: decay.Pressure(decay.Atmosphere + now)}}})
	}
	for _, x := range []*page{p, other} {
		if err := x.close(decay.Result{}); err != nil {
			t.Fatal(err)
		}
	}
	for _, name := range []string{p.recordPath, p.capturePath} {
		status, out, errOut := ebbline(t, "", "measure", "--volume", "10L", name)
		if status != exitLeaks || !strings.Contains(out, "900 readings") {
			t.Errorf("%s: status %d\n%s%s", name, status, out, errOut)
		}
	}
}

// What was wrong while a capture was made is told again when it is measured.
func TestMeasureTellsTheFaultsOfACapture(t *testing.T) {
	p, err := openPage(t.TempDir(), "", "kPa", time.Date(2026, 1, 2, 3, 4, 5, 0, time.UTC), sensor.About{Name: "bench"}, decay.Setup{})
	if err != nil {
		t.Fatal(err)
	}
	level := noisy(0.01)
	for i := range 900 {
		at := time.Duration(i) * 50 * time.Millisecond
		p.chunk(at, fmt.Appendf(nil, "%.3f\n", level(at.Seconds())/1e3))
		switch i {
		case 500:
			p.add(sensor.Item{Fault: &sensor.Fault{At: at, Code: sensor.FaultSag, State: sensor.Begins, Text: "bench: all values fell", Hint: "check the supply"}})
		case 600:
			p.add(sensor.Item{Fault: &sensor.Fault{At: at, Code: sensor.FaultSag, State: sensor.Ends, Text: "bench: they are back", Hint: "the test goes on"}})
		}
	}
	if err := p.close(decay.Result{}); err != nil {
		t.Fatal(err)
	}
	status, out, errOut := ebbline(t, "", "measure", "--volume", "10L", p.capturePath)
	if status != exitUndecided || !strings.Contains(out, "unusable") || !strings.Contains(out, "supply sag from 25.0 s to 30.0 s: bench: all values fell") {
		t.Errorf("status %d\n%s%s", status, out, errOut)
	}
}
