package main

import (
	"encoding/json"
	"io"
	"os"
	"path/filepath"
	"regexp"
	"strings"
	"testing"

	"github.com/spf13/cobra"
)

// The README names only commands and flags that exist, and names every command.
func TestReadmeNamesWhatExists(t *testing.T) {
	b, err := os.ReadFile(filepath.Join(root, "README.md"))
	if err != nil {
		t.Fatal(err)
	}
	text := string(b)
	top := (&app{in: strings.NewReader(""), out: io.Discard, err: io.Discard}).rootCommand()
	top.InitDefaultCompletionCmd()
	shown := 0
	fenced := false
	for line := range strings.Lines(text) {
		if strings.HasPrefix(line, "```") {
			fenced = !fenced
			continue
		}
		line, _, _ = strings.Cut(strings.TrimSpace(line), "  ") // a remark may follow
		words := strings.Fields(strings.Replace(line, "go run ./cmd/ebbline", "ebbline", 1))
		if !fenced || len(words) == 0 || words[0] != "ebbline" {
			continue
		}
		shown++
		cmd, _, err := top.Find(words[1:])
		if err != nil {
			t.Errorf("README: %q: %v", line, err)
			continue
		}
		if len(words) > 1 && !strings.HasPrefix(words[1], "-") && cmd == top {
			t.Errorf("README: %q: there is no such command", line)
		}
		for _, w := range words[1:] {
			name, _, _ := strings.Cut(strings.TrimPrefix(w, "--"), "=")
			if strings.HasPrefix(w, "--") && !has(cmd, name) {
				t.Errorf("README: %q: %s has no flag --%s", line, cmd.CommandPath(), name)
			}
		}
	}
	if shown < 2 {
		t.Errorf("the README shows only %d commands", shown)
	}
	for _, c := range top.Commands() {
		if c.IsAvailableCommand() && c.Name() != "help" && !regexp.MustCompile(`ebbline `+c.Name()+`\b`).MatchString(text) {
			t.Errorf("the README does not show ebbline %s", c.Name())
		}
	}
}

func has(cmd *cobra.Command, flag string) bool {
	return flag == "help" || flag == "version" || cmd.Flags().Lookup(flag) != nil || cmd.InheritedFlags().Lookup(flag) != nil
}

// The two sample traces of the README, whose holes are known.
func TestReadmeSamples(t *testing.T) {
	for _, s := range []struct {
		file   string
		hole   float64
		status int
	}{{"known_0p8mm_10L.csv", 0.8, exitLeaks}, {"known_tight_10L.csv", 0, exitHolds}} {
		status, out, errOut := ebbline(t, "", "measure", "--json", "--volume", "10L", filepath.Join(root, "testdata/captures", s.file))
		if status != s.status {
			t.Errorf("%s: status %d, want %d: %s", s.file, status, s.status, errOut)
		}
		var r struct {
			Hole struct{ Value, Low, High float64 } `json:"hole_mm"`
		}
		if err := json.Unmarshal([]byte(out), &r); err != nil {
			t.Fatalf("%s: %v in %q", s.file, err, out)
		}
		if r.Hole.Low > s.hole || r.Hole.High < s.hole {
			t.Errorf("%s: hole %.3f to %.3f mm, true %.3f", s.file, r.Hole.Low, r.Hole.High, s.hole)
		}
	}
}
