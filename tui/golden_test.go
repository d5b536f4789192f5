package tui

import (
	"flag"
	"os"
	"path/filepath"
	"regexp"
	"strconv"
	"strings"
	"testing"
)

var update = flag.Bool("update", false, "write the golden screens anew")

// none draws without any style, for plain-text golden files.
var none [styles]string

var sizes = [][2]int{{80, 24}, {40, 12}, {100, 30}, {200, 60}}

func TestScreensMatchTheGoldenOnes(t *testing.T) {
	all := moments()
	for _, name := range []string{"leaks", "ready"} { // as a terminal without UTF-8 shows them
		s := all[name]
		s.ascii = true
		all[name+"-ascii"] = s
	}
	for name, s := range all {
		for _, wh := range sizes {
			golden(t, name, wh, s.draw(wh[0], wh[1]).render(&none)+"\n")
		}
	}
}

// golden holds a screen of a size against its file.
func golden(t *testing.T, name string, wh [2]int, got string) {
	t.Helper()
	file := filepath.Join("testdata", name+"-"+strconv.Itoa(wh[0])+"x"+strconv.Itoa(wh[1])+".txt")
	if *update {
		if err := os.WriteFile(file, []byte(got), 0o644); err != nil {
			t.Fatal(err)
		}
		return
	}
	want, err := os.ReadFile(file)
	if err != nil {
		t.Fatal(err)
	}
	if got != string(want) {
		t.Errorf("%s differs; look at it and run with -update:\n%s", file, firstDifference(got, string(want)))
	}
}

func firstDifference(got, want string) string {
	g, w := strings.Split(got, "\n"), strings.Split(want, "\n")
	for i := range g {
		if i >= len(w) || g[i] != w[i] {
			old := ""
			if i < len(w) {
				old = w[i]
			}
			return "row " + strconv.Itoa(i) + "\n got " + g[i] + "\nwant " + old
		}
	}
	return "rows are missing"
}

// cutOnPurpose are the cells of the golden screens in which a name may be cut: a
// label in a list or a heading, a name in a table, what is being typed.
var cutOnPurpose = regexp.MustCompile(`^book-|^split-40x12|^hand-volume-40x12`)

// No sentence is cut in the middle, on a small screen either.
func TestNoSentenceIsCut(t *testing.T) {
	names, err := filepath.Glob("testdata/*.txt")
	if err != nil || len(names) < 100 {
		t.Fatalf("%d screens, %v", len(names), err)
	}
	for _, name := range names {
		b, err := os.ReadFile(name)
		if err != nil {
			t.Fatal(err)
		}
		for i, row := range strings.Split(string(b), "\n") {
			row = strings.NewReplacer("reading …", "", "… s shows more", "", "… ↓ shows more", "", "… more on a taller screen", "").Replace(row)
			if strings.Contains(row, "…") && !cutOnPurpose.MatchString(filepath.Base(name)) {
				t.Errorf("%s, row %d: %s", name, i+1, row)
			}
		}
	}
}
