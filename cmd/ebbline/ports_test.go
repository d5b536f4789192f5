//go:build unix

package main

import (
	"encoding/json"
	"strings"
	"testing"

	"ebbline/decay"
	"ebbline/sensor/rig"
)

// servedBoard serves a simulated board and returns its port.
func servedBoard(t *testing.T, edit func(*rig.Config)) string {
	t.Helper()
	c := rig.Default()
	edit(&c)
	b, err := rig.Open(c, nil)
	if err != nil {
		t.Fatal(err)
	}
	done := make(chan error)
	go func() { done <- b.Run(t.Context()) }()
	t.Cleanup(func() {
		b.Close()
		<-done
	})
	return b.Name()
}

// The board prints its heading once a second, so a second and a half hears one.
func TestPortsShowsWhatIsSent(t *testing.T) {
	t.Setenv("EBBLINE_PROFILES", t.TempDir()+"/none.toml")
	port := servedBoard(t, func(c *rig.Config) { c.Rate, c.Format = 200, "csv" })
	status, out, errOut := ebbline(t, "", "ports", "--for", "1500ms", port)
	for _, want := range []string{port, "sends", "that is", "psi gauge", "because", "a header names", "readings a second; times from the board's own clock", "noise", "step", "no profile", "ebbline calibrate --port " + port} {
		if !strings.Contains(out, want) {
			t.Errorf("nothing of %q in\n%s", want, out)
		}
	}
	if status != 0 || errOut != "" {
		t.Errorf("status %d, %q", status, errOut)
	}
}

func TestPortsAsJSON(t *testing.T) {
	t.Setenv("EBBLINE_PROFILES", t.TempDir()+"/none.toml")
	port := servedBoard(t, func(c *rig.Config) {
		c.Rate, c.Format, c.Unit = 200, "unit", decay.PressureUnit{Name: "kPa", Pascal: 1000}
	})
	status, out, _ := ebbline(t, "", "ports", "--json", "--for", "600ms", port)
	var p struct {
		Port, Raw, Reference string
		KPa, Rate_hz         *float64
		Readings             int
	}
	if err := json.Unmarshal([]byte(out), &p); err != nil || status != 0 {
		t.Fatalf("status %d, %v: %s", status, err, out)
	}
	if p.Port != port || !strings.Contains(p.Raw, "kPa") || p.Reference != "gauge" || p.KPa == nil || *p.KPa < -5 || *p.KPa > 5 || p.Readings < 10 || p.Rate_hz == nil {
		t.Errorf("%s", out)
	}
}

// A port that is not there is named with what to do, and the status says so.
func TestPortsThatCannotBeOpened(t *testing.T) {
	t.Setenv("EBBLINE_PROFILES", t.TempDir()+"/none.toml")
	status, out, _ := ebbline(t, "", "ports", t.TempDir()+"/none")
	if status != exitTrouble || !strings.Contains(out, "there is no such port") || !strings.Contains(out, "  do  ") {
		t.Errorf("status %d\n%s", status, out)
	}
	for _, args := range [][]string{{"ports", "--for", "0s"}, {"ports", "--baud", "-3"}, {"ports", "--profile", "mine", "/dev/none"}} {
		if status, _, errOut := ebbline(t, "", args...); status != exitTrouble || !strings.Contains(errOut, "hint: ") {
			t.Errorf("%q: status %d, %q", args, status, errOut)
		}
	}
}
