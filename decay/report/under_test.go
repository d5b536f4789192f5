package report

import (
	"strings"
	"testing"

	"ebbline/decay"
)

// A hole that the hold cannot tell from none is not written as 0.00 mm.
func TestHoleBelowWhatIsResolved(t *testing.T) {
	r := decay.Result{Outcome: decay.Holds, HasFit: true, HasVolume: true, Limit: .5e-3, Smallest: .1052e-3, Hole: decay.Interval{High: .002e-3, Level: .95}, Cd: .62}
	x := &Test{Result: r}
	s := &Sheet{Tests: []*Test{x}}
	slip := strings.Join(Slip{Result: r}.Lines(), "\n")
	for form, text := range map[string]string{"sheet": HoleSentence(x), "slip": slip, "message": s.Message()} {
		if !strings.Contains(text, "under 0.11 mm") || strings.Contains(text, "0.00 mm") || strings.Contains(text, "0.00 to") {
			t.Errorf("%s: %s", form, text)
		}
	}
	r.Hole.High = .2e-3
	if got, ok := Under(r); ok {
		t.Errorf("of a hole that may be larger: %q", got)
	}
}

// A message names the part, and a hole that was measured well though it holds.
func TestMessageNamesPartAndHole(t *testing.T) {
	r := decay.Result{Outcome: decay.Holds, HasFit: true, HasVolume: true, Limit: 1.5e-3, Smallest: .1e-3, Hole: decay.Interval{Value: 1e-3, Low: .98e-3, High: 1.02e-3, Level: .95}}
	x := &Test{Result: r}
	x.Record.Setup.Of = decay.PartEngine
	m := (&Sheet{Tests: []*Test{x}}).Message()
	for _, w := range []string{"Part: the whole duct, through the engine", "1.50 mm", "Hole 1.00 mm (95 % sure: 0.98 to 1.02 mm)"} {
		if !strings.Contains(m, w) {
			t.Errorf("lacks %q: %s", w, m)
		}
	}
}
