package decay

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
	return r
}
