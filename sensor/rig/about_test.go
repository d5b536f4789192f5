package rig

import (
	"strings"
	"testing"

	"ebbline/decay"
)

// A hole that the rig has is never said to be of no size.
func TestATinyHoleIsNamedWithItsSize(t *testing.T) {
	for hole, want := range map[decay.Length]string{0.0027e-3: "a hole of 0.0027 mm", 1e-3: "a hole of 1.00 mm"} {
		c := Default()
		c.Hole = hole
		s := NewSource(c, nil)
		if got := s.About().Detail; !strings.Contains(got, want) {
			t.Errorf("%q, want %q", got, want)
		}
		s.Close()
	}
}
