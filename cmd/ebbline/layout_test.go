package main

import (
	"go/ast"
	"go/parser"
	"go/token"
	"io/fs"
	"os"
	"path"
	"path/filepath"
	"slices"
	"strconv"
	"strings"
	"testing"
)

const root = "../.."

// source is one parsed Go file.
type source struct {
	path    string // from the top of the tree, with slashes
	pkg     string // folder of the file
	test    bool
	file    *ast.File
	imports []string
}

// sources parses every Go file of the tree.
func sources(t *testing.T) []source {
	t.Helper()
	var out []source
	err := filepath.WalkDir(root, func(name string, d fs.DirEntry, err error) error {
		if err != nil {
			return err
		}
		if d.IsDir() && name != root && (strings.HasPrefix(d.Name(), ".") || d.Name() == "testdata") {
			return filepath.SkipDir
		}
		if d.IsDir() || !strings.HasSuffix(name, ".go") {
			return nil
		}
		f, err := parser.ParseFile(token.NewFileSet(), name, nil, parser.SkipObjectResolution)
		if err != nil {
			return err
		}
		rel, err := filepath.Rel(root, name)
		if err != nil {
			return err
		}
		rel = filepath.ToSlash(rel)
		s := source{path: rel, pkg: path.Dir(rel), test: strings.HasSuffix(rel, "_test.go"), file: f}
		for _, i := range f.Imports {
			p, err := strconv.Unquote(i.Path.Value)
			if err != nil {
				return err
			}
			s.imports = append(s.imports, p)
		}
		out = append(out, s)
		return nil
	})
	if err != nil {
		t.Fatal(err)
	}
	if len(out) < 5 {
		t.Fatalf("only %d Go files found under %s", len(out), root)
	}
	return out
}

// The top of the tree is what was agreed: nothing appears there by accident.
func TestTopLevel(t *testing.T) {
	want := []string{"cmd", "decay", "sensor", "testdata", "tui"}
	entries, err := os.ReadDir(root)
	if err != nil {
		t.Fatal(err)
	}
	var got []string
	for _, e := range entries {
		if e.IsDir() && !strings.HasPrefix(e.Name(), ".") && e.Name() != "dist" {
			got = append(got, e.Name())
		}
	}
	if !slices.Equal(got, want) {
		t.Errorf("top-level folders are %v, want %v", got, want)
	}
	for _, f := range []string{"README.md", "DEVELOPERS.md", "LICENSE", "go.mod", "go.sum", ".ci/run"} {
		if _, err := os.Stat(filepath.Join(root, f)); err != nil {
			t.Error(err)
		}
	}
}

// arrows says what of ours each folder may import. A folder that is not listed
// is an error, so that a new one is placed on purpose.
var arrows = map[string][]string{
	"decay":           {},
	"decay/decaytest": {"decay"}, // and only tests import it
	"decay/record":    {"decay"},
	"decay/report":    {"decay", "decay/record"},
	"sensor":          {"decay", "sensor/wire", "sensor/calib", "sensor/rig", "sensor/replay"},
	"sensor/wire":     {},
	"sensor/calib":    {"decay"},
	"sensor/profile":  {"decay", "sensor/calib", "sensor/wire"},
	"sensor/rig":      {"decay", "sensor"},
	"sensor/replay":   {"decay", "sensor", "sensor/wire", "sensor/calib"},
	"sensor/trace":    {"decay", "decay/record", "sensor", "sensor/wire", "sensor/replay", "sensor/calib"},
	"tui":             {"tui/chart", "tui/background", "decay", "decay/record", "decay/report", "sensor"},
	"tui/chart":       {},
	"tui/background":  {},
	"cmd/release":     {},
	"cmd/ebbline": {"tui", "tui/chart", "tui/background", "decay", "decay/record", "decay/report",
		"sensor", "sensor/wire", "sensor/calib", "sensor/profile", "sensor/rig", "sensor/replay", "sensor/trace"},
}

// own is the folder of an import path of ours, or "".
func own(p string) string {
	rest, ok := strings.CutPrefix(p, "ebbline/")
	if !ok {
		return ""
	}
	return rest
}

func TestImportArrows(t *testing.T) {
	seen := map[string]bool{}
	for _, s := range sources(t) {
		if s.test {
			continue
		}
		seen[s.pkg] = true
		may, known := arrows[s.pkg]
		if !known && !strings.HasPrefix(s.pkg, "cmd/ebbline/") {
			t.Errorf("%s: folder %s has no place in the map of imports", s.path, s.pkg)
			continue
		}
		if !known {
			may = arrows["cmd/ebbline"] // a helper folder of the command
		}
		for _, i := range s.imports {
			folder := own(i)
			switch {
			case folder == "":
			case strings.HasPrefix(folder, "cmd/") && strings.HasPrefix(s.pkg, "cmd/"):
			case !slices.Contains(may, folder):
				t.Errorf("%s imports %s, which is against the arrows (may import %v)", s.path, i, may)
			}
		}
	}
	for _, p := range []string{"decay", "sensor"} {
		if !seen[p] {
			t.Errorf("no file of %s was looked at", p)
		}
	}
}

// decay is arithmetic: no clock, no file, no network, no goroutine, no screen.
func TestDecayIsPure(t *testing.T) {
	banned := []string{"os", "net", "io/ioutil", "os/exec", "os/signal", "net/http", "syscall", "math/rand", "sync"}
	clock := []string{"Now", "Since", "Until", "Sleep", "After", "AfterFunc", "NewTimer", "NewTicker", "Tick"}
	looked := 0
	for _, s := range sources(t) {
		if s.test || s.pkg != "decay" {
			continue
		}
		looked++
		for _, i := range s.imports {
			if slices.Contains(banned, i) || strings.HasPrefix(i, "github.com/charmbracelet/") || strings.HasPrefix(i, "go.bug.st/") {
				t.Errorf("%s imports %s", s.path, i)
			}
		}
		ast.Inspect(s.file, func(n ast.Node) bool {
			switch n := n.(type) {
			case *ast.GoStmt:
				t.Errorf("%s starts a goroutine", s.path)
			case *ast.SelectorExpr:
				if x, ok := n.X.(*ast.Ident); ok && x.Name == "time" && slices.Contains(clock, n.Sel.Name) {
					t.Errorf("%s uses time.%s", s.path, n.Sel.Name)
				}
			}
			return true
		})
	}
	if looked == 0 {
		t.Fatal("no file of decay was looked at")
	}
}

// Each library has its one place.
func TestLibrariesInTheirPlace(t *testing.T) {
	for _, s := range sources(t) {
		for _, i := range s.imports {
			switch {
			case s.test:
			case strings.HasPrefix(i, "go.bug.st/serial"):
				if s.pkg != "sensor" || !strings.HasPrefix(path.Base(s.path), "port") {
					t.Errorf("%s imports %s: only the port files of sensor may", s.path, i)
				}
			case i == "github.com/charmbracelet/x/term" && s.pkg == "sensor/rig": // sets a pseudo-terminal raw
			case strings.HasPrefix(i, "github.com/charmbracelet/"):
				if s.pkg != "tui" && s.pkg != "tui/background" && !strings.HasPrefix(s.pkg, "cmd/") {
					t.Errorf("%s imports %s: only tui and cmd may", s.path, i)
				}
			case i == "os" && strings.HasPrefix(s.pkg, "tui"):
				ast.Inspect(s.file, func(n ast.Node) bool {
					if e, ok := n.(*ast.SelectorExpr); ok {
						if x, ok := e.X.(*ast.Ident); ok && x.Name == "os" && slices.Contains([]string{"Open", "OpenFile", "Create", "ReadFile", "WriteFile"}, e.Sel.Name) {
							t.Errorf("%s uses os.%s: the screen never opens a file", s.path, e.Sel.Name)
						}
					}
					return true
				})
			case i == "ebbline/decay/decaytest":
				t.Errorf("%s imports %s: it is for tests", s.path, i)
			}
		}
	}
}

// Every published data file tells where it is from before its first number.
func TestPublishedDataTellsItsOrigin(t *testing.T) {
	files, err := filepath.Glob(filepath.Join(root, "testdata/published/*"))
	if err != nil || len(files) == 0 {
		t.Fatalf("no published data: %v", err)
	}
	for _, f := range files {
		b, err := os.ReadFile(f)
		if err != nil {
			t.Fatal(err)
		}
		var head string
		for line := range strings.Lines(string(b)) {
			if !strings.HasPrefix(line, "#") {
				break
			}
			head += line
		}
		if !strings.Contains(head, "icence") && !strings.Contains(head, "Numerical facts") {
			t.Errorf("%s: the head does not name the origin and the licence", filepath.Base(f))
		}
	}
}
