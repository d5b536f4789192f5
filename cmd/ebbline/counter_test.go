package main

import (
	"bytes"
	"os"
	"path/filepath"
	"slices"
	"strconv"
	"strings"
	"testing"
	"testing/synctest"
	"time"
	"unicode/utf8"

	"ebbline/decay"
	"ebbline/decay/report"
	"ebbline/sensor/profile"
	"ebbline/sensor/rig"
	"ebbline/tui"
)

// atCounter tests one part on the simulated rig in the bubble's time.
func atCounter(t *testing.T, dir, part, hole string) (status int, out, errOut string) {
	t.Helper()
	synctest.Test(t, func(t *testing.T) {
		var o, e bytes.Buffer
		a := &app{out: &o, err: &e}
		cmd := a.rootCommand()
		cmd.SetArgs([]string{"counter", "--plain", "--part", part, "--hole", hole, "--book", dir, "--by", "desk 2"})
		if err := cmd.ExecuteContext(t.Context()); err != nil {
			t.Error(err)
		}
		status, out, errOut = a.status, o.String(), e.String()
	})
	return status, out, errOut
}

func TestCounterPrintsASlipAndKeepsIt(t *testing.T) {
	dir := t.TempDir()
	for _, c := range []struct {
		hole, word string
		status     int
	}{{"0.5mm", "L E A K S", exitLeaks}, {"0", "H O L D S", exitHolds}, {"0.2mm", "U N D E C I D E D", exitUndecided}} {
		status, out, errOut := atCounter(t, dir, "51x600", c.hole)
		if status != c.status || !strings.Contains(out, c.word) {
			t.Errorf("hole %s: status %d, want %d\n%s%s", c.hole, status, c.status, out, errOut)
		}
		for _, w := range []string{"SIMULATED, NO PROOF", "hose 51x600 mm", "bore 51 mm, length 600 mm", "desk 2", "limit      0.20 mm hole", "psi gauge", "simulated rig", "calibrated not stated", ".ebbline"} {
			if !strings.Contains(out, w) {
				t.Errorf("hole %s: the slip does not say %q:\n%s", c.hole, w, out)
			}
		}
		for l := range strings.Lines(out) {
			if n := utf8.RuneCountInString(strings.TrimRight(l, "\n")); n > report.SlipWidth {
				t.Errorf("%d columns: %q", n, l)
			}
		}
	}
	slips, _ := filepath.Glob(filepath.Join(dir, "*"+slipExt))
	if len(slips) != 3 {
		t.Fatalf("%d slips kept", len(slips))
	}
	for _, s := range slips {
		for _, ext := range []string{".ebbline", ".capture"} {
			name := strings.TrimSuffix(s, slipExt) + ext
			if _, text, errOut := ebbline(t, "", "measure", "--volume", "1.226L", "--json", name); !strings.Contains(text, `"hole_mm":{`) {
				t.Errorf("%s cannot be judged again: %s%s", name, text, errOut)
			}
		}
	}
	// The tally is counted from the store, so a restart does not lose it.
	b := &bench{dir: dir, rig: &benchRig{}}
	day, err := time.Parse("20060102T150405.000000Z", strings.SplitN(filepath.Base(slips[0]), "-", 2)[0])
	if err != nil {
		t.Fatal(err)
	}
	got, err := b.tallyOf(day)
	if err != nil || got != (tui.Tally{Holds: 1, Leaks: 1, Undecided: 1}) {
		t.Errorf("tally %+v, %v", got, err)
	}
	if again, _ := b.tallyOf(day); again != got {
		t.Errorf("counted again: %+v", again)
	}
	if other, _ := b.tallyOf(day.Add(72 * time.Hour)); other != (tui.Tally{}) {
		t.Errorf("three days later: %+v", other)
	}
	if real, _ := (&bench{dir: dir}).tallyOf(day); real != (tui.Tally{}) {
		t.Errorf("simulated tests were counted as real ones: %+v", real)
	}
}

// A part that will not build ends by itself, with a slip that says so and blames
// nobody, and counts in the tally.
func TestCounterNeverBuiltIsAnAnswer(t *testing.T) {
	for _, hole := range []string{"3mm", "5mm"} {
		dir := t.TempDir()
		status, out, errOut := atCounter(t, dir, "51x600", hole)
		if status != exitLeaks || !strings.Contains(out, "N E V E R   B U I L T") || strings.Contains(out, "by hand") || strings.Contains(out, "held for") {
			t.Errorf("hole %s: status %d\n%s%s", hole, status, out, errOut)
		}
		slips, _ := filepath.Glob(filepath.Join(dir, "*"+slipExt))
		if len(slips) != 1 {
			t.Fatalf("%d slips", len(slips))
		}
		rec, err := readRecord(strings.TrimSuffix(slips[0], slipExt) + ".ebbline")
		if err != nil || rec.Result.Outcome != decay.NeverBuilt {
			t.Errorf("the record says %v, %v", rec.Result.Outcome, err)
		}
		b := &bench{dir: dir, rig: &benchRig{}}
		if got, err := b.tallyOf(rec.When); err != nil || got != (tui.Tally{NeverBuilt: 1}) {
			t.Errorf("tally %+v, %v", got, err)
		}
	}
}

// A test that is stopped before any air came has tested nothing; it is kept, and
// neither counts nor has a slip.
func TestCounterWithoutAirIsNoTest(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		dir := t.TempDir()
		f := &counterFlags{}
		f.rig.defaults()
		b := &bench{dir: dir, unit: decay.PressureUnits[0]}
		if err := b.open(f); err != nil {
			t.Fatal(err)
		}
		part, err := parsePart("51x300")
		if err != nil {
			t.Fatal(err)
		}
		test, err := b.begin(part)
		if err != nil {
			t.Fatal(err)
		}
		run := tui.NewCounterRun(test.Setup)
		run.Stop()
		kept, err := test.Save(run, b.unit)
		if err != nil || kept.SlipPath != "" || len(kept.Slip) > 0 || !b.kept {
			t.Errorf("%+v, %v, kept %v", kept, err, b.kept)
		}
		rec, err := readRecord(kept.RecordPath)
		if err != nil {
			t.Error(err)
		}
		if got, err := b.tallyOf(rec.When); err != nil || got != (tui.Tally{}) {
			t.Errorf("tally %+v, %v", got, err)
		}
	})
}

// A book that cannot be written says what to do, and nothing is said to be kept.
func TestCounterBookThatCannotBeWritten(t *testing.T) {
	b := &bench{dir: filepath.Join(put(t, "file", "no folder"), "book"), src: newBenchRig(rig.Default(), false)}
	part, err := parsePart("51x300")
	if err != nil {
		t.Fatal(err)
	}
	if _, err = b.begin(part); err == nil || !strings.Contains(withHint(err).Error(), "--book") || b.kept {
		t.Errorf("%v, kept %v", withHint(err), b.kept)
	}
}

func TestCounterTimeInARecordStartsWithItsTest(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		dir := t.TempDir()
		f := &counterFlags{}
		f.rig.defaults()
		b := &bench{dir: dir, unit: decay.PressureUnits[0]}
		if err := b.open(f); err != nil {
			t.Fatal(err)
		}
		for range 2 {
			part, err := parsePart("51x300")
			if err != nil {
				t.Fatal(err)
			}
			test, err := b.begin(part)
			if err != nil {
				t.Fatal(err)
			}
			var e bytes.Buffer
			run := tui.NewCounterRun(test.Setup)
			if err := b.follow(t.Context(), run, test, &e); err != nil {
				t.Fatal(err)
			}
			kept, err := test.Save(run, b.unit)
			if err != nil {
				t.Fatal(err)
			}
			rec, err := readRecord(kept.RecordPath)
			if err != nil || len(rec.Samples) == 0 {
				t.Fatalf("%v, %d readings", err, len(rec.Samples))
			}
			if at := rec.Samples[0].At; at > time.Second {
				t.Errorf("the first reading is %v after the start of its test", at)
			}
			if end := rec.Result.Hold.End; end > rec.Samples[len(rec.Samples)-1].At+time.Second || rec.Torn {
				t.Errorf("the hold ends at %v, the readings at %v", end, rec.Samples[len(rec.Samples)-1].At)
			}
		}
	})
}

func TestSlipNamesTheSensorAndItsCalibration(t *testing.T) {
	b := &bench{src: newBenchRig(rig.Default(), false), prof: &chosen{Profile: &profile.Profile{
		Name: "bench", Sensor: "30 psi transducer, grey", Calibrated: time.Date(2026, 1, 31, 0, 0, 0, 0, time.UTC)}}}
	if name, when := b.sensorWords(); name != "30 psi transducer, grey on simulated rig" || when != "2026-01-31" {
		t.Errorf("%q, %q", name, when)
	}
	b.prof = nil
	if name, when := b.sensorWords(); name != "simulated rig" || when != "" {
		t.Errorf("without a profile: %q, %q", name, when)
	}
}

func TestPartsList(t *testing.T) {
	good := "\ufefflabel,bore_mm,length_mm,limit_mm,volume_l\n# invented\nleft hose,51,600,,\nsmall cooler,,,0.3,3.1\n\"long, bent\",63.5,900,\n"
	list, err := readParts(strings.NewReader(good), "shop.csv")
	if err != nil || len(list) != 3 {
		t.Fatalf("%d parts, %v", len(list), err)
	}
	// π/4·(51 mm)²·600 mm = 1.2257 L.
	litres := func(p tui.Part) string { return strconv.FormatFloat(float64(p.Volume)/decay.Litre, 'f', 4, 64) }
	if litres(list[0]) != "1.2257" || list[0].VolumeTolerance != sizeTolerance {
		t.Errorf("left hose: %s L", litres(list[0]))
	}
	if litres(list[1]) != "3.1000" || report.Millimetres(float64(list[1].Limit)) != "0.300 mm" || list[1].Size() != "" || list[2].Label != "long, bent" {
		t.Errorf("%+v", list[1:])
	}
	for _, c := range []struct{ text, says string }{
		{"", "empty"},
		{"label,bore_mm\n", "length_mm is missing"},
		{"label,bore_mm,length_mm,colour\n", `line 1: "colour"`},
		{"label,bore_mm,length_mm,label\n", "twice"},
		{"label,bore_mm,length_mm\na,51,600\na,51,600\n", "line 3: the part \"a\" stands on line 2"},
		{"label,bore_mm,length_mm\n,51,600\n", "line 2: the part has no label"},
		{"label,bore_mm,length_mm\na,x,600\n", `bore_mm of "a" is "x"`},
		{"label,bore_mm,length_mm\na,5100,600\n", "outside"},
		{"label,bore_mm,length_mm\na,NaN,600\n", "no number"},
		{"label,bore_mm,length_mm\na,51,600,9\n", "4 cells"},
		{"label,bore_mm,length_mm\na,51\n", "length_mm"},
		{"label,bore_mm,length_mm\n\"a,51,600\n", "line"},
	} {
		if _, err := readParts(strings.NewReader(c.text), "shop.csv"); err == nil || !strings.Contains(err.Error(), c.says) || !strings.Contains(err.Error(), "shop.csv") {
			t.Errorf("%q: %v, want %q", c.text, err, c.says)
		}
	}
	for _, text := range []string{
		"label;bore_mm;length_mm;limit_mm;volume_l\nleft hose;51;600;;\nsmall cooler;;;0,3;3,1\n\"long, bent\";63,5;900;;\n",
		"label\tbore_mm\tlength_mm\tlimit_mm\tvolume_l\r\nleft hose\t51\t600\t\t\r\nsmall cooler\t\t\t0,3\t3.1\r\nlong, bent\t63.5\t900\r\n",
		"\ufeff# invented; with commas, too\nlabel,bore_mm,length_mm,limit_mm,volume_l\nleft hose,51,600\nsmall cooler,,,0.3,\"3,1\"\n\"long, bent\",63.5,900\n",
	} {
		if got, err := readParts(strings.NewReader(text), "shop.csv"); err != nil || !slices.Equal(got, list) {
			t.Errorf("%q: %+v, %v", text, got, err)
		}
	}
	for c, want := range map[string]string{
		"51x600": "51x600", "51 x 600 mm": "51x600", "51×600": "51x600", "51,0 X 600": "51x600", "51 600": "51x600", "51mm x 600mm": "51x600",
		"51mm x 600": "51x600", "5.1cm x 60cm": "51x600", "51mm x 0.6 m": "51x600", "5,1 x 60 cm": "51x600",
		"2in x 24in": "50.8x609.6", `2" x 24"`: "50.8x609.6", "2x24 inch": "50.8x609.6",
	} {
		if p, err := parsePart(c); err != nil || p.Label != "hose "+want+" mm" {
			t.Errorf("%q: %+v %v", c, p, err)
		}
	}
	if _, err := parsePart("5100x600"); err == nil || !strings.Contains(err.Error(), "a bore of 5100 mm is") {
		t.Error(err)
	}
	for _, c := range []string{"51,600", "2in x 24", "51x600x3", "51 60 0", "51mx600m", "51x600ft", "-51x600", "99999999999999999999" + strings.Repeat("9", 400) + "x600", "", "51", "x600", "51x", "0x600", "51x-3", "1e9x600", "NaNx600", "hose"} {
		if p, err := parsePart(c); err == nil {
			t.Errorf("%q is %+v", c, p)
		}
	}
}

func FuzzParts(f *testing.F) {
	f.Add("label,bore_mm,length_mm,limit_mm,volume_l\nleft hose,51,600,,\n", "51x600")
	f.Fuzz(func(t *testing.T, list, size string) {
		parts, err := readParts(strings.NewReader(list), "f")
		if err == nil {
			for _, p := range parts {
				if !(p.Volume > 0) || p.Label == "" {
					t.Errorf("%+v", p)
				}
			}
		}
		if p, err := parsePart(size); err == nil && !(p.Volume > 0 && p.Volume < 10) {
			t.Errorf("%q: %+v", size, p)
		}
	})
}

func TestCounterRefuses(t *testing.T) {
	dir := t.TempDir()
	list := put(t, "shop.csv", "label,bore_mm,length_mm\nleft hose,51,six\n")
	for _, c := range []struct {
		args        []string
		fault, hint string
	}{
		{[]string{"--plain"}, "must be named", "--part"},
		{[]string{"--part", "nothing"}, "no part of the list", "51x600"},
		{[]string{"--part", "51x600", "--parts", list}, "line 2", "label,bore_mm"},
		{[]string{"--part", "51x600", "--parts", filepath.Join(dir, "none.csv")}, "none.csv", "check"},
		{[]string{"--part", "51x600", "--port", filepath.Join(dir, "ttyNone")}, "no such port", "connected"},
		{[]string{"--part", "51x600", "--reads", "absolute"}, "gauge sensor", "--reads"},
	} {
		status, out, errOut := ebbline(t, "", append([]string{"counter", "--book", dir}, c.args...)...)
		fault, hint, _ := strings.Cut(errOut, "\n")
		if status != 2 || out != "" || !strings.Contains(fault, c.fault) || !strings.Contains(hint, c.hint) {
			t.Errorf("%q: %d %q", c.args, status, errOut)
		}
	}
	if names, _ := os.ReadDir(dir); len(names) > 0 {
		t.Errorf("refused tests left %v", names)
	}
}
