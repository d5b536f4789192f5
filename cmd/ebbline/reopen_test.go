//go:build unix

package main

import (
	"bytes"
	"io"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"sync"
	"testing"
	"time"

	"github.com/creack/pty"

	"ebbline/decay"
	"ebbline/decay/record"
)

// ptyScreen collects what a program writes to its terminal.
type ptyScreen struct {
	mu sync.Mutex
	b  bytes.Buffer
}

func (s *ptyScreen) Write(p []byte) (int, error) {
	s.mu.Lock()
	defer s.mu.Unlock()
	return s.b.Write(p)
}

func (s *ptyScreen) has(words string) bool {
	s.mu.Lock()
	defer s.mu.Unlock()
	return strings.Contains(s.b.String(), words)
}

func (s *ptyScreen) wait(t *testing.T, words string) {
	t.Helper()
	for end := time.Now().Add(20 * time.Second); time.Now().Before(end); time.Sleep(20 * time.Millisecond) {
		if s.has(words) {
			return
		}
	}
	t.Fatalf("the screen never showed %q", words)
}

// TestHangUpKeepsTheTestAndItCanBeReopened closes the terminal of a running
// test, as a dropped connection does, and goes on with the test.
func TestHangUpKeepsTheTestAndItCanBeReopened(t *testing.T) {
	dir, port := t.TempDir(), board(t)
	cmd := exec.Command(os.Args[0], "hold", "--yes", "--port", port, "--volume", "10L", "--of", "hose", "--book", dir, "--label", "left")
	cmd.Env = append(os.Environ(), "EBBLINE_TEST_RUN=1", "TERM=xterm-256color", "LANG=C.UTF-8")
	master, err := pty.StartWithSize(cmd, &pty.Winsize{Cols: 80, Rows: 24})
	if err != nil {
		t.Fatal(err)
	}
	var out ptyScreen
	read := make(chan struct{})
	go func() { defer close(read); _, _ = io.Copy(&out, master) }() // ends when the terminal is closed
	out.wait(t, "ceiling 30.00 psi gauge")
	time.Sleep(3 * time.Second) // isolated by then, and far from the ten seconds that empty it
	master.Close()              // the line drops
	<-read
	_ = cmd.Wait() // its status does not matter
	names, _ := filepath.Glob(filepath.Join(dir, "*left-*.ebbline"))
	if len(names) != 1 {
		t.Fatalf("%d records", len(names))
	}
	rec, err := openRecord(names[0])
	if err != nil {
		t.Fatal(err)
	}
	if rec.Torn || !rec.Unended || len(rec.Samples) < 200 {
		t.Fatalf("torn %v, unended %v, %d readings", rec.Torn, rec.Unended, len(rec.Samples))
	}
	status, text, errOut := ebbline(t, "", "hold", "--port", port, "--reopen", names[0], "--plain", "--for", "3s", "--book", dir)
	if status == 2 {
		t.Fatalf("%s%s", text, errOut)
	}
	names, _ = filepath.Glob(filepath.Join(dir, "*left-*.ebbline"))
	if len(names) != 2 {
		t.Fatalf("%d records after it was reopened: %s", len(names), errOut)
	}
	again, err := openRecord(names[1])
	if err != nil {
		t.Fatal(err)
	}
	if !strings.Contains(errOut, "going on with "+names[0]+", whose last reading came ") {
		t.Errorf("how long ago the last reading came is not said: %s", errOut)
	}
	if got := extra(again, goesOn); got != recordName(names[0]) {
		t.Errorf("it goes on with %q", got)
	}
	n := len(rec.Samples)
	if len(again.Samples) < n+100 || again.Samples[n-1] != rec.Samples[n-1] || again.Samples[n].At <= rec.Samples[n-1].At {
		t.Errorf("%d readings, then %d", n, len(again.Samples))
	}
	if again.Label != "left" || again.Setup.Of != rec.Setup.Of || again.Setup.Volume != rec.Setup.Volume {
		t.Errorf("label %q, set-up %+v", again.Label, again.Setup)
	}
}

// How long ago the last reading came is taken from what the record says, and
// from the file's own time only where that can be it.
func TestReopenKnowsTheGapOfACopy(t *testing.T) {
	now := time.Now()
	begun := now.Add(-100 * time.Second)
	said := func(at time.Time) []record.KeyValue {
		return []record.KeyValue{{Key: timesFrom, Value: at.Format(time.RFC3339Nano)}}
	}
	for name, c := range map[string]struct {
		extra   []record.KeyValue
		written time.Time // the file was
		want    time.Duration
		refused string
	}{
		"a copy of one that says it":        {said(begun), now, 100 * time.Second, ""},
		"an older copy of one that says it": {said(begun), now.Add(-time.Hour), 100 * time.Second, ""},
		"the file itself, from before":      {nil, begun.Add(61 * time.Second), 99 * time.Second, ""},
		"a copy from before":                {nil, now, 0, "is not known"},
		"a file from before the test":       {nil, begun.Add(-time.Minute), 0, "is not known"},
		"another machine's clock":           {said(now.Add(time.Hour)), now, 0, "still to come"},
		"a line that is no time":            {[]record.KeyValue{{Key: timesFrom, Value: "yesterday"}}, now, 0, "is not a time"},
	} {
		f := &holdFlags{reopen: put(t, "x.ebbline", "")}
		if err := os.Chtimes(f.reopen, c.written, c.written); err != nil {
			t.Fatal(err)
		}
		rec := record.Record{When: begun, Extra: c.extra, Samples: []decay.Sample{{At: 60 * time.Second}}}
		got, err := f.sinceBegun(rec, now)
		switch {
		case c.refused != "":
			if err == nil || !strings.Contains(err.Error(), c.refused) {
				t.Errorf("%s: %v, %v", name, got, err)
			}
		case err != nil || (got-c.want).Abs() > time.Millisecond:
			t.Errorf("%s: %v, %v, want %v", name, got, err, c.want)
		}
	}
}

func TestStartCardOnATerminal(t *testing.T) {
	dir := t.TempDir()
	cmd := exec.Command(os.Args[0], "hold", "--port", board(t), "--book", dir, "--label", "van", "--volume", "10L")
	cmd.Env = append(os.Environ(), "EBBLINE_TEST_RUN=1", "TERM=xterm-256color", "LANG=C.UTF-8")
	master, err := pty.StartWithSize(cmd, &pty.Winsize{Cols: 80, Rows: 24})
	if err != nil {
		t.Fatal(err)
	}
	var out ptyScreen
	read := make(chan struct{})
	go func() { defer close(read); _, _ = io.Copy(&out, master) }()
	out.wait(t, "I know these cautions")
	if names, _ := os.ReadDir(dir); len(names) != 0 {
		t.Errorf("files before the test began: %v", names)
	}
	for range 6 {
		_, _ = master.WriteString("\r")
		time.Sleep(100 * time.Millisecond)
	}
	out.wait(t, "ceiling 30.00 psi gauge ")
	time.Sleep(1500 * time.Millisecond)
	_, _ = master.WriteString("q")
	if err := cmd.Wait(); err != nil {
		t.Error(err)
	}
	master.Close()
	<-read
	names, _ := filepath.Glob(filepath.Join(dir, "*van-*.ebbline"))
	if len(names) != 1 {
		t.Fatalf("%d records", len(names))
	}
	rec, err := openRecord(names[0])
	if err != nil || rec.Setup.Of != decay.PartManifold || rec.Setup.Volume != 0.01 || len(rec.Samples) < 100 {
		t.Errorf("%v: %+v, %d readings", err, rec.Setup, len(rec.Samples))
	}
	// The capture has the bytes from before the start too.
	status, text, errOut := ebbline(t, "", "measure", "--volume", "10L", strings.TrimSuffix(names[0], ".ebbline")+".capture")
	if status == 2 {
		t.Errorf("%s%s", text, errOut)
	}
}

func TestReopenRefuses(t *testing.T) {
	dir := t.TempDir()
	done := hold10(t, dir, "done", 1, 0, nil)
	for _, c := range []struct {
		args        []string
		fault, hint string
	}{
		{[]string{"--reopen", done}, "without --port", "--port"},
		{[]string{"--port", "x", "--reopen", filepath.Join(dir, "none.ebbline")}, "none.ebbline", "check the name"},
		{[]string{"--port", "x", "--reopen", done}, "let out and ended", "--retest"},
		{[]string{"--port", "x", "--rig-check", done}, "not a test of the fittings", "--of fittings"},
		{[]string{"--port", "x", "--retest", os.Args[0]}, "not a record", "measure"},
	} {
		status, out, errOut := ebbline(t, "", append([]string{"hold", "--plain", "--book", dir}, c.args...)...)
		fault, hint, _ := strings.Cut(errOut, "\n")
		if status != 2 || out != "" || !strings.Contains(fault, c.fault) || !strings.Contains(hint, c.hint) {
			t.Errorf("%q: %d %q", c.args, status, errOut)
		}
	}
}
