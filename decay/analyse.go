package decay

// Analyse judges a whole recorded trace: it finds the hold by itself, fits it
// and says how sure it is.
func Analyse(set Setup, samples []Sample) Result {
	l := NewLive(set)
	for _, s := range samples {
		l.Add(s)
	}
	_, r := l.Look()
	return r
}
