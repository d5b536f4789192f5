package report

import (
	"bytes"
	"strings"
	"testing"

	"ebbline/decay"
)

// Two tests of different things prove no repair, in any form.
func TestNotSamePartIsNoRepair(t *testing.T) {
	for name, change := range map[string]func(*Test){
		"part":      func(x *Test) { x.Record.Setup.Of = decay.PartFittings },
		"volume":    func(x *Test) { x.Record.Setup.Volume = 0.3e-3 },
		"simulated": func(x *Test) { x.Record.Simulated = !x.Record.Simulated },
	} {
		before, after := testOf(t, "before", ""), testOf(t, "after", "")
		before.Record.Setup.Of = decay.PartManifold
		s := &Sheet{Tests: []*Test{before, after}}
		s.NamePair()
		if before.Role != "before" || !strings.Contains(s.Message(), "Of the leak") {
			t.Fatalf("%s: the pair as it was proves nothing: %s", name, s.Message())
		}
		change(after)
		s.NamePair()
		var page, obj bytes.Buffer
		if err := s.HTML(&page); err != nil {
			t.Fatal(err)
		}
		if err := s.JSON(&obj); err != nil {
			t.Fatal(err)
		}
		if m := s.Message(); !strings.HasPrefix(m, "NOT THE SAME PART") || len([]rune(m)) >= MessageMost {
			t.Errorf("%s: message: %s", name, m)
		}
		if !strings.Contains(page.String(), "Not the same part: nothing is said of a repair (") {
			t.Errorf("%s: the page does not say so", name)
		}
		if !strings.Contains(obj.String(), `"repair_not_told":"not the same part`) {
			t.Errorf("%s: JSON: %.200s", name, obj.String())
		}
		for _, w := range []string{"mended", "is left", "the repair", `"share_left"`} {
			if strings.Contains(s.Message()+page.String()+obj.String(), w) {
				t.Errorf("%s: says %q", name, w)
			}
		}
	}
}

// What was not stated, or lies within the tolerances, speaks against nothing.
func TestSamePartWithinTolerances(t *testing.T) {
	a := decay.Setup{Of: decay.PartManifold, Volume: 8e-3, VolumeTolerance: 0.03}
	for _, c := range []struct {
		b    decay.Setup
		same bool
	}{
		{decay.Setup{}, true},
		{decay.Setup{Of: decay.PartManifold, Volume: 8.4e-3, VolumeTolerance: 0.03}, true},
		{decay.Setup{Of: decay.PartManifold, Volume: 8.6e-3, VolumeTolerance: 0.03}, false},
		{decay.Setup{Of: decay.PartHose, Volume: 8e-3}, false},
	} {
		if got := NotSame(a, c.b, false, false); (got == "") != c.same {
			t.Errorf("%+v: %q", c.b, got)
		}
	}
}
