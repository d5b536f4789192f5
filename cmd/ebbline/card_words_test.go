package main

import (
	"strings"
	"testing"

	"ebbline/decay"
	"ebbline/tui"
)

// TestCardRefusesNonsenseInItsOwnWords: what the card cannot take is refused
// with the name of the line, and no flag.
func TestCardRefusesNonsenseInItsOwnWords(t *testing.T) {
	f := &holdFlags{}
	for _, c := range []struct {
		line  string
		texts tui.Texts
	}{
		{"volume", tui.Texts{Volume: "10Labc"}}, {"volume", tui.Texts{Volume: "10"}}, {"ceiling", tui.Texts{Ceiling: "0L gauge"}},
		{"ceiling", tui.Texts{Ceiling: "900psi"}}, {"limit", tui.Texts{Limit: "8 hole"}}, {"limit", tui.Texts{Limit: "0mm"}},
	} {
		c.texts.Of = decay.PartManifold
		_, err := f.typed(c.texts, decay.Setup{})
		if err == nil || !strings.HasPrefix(err.Error(), c.line+": ") || strings.Contains(err.Error(), "--") {
			t.Errorf("%+v: %v", c.texts, err)
		}
	}
}
