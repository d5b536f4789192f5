//go:build unix

package main

import (
	"path/filepath"
	"testing"

	"github.com/rogpeppe/go-internal/testscript"
)

func TestScripts(t *testing.T) {
	scenario, err := filepath.Abs("../../testdata/scenario")
	if err != nil {
		t.Fatal(err)
	}
	testscript.Run(t, testscript.Params{Dir: "../../testdata/scripts", Setup: func(e *testscript.Env) error {
		e.Setenv("SCENARIO", scenario)
		return nil
	}})
}
