package tui

import (
	"math"
	"strings"
	"testing"
	"time"

	"ebbline/decay"
)

// The wait that is shown follows the estimate's in some seconds and never leaps,
// however that does.
func TestTheWaitDoesNotLeap(t *testing.T) {
	s := moments()["undecided"]
	last := 0.0
	for k := range 300 { // 60 s of looks, which say 101 s and 5.3 s in turn
		s.st.Now = time.Minute + time.Duration(k)*200*time.Millisecond
		s.st.Result.HasDecide, s.st.Result.ToDecide = true, 101*time.Second
		if k/30%2 == 1 {
			s.st.Result.ToDecide = 5300 * time.Millisecond
		}
		s.wait.look(s.st)
		left := s.wait.left.Seconds()
		if last > 0 && math.Abs(math.Log(left/last)) > 0.25 {
			t.Fatalf("from %.1f s to %.1f s within a look", last, left)
		}
		last = left
	}
	for range 100 { // and it comes to where they stay
		s.st.Now += 200 * time.Millisecond
		s.st.Result.ToDecide = 35 * time.Second
		s.wait.look(s.st)
	}
	if a := s.advice(); !strings.Contains(a, "hold for about 40 s more") {
		t.Errorf("%v is told as %q", s.wait.left, a)
	}
	s.st.Result.HasDecide = false
	if s.wait.look(s.st); s.wait.left != 0 {
		t.Errorf("not known any more, and still %v", s.wait.left)
	}
}

// An interval on one side of the limit is explained, not just "hands off".
func TestHandsOffSaysWhatIsMissing(t *testing.T) {
	s := moments()["undecided"]
	s.st.Advice = decay.AdviseHandsOff
	for o, want := range map[decay.Outcome]string{decay.Leaks: "looks like a leak", decay.Holds: "seems to hold", decay.Undecided: "reading the leak"} {
		s.st.Result.Outcome = o
		if a := s.advice(); !strings.Contains(a, want) {
			t.Errorf("%v: %q", o, a)
		}
	}
}
