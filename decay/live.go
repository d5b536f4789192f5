package decay

// Live follows a test reading by reading at constant cost and memory.
type Live struct {
	set  Setup
	peak Gauge
	n    int
}

// NewLive starts an estimate.
func NewLive(set Setup) *Live { return &Live{set: set.WithDefaults()} }

// Add takes a reading.
func (l *Live) Add(s Sample) {
	l.n++
	l.peak = max(l.peak, s.P.Gauge(l.set.NominalAmbient()))
}

// Look returns the phase the test is in and what is known so far.
func (l *Live) Look() (Phase, Result) {
	return PhaseReady, Result{Samples: l.n, Peak: l.peak, Limit: l.set.Limit, Cd: l.set.Cd}
}
