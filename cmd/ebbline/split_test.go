package main

import (
	"encoding/json"
	"math"
	"math/rand/v2"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"ebbline/decay"
	"ebbline/decay/record"
)

// hold10 writes the record of a test with a hole of that size in mm on a volume
// of 10 L, or as edit says, and returns its name.
func hold10(t *testing.T, dir, label string, hole float64, seed uint64, edit func(*record.Record)) string {
	t.Helper()
	rec := record.Record{Label: label, When: time.Date(2026, 5, 1, 8, 0, 0, 0, time.UTC),
		Setup: decay.Setup{Volume: 10 * decay.Litre, Ambient: decay.DefaultAmbient, Rigid: true}}
	if edit != nil {
		edit(&rec)
	}
	rng := rand.New(rand.NewPCG(seed, 3))
	p := decay.Atmosphere
	volume := 10 * decay.Litre
	if v := float64(rec.Setup.Volume); v > 0 {
		volume = v
	}
	k := 0.62 * math.Pi / 4 * hole * hole * 1e-6 * math.Sqrt(decay.RAir*293.15) / volume
	for i := range 50 * 50 {
		at := float64(i) / 50
		switch {
		case at > 48:
			p = decay.Atmosphere
		case at >= 10:
			p -= k * p * decay.Psi(decay.Atmosphere/p) / 50
		case at > 3:
			p = decay.Atmosphere + 170e3*(at-3)/7
		}
		rec.Samples = append(rec.Samples, decay.Sample{At: time.Duration(i) * 20 * time.Millisecond, P: decay.Pressure(p + 60*rng.NormFloat64())})
	}
	name := filepath.Join(dir, label+".ebbline")
	f, err := os.Create(name)
	if err != nil {
		t.Fatal(err)
	}
	if err := record.Write(f, rec); err != nil {
		t.Fatal(err)
	}
	if err := f.Close(); err != nil {
		t.Fatal(err)
	}
	return name
}

func TestSplitOfRecords(t *testing.T) {
	dir := t.TempDir()
	whole := hold10(t, dir, "whole", 1, 1, nil)
	small := func(r *record.Record) { r.Setup.Volume = 4 * decay.Litre }
	upper, cooler := hold10(t, dir, "upper hose", 0.3, 2, small), hold10(t, dir, "cooler", 0.9, 3, small)
	status, out, errOut := ebbline(t, "", "split", whole, upper, cooler)
	if status != 0 || !strings.Contains(out, "Most of it is in cooler") {
		t.Errorf("%d: %s%s", status, out, errOut)
	}
	_, out, errOut = ebbline(t, "", "split", "--json", whole, upper, cooler)
	var got struct {
		Sections []struct {
			Name  string
			Share struct{ Low, High float64 }
		}
		Rest struct{ Low, High float64 } `json:"not_tested_share"`
	}
	if err := json.Unmarshal([]byte(out), &got); err != nil || len(got.Sections) != 2 {
		t.Fatalf("%v in %s%s", err, out, errOut)
	}
	for i, want := range []float64{0.09, 0.81} {
		if s := got.Sections[i].Share; s.Low > want || s.High < want {
			t.Errorf("%s: %+v, want %g in it", got.Sections[i].Name, s, want)
		}
	}
	if got.Rest.Low > 0.1 || got.Rest.High < 0.1 {
		t.Errorf("the rest %+v, want 0.1 in it", got.Rest)
	}
}

func TestSplitRefuses(t *testing.T) {
	dir := t.TempDir()
	blind := hold10(t, dir, "blind", 1, 1, func(r *record.Record) { r.Setup.Volume = 0 })
	for _, c := range []struct {
		args        []string
		fault, hint string
	}{
		{nil, "needs the record", "for example"},
		{[]string{"none.ebbline"}, "none.ebbline", "check the name"},
		{[]string{blind}, "", "again"},
	} {
		status, out, errOut := ebbline(t, "", append([]string{"split"}, c.args...)...)
		fault, hint, _ := strings.Cut(errOut, "\n")
		if status != 2 || out != "" || !strings.Contains(fault, c.fault) || !strings.Contains(hint, c.hint) {
			t.Errorf("%q: %d %q", c.args, status, errOut)
		}
	}
}

// TestMeasureSubtractsTheRig judges a record again whose fittings were checked.
func TestMeasureSubtractsTheRig(t *testing.T) {
	dir := t.TempDir()
	rig := 0.62 * math.Pi / 4 * 0.09e-6
	name := hold10(t, dir, "left", 0.8, 4, func(r *record.Record) {
		r.Setup.Of = decay.PartBranch
		r.Setup.RigLeak = decay.Interval{Value: rig, Low: 0.9 * rig, High: 1.1 * rig, Level: 0.95}
	})
	_, out, errOut := ebbline(t, "", "measure", "--json", name)
	var got struct {
		Of       string
		Area     struct{ Low, High float64 } `json:"area_mm2"`
		Warnings []struct{ Code string }
	}
	if err := json.Unmarshal([]byte(out), &got); err != nil {
		t.Fatalf("%v in %s%s", err, out, errOut)
	}
	if want := 0.62 * math.Pi / 4 * (0.64 - 0.09); got.Of != "branch" || got.Area.Low > want || got.Area.High < want {
		t.Errorf("%+v, want %g in it", got, want)
	}
	if !strings.Contains(out, "rig-subtracted") {
		t.Errorf("nothing tells of it: %s", out)
	}
}

// A retest is of the same part with the same limit, unless flags say otherwise.
func TestRetestIsOfTheSamePart(t *testing.T) {
	name := hold10(t, t.TempDir(), "before", 1, 5, func(r *record.Record) {
		r.Setup.Of, r.Setup.Limit = decay.PartManifold, 0.4*decay.Millimetre
		r.Label = "left hose"
	})
	f := &holdFlags{retest: name}
	for _, c := range []struct{ set, want decay.Setup }{
		{decay.Setup{}, decay.Setup{Of: decay.PartManifold, Limit: 0.4 * decay.Millimetre}},
		{decay.Setup{Limit: 1e-3}, decay.Setup{Of: decay.PartManifold, Limit: 1e-3}},
		{decay.Setup{Of: decay.PartHose}, decay.Setup{Of: decay.PartHose}},
	} {
		got := c.set
		if _, err := f.past(&got); err != nil || got.Of != c.want.Of || got.Limit != c.want.Limit {
			t.Errorf("%v with %v becomes %v with %v: %v", c.set.Of, c.set.Limit, got.Of, got.Limit, err)
		}
	}
	if f.label != "left hose" {
		t.Errorf("the retest is called %q", f.label)
	}
}

// TestRetestWithoutAScreen tells of the repair in words and as JSON.
func TestRetestWithoutAScreen(t *testing.T) {
	dir := t.TempDir()
	before := hold10(t, dir, "before", 2, 5, func(r *record.Record) { r.Simulated = true })
	args := []string{"hold", "--hole", "0.5mm", "--volume", "10L", "--retest", before, "--for", "18s", "--book", dir}
	done := make(chan string, 1)
	go func() {
		_, out, errOut := ebbline(t, "", append(args, "--json")...)
		done <- out + errOut
	}()
	_, out, errOut := ebbline(t, "", append(args, "--plain")...)
	if !strings.Contains(out, "repair     SMALLER: ") && !strings.Contains(out, "repair     MENDED: ") {
		t.Errorf("%s%s", out, errOut)
	}
	if out := <-done; !strings.Contains(out, `"repair":"smaller"`) && !strings.Contains(out, `"repair":"mended"`) {
		t.Errorf("%s", out)
	}
}
