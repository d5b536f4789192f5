package main

import (
	"encoding/json"
	"fmt"
	"math"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"ebbline/decay"
	"ebbline/decay/report"
	"ebbline/sensor"
	"ebbline/sensor/replay"
)

// profiled gives the test a file of profiles.
func profiled(t *testing.T, text string) {
	t.Helper()
	t.Setenv("EBBLINE_PROFILES", put(t, "profiles.toml", text))
}

const countsProfile = `default = "bench"
[profile.bench]
unit = "counts"
[profile.bench.calibration]
kind = "ratiometric"
low = { signal = "0.5V", pressure = "0psi" }
high = { signal = "4.5V", pressure = "50psi" }
bits = 12
`

// Numbers without a unit are not taken for the counts of a profile that nobody
// named.
func TestBareNumbersAreNoCountsOfTheDefaultProfile(t *testing.T) {
	profiled(t, countsProfile)
	_, rows, _ := strings.Cut(holdTable(0.01), "\n")
	bare := put(t, "bare.csv", rows)
	status, out, errOut := ebbline(t, "", "measure", "--volume", "10L", bare)
	if status != exitTrouble || out != "" || !strings.Contains(errOut, "--unit psi") || !strings.Contains(errOut, "in counts as those of the default profile, name it with --profile") {
		t.Errorf("status %d\n%s%s", status, out, errOut)
	}
	if status, out, errOut = ebbline(t, "", "measure", "--volume", "10L", "--unit", "kPa", bare); status != exitLeaks || !strings.Contains(out, "peak       190.0 kPa gauge") {
		t.Errorf("with --unit: status %d\n%s%s", status, out, errOut)
	}
	if _, _, errOut = ebbline(t, "", "measure", "--profile", "bench", put(t, "counts.csv", "0,410\n0.1,410\n0.2,410\n")); errOut != "" {
		t.Errorf("a profile that was asked for: %s", errOut)
	}
}

// A profile as the README's calibration makes it and no stated ceiling give one
// that the transducer can watch; a stated one stands.
func TestCeilingOfATransducerOf30PSI(t *testing.T) {
	profiled(t, "[profile.bench]\nfull_scale = \"30psi\"\n")
	prof, err := loadProfile("bench", "")
	if err != nil {
		t.Fatal(err)
	}
	for ceiling, want := range map[string]string{"": "28.50 psi gauge", "25psi": "25.00 psi gauge", "30psi": "30.00 psi gauge"} {
		set, err := prof.setup(&setupFlags{ceiling: ceiling})
		psi, _ := decay.ParsePressureUnit("psi")
		if got := set.Ceiling.Format(psi); err != nil || got != want {
			t.Errorf("--ceiling %q: %s, %v, want %s", ceiling, got, err, want)
		}
		if told := report.Lowered(set, psi); (told != "") != (ceiling == "") {
			t.Errorf("--ceiling %q: %q", ceiling, told)
		}
	}
	if set, err := (*chosen)(nil).setup(&setupFlags{}); err != nil || set.Ceiling != 0 {
		t.Errorf("%v, %v", set.Ceiling, err)
	}
}

// A profile that nobody named is told of before the figures that rest on it, with
// what it brought.
func TestDefaultProfileIsToldFirst(t *testing.T) {
	profiled(t, "default = \"bench\"\n[profile.bench]\nvolume = \"10L\"\nlimit = \"0.3mm\"\nfull_scale = \"60psi\"\n")
	file := put(t, "stranger.csv", holdTable(0.01))
	_, out, _ := ebbline(t, "", "measure", file)
	lines := strings.Split(out, "\n")
	if len(lines) < 3 || !strings.HasPrefix(lines[1], "  profile ") {
		t.Fatalf("%s", out)
	}
	for _, want := range []string{"\"bench\" (the default)", "volume 10 L", "limit 0.300 mm", "full scale 413.7 kPa gauge", "--profile none"} {
		if !strings.Contains(lines[1], want) {
			t.Errorf("%q lacks %q", lines[1], want)
		}
	}
	if strings.Contains(lines[1], "calibration") || strings.Count(out, "--profile none") != 1 {
		t.Errorf("%s", out)
	}
	if _, out, _ = ebbline(t, "", "measure", "--profile", "none", file); strings.Contains(out, "profile") {
		t.Errorf("%s", out)
	}
}

// A record and a capture of the simulated rig are told from those of a duct.
func TestMeasureSaysSimulated(t *testing.T) {
	for _, simulated := range []bool{true, false} {
		p, err := openPageHead(t.TempDir(), "", time.Date(2026, 1, 2, 3, 4, 5, 0, time.UTC), sensor.About{Name: "bench", Simulated: simulated}, decay.Setup{}, nil)
		if err != nil {
			t.Fatal(err)
		}
		for i := range 100 {
			at := time.Duration(i) * 50 * time.Millisecond
			p.chunk(at, []byte("0.1 psi\n"))
			p.add(sensor.Item{Reading: sensor.Reading{Sample: decay.Sample{At: at, P: decay.Atmosphere}}})
		}
		if err := p.close(decay.Result{}); err != nil {
			t.Fatal(err)
		}
		for _, file := range []string{p.recordPath, p.capturePath} {
			if _, out, errOut := ebbline(t, "", "measure", file); strings.Contains(out, "\n  SIMULATED  no real pressure, no real duct\n") != simulated || errOut != "" {
				t.Errorf("simulated %v: %s%s", simulated, out, errOut)
			}
			if _, out, _ := ebbline(t, "", "measure", "--json", file); !strings.Contains(out, fmt.Sprintf(`"simulated":%v,`, simulated)) {
				t.Errorf("simulated %v: %s", simulated, out)
			}
		}
	}
}

// A test is told later in the unit that it was shown in.
func TestMeasureTellsTheUnitThatWasShown(t *testing.T) {
	for _, c := range []struct{ profile, shown, want string }{
		{"", "psi", "psi"}, {"", "bar", "bar"}, {countsProfile, "inHg", "inHg"}, {"", "", "psi"}, {countsProfile, "", "psi"},
	} {
		profiled(t, c.profile)
		p, err := openPageHead(t.TempDir(), "", time.Date(2026, 1, 2, 3, 4, 5, 0, time.UTC), sensor.About{Name: "bench"}, decay.Setup{},
			map[string]string{"unit": "psi", "shown": c.shown})
		if err != nil {
			t.Fatal(err)
		}
		level := noisy(0.01)
		for i := range 900 {
			at := time.Duration(i) * 50 * time.Millisecond
			p.chunk(at, []byte(decay.Gauge(level(at.Seconds())).Number(decay.PressureUnits[0])+"\n"))
			p.add(sensor.Item{Reading: sensor.Reading{Sample: decay.Sample{At: at, P: decay.Gauge(level(at.Seconds())).Absolute(decay.Atmosphere)}}})
		}
		if err := p.close(decay.Result{}); err != nil {
			t.Fatal(err)
		}
		for _, file := range []string{p.recordPath, p.capturePath} {
			if _, out, errOut := ebbline(t, "", "measure", file); !strings.Contains(out, " "+c.want+" gauge, 900 readings") {
				t.Errorf("%s, shown in %q: want %s\n%s%s", filepath.Ext(file), c.shown, c.want, out, errOut)
			}
		}
		if _, out, _ := ebbline(t, "", "measure", "--unit", "mbar", p.recordPath); !strings.Contains(out, " mbar gauge, 900 readings") {
			t.Errorf("--unit mbar: %s", out)
		}
	}
}

// Lines that are doubled, out of order or in pages change nothing; times that are
// no times give no result, whether the stamps meet or not.
func TestMeasureOfTimesOutOfOrder(t *testing.T) {
	const n = 900
	level := noisy(0.01)
	var kpa [n]float64
	for i := range kpa {
		kpa[i] = level(float64(i)/20) / 1e3
	}
	at := func(i int) float64 { return float64(i) / 20 }
	fallsBack := func(from, to, off float64) func(int) string {
		return func(i int) string {
			x := at(i)
			if x >= from {
				x += to - from + off
			}
			return fmt.Sprintf("%.3f,%.4f\n", x, kpa[i])
		}
	}
	row := func(i int) string { return fmt.Sprintf("%.3f,%.4f\n", at(i), kpa[i]) }
	for name, c := range map[string]struct {
		row    func(i int) string
		caveat string // of a file that gives no result
	}{
		"as it was":                              {row, ""},
		"each line twice":                        {func(i int) string { return row(i) + row(i) }, ""},
		"some lines twice":                       {func(i int) string { return strings.Repeat(row(i), 1+(i%10)/9) }, ""},
		"lines swapped":                          {func(i int) string { return row(i ^ map[bool]int{true: 1}[i/2%25 == 3]) }, ""},
		"latest first":                           {func(i int) string { return row(n - 1 - i) }, ""},
		"pages swapped":                          {func(i int) string { return row((i + n/2) % n) }, ""},
		"reset at 30 s":                          {fallsBack(30, 0, 0), "the clock falls back after 29.950 s"},
		"reset at 40 s, stamps that do not meet": {fallsBack(40, 0, 0.02), "the clock falls back after 39.950 s"},
		"falls back into the hold":               {fallsBack(30, 20, 0.02), "the clock falls back after 29.950 s"},
		"to and fro": {func(i int) string {
			return fmt.Sprintf("%.3f,%.4f\n", at(i)-0.52*float64(i/20%2), kpa[i])
		}, "cannot be the time"},
		"no times": {func(i int) string { return fmt.Sprintf("%.3f,%.4f\n", at(i*577%n), kpa[i]) }, "cannot be the time"},
	} {
		var b strings.Builder
		b.WriteString("time_s,pressure_kpa\n")
		for i := range n {
			b.WriteString(c.row(i))
		}
		_, text, errOut := ebbline(t, "", "measure", "--json", "--volume", "10L", put(t, "x.csv", b.String()))
		judgedAs(t, name, text+errOut, c.caveat)
	}

	// In a capture the arrival tells the time, whatever becomes of the board's clock.
	var b strings.Builder
	w, err := replay.NewWriter(&b, map[string]string{"unit": "kPa"})
	if err != nil {
		t.Fatal(err)
	}
	for i := range n {
		board := 50 * i
		if board >= 30000 {
			board -= 29990
		}
		if err := w.Chunk(time.Duration(i)*50*time.Millisecond, fmt.Appendf(nil, "t=%dms p=%.4fkPa\n", board, kpa[i])); err != nil {
			t.Fatal(err)
		}
	}
	if err := w.Flush(); err != nil {
		t.Fatal(err)
	}
	_, text, errOut := ebbline(t, "", "measure", "--json", "--volume", "10L", put(t, "x.capture", b.String()))
	judgedAs(t, "a capture of a board that started anew", text+errOut, "")
}

// judgedAs checks a result: a hole of 1.02 mm, or none because of a caveat.
func judgedAs(t *testing.T, name, text, caveat string) {
	t.Helper()
	var r struct {
		Outcome string
		Hole    *struct{ Value float64 } `json:"hole_mm"`
	}
	err := json.Unmarshal([]byte(text), &r)
	switch {
	case err != nil:
		t.Errorf("%s: %v in %s", name, err, text)
	case caveat != "" && (r.Outcome != "unusable" || r.Hole != nil || !strings.Contains(text, caveat)):
		t.Errorf("%s: want unusable, since %q; got %s", name, caveat, text)
	case caveat == "" && (r.Outcome != "leaks" || r.Hole == nil || math.Abs(r.Hole.Value-1.02) > 0.02):
		t.Errorf("%s: want leaks, 1.02 mm; got %s", name, text)
	}
}

// Whoever knows that the supply was shut says so: a flat trace has no answer else.
func TestMeasureShut(t *testing.T) {
	var b strings.Builder
	b.WriteString("time_s,pressure_kpa\n")
	for i := range 600 {
		at := float64(i) / 10
		fmt.Fprintf(&b, "%.1f,%.2f\n", at, min(170, max(0, 30*(at-3)))+0.02*math.Sin(37*at))
	}
	name := put(t, "flat.csv", b.String())
	status, out, _ := ebbline(t, "", "measure", "--volume", "10L", name)
	if status != exitUndecided || !strings.Contains(out, "if shut    holds: hole 0 to ") || strings.Contains(out, "equivalent diameter") {
		t.Errorf("status %d\n%s", status, out)
	}
	status, out, _ = ebbline(t, "", "measure", "--volume", "10L", "--json", name)
	if status != exitUndecided || !strings.Contains(out, `"outcome":"undecided","if_shut":"holds"`) || !strings.Contains(out, `"low":0,`) {
		t.Errorf("status %d\n%s", status, out)
	}
	status, out, _ = ebbline(t, "", "measure", "--volume", "10L", "--shut", "10s", name)
	if status != exitHolds || strings.Contains(out, "if shut") {
		t.Errorf("said to be shut: status %d\n%s", status, out)
	}
	for _, shut := range []string{"-1s", "61s"} {
		if status, out, errOut := ebbline(t, "", "measure", "--shut", shut, name); status != exitTrouble || out != "" || !strings.Contains(errOut, "--shut") {
			t.Errorf("--shut %s: status %d\n%s%s", shut, status, out, errOut)
		}
	}
}
