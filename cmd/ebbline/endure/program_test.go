//go:build unix

package endure

import (
	"flag"
	"fmt"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"testing"
)

var full = flag.Bool("full", false, "run the tests at full length and not a slice of them")

// amount is how much of a thing a test does: all of it with -full.
func amount[T any](slice, all T) T {
	if *full {
		return all
	}
	return slice
}

// program is the built program's path.
var program string

func TestMain(m *testing.M) {
	flag.Parse()
	// Those that may run beside others wait for the program most of their time.
	if f := flag.Lookup("test.parallel"); f.Value.String() == f.DefValue {
		_ = f.Value.Set("4")
	}
	os.Exit(func() int {
		if program = os.Getenv("EBBLINE_ENDURE_PROGRAM"); program != "" {
			return m.Run() // a test that runs again in a process of its own
		}
		dir, err := os.MkdirTemp("", "ebbline-endure")
		if err != nil {
			fmt.Fprintln(os.Stderr, err)
			return 1
		}
		defer os.RemoveAll(dir)
		program = filepath.Join(dir, "ebbline")
		build := exec.Command("go", "build", "-o", program, "ebbline/cmd/ebbline")
		build.Env = append(os.Environ(), "CGO_ENABLED=0")
		if out, err := build.CombinedOutput(); err != nil {
			fmt.Fprintf(os.Stderr, "go build: %v\n%s", err, out)
			return 1
		}
		return m.Run()
	}())
}

// command is the program with its arguments, in a home of its own that holds
// nothing. Settings of whoever runs the tests do not reach it.
func command(t testing.TB, args ...string) *exec.Cmd {
	t.Helper()
	home := t.TempDir()
	cmd := exec.Command(program, args...)
	for _, e := range os.Environ() {
		name, _, _ := strings.Cut(e, "=")
		switch {
		case strings.HasPrefix(name, "EBBLINE"), strings.HasPrefix(name, "XDG_"), name == "HOME", name == "TERM", name == "CI", name == "NO_COLOR", name == "COLORTERM", name == "LANG", name == "LC_ALL":
		default:
			cmd.Env = append(cmd.Env, e)
		}
	}
	cmd.Env = append(cmd.Env, "HOME="+home, "TERM=xterm-256color", "LANG=C.UTF-8")
	return cmd
}
