package tui

import (
	"math"
	"time"

	"ebbline/decay"
)

// waitMemory is how fast the wait that is shown follows the estimate's: that is
// made anew with each look, and leaps where one model of the air gives way to
// another.
const waitMemory = 4 * time.Second

// wait is how much longer a hold is said to need.
type wait struct {
	left time.Duration // 0: not known
	at   time.Duration // of the test, when it was brought up to date
}

// look takes what a look at the test said.
func (w *wait) look(st decay.State) {
	r := st.Result
	gone := st.Now - w.at
	w.at = st.Now
	if !r.HasDecide || r.ToDecide <= 0 {
		w.left = 0
		return
	}
	if w.left == 0 {
		w.left = r.ToDecide
		return
	}
	// In logarithms, for five seconds are as far from twenty as twenty from eighty.
	was := math.Max((w.left - gone).Seconds(), 1)
	share := 1 - math.Exp(-gone.Seconds()/waitMemory.Seconds())
	w.left = time.Duration(was * math.Pow(r.ToDecide.Seconds()/was, share) * float64(time.Second))
}
