package tui

import (
	"errors"
	"math"
	"strconv"
	"strings"

	"ebbline/decay"
)

// guess is what somebody in the class thinks the hidden hole is.
type guess struct {
	who  string
	size decay.Length
}

// round is a guessing round: one hidden hole, the class's guesses, and after
// the reveal what the estimate said at that moment.
type round struct {
	tr       *lessonTrace // nil on real hardware until the hidden jet is isolated
	guesses  []guess
	revealed bool
	told     bool // the true size is known
	truth    decay.Length
	said     decay.Result
}

const (
	maxGuesses   = 40
	largestGuess = 50 * decay.Millimetre
)

// parseGuess reads "1.2", "Ann 1.2", "1,2 mm" or "1.2 Ann": the last number is
// the diameter in millimetres, the rest is the name.
func parseGuess(s string) (guess, error) {
	words := strings.Fields(s)
	at, size := -1, 0.0
	for i, w := range words {
		n := strings.Replace(strings.TrimSuffix(strings.ToLower(w), "mm"), ",", ".", 1)
		if v, err := strconv.ParseFloat(n, 64); err == nil && finite(v) && strings.ContainsAny(n, "0123456789") {
			at, size = i, v
		}
	}
	if at < 0 {
		return guess{}, errors.New("write a size in mm, with a name if you like: 1.2, or Ann 1.2")
	}
	d := size * decay.Millimetre
	if !(d >= 0 && d <= largestGuess) {
		return guess{}, errors.New("a size is 0 to 50 mm")
	}
	var who []string
	for i, w := range words {
		if i != at && strings.ToLower(w) != "mm" {
			who = append(who, w)
		}
	}
	return guess{strings.Join(who, " "), decay.Length(d)}, nil
}

// add takes a guess; one without a name is called by its number.
func (r *round) add(g guess) {
	if g.who == "" {
		g.who = "guess " + strconv.Itoa(len(r.guesses)+1)
	}
	r.guesses = append(r.guesses, g)
}

// nearest are those whose guess lies nearest to the true size, all of them
// when several are equally near, and how far they are off.
func (r *round) nearest(truth decay.Length) (who []string, off decay.Length) {
	best := math.Inf(1)
	for _, g := range r.guesses {
		d := math.Abs(float64(g.size - truth))
		switch {
		case d < best-1e-9:
			best, who = d, []string{g.who}
		case d < best+1e-9:
			who = append(who, g.who)
		}
	}
	return who, decay.Length(best)
}

// hide chooses a hidden hole between 0.3 and 3 mm, equally likely on a
// logarithmic ruler, in steps of 0.05 mm. u is 0 to 1.
func hide(u float64) decay.Length {
	d := 0.3 * math.Pow(10, u)
	return decay.Length(math.Round(d*20) / 20 * decay.Millimetre)
}

// verdict is what the reveal says: the truth, the estimate's own guess and who
// was nearest.
func (r *round) verdict() string {
	var out []string
	if r.told {
		out = append(out, "It was "+lessonSize(r.truth)+".")
	} else {
		out = append(out, "The true size was not given.")
	}
	if said := estimateWords(r.said); said != "" {
		said = "The program said " + said
		if r.said.HasVolume && r.said.Hole.High-r.said.Hole.Low > r.said.Hole.Value/2 {
			said += ", so it needs a longer hold"
		}
		out = append(out, said+".")
	} else {
		out = append(out, "The program had no estimate yet.")
	}
	if r.told {
		if who, off := r.nearest(r.truth); len(who) > 0 {
			words := "Nearest: " + strings.Join(who, " and ")
			if off < 5e-6 {
				words += ", exactly right."
			} else {
				words += ", " + mm(float64(off)) + " mm off."
			}
			out = append(out, words)
		}
	}
	return strings.Join(out, " ")
}

// estimateWords is the hole a result gives with its interval, or "" while the
// hold is too short to be worth a word.
func estimateWords(r decay.Result) string {
	switch {
	case r.HasFlag(decay.FlagShortHold):
	case r.HasFit && r.HasVolume:
		return mm(r.Hole.Value) + " mm (" + mm(r.Hole.Low) + " to " + mm(r.Hole.High) + " mm, 95 %)"
	case r.HasFit:
		return "K " + three(r.Rate.Value*1000) + "/1000 s, no volume stated"
	}
	return ""
}
