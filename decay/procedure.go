package decay

import "time"

// Phase is where a test stands. The zero value is PhaseReady.
type Phase int

// The phases of a test, in their usual order.
const (
	PhaseReady   Phase = iota // at ambient, nothing connected or filled yet
	PhaseFill                 // pressure coming up, or held up by the supply
	PhaseSettle               // isolated; settling still hides the leak
	PhaseHold                 // isolated; the leak is being read
	PhaseRelease              // let out
	PhaseOver                 // the test was finished
)

func (p Phase) String() string {
	return [...]string{"ready", "fill", "settle", "hold", "release", "over"}[p]
}

// An Event is something that happened to the test. All time comes in with it.
type Event interface{ event() }

// The events.
type (
	// Taken is a reading.
	Taken struct{ Sample Sample }
	// Lost says that no valid reading has come for a while.
	Lost struct {
		At  time.Duration
		Why string
	}
	// Look asks for a fresh estimate; the screen sends a few a second.
	Look struct{ At time.Duration }
	// Finish ends the test: the operator's wish, or the end of the stream.
	Finish struct{ At time.Duration }
)

func (Taken) event()  {}
func (Lost) event()   {}
func (Look) event()   {}
func (Finish) event() {}

// An Effect is something the shell around the procedure has to do or show.
type Effect interface{ effect() }

// The effects.
type (
	// PhaseChanged says that the test entered a phase. At may lie a little in
	// the past: isolation is recognised a moment after it happened.
	PhaseChanged struct {
		From, To Phase
		At       time.Duration
	}
	// CeilingPassed is the alarm: shut the supply.
	CeilingPassed struct {
		At time.Duration
		P  Gauge
	}
	// CeilingCleared ends the alarm.
	CeilingCleared struct {
		At time.Duration
		P  Gauge
	}
	// Estimated carries the answer to a Look.
	Estimated struct {
		At     time.Duration
		Result Result
	}
	// VerdictReached says that the verdict is final enough to be shown as such.
	VerdictReached struct {
		At     time.Duration
		Result Result
	}
	// Finished carries the result of the whole test.
	Finished struct {
		At     time.Duration
		Result Result
	}
)

func (PhaseChanged) effect()   {}
func (CeilingPassed) effect()  {}
func (CeilingCleared) effect() {}
func (Estimated) effect()      {}
func (VerdictReached) effect() {}
func (Finished) effect()       {}

// State is a snapshot of the test for a screen.
type State struct {
	Phase       Phase
	PhaseSince  time.Duration // when the phase began
	Now         time.Duration // stamp of the latest event
	Seen        bool          // at least one reading has come
	P           Gauge         // latest reading, zero error taken off when known
	Slope       float64       // Pa/s over the last second or so; NaN when unknown
	ToCeiling   time.Duration // at the present slope; 0 when not rising toward it
	InBand      bool          // within the warning band
	OverCeiling bool
	Lost        bool    // no valid reading at present
	LostWhy     string  // in plain words
	Verdict     Outcome // latched: the first verdict reached under watching, else Undecided
	Result      Result  // the latest estimate
	Advice      Advice
}

// Advice is what to do next, as a code; [ebbline/decay/report] puts it into words.
type Advice string

// The advices.
const (
	AdviseWaitReading Advice = "wait-reading" // no reading yet
	AdviseFill        Advice = "fill"         // regulator turned down, then fill
	AdviseFillSlowly  Advice = "fill-slowly"  // in the warning band while rising
	AdviseKeepFilling Advice = "keep-filling" // rising
	AdviseIsolate     Advice = "isolate"      // high enough or levelled off: shut the valve
	AdviseListen      Advice = "listen"       // it will not build: gross leak, listen first
	AdviseHandsOff    Advice = "hands-off"    // settling, or reading
	AdviseHoldOn      Advice = "hold-on"      // undecided: wait Result.ToDecide longer
	AdviseRelease     Advice = "release"      // verdict is there: let the air out
	AdviseMoreHelp    Advice = "more-help"    // undecided and waiting will not settle it
	AdviseReleasing   Advice = "releasing"    // wait for zero before loosening a clamp
	AdviseDone        Advice = "done"
	AdviseShut        Advice = "shut-supply"  // over the ceiling
	AdviseSensor      Advice = "check-sensor" // lost
)

// Procedure follows a test from its readings. It is a pure state machine: the
// same events give the same effects, and it knows no clock. Its memory does
// not grow with the length of the test.
type Procedure struct {
	set   Setup
	live  *Live
	state State
}

// NewProcedure starts a test.
func NewProcedure(set Setup) *Procedure {
	set = set.WithDefaults()
	return &Procedure{set: set, live: NewLive(set)}
}

// State returns a snapshot for the screen.
func (p *Procedure) State() State { return p.state }

// Step takes an event and returns what follows from it.
func (p *Procedure) Step(ev Event) []Effect {
	var out []Effect
	s := &p.state
	switch ev := ev.(type) {
	case Taken:
		p.live.Add(ev.Sample)
		s.Now, s.Seen, s.Lost = ev.Sample.At, true, false
		s.P = ev.Sample.P.Gauge(p.set.NominalAmbient())
		s.InBand = float64(s.P) >= WarningBand*float64(p.set.Ceiling)
		if over := s.P > p.set.Ceiling; over != s.OverCeiling {
			s.OverCeiling = over
			if over {
				out = append(out, CeilingPassed{s.Now, s.P})
			} else {
				out = append(out, CeilingCleared{s.Now, s.P})
			}
		}
	case Lost:
		s.Now, s.Lost, s.LostWhy = ev.At, true, ev.Why
	case Look:
		s.Now = ev.At
		var phase Phase
		phase, s.Result = p.live.Look()
		if phase != s.Phase {
			out = append(out, PhaseChanged{s.Phase, phase, s.Now})
			s.Phase, s.PhaseSince = phase, s.Now
		}
		out = append(out, Estimated{s.Now, s.Result})
	case Finish:
		s.Now, s.Phase = ev.At, PhaseOver
		_, s.Result = p.live.Look()
		out = append(out, Finished{s.Now, s.Result})
	}
	return out
}
