//go:build unix

package main

import (
	"io/fs"
	"os"
	"path/filepath"
	"testing"
	"time"

	"github.com/rogpeppe/go-internal/testscript"
)

func TestScripts(t *testing.T) {
	scenario, err := filepath.Abs("../../testdata/scenario")
	if err != nil {
		t.Fatal(err)
	}
	testscript.Run(t, testscript.Params{Dir: "../../testdata/scripts", Setup: func(e *testscript.Env) error {
		e.Setenv("SCENARIO", scenario)
		// The files of a script are not being written just now, as a test that runs is.
		old := time.Now().Add(-time.Hour)
		return filepath.WalkDir(e.WorkDir, func(path string, d fs.DirEntry, err error) error {
			if err != nil || d.IsDir() {
				return err
			}
			return os.Chtimes(path, old, old)
		})
	}})
}
