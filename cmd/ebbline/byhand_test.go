package main

import (
	"encoding/json"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"ebbline/decay"
)

const typedHold = "# a duct of 10 L, made up\n0 25.0\n10 24.5\n20 24.0\n30 23.5\n40 22.75\n50 22\nundo\n50 22.25\n1:00 21.5 psi\n1:10;21\nend\n99 3\n"

func TestHoldByHandLineByLine(t *testing.T) {
	dir := t.TempDir()
	args := []string{"hold", "--by-hand", "--division", "0.5psi", "--volume", "10L", "--ambient", "101kPa", "--limit", "1mm", "--book", dir, "--label", "left hose"}
	status, out, errOut := ebbline(t, typedHold, args...)
	if status != exitHolds {
		t.Errorf("status %d, want %d\n%s%s", status, exitHolds, out, errOut)
	}
	for _, w := range []string{"  60.0 s  21.50 psi gauge", "holds: any leak is smaller", "dial, read by eye", "8 readings", "by hand    a transducer"} {
		if !strings.Contains(out, w) {
			t.Errorf("%q is not printed:\n%s", w, out)
		}
	}
	if !strings.Contains(errOut, "taken back: 22.00 psi gauge at 50 s") {
		t.Errorf("nothing is said of the reading that was taken back: %s", errOut)
	}
	for _, ext := range []string{".ebbline", ".capture"} {
		names, _ := filepath.Glob(filepath.Join(dir, "*left-hose-*"+ext))
		if len(names) != 1 {
			t.Fatalf("%d %s files", len(names), ext)
		}
		st, err := os.Stat(names[0])
		if err != nil || st.Mode().Perm() != 0o600 {
			t.Errorf("%s: %v %v", names[0], st.Mode(), err)
		}
		_, text, errOut := ebbline(t, "", "measure", "--json", "--volume", "10L", "--limit", "1mm", names[0])
		var m struct {
			Outcome string
			Samples int
			Peak    float64 `json:"peak_kpa_gauge"`
		}
		if err := json.Unmarshal([]byte(text), &m); err != nil || m.Outcome != "holds" || m.Samples != 8 || m.Peak < 172 || m.Peak > 173 {
			t.Errorf("%s judged again: %+v %v %s", ext, m, err, errOut)
		}
	}
	rest, _ := filepath.Glob(filepath.Join(dir, ".typed*"))
	if len(rest) > 0 {
		t.Errorf("left behind: %v", rest)
	}
}

// A reading's line says one thing: either how it stands or that it is not sure.
func TestHoldByHandSaysOneThing(t *testing.T) {
	_, out, _ := ebbline(t, typedHold, "hold", "--by-hand", "--division", "0.5psi", "--volume", "10L", "--limit", "1mm", "--book", t.TempDir())
	unsure := 0
	for line := range strings.Lines(out) {
		if strings.Contains(line, "undecided") && (strings.Contains(line, "holds") || strings.Contains(line, "leaks")) {
			t.Errorf("says two things: %s", line)
		}
		if strings.Contains(line, "a few more readings settle it") {
			unsure++
		}
	}
	if unsure == 0 {
		t.Errorf("no line says that more readings settle it:\n%s", out)
	}
}

func TestHoldByHandJSON(t *testing.T) {
	_, out, _ := ebbline(t, typedHold, "hold", "--by-hand", "--division", "3", "--unit", "kPa", "--json", "--volume", "10L", "--book", t.TempDir())
	lines := strings.Split(strings.TrimSpace(out), "\n")
	if len(lines) != 10 { // nine typed, one of them taken back, and the result
		t.Fatalf("%d lines\n%s", len(lines), out)
	}
	for i, l := range lines {
		var m map[string]any
		if err := json.Unmarshal([]byte(l), &m); err != nil {
			t.Fatalf("line %d: %v", i, err)
		}
		key := "kpa_gauge"
		if i == len(lines)-1 {
			key = "peak_kpa_gauge"
		}
		if m[key] == nil || m["outcome"] == nil {
			t.Errorf("line %d lacks %s or outcome: %s", i, key, l)
		}
	}
}

func TestHoldByHandTellsWhatItCannotTake(t *testing.T) {
	for _, c := range []struct{ in, says string }{
		{"0 25\nabc\n10 24\n", `line 2: "abc" is no pressure`},
		{"10 25\n5 24\n", "line 2: 5 s is not after"},
		{"0 25\n24\n", "line 2: either each line has its seconds, or none has"},
		{"0 25 psi absolute\n", "line 1"},
		{"0 900\n", "line 1: outside -1 to 10 bar gauge"},
		{"0 25\n" + strings.Repeat("5 24 ", 1<<15) + "\n10 24\n", `line 2: "(a long line)" is no pressure`},
	} {
		status, out, errOut := ebbline(t, c.in, "hold", "--by-hand", "--division", "0.5psi", "--volume", "10L", "--book", t.TempDir())
		if status != exitUndecided || !strings.Contains(errOut, c.says) || !strings.Contains(out, "bad-rows") {
			t.Errorf("%q: status %d\n%s%s", c.in, status, out, errOut)
		}
	}
	_, out, _ := ebbline(t, "25\n24\n23\n22\n", "hold", "--by-hand", "--division", "0.5psi", "--volume", "10L", "--book", t.TempDir())
	if !strings.Contains(out, "write the seconds before each") {
		t.Errorf("readings that come all at once are not told of:\n%s", out)
	}
}

func TestHoldByHandRefuses(t *testing.T) {
	dir := t.TempDir()
	for _, c := range []struct {
		args        []string
		fault, hint string
	}{
		{[]string{"--by-hand"}, "needs --division", "0.5psi"},
		{[]string{"--by-hand", "--division", "x"}, "--division", "0.5psi"},
		{[]string{"--by-hand", "--division", "0"}, "no division", "0.5psi"},
		{[]string{"--by-hand", "--division", "1psi", "--port", "x"}, "reads no sensor", "--port"},
		{[]string{"--by-hand", "--division", "1psi", "--reads", "absolute"}, "gauge", "--reads"},
		{[]string{"--by-hand", "--division", "1psi", "--for", "9s"}, "--for", "end"},
		{[]string{"--by-hand", "--division", "1psi", "--every", "1s"}, "--every", "10s"},
		{[]string{"--division", "1psi", "--plain"}, "dial", "--by-hand"},
		{[]string{"--every", "20s", "--plain"}, "--every", "--by-hand"},
		{[]string{"--by-hand", "--division", "1psi", "--profile", "bench"}, "reads no sensor", "--profile"},
	} {
		status, out, errOut := ebbline(t, "", append([]string{"hold", "--book", dir}, c.args...)...)
		fault, hint, _ := strings.Cut(errOut, "\n")
		if status != 2 || out != "" || !strings.Contains(fault, c.fault) || !strings.Contains(hint, c.hint) {
			t.Errorf("%q: %d %q", c.args, status, errOut)
		}
	}
	if names, _ := os.ReadDir(dir); len(names) > 0 {
		t.Errorf("refused tests left %v", names)
	}
}

// TestUnfinishedHoldByHandIsKept: a program that is killed after a reading
// leaves a record that says it is unfinished and holds every reading.
func TestUnfinishedHoldByHandIsKept(t *testing.T) {
	h := &handHold{dir: t.TempDir(), label: "cut short", unit: decay.PressureUnits[0]}
	if err := h.begin(decay.Setup{Division: 3000}); err != nil {
		t.Fatal(err)
	}
	r, _, err := parseTyped("1:20 25", h.unit)
	if err != nil || r.At.Seconds() != 80 {
		t.Fatalf("%+v %v", r, err)
	}
	list := append(h.page.all, r)
	if err := h.keep(list, nil); err != nil {
		t.Fatal(err)
	}
	rec, err := readRecord(h.page.recordPath)
	if err != nil || !rec.Torn || len(rec.Samples) != 1 || rec.Setup.Division != 3000 {
		t.Errorf("%+v %v", rec, err)
	}
}

// TestHoldByHandIsGoneOnWith: a hold that was cut short is typed on, in its own
// time, into a record that holds all of it.
func TestHoldByHandIsGoneOnWith(t *testing.T) {
	dir := t.TempDir()
	args := []string{"hold", "--by-hand", "--volume", "10L", "--limit", "1mm", "--book", dir}
	if status, out, errOut := ebbline(t, "0 25\n10 24.5\n20 24\n", append(args, "--division", "0.5psi", "--label", "first half")...); status == exitTrouble {
		t.Fatalf("%s%s", out, errOut)
	}
	names, _ := filepath.Glob(filepath.Join(dir, "*first-half-*.ebbline"))
	if len(names) != 1 {
		t.Fatalf("%d records", len(names))
	}
	status, out, errOut := ebbline(t, "15 25\n30 23.5\n40 22.75\n50 22.25\n60 21.5\n70 21\n80 0.5\n", append(args, "--reopen", names[0], "--json")...)
	if !strings.Contains(errOut, "line 1: 15 s is not after the reading ahead of it, at 20 s") {
		t.Errorf("status %d: %s", status, errOut)
	}
	var last struct{ Samples int }
	lines := strings.Split(strings.TrimSpace(out), "\n")
	if err := json.Unmarshal([]byte(lines[len(lines)-1]), &last); err != nil || last.Samples != 9 {
		t.Errorf("%d readings, %v\n%s", last.Samples, err, out)
	}
	names, _ = filepath.Glob(filepath.Join(dir, "*first-half-*.ebbline"))
	if len(names) != 2 {
		t.Fatalf("%d records", len(names))
	}
	// The two are one test, in each list and row.
	if _, out, errOut := ebbline(t, "", "book", "list", "--book", dir); strings.Count(out, "first half") != 1 || !strings.Contains(out, names[1][len(names[1])-16:len(names[1])-8]) {
		t.Errorf("the list of one test:\n%s%s", out, errOut)
	}
	if _, out, _ := ebbline(t, "", "book", "export", "--book", dir); strings.Count(out, "\n") != 1 {
		t.Errorf("the rows of one test:\n%s", out)
	}
	if _, out, _ := ebbline(t, "", "book", "show", names[1]); !strings.Contains(out, "goes on    "+recordName(names[0])) {
		t.Errorf("what it goes on with is not said:\n%s", out)
	}
	if _, _, errOut := ebbline(t, "", "book", "check", "--book", dir); !strings.Contains(errOut, "2 of 2 whole") {
		t.Errorf("check passes a file over: %s", errOut)
	}
	// The second ended without pressure.
	if status, _, errOut := ebbline(t, "", append(args, "--reopen", names[1])...); status != 2 || !strings.Contains(errOut, "let out and ended") {
		t.Errorf("status %d: %s", status, errOut)
	}
}

// Three readings give no verdict, in no command.
func TestFewReadingsAreUndecidedEverywhere(t *testing.T) {
	dir := t.TempDir()
	args := []string{"hold", "--by-hand", "--division", "0.5psi", "--volume", "10L", "--compliance", "0%", "--book"}
	if status, out, _ := ebbline(t, "0 25\n30 18\n60 12.5\n90 8.5\n", append(args, t.TempDir())...); status != exitLeaks {
		t.Fatalf("four readings of a leak: status %d\n%s", status, out)
	}
	status, out, errOut := ebbline(t, "0 25\n30 18\n60 12.5\n", append(args, dir)...)
	if status != exitUndecided || !strings.Contains(out, "3 readings are too few for a verdict") {
		t.Errorf("hold: status %d\n%s%s", status, out, errOut)
	}
	names, _ := filepath.Glob(filepath.Join(dir, "*.ebbline"))
	for _, args := range [][]string{{"book", "list", "--book", dir}, {"book", "show", names[0]}, {"book", "measure", "--all", "--book", dir}, {"measure", names[0]}} {
		if _, out, errOut := ebbline(t, "", args...); !strings.Contains(out, "undecided") {
			t.Errorf("%q:\n%s%s", args, out, errOut)
		}
	}
}

func TestHoldByHandWarnsOfASlipAndTakesItBack(t *testing.T) {
	_, out, errOut := ebbline(t, "0 25\n10 24.5\n20 2.4\n30 23.5\n40 23\nundo 20\nundo 25\n", "hold", "--by-hand", "--division", "0.5psi", "--volume", "10L", "--book", t.TempDir())
	for _, w := range []string{"line 3: 2.40 is far below the 24.50 of 0:10; undo", "line 4: 23.50 is higher", "taken back: 2.40 psi gauge at 20 s", "line 7: there is no such reading"} {
		if !strings.Contains(errOut, w) {
			t.Errorf("%q is not said:\n%s", w, errOut)
		}
	}
	if !strings.Contains(out, "4 readings") {
		t.Errorf("%s", out)
	}
}

func TestGainIsNarrower(t *testing.T) {
	_, out, _ := ebbline(t, typedHold, "hold", "--by-hand", "--division", "0.5psi", "--volume", "10L", "--book", t.TempDir())
	if !strings.Contains(out, "would narrow") || !strings.Contains(out, "in the same time") {
		t.Errorf("%s", out)
	}
	if g := gainOf(decay.Setup{}, decay.Result{}); !strings.Contains(g, "fifty times a second") {
		t.Errorf("without a volume: %q", g)
	}
}

func FuzzTyped(f *testing.F) {
	for _, s := range []string{"25.5", "12 25.5", "1:20 25,5psi", "12;25 bar gauge", "-3", "1e9 1e9"} {
		f.Add(s)
	}
	f.Fuzz(func(t *testing.T, text string) {
		r, timed, err := parseTyped(text, decay.PressureUnits[0])
		if err == nil && (r.At < 0 || r.P != r.P || !timed && r.At != 0) {
			t.Errorf("%q: %+v %v", text, r, timed)
		}
	})
}
