package main

import (
	"bytes"
	"encoding/json"
	"fmt"
	"math"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"github.com/spf13/cobra"
	"time"

	"ebbline/decay"
	"ebbline/decay/record"
)

// ebbline runs the program in this process.
func ebbline(t *testing.T, in string, args ...string) (status int, out, errOut string) {
	t.Helper()
	var o, e bytes.Buffer
	status = run(args, strings.NewReader(in), &o, &e)
	return status, o.String(), e.String()
}

// holdTable is a table of a hold at 190 kPa gauge that loses the
// share k a second, with a fill before and noise of a few pascals.
func holdTable(k float64) string {
	var b strings.Builder
	b.WriteString("time_s,pressure_kpa\n")
	level := filled(k)
	for i := range 900 {
		t := float64(i) / 20
		p := level(t) / 1e3
		fmt.Fprintf(&b, "%.2f,%.4f\n", t, p+0.003*math.Sin(float64(i*i)))
	}
	return b.String()
}

func put(t *testing.T, name, text string) string {
	t.Helper()
	path := filepath.Join(t.TempDir(), name)
	if err := os.WriteFile(path, []byte(text), 0o600); err != nil {
		t.Fatal(err)
	}
	return path
}

func TestMeasureKeepsOrderAndStatus(t *testing.T) {
	leak, tight, none := put(t, "leak.csv", holdTable(0.01)), root+"/testdata/captures/known_tight_10L.csv", put(t, "none.csv", "time_s,pressure_kpa\n0,0\n1,0\n")
	for _, c := range []struct {
		files  []string
		status int
	}{
		{[]string{tight, tight}, 0}, {[]string{tight, leak, tight}, 1}, {[]string{leak, none}, 1},
		{[]string{none, tight}, 3}, {[]string{"missing.csv", leak}, 2},
	} {
		status, out, errOut := ebbline(t, "", append([]string{"measure", "--volume", "10L", "--ambient", "101.325kPa", "--compliance", "0%", "--json"}, c.files...)...)
		if status != c.status {
			t.Errorf("%q: status %d, want %d\n%s%s", c.files, status, c.status, out, errOut)
		}
		lines := strings.Split(strings.TrimSpace(out), "\n")
		want := c.files
		if c.status == 2 {
			want = want[1:]
		}
		if len(lines) != len(want) {
			t.Fatalf("%q: %d lines", c.files, len(lines))
		}
		for i, l := range lines {
			var m struct{ File string }
			if err := json.Unmarshal([]byte(l), &m); err != nil || m.File != want[i] {
				t.Errorf("line %d is about %q (%v), want %q", i, m.File, err, want[i])
			}
		}
	}
}

func TestMeasureReadsStandardInput(t *testing.T) {
	status, out, errOut := ebbline(t, holdTable(0.01), "measure", "--volume", "10L", "-")
	if status != 1 || !strings.Contains(out, "leaks") || errOut != "" {
		t.Errorf("status %d, %q, %q", status, out, errOut)
	}
}

func TestMeasureTakesTheSetupOfARecord(t *testing.T) {
	rec := record.Record{Label: "a", Setup: decay.Setup{Volume: 0.01, Ambient: 95000, Limit: 0.002}}
	for i := range 800 {
		at := time.Duration(i) * 50 * time.Millisecond
		p := 95000.0
		if i > 100 {
			p += 200000 * math.Exp(-0.001*at.Seconds())
		}
		rec.Samples = append(rec.Samples, decay.Sample{At: at, P: decay.Pressure(p)})
	}
	var b strings.Builder
	if err := record.Write(&b, rec); err != nil {
		t.Fatal(err)
	}
	_, out, errOut := ebbline(t, "", "measure", "--json", put(t, "a.ebbline", b.String()))
	var m map[string]any
	if err := json.Unmarshal([]byte(out), &m); err != nil {
		t.Fatalf("%v: %q %q", err, out, errOut)
	}
	if m["limit_mm"] != 2.0 || m["volume_l"] != 10.0 {
		t.Errorf("limit %v mm, volume %v L: the record's were 2 and 10", m["limit_mm"], m["volume_l"])
	}
}

func TestErrorsSayWhatAndWhatToDo(t *testing.T) {
	dir := t.TempDir()
	for _, c := range []struct {
		args        []string
		fault, hint string
	}{
		{[]string{"measre"}, "unknown command", "measure"},
		{[]string{"measure"}, "no file", "name a trace"},
		{[]string{"measure", "--volme", "1L", "x"}, "unknown flag: --volme", "--help"},
		{[]string{"measure", "--volume", "10", "x"}, "--volume", "10L"},
		{[]string{"measure", "--volume", "90m3", "x"}, "no duct", "unit"},
		{[]string{"measure", "--ambient", "14psi gauge", "x"}, "--ambient", "absolute"},
		{[]string{"measure", "--ambient", "9.5kPa", "x"}, "--ambient", "unit"},
		{[]string{"measure", "--ceiling", "30psi", "--full-scale", "15psi", "x"}, "above the sensor's full scale", "--ceiling"},
		{[]string{"measure", "--zero-tolerance", "0.5%", "x"}, "full scale", "--full-scale"},
		{[]string{"measure", "--reads", "both", "x"}, "--reads", "gauge"},
		{[]string{"measure", "--unit", "furlong", "x"}, "furlong", "psi"},
		{[]string{"measure", "-", "-"}, "standard input", "once"},
		{[]string{"measure", dir}, "folder", "*.csv"},
		{[]string{"measure", filepath.Join(dir, "nothing.csv")}, "no such file", "check the name"},
	} {
		status, out, errOut := ebbline(t, "", c.args...)
		lines := strings.SplitN(errOut, "\n", 2)
		if status != 2 || out != "" || !strings.HasPrefix(lines[0], "ebbline: error: ") || !strings.Contains(lines[0], c.fault) {
			t.Errorf("%q: status %d, %q", c.args, status, errOut)
		}
		if len(lines) < 2 || !strings.HasPrefix(lines[1], "ebbline: hint: ") || !strings.Contains(lines[1], c.hint) {
			t.Errorf("%q: hint %q, want %q in it", c.args, lines, c.hint)
		}
	}
}

func TestVersionAndHelp(t *testing.T) {
	if status, out, _ := ebbline(t, "", "--version"); status != 0 || !strings.HasPrefix(out, "ebbline ") {
		t.Errorf("version: %d %q", status, out)
	}
	a := &app{}
	for _, c := range a.rootCommand().Commands() {
		status, out, _ := ebbline(t, "", c.Name(), "--help")
		if status != 0 || !strings.Contains(out, "Examples:") {
			t.Errorf("%s --help: %d, no examples in %q", c.Name(), status, out)
		}
	}
}

// A word that completion or help does not know is an error, and nothing that a
// shell would run is printed.
func TestCompletionAndHelpRefuseWhatTheyDoNotKnow(t *testing.T) {
	for _, args := range [][]string{{"completion", "foo"}, {"completion"}, {"completion", "bash", "x"}, {"help", "frob"}, {"help", "hold", "frob"}, {"book", "frob"}} {
		status, out, errOut := ebbline(t, "", args...)
		if status != exitTrouble || out != "" || !strings.Contains(errOut, "ebbline: hint: ") {
			t.Errorf("%q: status %d, %q, %q", args, status, out, errOut)
		}
	}
	for _, args := range [][]string{{"completion", "bash"}, {"completion", "powershell"}, {"help"}, {"help", "hold"}, {"help", "book", "list"}, {"completion", "--help"}} {
		if status, out, errOut := ebbline(t, "", args...); status != 0 || out == "" {
			t.Errorf("%q: status %d, %q", args, status, errOut)
		}
	}
}

// No line of a help text but that of a command is wider than most terminals.
func TestHelpIsNoWiderThanMostTerminals(t *testing.T) {
	var each func(*cobra.Command)
	each = func(c *cobra.Command) {
		_, out, _ := ebbline(t, "", append(strings.Fields(c.CommandPath())[1:], "--help")...)
		for line := range strings.Lines(out) {
			if n := len([]rune(strings.TrimRight(line, "\n"))); n > widestHelp && !strings.HasPrefix(strings.TrimSpace(line), "ebbline ") {
				t.Errorf("%s --help: %d characters: %s", c.CommandPath(), n, line)
			}
		}
		for _, below := range c.Commands() {
			each(below)
		}
	}
	each((&app{}).rootCommand())
}
