package main

import (
	"path/filepath"
	"strings"
	"testing"
	"time"

	"ebbline/decay"
	"ebbline/sensor"
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
