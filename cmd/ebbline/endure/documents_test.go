//go:build unix

package endure

import (
	"fmt"
	"os"
	"os/exec"
	"path/filepath"
	"regexp"
	"strings"
	"testing"
)

// notWalked are the commands of README and DEVELOPERS that the walk leaves out,
// and why. A slow one is run with -full.
var notWalked = []struct {
	command *regexp.Regexp
	why     string
	slow    bool
}{
	{regexp.MustCompile(`/dev/(tty|pts)|COM5`), "needs a board", false},
	{regexp.MustCompile(`^ebbline hold --(profile|of fittings)`), "needs a board with its profile, or a person who fills", false},
	{regexp.MustCompile(`^ebbline (calibrate|counter) --profile`), "needs a board with its profile", false},
	{regexp.MustCompile(`^(go run ./cmd/ebbline|ebbline lesson.*|ebbline counter|ebbline hold --by-hand [^<]*)$`), "needs a terminal and a person", false},
	{regexp.MustCompile(`^ebbline rig `), "runs until it is stopped", false},
	{regexp.MustCompile(`^ebbline book compare 3f9a2c1e`), "needs two tests of your own", false},
	{regexp.MustCompile(`--for 60s|^ebbline counter --part`), "takes more than a minute", true},
	{regexp.MustCompile(`^(sha256sum|shasum|tar|install) `), "needs an archive: .ci/run builds some", false},
	{regexp.MustCompile(`^(Get-FileHash|Expand-Archive) `), "is for PowerShell", false},
	{regexp.MustCompile(`^(\.ci/run|go test )`), "is what .ci/run does", false},
	{regexp.MustCompile(`^go run ./cmd/release`), "is what .ci/run does", false},
}

// example is a command of a document with what is said that it prints.
type example struct {
	where, folder, command, output string
}

// isCommand tells a line that is typed from one that is printed.
var isCommand = regexp.MustCompile(`^(ebbline|\./ebbline|go|\.ci/run|cd|tail|tar|install|sha256sum|shasum|Get-FileHash|Expand-Archive)( |$)`)

// examples reads the fenced blocks without a language that begin with a command.
func examples(t *testing.T, name string) []example {
	t.Helper()
	b, err := os.ReadFile(name)
	if err != nil {
		t.Fatal(err)
	}
	var out []example
	open, commands, folder := "", false, ""
	for i, line := range strings.Split(string(b), "\n") {
		switch {
		case strings.HasPrefix(line, "```") && open == "":
			open, commands, folder = line, false, "" // each block starts at the top of the tree
		case strings.HasPrefix(line, "```"):
			open = ""
		case open == "```" && isCommand.MatchString(line):
			commands = true
			command, _, _ := strings.Cut(line, "  #") // a remark
			command = strings.TrimSpace(command)
			if to, ok := strings.CutPrefix(command, "cd "); ok {
				folder = to
				continue
			}
			out = append(out, example{where: fmt.Sprintf("%s, line %d", filepath.Base(name), i+1), folder: folder, command: command})
		case commands && open == "```":
			out[len(out)-1].output += line + "\n"
		}
	}
	return out
}

// Every command that the documents show is run in a copy of the tree, one after
// another, with a home that is empty at first. What it is said to print is
// compared with what it prints.
func TestDocuments(t *testing.T) {
	top, err := filepath.Abs("../../..")
	if err != nil {
		t.Fatal(err)
	}
	tree, home := t.TempDir(), t.TempDir()
	copied := exec.Command("sh", "-c", `git -C "$0" ls-files -z | tar -C "$0" -cf - --null -T - | tar -C "$1" -xf -`, top, tree)
	if out, err := copied.CombinedOutput(); err != nil {
		t.Fatalf("%v: %s", err, out)
	}
	all := append(examples(t, filepath.Join(top, "README.md")), examples(t, filepath.Join(top, "DEVELOPERS.md"))...)
	left, ran := make([]int, len(notWalked)), 0
	cache, modules := goEnv(t, "GOCACHE"), goEnv(t, "GOMODCACHE") // which would lie in the empty home
walk:
	for _, e := range all {
		for i, not := range notWalked {
			if not.command.MatchString(e.command) {
				left[i]++
				if !not.slow || !*full {
					continue walk
				}
			}
		}
		shell := command(t, "-c", e.command)
		shell.Path, shell.Args[0] = "/bin/sh", "sh"
		shell.Dir = filepath.Join(tree, e.folder)
		shell.Env = append(shell.Env, "HOME="+home, "PATH="+filepath.Dir(program)+":"+os.Getenv("PATH"), "GOCACHE="+cache, "GOMODCACHE="+modules)
		var trouble strings.Builder
		shell.Stderr = &trouble
		out, err := shell.Output()
		ran++
		status := shell.ProcessState.ExitCode()
		if status != 0 && status != 1 && status != 3 || strings.Contains(trouble.String(), "error:") {
			t.Errorf("%s: %s\nended with status %d (%v):\n%s%s", e.where, e.command, status, err, out, trouble.String())
			continue
		}
		if e.output != "" && e.output != string(out) {
			t.Errorf("%s: %s\nprints\n%sand not\n%s", e.where, e.command, out, e.output)
		}
	}
	t.Logf("%d commands run", ran)
	for i, not := range notWalked {
		if left[i] == 0 {
			t.Errorf("no command matches %v (%s): take it from the list", not.command, not.why)
		}
		t.Logf("%d commands left out: each %s", left[i], not.why)
	}
	if ran < 30 {
		t.Errorf("only %d commands were found to run", ran)
	}
}

func goEnv(t *testing.T, name string) string {
	t.Helper()
	b, err := exec.Command("go", "env", name).Output()
	if err != nil {
		t.Fatal(err)
	}
	return strings.TrimSpace(string(b))
}
