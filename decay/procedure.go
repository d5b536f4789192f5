package decay

import (
	"math"
	"time"
)

// Phase is where a test stands. The zero value is PhaseReady.
type Phase int

// The phases of a test, in their usual order.
const (
	PhaseReady   Phase = iota // at ambient, nothing connected or filled yet
	PhaseFill                 // pressure coming up, or held up by the supply
	PhaseSettle               // isolated; settling still hides the leak
	PhaseHold                 // isolated; the leak is being read
	PhaseRelease              // let out
	PhaseEmpty                // run empty through the leak, without anybody letting air out
	PhaseOver                 // the test was finished
)

func (p Phase) String() string {
	return [...]string{"ready", "fill", "settle", "hold", "release", "empty", "over"}[p]
}

// Emptied reports whether the air is going or gone after a hold, let out or not.
func (p Phase) Emptied() bool { return p == PhaseRelease || p == PhaseEmpty }

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
	// Doubt says that from now on readings are not to be taken for the duct's
	// pressure, or, with On false, that they are again. With Alarm set they may
	// be too low only, so the ceiling is still watched.
	Doubt struct {
		At    time.Duration
		On    bool
		Alarm bool
	}
	// Shut says that the supply valve was shut just now: a valve that is seen,
	// or the operator's word. It is never needed, but a duct so tight that its
	// pressure does not fall looks like one that is still fed.
	Shut struct{ At time.Duration }
	// Touched says that somebody has begun to change the leak, pressing or mending
	// joints: the hold ends there, and the answer is what it told.
	Touched struct{ At time.Duration }
	// Look asks for a fresh estimate; the screen sends a few a second.
	Look struct{ At time.Duration }
	// Finish ends the test: the operator's wish, or the end of the stream.
	Finish struct{ At time.Duration }
)

func (Taken) event()   {}
func (Lost) event()    {}
func (Shut) event()    {}
func (Doubt) event()   {}
func (Touched) event() {}
func (Look) event()    {}
func (Finish) event()  {}

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

// FirstGuess reports whether the estimate is not yet worth being taken for a
// result: the air settles still, or the interval reaches to twice the value and
// over the limit.
func (s State) FirstGuess() bool {
	r := s.Result
	switch {
	case s.Verdict != Undecided:
		return false
	case s.Phase == PhaseSettle:
		return true
	}
	return s.Phase == PhaseHold && r.Outcome == Undecided && r.Rate.High > 4*r.Rate.Value // a hole's area goes by its square
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
	AdviseSayShut     Advice = "say-shut"     // levelled off for long: shut, or shut already and very tight
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
	slope slopeMeter

	// A fault of a sensor is known a moment after it began: readings wait so long
	// before the estimate takes them, and what waits when one begins is left out.
	waiting []Sample
	doubt   Doubt
	left    []Span // of readings that were left out
	leaving bool   // the last of these goes on

	state State
}

// NewProcedure starts a test.
func NewProcedure(set Setup) *Procedure {
	set = set.WithDefaults()
	return &Procedure{set: set, live: NewLive(set)}
}

// State returns a snapshot for the screen.
func (p *Procedure) State() State { return p.state }

// Under watching, a verdict is final only when the interval at this many
// standard deviations clears the limit, and the hold has lasted a while: so
// that looking again and again does not raise the error rate above 1 % a side.
const (
	watchedZ       = 3.5
	watchedSeconds = 6.0
	watchedFall    = 2.0 // how fast it narrows: settling comes apart from the leak, see TestHowLongIsToldRight
	watchedGrowth  = 1.3 // by which the hold must have grown while the answer stayed the same
)

// doubtDelay is how long a reading waits.
const doubtDelay = 500 * time.Millisecond

// wait keeps a reading, and gives those that have waited long enough to the
// estimate.
func (p *Procedure) wait(s Sample) {
	p.waiting = append(p.waiting, s)
	n := 0
	for n < len(p.waiting) && p.waiting[n].At <= s.At-doubtDelay {
		n++
	}
	p.release(n)
}

// mostLeftOut is how many stretches are told apart; what is left out after that
// counts as one with the last.
const mostLeftOut = 256

// leave notes a reading that the estimate does not take.
func (p *Procedure) leave(at time.Duration) {
	if n := len(p.left); n > 0 && p.leaving || n == mostLeftOut {
		p.left[n-1].End = at
		return
	}
	p.left, p.leaving = append(p.left, Span{at, at}), true
}

// release gives the first n of the waiting readings to the estimate.
func (p *Procedure) release(n int) {
	for _, s := range p.waiting[:n] {
		p.live.Add(s)
	}
	p.waiting = p.waiting[:copy(p.waiting, p.waiting[n:])]
}

// Step takes an event and returns what follows from it.
func (p *Procedure) Step(ev Event) []Effect {
	var out []Effect
	s := &p.state
	switch ev := ev.(type) {
	case Taken:
		s.Now, s.Seen, s.Lost, s.LostWhy = ev.Sample.At, true, false, ""
		s.P = ev.Sample.P.Gauge(p.ambient()) - p.state.Result.Zero
		if p.doubt.On {
			p.leave(ev.Sample.At)
		}
		if p.doubt.On && !p.doubt.Alarm {
			break
		}
		if !p.doubt.On {
			p.wait(ev.Sample)
			p.slope.add(ev.Sample.At.Seconds(), float64(s.P))
		}
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
	case Doubt:
		s.Now = max(s.Now, ev.At)
		if ev.On && !p.doubt.On {
			p.leaving = false
			for _, x := range p.waiting {
				p.leave(x.At)
			}
			p.waiting, p.slope = p.waiting[:0], slopeMeter{}
		}
		p.doubt = ev
		if ev.On && !ev.Alarm {
			s.InBand = false
			if s.OverCeiling {
				s.OverCeiling = false
				out = append(out, CeilingCleared{s.Now, s.P})
			}
		}
	case Shut:
		s.Now = max(s.Now, ev.At)
		p.live.shutAt = ev.At.Seconds()
	case Touched:
		s.Now = max(s.Now, ev.At)
		p.live.touch(ev.At)
	case Look:
		if s.Phase == PhaseOver {
			break
		}
		s.Now = max(s.Now, ev.At)
		phase, since, r := p.live.Look()
		if phase == PhaseFill {
			r.HasFit, r.HasDecide = false, false // whatever fits a pressure that is held up is no leak
			if r.Outcome == Holds || r.Outcome == Leaks {
				r.Outcome = Undecided
			}
		}
		out = p.enter(out, phase, since)
		if s.Verdict != Undecided {
			r.HasDecide = false
		}
		s.Result = r
		out = append(out, Estimated{s.Now, r})
		length := (r.Hold.End - r.Hold.Start).Seconds()
		if v := r.sequential(); v != p.live.leaning || v == Undecided {
			p.live.leaning, p.live.leaningAt = v, length
		} else if s.Verdict == Undecided && length >= watchedSeconds && length >= watchedGrowth*p.live.leaningAt {
			// A fit from scratch must say so too: a live one starts where the last one ended.
			if _, _, fresh := p.live.look(true); fresh.sequential() != v {
				p.live.leaning, p.live.leaningAt = Undecided, length
				break
			}
			s.Verdict = v
			out = append(out, VerdictReached{s.Now, r})
		}
	case Finish:
		if s.Phase == PhaseOver {
			break
		}
		s.Now = max(s.Now, ev.At)
		p.release(len(p.waiting))
		s.Result = p.live.Whole()
		s.Result.LeftOut = p.left
		out = p.enter(out, PhaseOver, s.Now)
		out = append(out, Finished{s.Now, s.Result})
	}
	s.Slope = p.slope.value()
	s.ToCeiling = 0
	if left := float64(p.set.Ceiling - s.P); s.Slope > 0 && left > 0 && left/s.Slope < 120 {
		s.ToCeiling = seconds(left / s.Slope)
	}
	s.Advice = p.advise()
	return out
}

// ambient is the one seen before the fill, or the nominal one.
func (p *Procedure) ambient() Pressure {
	if p.state.Result.Ambient > 0 {
		return p.state.Result.Ambient
	}
	return p.set.NominalAmbient()
}

// enter changes the phase. The verdict is kept: it was about a hold that happened.
func (p *Procedure) enter(out []Effect, phase Phase, since time.Duration) []Effect {
	s := &p.state
	if phase == s.Phase {
		s.PhaseSince = since // the moment of isolation is placed better as the hold grows
		return out
	}
	if phase == PhaseFill && (s.Phase == PhaseReady || s.Phase.Emptied()) {
		s.Verdict = Undecided // a new fill is a new question
	}
	out = append(out, PhaseChanged{s.Phase, phase, since})
	s.Phase, s.PhaseSince = phase, since
	return out
}

// advise chooses the one sentence that is shown.
func (p *Procedure) advise() Advice {
	s := &p.state
	ceiling := float64(p.set.Ceiling)
	level := float64(s.P)
	switch {
	case s.OverCeiling:
		return AdviseShut
	case s.Phase == PhaseOver:
		return AdviseDone
	case s.Lost:
		return AdviseSensor
	case !s.Seen:
		return AdviseWaitReading
	}
	switch s.Phase {
	case PhaseFill:
		since := s.Now - s.PhaseSince
		flat := math.Abs(s.Slope) < 0.003*ceiling
		switch {
		case s.InBand:
			return AdviseFillSlowly
		case flat && level < 0.3*ceiling && since > 8*time.Second:
			return AdviseListen
		case flat && level >= 0.3*ceiling && since > 25*time.Second:
			return AdviseSayShut
		case flat && level >= 0.3*ceiling, level > 0.75*ceiling:
			return AdviseIsolate
		}
		return AdviseKeepFilling
	case PhaseSettle, PhaseHold:
		switch {
		case s.Verdict != Undecided:
			return AdviseRelease
		case s.Result.Outcome == NeverBuilt:
			return AdviseListen
		case s.Now-s.PhaseSince < 10*time.Second:
			return AdviseHandsOff
		case s.Result.HasDecide && s.Result.Outcome == Undecided && s.Result.ToDecide < 10*time.Minute:
			return AdviseHoldOn
		case s.Result.HasFit && s.Result.Outcome == Undecided && s.Now-s.PhaseSince > 30*time.Second:
			return AdviseMoreHelp
		}
		return AdviseHandsOff
	case PhaseRelease, PhaseEmpty:
		if level > 2*Kilopascal {
			return AdviseReleasing
		}
		return AdviseDone
	}
	if level > 5*Kilopascal {
		return AdviseKeepFilling
	}
	return AdviseFill
}

// slopeMeter is a least-squares slope over about the last second, from at
// most 32 points.
type slopeMeter struct {
	pts [32]point
	n   int // points in use, the latest last
}

func (m *slopeMeter) add(t, p float64) {
	if m.n > 0 && t-m.pts[m.n-1].t < 0.04 {
		return
	}
	if m.n == len(m.pts) {
		copy(m.pts[:], m.pts[1:])
		m.n--
	}
	m.pts[m.n] = point{t, p}
	m.n++
}

func (m *slopeMeter) value() float64 {
	if m.n < 3 {
		return math.NaN()
	}
	last := m.pts[m.n-1].t
	var n, st, sp, stt, stp float64
	for i := m.n - 1; i >= 0 && (last-m.pts[i].t <= 1 || n < 3); i-- {
		x := m.pts[i].t - last
		n++
		st += x
		sp += m.pts[i].p
		stt += x * x
		stp += x * m.pts[i].p
	}
	return (n*stp - st*sp) / (n*stt - st*st)
}
