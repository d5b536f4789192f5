package decay

import "fmt"

// FewestReadings are the fewest a trace is judged by, our own choice: a slip in
// one of three readings cannot be seen.
const FewestReadings = 4

// Analyse judges a whole recorded trace: it finds the hold by itself, fits it
// and says how sure it is. The samples are in order of time.
func Analyse(set Setup, samples []Sample) Result {
	l := NewLive(set)
	for _, s := range samples {
		l.Add(s)
	}
	return l.Whole()
}

// Whole ends the series and returns the result of all of it.
func (l *Live) Whole() Result {
	l.h.flush()
	_, _, r := l.look(true)
	if r.Samples < FewestReadings && (r.Outcome == Holds || r.Outcome == Leaks) {
		r.Outcome, r.few = Undecided, true
		r.Warnings = append(r.Warnings, Warning{"few-readings", fmt.Sprintf("%d readings are too few for a verdict, which takes %d or more", r.Samples, FewestReadings)})
	}
	return r
}
