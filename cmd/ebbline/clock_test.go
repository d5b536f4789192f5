//go:build unix

package main

import (
	"go/ast"
	"go/parser"
	"go/token"
	"io/fs"
	"os"
	"path/filepath"
	"runtime"
	"strings"
	"testing"
	"time"

	"ebbline/decay"
	"ebbline/decay/record"
	"ebbline/sensor/replay"
)

// The clock on the wall is set back and forth by an hour whenever it is looked
// at: tests last as long as they last, each has its own name, and all can be
// read and gone on with.
func TestWallClockSetUnderTests(t *testing.T) {
	defer func() { wallClock = time.Now }()
	looks := 0
	wallClock = func() time.Time {
		looks++
		return time.Now().Add([]time.Duration{time.Hour, -time.Hour, 0}[looks%3])
	}
	dir := t.TempDir()
	for range 4 {
		port := board(t)
		status, out, errOut := ebbline(t, "", "hold", "--plain", "--port", port, "--volume", "10L", "--for", "2s", "--book", dir, "--label", "left")
		if status == exitTrouble {
			t.Fatalf("%s%s", out, errOut)
		}
	}
	names, _ := filepath.Glob(filepath.Join(dir, "*.ebbline"))
	if len(names) != 4 || looks < 4 {
		t.Fatalf("%d records of 4 tests, %d looks at the clock", len(names), looks)
	}
	for _, name := range names {
		rec, err := openRecord(name)
		if err != nil || len(rec.Samples) < 50 {
			t.Fatalf("%v: %d readings", err, len(rec.Samples))
		}
		last := rec.Samples[len(rec.Samples)-1].At
		for i, s := range rec.Samples[1:] {
			if s.At <= rec.Samples[i].At {
				t.Errorf("%s: a reading at %v after one at %v", name, s.At, rec.Samples[i].At)
			}
		}
		f, err := os.Open(strings.TrimSuffix(name, record.Extension) + ".capture")
		if err != nil {
			t.Fatal(err)
		}
		c, err := replay.ReadCapture(f)
		f.Close()
		if err != nil || len(c.Chunks) == 0 {
			t.Fatal(err)
		}
		if end := c.Chunks[len(c.Chunks)-1].At; last < time.Second || last > time.Minute || end < time.Second || end > time.Minute {
			t.Errorf("%s: the record ends at %v, the capture at %v", name, last, end)
		}
	}
	if status, out, errOut := ebbline(t, "", "book", "check", "--book", dir); status != 0 || !strings.Contains(out+errOut, "4 of 4 whole") {
		t.Errorf("status %d: %s%s", status, out, errOut)
	}
}

// How long ago a test was that is gone on with goes by a clock that nobody
// sets, on the machine that it was begun on and until that is started anew.
func TestGapWhenTheClockWasSet(t *testing.T) {
	if _, start := sinceBoot(); start == "" && runtime.GOOS == "linux" {
		t.Fatal("the system does not tell of its start")
	} else if start == "" {
		t.Skip("only on Linux is there such a clock")
	}
	const ago = 40 * time.Second
	at := time.Now().Add(-ago)
	said := momentOf(at)
	for _, set := range []time.Duration{0, time.Hour, -time.Hour} {
		rec := record.Record{Samples: []decay.Sample{{}, {At: 30 * time.Second}}, Extra: []record.KeyValue{
			{Key: timesFrom, Value: strings.Replace(said, at.Format(time.RFC3339Nano), at.Add(set).Format(time.RFC3339Nano), 1)},
		}}
		got, err := (&holdFlags{reopen: "x"}).sinceBegun(rec, time.Now())
		if err != nil || got < ago || got > ago+20*time.Second {
			t.Errorf("the clock set by %v: begun %v ago, %v; it was %v", set, got, err, ago)
		}
	}
}

// What measures asks no moment for its date: times are spans of the clock that
// nobody sets. A moment that lost that clock (Round, Unix) would be measured by
// the one on the wall.
func TestNothingMeasuresByTheWallClock(t *testing.T) {
	dates := map[string]bool{"Unix": true, "UnixMilli": true, "UnixMicro": true, "UnixNano": true, "ModTime": true, "Round": true, "Truncate": true}
	durations := map[string]bool{"Round": true, "Truncate": true} // are of a duration too
	seen := 0
	for _, folder := range []string{"decay", "sensor", "tui"} {
		err := filepath.WalkDir(filepath.Join("..", "..", folder), func(path string, d fs.DirEntry, err error) error {
			if err != nil || d.IsDir() || !strings.HasSuffix(path, ".go") || strings.HasSuffix(path, "_test.go") {
				return err
			}
			seen++
			fset := token.NewFileSet()
			file, err := parser.ParseFile(fset, path, nil, 0)
			if err != nil {
				return err
			}
			ast.Inspect(file, func(n ast.Node) bool {
				call, ok := n.(*ast.CallExpr)
				if !ok {
					return true
				}
				sel, ok := call.Fun.(*ast.SelectorExpr)
				if !ok || !dates[sel.Sel.Name] {
					return true
				}
				if pkg, ok := sel.X.(*ast.Ident); ok && (pkg.Name == "math" || pkg.Name == "ansi" || pkg.Name == "runewidth") {
					return true
				}
				if durations[sel.Sel.Name] && len(call.Args) == 1 {
					if a, ok := call.Args[0].(*ast.SelectorExpr); ok && strings.HasSuffix(a.Sel.Name, "econd") {
						return true // a duration, rounded to be shown
					}
				}
				t.Errorf("%s: %s", fset.Position(call.Pos()), sel.Sel.Name)
				return true
			})
			return nil
		})
		if err != nil {
			t.Fatal(err)
		}
	}
	if seen < 50 {
		t.Fatalf("only %d files were looked at", seen)
	}
}
