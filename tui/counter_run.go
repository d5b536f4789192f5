package tui

import (
	"math"
	"slices"
	"time"

	"ebbline/decay"
	"ebbline/sensor"
)

// CounterTime is how long a test at the counter takes at most, from the first
// air to the slip.
const CounterTime = 90 * time.Second

const (
	counterSlip   = 2 * time.Second        // of it, for the last fit and the slip
	counterListen = 25 * time.Second       // after which pressure that will not come up is an answer
	counterGone   = 3 * time.Second        // a large leak looks like a release for a while
	counterTried  = 4 * time.Second        // of level supply, after which its end is no bump
	counterWeak   = 1.5 * decay.Kilopascal // that the air makes, or none is coming
	counterLevel  = 0.003                  // of the ceiling a second: no more is level
	counterLow    = 0.2                    // of the ceiling: what never came so high was no fill
)

// CounterRun follows one test at the counter: a procedure that ends by itself,
// at the verdict, when the air is let out, when the pressure would not come up
// or when the time is over. Like a procedure it knows no clock, so that the
// screen and the command without one go through the same test.
type CounterRun struct {
	proc    *decay.NetProcedure
	began   bool          // air has come
	first   time.Duration // when
	listen  time.Duration // since when the pressure would not come up; 0: it does
	weak    time.Duration // since when there is pressure, but too little for a fill; 0: there is none
	level   time.Duration // since when the fill is level; 0: it is not
	tried   bool          // it was for long: not a bump, whatever becomes of the air
	set     decay.Setup
	ceiling decay.Gauge
	samples []decay.Sample // of the last minutes, to look at the hold as a whole
	asked   time.Duration  // when that was done last
	gone    time.Duration  // when the air was last not being let out
	faults  sensor.Faults
	result  decay.Result
	over    bool
	stopped bool
}

// NewCounterRun starts a test.
func NewCounterRun(set decay.Setup) *CounterRun {
	return &CounterRun{proc: decay.NewNetProcedure(set), set: set, ceiling: set.WithDefaults().Ceiling}
}

// State is a snapshot of the test.
func (c *CounterRun) State() decay.State { return c.faults.Live(c.proc.State(), 0) }

// Began reports whether air has come, from which the time counts.
func (c *CounterRun) Began() bool { return c.began }

// Over reports whether the test is finished.
func (c *CounterRun) Over() bool { return c.over }

// Stopped reports whether it was finished by hand.
func (c *CounterRun) Stopped() bool { return c.stopped }

// Result is that of the finished test, or what is known so far.
func (c *CounterRun) Result() decay.Result {
	if c.over {
		return c.result
	}
	return c.proc.State().Result
}

// Left is how long until the slip at the latest; all of [CounterTime] before
// any air has come.
func (c *CounterRun) Left() time.Duration {
	if !c.began {
		return CounterTime
	}
	return max(0, CounterTime-(c.proc.State().Now-c.first))
}

// Step takes an event and returns what follows from it. Readings after the
// end still tell the pressure.
func (c *CounterRun) Step(ev decay.Event) []decay.Effect {
	out := c.proc.Step(ev)
	if t, ok := ev.(decay.Taken); ok && !c.over && !c.faults.Doubtful() {
		c.keep(t.Sample)
	}
	if e, ok := ev.(decay.Shut); ok {
		c.set.Shut = e.At
	}
	for _, e := range out {
		switch e := e.(type) {
		case decay.PhaseChanged:
			switch {
			case e.To == decay.PhaseFill && !c.began:
				c.began, c.first = true, e.At
			case e.To == decay.PhaseReady && !c.tried:
				c.began = false // a bump while the part was being plugged
			}
		case decay.Finished:
			c.over, c.result = true, c.faults.Judge(e.Result, 0)
		}
	}
	if c.over {
		return out
	}
	switch ev.(type) {
	case decay.Look, decay.Lost:
	default:
		return out
	}
	st := c.proc.State()
	if !c.began && isolated(st.Phase) { // filled before the test began
		c.began, c.first = true, st.PhaseSince
	}
	switch {
	case c.began:
	case st.Phase != decay.PhaseReady || st.Result.Outcome != decay.NeverBuilt || st.P < counterWeak:
		c.weak = 0
	case c.weak == 0:
		c.weak = st.Now
	case st.Now-c.weak >= counterTried:
		c.began, c.tried, c.first = true, true, c.weak
	}
	if !c.began {
		return out
	}
	// A phase is placed in the past, and may be taken for a moment only.
	empty := st.Phase.Emptied() || st.Phase == decay.PhaseReady && st.P < counterWeak
	if !empty {
		c.gone = st.Now
	}
	if st.Advice != decay.AdviseListen && st.Phase != decay.PhaseReady {
		c.listen = 0
	} else if c.listen == 0 {
		c.listen = st.Now
	}
	switch {
	case st.Phase != decay.PhaseFill || math.Abs(st.Slope) > counterLevel*float64(c.ceiling):
		c.level = 0
	case c.level == 0:
		c.level = st.Now
	case st.Now-c.level >= counterTried:
		c.tried = true
	}
	switch {
	case !c.tried && empty && float64(st.Result.Peak) < counterLow*float64(c.ceiling):
		c.began = false // the valve was opened for a moment and the air let out again
	case st.Verdict != decay.Undecided && !c.faults.Doubtful() && c.confirmed(st),
		st.Now-c.first >= CounterTime-counterSlip,
		c.listen > 0 && st.Now-c.first >= counterListen && st.Now-c.listen >= counterGone,
		empty && st.Now-c.gone >= counterGone:
		out = append(out, c.finish()...)
	}
	return out
}

// Fault takes what is wrong with the readings, or is no longer, at a time of the
// test, and returns what follows from it.
func (c *CounterRun) Fault(f sensor.Fault) []decay.Effect {
	c.faults.Take(f)
	out := c.Step(c.faults.Event(max(f.At, c.proc.State().Now)))
	if f.Lost() && f.State != sensor.Ends {
		out = append(out, c.Step(decay.Lost{At: c.proc.State().Now, Why: f.Text})...)
	}
	return out
}

// keep stores a reading; waiting for the air may last for hours, of which only
// the last minutes are kept.
func (c *CounterRun) keep(s decay.Sample) {
	c.samples = append(c.samples, s)
	if old := s.At - 4*CounterTime; c.samples[0].At < old {
		k := 0
		for c.samples[k].At < s.At-2*CounterTime {
			k++
		}
		c.samples = append(c.samples[:0], c.samples[k:]...)
	}
}

// confirmed reports whether the whole hold, fitted from the beginning, says the
// same as the verdict under watching, without the doubt that the air may still be
// settling, which a longer hold takes away: a customer gets no word that the record
// would not bear out. Where half of the pressure is gone that was no settling, and
// the rest of it would soon be gone as well. It asks at most once a second.
func (c *CounterRun) confirmed(st decay.State) bool {
	if c.asked > 0 && st.Now-c.asked < time.Second {
		return false
	}
	c.asked = st.Now
	r := decay.Net(decay.Analyse(c.set, c.samples), c.set.RigLeak, c.set.WithDefaults().Limit)
	unsettled := slices.ContainsFunc(r.Warnings, func(w decay.Warning) bool { return w.Code == "unsettled" })
	return r.Outcome == st.Verdict && (!unsettled || st.P < r.Hold.StartGauge/2)
}

// Stop finishes the test by hand.
func (c *CounterRun) Stop() []decay.Effect {
	if c.over {
		return nil
	}
	c.stopped = true
	return c.finish()
}

// End finishes a test whose readings have ended, or that no air came to.
func (c *CounterRun) End() {
	if !c.over {
		c.finish()
	}
}

func (c *CounterRun) finish() []decay.Effect {
	out := c.proc.Step(decay.Finish{At: c.proc.State().Now})
	c.over, c.result = true, c.faults.Judge(c.proc.State().Result, 0)
	return out
}
