package main

import (
	"bytes"
	"encoding/json"
	"fmt"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"ebbline/decay"
	"ebbline/decay/decaytest"
)

// table writes a simulated trace as a table in psi gauge and returns its name.
func table(t *testing.T, name string, tr decaytest.Trace) string {
	t.Helper()
	var b bytes.Buffer
	b.WriteString("time_s,pressure_psi_gauge\n")
	for _, s := range tr.Samples {
		fmt.Fprintf(&b, "%.4f,%.5f\n", s.At.Seconds(), float64(s.P.Gauge(tr.Setup.Ambient))/decay.PSI)
	}
	path := filepath.Join(t.TempDir(), name)
	if err := os.WriteFile(path, b.Bytes(), 0o600); err != nil {
		t.Fatal(err)
	}
	return path
}

type volumeSaid struct {
	Volume struct{ Value, Low, High, Level float64 } `json:"volume_l"`
	Area   struct{ Value, Low, High float64 }        `json:"area_mm2"`
	Flag   string                                    `json:"volume_flag"`
	Step   struct {
		At float64 `json:"at_s"`
	} `json:"step"`
	Warnings []struct{ Code, Text string } `json:"warnings"`
}

func volumeOf(t *testing.T, args ...string) volumeSaid {
	t.Helper()
	status, out, errOut := ebbline(t, "", append([]string{"volume"}, args...)...)
	if status != 0 {
		t.Fatalf("%v: status %d: %s", args, status, errOut)
	}
	var v volumeSaid
	if err := json.Unmarshal([]byte(out), &v); err != nil {
		t.Fatalf("%v: %v in %q", args, err, out)
	}
	return v
}

func jetPair(t *testing.T) (without, with string, jet float64) {
	t.Helper()
	jet = 0.65 * 0.7853981634 // mm² effective of a 1.0 mm bore
	rig := decaytest.Rig{
		Volume: 9.8e-3, Area: decaytest.HoleArea(0.3), IdleSeconds: 3, FillSeconds: 6, HoldSeconds: 40,
		ReleaseSeconds: 3, Noise: 50, Ambient: 95e3, WallT: 288.15, Seed: 3,
	}
	without = table(t, "without.csv", decaytest.Make(rig))
	rig.Area += jet * 1e-6
	rig.Seed = 4
	return without, table(t, "with.csv", decaytest.Make(rig)), jet
}

func TestVolumeJetCommand(t *testing.T) {
	without, with, jet := jetPair(t)
	given := []string{"--ambient", "95kPa", "--ambient-temperature", "15C"}
	v := volumeOf(t, append([]string{"jet", "--json", "--jet", "1.0mm", "--cd", "0.65", without, with}, given...)...)
	if v.Volume.Low > 9.8 || v.Volume.High < 9.8 || v.Volume.Value < 9.7 || v.Volume.Value > 9.9 || v.Volume.Level != 0.95 {
		t.Errorf("volume %+v, true 9.8", v.Volume)
	}
	if truth := decaytest.HoleArea(0.3) * 1e6; v.Area.Low > truth || v.Area.High < truth {
		t.Errorf("leak %+v, true %.4f mm²", v.Area, truth)
	}
	// What is printed is what --volume takes.
	got, tol, err := decay.ParseVolume(v.Flag)
	if err != nil || tol <= 0 || float64(got)*(1-tol)*1e3 > v.Volume.Low*1.0001 || float64(got)*(1+tol)*1e3 < v.Volume.High*0.9999 {
		t.Errorf("flag %q for %+v: %v", v.Flag, v.Volume, err)
	}
	// The effective area says the same as bore and coefficient, and tolerances widen.
	w := volumeOf(t, append([]string{"jet", "--json", "--jet-area", fmt.Sprintf("%.6fmm2±4%%", jet), without, with}, given...)...)
	if d := w.Volume.Value/v.Volume.Value - 1; d > 1e-4 || d < -1e-4 {
		t.Errorf("%g L by the area, %g L by the bore", w.Volume.Value, v.Volume.Value)
	}
	if half := (w.Volume.High - w.Volume.Low) / 2 / w.Volume.Value; half < 0.039 || half > 0.045 {
		t.Errorf("half-width %.4f with 4 %% tolerance of the jet", half)
	}
	// The words name the leak and the flag.
	_, out, _ := ebbline(t, "", append([]string{"volume", "jet", "--jet", "1mm", "--cd", "0.65", without, with}, given...)...)
	for _, want := range []string{"use      --volume 9.", "leak     ", "mm²", "like a hole of 0.3"} {
		if !strings.Contains(out, want) {
			t.Errorf("no %q in:\n%s", want, out)
		}
	}
	// A span that is 2 % off moves the volume by less than its interval grows.
	z := volumeOf(t, append([]string{"jet", "--json", "--jet", "1mm", "--cd", "0.65", "--span-tolerance", "2%", without, with}, given...)...)
	if z.Volume.High-z.Volume.Low <= v.Volume.High-v.Volume.Low {
		t.Errorf("--span-tolerance does nothing: %+v, %+v", z.Volume, v.Volume)
	}
}

func TestVolumeBottleCommand(t *testing.T) {
	tap := decaytest.Tap{
		Rig: decaytest.Rig{
			Volume: 8.2e-3, Area: decaytest.HoleArea(0.4), IdleSeconds: 3, FillSeconds: 6, HoldSeconds: 50,
			ReleaseSeconds: 3, Noise: 50, Seed: 9,
		},
		Bottle: 2e-3, OpenAfter: 24,
	}
	name := table(t, "bottle.csv", decaytest.MakeTap(tap))
	v := volumeOf(t, "bottle", "--json", "--bottle", "2L", "--ambient", "101.325kPa", name)
	if v.Volume.Low > 8.2 || v.Volume.High < 8.2 || v.Volume.Value < 8.2*0.98 || v.Volume.Value > 8.2*1.02 {
		t.Errorf("volume %+v, true 8.2", v.Volume)
	}
	if d := v.Step.At - 33; d > 0.2 || d < -0.2 {
		t.Errorf("tap opened at %g s, true 33", v.Step.At)
	}
	w := volumeOf(t, "bottle", "--json", "--bottle", "2L±5%", "--ambient", "101.325kPa", name)
	if half := (w.Volume.High - w.Volume.Low) / 2 / w.Volume.Value; half < 0.05 || half > 0.06 {
		t.Errorf("half-width %.3f with 5 %% tolerance of the bottle", half)
	}
	_, out, _ := ebbline(t, "", "volume", "bottle", "--bottle", "2L", name)
	if !strings.Contains(out, "psi gauge") || !strings.Contains(out, "use      --volume 8.") {
		t.Errorf("words:\n%s", out)
	}
}

func TestVolumeErrors(t *testing.T) {
	without, with, _ := jetPair(t)
	for _, c := range []struct {
		args []string
		want []string
	}{
		{[]string{"jet", "--jet", "1mm", with, without}, []string{"does not leak more", "swapped", "with.csv"}},
		{[]string{"jet", "--jet", "1mm", without}, []string{"two traces", "first"}},
		{[]string{"jet", without, with}, []string{"not stated", "--jet-area"}},
		{[]string{"jet", "--jet", "1mm", "--jet-area", "1mm2", without, with}, []string{"both", "keep one"}},
		{[]string{"jet", "--jet-area", "1mm2", "--cd", "0.6", without, with}, []string{"has the coefficient", "leave out"}},
		{[]string{"jet", "--jet", "1m", without, with}, []string{"none for a duct", "unit"}},
		{[]string{"jet", "--jet", "1mm", "--cd", "6", without, with}, []string{"no discharge coefficient", "0.62"}},
		{[]string{"jet", "--jet", "1mm", "absent.csv", with}, []string{"absent.csv", "name"}},
		{[]string{"bottle", without}, []string{"not stated", "--bottle 2L"}},
		{[]string{"bottle", "--bottle", "2L", without}, []string{"no step", "open the tap", "without.csv"}},
		{[]string{"bottle", "--bottle", "2", without}, []string{"unit", "--bottle 2L"}},
		{[]string{"duct"}, []string{"no part", "51x600mm"}},
		{[]string{"duct", "51x-600mm"}, []string{"above zero", "cone"}},
		{[]string{"duct", "63x900cm"}, []string{"2806 L, which is no duct", "in mm it would be 2.81 L"}},
		{[]string{"duct", "9x9m"}, []string{"check the unit", "cone"}},
		{[]string{"guess"}, []string{`no volume "guess"`, "volume duct"}},
	} {
		status, out, errOut := ebbline(t, "", append([]string{"volume"}, c.args...)...)
		if status != exitTrouble || out != "" {
			t.Errorf("%v: status %d, output %q", c.args, status, out)
		}
		for _, w := range append(c.want, "ebbline: error: ", "ebbline: hint: ") {
			if !strings.Contains(errOut, w) {
				t.Errorf("%v: no %q in %q", c.args, w, errOut)
			}
		}
	}
}

// A volume larger than an engine's duct is asked about, and one far larger is
// refused by whoever takes it.
func TestLargeVolumesAreAskedAbout(t *testing.T) {
	if _, out, _ := ebbline(t, "", "volume", "duct", "20x240cm"); !strings.Contains(out, "75.4 L is much") || !strings.Contains(strings.Join(strings.Fields(out), " "), "a charge-air duct holds 1 to 30 L") {
		t.Errorf("%s", out)
	}
	if status, _, errOut := ebbline(t, "", "hold", "--plain", "--for", "1s", "--book", t.TempDir(), "--volume", "63x900cm"); status != exitTrouble || !strings.Contains(errOut, "in mm it would be 2.81 L") {
		t.Errorf("status %d, %s", status, errOut)
	}
}
