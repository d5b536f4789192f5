package report

import (
	"strings"
	"testing"

	"ebbline/decay"
)

// A page explains each flag that it names.
func TestFlagsAreExplained(t *testing.T) {
	x := &Test{Result: decay.Result{Flags: []decay.Flag{decay.FlagStuck, decay.FlagGaps}}}
	notes := strings.Join((&Sheet{Tests: []*Test{x}}).notes(), "\n")
	for _, f := range x.Result.Flags {
		if !strings.Contains(notes, sentence(FlagSentence(f))) {
			t.Errorf("%s is not explained: %s", f, notes)
		}
	}
}
