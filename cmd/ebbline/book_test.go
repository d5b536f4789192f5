//go:build unix

package main

import (
	"errors"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"sync"
	"syscall"
	"testing"
	"time"

	"ebbline/decay"
	"ebbline/decay/record"
	"ebbline/sensor"
	"ebbline/sensor/rig"
)

// A disk that fills up is said once and at once, the test goes on, and what was
// written before is kept.
func TestFullDiskIsSaidAndTheTestGoesOn(t *testing.T) {
	full, err := os.OpenFile("/dev/full", os.O_WRONLY, 0)
	if err != nil {
		t.Skip(err)
	}
	dir := t.TempDir()
	told := make(chan error, 100)
	k := &keeper{tell: func(err error) { told <- err }}
	k.open = func(label string, set decay.Setup) (*page, error) {
		p, err := openPage(dir, label, "kPa", time.Date(2026, 1, 2, 3, 4, 5, 0, time.UTC), sensor.About{Name: "bench"}, set)
		if err == nil { // from here on its disk is full
			p.captureFile.disk.Lock()
			p.captureFile.file = full
			p.captureFile.disk.Unlock()
		}
		return p, err
	}
	if err := k.begin("hose", decay.Setup{Volume: 0.01}); err != nil {
		t.Fatal(err)
	}
	for i := range 5000 {
		at := time.Duration(i) * 20 * time.Millisecond
		k.chunk(at, []byte("a line of a board, long enough to be handed to the disk\n"))
		k.item(sensor.Item{Reading: sensor.Reading{Sample: decay.Sample{At: at, P: 101325}}})
	}
	if err := <-told; !errors.Is(err, syscall.ENOSPC) { // the disk is written to beside the readings
		t.Fatalf("told %v", err)
	}
	if w := k.trouble(); !strings.Contains(w, "NOT BEING KEPT") || !strings.Contains(w, "make room") || !strings.Contains(w, "no space left") {
		t.Errorf("trouble: %q", w)
	}
	path, err := k.save(decay.Result{})
	if !errors.Is(err, syscall.ENOSPC) {
		t.Errorf("saved with %v", err)
	}
	if rec, err := readWhole(path); err != nil || len(rec.Samples) != 5000 || rec.Digest != record.DigestFits {
		t.Errorf("the record, whose disk had room: %d readings, %v, %v", len(rec.Samples), rec.Digest, err)
	}
	if len(told) > 0 {
		t.Errorf("told again: %v", <-told)
	}
	if k.trouble() != "" {
		t.Error("trouble after the end of the test")
	}
	var said strings.Builder
	(&app{err: &said}).tellKept(k)
	if w := said.String(); strings.Contains(w, "is kept in") || !strings.Contains(w, "NOT kept whole") || !strings.Contains(w, path) || !strings.Contains(w, ".capture") {
		t.Errorf("at the end it says %q", w)
	}
}

// Many processes that begin tests of one label at one moment in one folder do
// not meet, and neither do two folders that are synced into one.
func TestNamesOfManyMachinesDoNotCollide(t *testing.T) {
	if dir := os.Getenv("EBBLINE_TEST_PAGES"); dir != "" {
		when := time.Date(2026, 1, 2, 3, 4, 5, 6000, time.UTC) // of all, whatever their clocks say
		for range 25 {
			p, err := openPage(dir, "left hose", "kPa", when, sensor.About{Name: "bench"}, decay.Setup{})
			if err == nil {
				err = p.close(decay.Result{})
			}
			if err != nil {
				t.Fatal(err)
			}
		}
		return
	}
	exe, err := os.Executable()
	if err != nil {
		t.Fatal(err)
	}
	const machines = 4
	synced := map[string]bool{}
	var all sync.WaitGroup
	dirs := make([]string, machines)
	for i := range dirs {
		dirs[i] = t.TempDir() // machines see each other's files only after the sync
		all.Go(func() {
			cmd := exec.Command(exe, "-test.run", "^TestNamesOfManyMachinesDoNotCollide$")
			cmd.Env = append(os.Environ(), "EBBLINE_TEST_PAGES="+dirs[i])
			if out, err := cmd.CombinedOutput(); err != nil {
				t.Errorf("%v: %s", err, out)
			}
		})
	}
	all.Wait()
	for _, dir := range dirs {
		names, err := os.ReadDir(dir)
		if err != nil || len(names) != 50 {
			t.Errorf("%d files, %v", len(names), err)
		}
		for _, n := range names {
			if synced[n.Name()] {
				t.Errorf("two machines wrote %s", n.Name())
			}
			synced[n.Name()] = true
		}
	}
}

// shop is a book of several records; it returns their names.
func shop(t *testing.T, recs ...record.Record) (dir string, names []string) {
	t.Helper()
	dir = t.TempDir()
	for _, rec := range recs {
		name := filepath.Join(dir, filepath.Base(pageStem("", rec.When, rec.Label))+record.Extension)
		f, err := os.Create(name)
		if err != nil {
			t.Fatal(err)
		}
		if err := errors.Join(record.Write(f, rec), f.Close()); err != nil {
			t.Fatal(err)
		}
		names = append(names, name)
	}
	return dir, names
}

// held is a record of a hold with a hole, and the result that this program
// computes.
func held(t *testing.T, hole decay.Length, when time.Time) record.Record {
	t.Helper()
	set := decay.Setup{Volume: 0.01, Ambient: 101325, Of: decay.PartManifold}
	rec := record.Record{Label: "job 1: hose", When: when, Program: "ebbline test", Setup: set, Samples: simulatedHold(hole)}
	rec.Result = rec.Again()
	return rec
}

func TestBookComparesAndMeasuresAgain(t *testing.T) {
	day := time.Date(2026, 3, 4, 5, 6, 7, 0, time.UTC)
	before, after := held(t, 0.0012, day), held(t, 0, day.Add(time.Hour))
	other := held(t, 0.0008, day.Add(2*time.Hour))
	other.Result.Outcome, other.Label = decay.Holds, "job 2" // as some other version saw it
	dir, names := shop(t, before, after, other)

	status, out, errOut := ebbline(t, "", "book", "compare", names[0], names[1])
	if status != 0 || !strings.Contains(out, "repair  MENDED: 1.2") || errOut != "" {
		t.Errorf("compare: status %d\n%s%s", status, out, errOut)
	}
	status, out, _ = ebbline(t, "", "book", "compare", "--json", names[0], names[1])
	if status != 0 || !strings.Contains(out, `"repair":"mended"`) {
		t.Errorf("compare --json: status %d %s", status, out)
	}
	toy := held(t, 0, day)
	toy.Simulated = true
	toys, _ := shop(t, toy)
	if _, out, _ := ebbline(t, "", "book", "list", "--book", toys); !strings.Contains(out, "SIMULATED  job 1") {
		t.Errorf("a simulated test is not marked:\n%s", out)
	}
	bench := held(t, 0, day.Add(3*time.Hour))
	bench.Setup.Of, bench.Setup.Volume = decay.PartFittings, 0.3*decay.Litre
	_, small := shop(t, bench)
	status, out, _ = ebbline(t, "", "book", "compare", names[0], small[0])
	if status != exitLeaks || strings.Contains(out, "MENDED") || !strings.HasPrefix(out, "repair  not the same part: nothing is said of a repair") {
		t.Errorf("compare of two parts: status %d\n%s", status, out)
	}
	status, out, _ = ebbline(t, "", "book", "compare", "--json", names[0], small[0])
	if status != exitLeaks || !strings.HasPrefix(out, `{"repair":"not-told"`) {
		t.Errorf("compare --json of two parts: status %d %s", status, out)
	}
	b, err := os.ReadFile(names[0])
	if err != nil {
		t.Fatal(err)
	}
	changed := put(t, "changed.ebbline", strings.Replace(string(b), "label: job 1", "label: job 9", 1))
	status, out, _ = ebbline(t, "", "book", "compare", changed, names[1])
	if status != exitLeaks || strings.Contains(out, "MENDED") || !strings.Contains(out, "repair  nothing is said of the repair, for of the two records the one before was changed") {
		t.Errorf("compare of a changed record: status %d\n%s", status, out)
	}
	status, out, _ = ebbline(t, "", "book", "compare", names[1], changed, "--json")
	if status != exitLeaks || !strings.HasPrefix(out, `{"repair":"not-told","share_left":{"value":null,`) || !strings.Contains(out, "the one after was changed") {
		t.Errorf("compare --json of a changed record: status %d\n%s", status, out)
	}
	if _, _, errOut := ebbline(t, "", "book", "compare", names[1], names[0]); !strings.Contains(errOut, "wrong way round") {
		t.Errorf("compare in the wrong order says %q", errOut)
	}
	status, out, errOut = ebbline(t, "", "book", "measure", "--book", dir)
	if status != 1 || !strings.Contains(out, "changed since ebbline test\n  verdict    holds -> leaks\n") ||
		strings.Count(out, "changed since") != 1 || !strings.Contains(errOut, "3 measured again") || !strings.Contains(errOut, "2 the same, 1 changed") {
		t.Errorf("measure: status %d\n%s%s", status, out, errOut)
	}
	status, out, _ = ebbline(t, "", "book", "list", "--book", dir, "--verdict", "leaks")
	if status != 0 || strings.Count(out, "\n") != 1 || !strings.Contains(out, "2026-03-04 05:06  leaks") {
		t.Errorf("list: %d %q", status, out)
	}
	if status, out, _ := ebbline(t, "", "book", "check", "--book", dir); status != 0 || out != "" {
		t.Errorf("check: %d %q", status, out)
	}
	if status, out, _ := ebbline(t, "", "book", "show", "--book", dir, "latest"); status != 0 || !strings.Contains(out, "record     whole, SHA-256 ") || !strings.Contains(out, "job 2") {
		t.Errorf("show: %d %q", status, out)
	}
}

// simulatedHold is what a transducer reads of a fill and a hold.
func simulatedHold(hole decay.Length) []decay.Sample {
	c := rig.Default()
	c.Volume, c.Hole, c.Ambient = 0.01, hole, 101325
	duct := rig.New(c)
	var out []decay.Sample
	for at := time.Duration(0); at < 45*time.Second; at += 20 * time.Millisecond {
		switch at {
		case time.Second:
			duct.Fill()
		case 8 * time.Second:
			duct.Isolate()
		}
		duct.Advance(20 * time.Millisecond)
		out = append(out, decay.Sample{At: at, P: duct.Read().Absolute(c.Ambient)})
	}
	return out
}

// What came after the last reading that a test was judged by is the next one's
// too, which its screen takes it for.
func TestLateReadingsBelongToTheNextTest(t *testing.T) {
	dir := t.TempDir()
	k := &keeper{open: func(label string, set decay.Setup) (*page, error) {
		return openPageHead(dir, label, time.Date(2026, 3, 4, 5, 6, 7, 0, time.UTC), sensor.About{Name: "bench"}, set, nil)
	}}
	for _, test := range []struct {
		from, to, judged int // tenths of a second
		first            time.Duration
	}{{0, 100, 97, 0}, {100, 200, 198, 9800 * time.Millisecond}, {200, 210, 0, 19900 * time.Millisecond}} {
		if err := k.begin("a", decay.Setup{}); err != nil {
			t.Fatal(err)
		}
		for i := test.from; i < test.to; i++ {
			k.item(sensor.Item{Reading: sensor.Reading{Sample: decay.Sample{At: time.Duration(i) * 100 * time.Millisecond, P: decay.Atmosphere}}})
		}
		path, err := k.save(decay.Result{Until: time.Duration(test.judged) * 100 * time.Millisecond})
		if err != nil {
			t.Fatal(err)
		}
		if rec, err := readWhole(path); err != nil || rec.Samples[0].At != test.first {
			t.Errorf("the first reading is at %v, want %v, %v", rec.Samples[0].At, test.first, err)
		}
	}
}

// A record that is being written is told from one whose test was cut short.
func TestBookTellsARunningTestFromATornOne(t *testing.T) {
	rec := held(t, decay.Millimetre, time.Date(2026, 3, 4, 5, 6, 7, 0, time.UTC))
	dir, names := shop(t, rec, rec)
	for _, name := range names {
		b, err := os.ReadFile(name)
		if err != nil {
			t.Fatal(err)
		}
		if err := os.WriteFile(name, b[:len(b)/2], 0o600); err != nil {
			t.Fatal(err)
		}
	}
	old := time.Now().Add(-2 * stillWritten)
	if err := os.Chtimes(names[1], old, old); err != nil {
		t.Fatal(err)
	}
	status, out, _ := ebbline(t, "", "book", "list", "--book", dir)
	if strings.Count(out, "RUNNING") != 1 || strings.Count(out, "TORN") != 1 || status != exitHolds {
		t.Errorf("status %d: %s", status, out)
	}
	for i, want := range []string{"RUNNING: it is being written", "TORN at line"} {
		status, out, _ := ebbline(t, "", "book", "show", names[i])
		if !strings.Contains(out, want) || status != i {
			t.Errorf("show: status %d, want %d and %q: %s", status, i, want, out)
		}
		if status, _, errOut := ebbline(t, "", "book", "check", names[i]); status != i {
			t.Errorf("check of the %s: status %d, want %d: %s", want, status, i, errOut)
		}
	}
}
