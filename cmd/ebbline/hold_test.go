//go:build unix

package main

import (
	"bufio"
	"bytes"
	"encoding/json"
	"fmt"
	"io"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"github.com/creack/pty"
	"github.com/rogpeppe/go-internal/testscript"
)

// board stands in for a sensor's board: it prints a reading every 10 ms on a
// pseudo-terminal, whose name it returns.
func board(t *testing.T) string {
	t.Helper()
	master, slave, err := pty.Open()
	if err != nil {
		t.Fatal(err)
	}
	stop, done := make(chan struct{}), make(chan struct{})
	go func() {
		defer close(done)
		level := noisy(0.01)
		const period = 10 * time.Millisecond
		began, n := time.Now(), 0
		for tick := time.NewTicker(period); ; {
			select {
			case <-stop:
				return
			case <-tick.C:
			}
			// On a busy machine ticks are left out; a board leaves out no line.
			for ; time.Duration(n)*period < time.Since(began); n++ {
				// Ten times as fast as life, so that the test is short.
				if _, err := fmt.Fprintf(master, "%.4f kPa\n", level(10*(time.Duration(n)*period).Seconds())/1e3); err != nil {
					return
				}
			}
		}
	}()
	t.Cleanup(func() { close(stop); master.Close(); <-done; slave.Close() })
	return slave.Name()
}

func TestHoldOnAPort(t *testing.T) {
	dir := t.TempDir()
	status, out, errOut := ebbline(t, "", "hold", "--port", board(t), "--volume", "10L", "--json", "--for", "4s", "--book", dir, "--label", "hose")
	lines := strings.Split(strings.TrimSpace(out), "\n")
	var last map[string]any
	if err := json.Unmarshal([]byte(lines[len(lines)-1]), &last); err != nil || last["samples"] == nil {
		t.Fatalf("status %d: %v\n%s%s", status, err, out, errOut)
	}
	if n := last["samples"].(float64); n < 200 || len(lines) < 4 {
		t.Errorf("%v samples, %d lines", n, len(lines))
	}
	for _, ext := range []string{".ebbline", ".capture"} {
		names, _ := filepath.Glob(filepath.Join(dir, "*hose-*"+ext))
		if len(names) != 1 {
			t.Fatalf("%d %s files", len(names), ext)
		}
		st, err := os.Stat(names[0])
		if err != nil || st.Mode().Perm() != 0o600 {
			t.Errorf("%s: mode %v, %v", names[0], st.Mode(), err)
		}
		if status, out, errOut := ebbline(t, "", "measure", "--volume", "10L", names[0]); status == 2 {
			t.Errorf("%s cannot be measured: %s%s", names[0], out, errOut)
		}
	}
}

func TestHoldRefuses(t *testing.T) {
	dir := t.TempDir()
	for _, c := range []struct {
		args        []string
		fault, hint string
	}{
		{[]string{"--port", filepath.Join(dir, "ttyNone"), "--json"}, "no such port", "connected"},
		{[]string{"--port", "x", "--plain", "--ceiling", "40psi", "--full-scale", "30psi"}, "full scale", "--ceiling"},
		{[]string{"--plain", "--for", "-3s"}, "--for", "40s"},
		{[]string{"--plain", "extra"}, "takes no argument", "--help"},
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

// TestMain lets the test binary stand in for the program.
func TestMain(m *testing.M) {
	// The profiles of whoever runs the tests are not theirs.
	if os.Getenv("EBBLINE_PROFILES") == "" {
		os.Setenv("EBBLINE_PROFILES", os.DevNull)
	}
	if os.Getenv("EBBLINE_TEST_RUN") != "" {
		main()
		return
	}
	testscript.Main(m, map[string]func(){"ebbline": main})
}

func TestKilledHoldKeepsWhatCame(t *testing.T) {
	dir := t.TempDir()
	cmd := exec.Command(os.Args[0], "hold", "--port", board(t), "--json", "--book", dir)
	cmd.Env = append(os.Environ(), "EBBLINE_TEST_RUN=1")
	var out bytes.Buffer
	cmd.Stdout, cmd.Stderr = &out, &out
	if err := cmd.Start(); err != nil {
		t.Fatal(err)
	}
	time.Sleep(3200 * time.Millisecond)
	if err := cmd.Process.Kill(); err != nil {
		t.Fatal(err)
	}
	_ = cmd.Wait() // killed
	for _, ext := range []string{".ebbline", ".capture"} {
		names, _ := filepath.Glob(filepath.Join(dir, "*"+ext))
		if len(names) != 1 {
			t.Fatalf("%d %s files; %s", len(names), ext, out.String())
		}
		_, text, errOut := ebbline(t, "", "measure", "--json", names[0])
		var m map[string]any
		if err := json.Unmarshal([]byte(text), &m); err != nil {
			t.Fatalf("%s: %v %s", names[0], err, errOut)
		}
		if n := m["samples"].(float64); n < 150 {
			t.Errorf("%s: %v readings of 3 s at 100 a second are left", names[0], n)
		}
	}
}

// TestRigServesHold runs the rig's command on one side of a pseudo-terminal
// and a test on the other.
func TestRigServesHold(t *testing.T) {
	valves, say := io.Pipe()
	names, name := io.Pipe()
	ended := make(chan int, 1)
	go func() {
		ended <- run([]string{"rig", "--hole", "3mm", "--rate", "100", "--volume", "2L"}, valves, name, io.Discard)
		name.Close()
	}()
	line, err := bufio.NewReader(names).ReadString('\n')
	if err != nil {
		t.Fatal(err)
	}
	go func() {
		for _, s := range []struct {
			word string
			wait time.Duration
		}{{"fill", 3 * time.Second}, {"isolate", 3 * time.Second}} {
			fmt.Fprintln(say, s.word)
			time.Sleep(s.wait)
		}
		fmt.Fprintln(say, "quit")
	}()
	_, out, errOut := ebbline(t, "", "hold", "--port", strings.TrimSpace(line), "--volume", "2L", "--json", "--for", "5500ms", "--book", t.TempDir())
	if status := <-ended; status != 0 {
		t.Errorf("the rig ended with status %d", status)
	}
	say.Close()
	lines := strings.Split(strings.TrimSpace(out), "\n")
	var last struct {
		Samples int
		Peak    float64 `json:"peak_kpa_gauge"`
	}
	if err := json.Unmarshal([]byte(lines[len(lines)-1]), &last); err != nil {
		t.Fatalf("%v: %s%s", err, out, errOut)
	}
	if last.Samples < 300 || last.Peak < 50 {
		t.Errorf("%d readings up to %v kPa gauge came through", last.Samples, last.Peak)
	}
}
