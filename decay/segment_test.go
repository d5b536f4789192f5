package decay

import (
	"math"
	"testing"
)

// The slopes after a day of hold at 1 kHz are those of the curve, where sums
// over millions of readings are taken from one another for windows of a
// thousand.
func TestSlopesAfterADay(t *testing.T) {
	const day, tau = 86400.0, 100e3
	var cells []cell
	for at := 0.0; at < day; {
		width := math.Max(finestCell, keptShare*math.Min(math.Abs(at-7), day-at))
		mean := at + width/2 + 1e-4
		cells = append(cells, cell{n: math.Round(1000 * width), t: mean, p: 150e3 * math.Exp(-mean/tau), t0: at, t1: at + width})
		at += width
	}
	s := slopesOf(cells, runningSums(cells, new([]running)), 0.5, 60, 0, new([]float64))
	for i, c := range cells {
		if c.t1-c.t0 > 1.1*finestCell {
			continue // curved within a window
		}
		want := -150e3 / tau * math.Exp(-c.t/tau)
		for _, got := range []float64{s.left[i], s.right[i], s.mid[i]} {
			if got != 0 && math.Abs(got-want) > 0.01 { // the last cells have nothing to the right
				t.Fatalf("slope %.4f Pa/s at %.1f s, want %.4f", got, c.t, want)
			}
		}
	}
}
