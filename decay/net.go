package decay

import "fmt"

// RigShare is the share of the limit's effective area that the rig itself may
// leak: above it the rig check fails, because what is to be found would drown
// in what is subtracted. The share is our own choice.
const RigShare = 1.0 / 3

// RigFits reports whether a rig's leak, an effective area in m², leaves enough
// of the limit: its upper bound is at most [RigShare] of the limit's area.
func RigFits(rig Interval, limit Length, cd float64) bool {
	return rig.High <= RigShare*float64(CircleArea(limit))*cd
}

// Net is the result of a test without the leak of the rig's own fittings, an
// effective area in m² with its interval, judged against limit. Both errors
// enter; the area is never below zero. A result without a volume is returned
// as it is, with a warning.
func Net(r Result, rig Interval, limit Length) Result {
	r.Limit = limit
	if rig == (Interval{}) || !r.HasFit && !r.HeldUp {
		return r
	}
	warn := func(code, text string) {
		r.Warnings = append(r.Warnings[:len(r.Warnings):len(r.Warnings)], Warning{code, text})
	}
	if !r.HasVolume {
		warn("rig-not-subtracted", "the leak of the fittings could not be subtracted, because the volume is not known")
		return r
	}
	gross := r.Area
	a := Difference(gross, rig)
	a.Value, a.Low, a.High = max(a.Value, 0), max(a.Low, 0), max(a.High, 0)
	r.Area = a
	hole := func(area float64) float64 { return float64(EquivalentHole(Area(area), r.Cd)) }
	r.Hole = Interval{hole(a.Value), hole(a.Low), hole(a.High), a.Level}
	if gross.Value > 0 {
		f := a.Value / gross.Value
		r.LossRate, r.Flow = r.LossRate*f, r.Flow*f
		perArea := r.Rate.Value / gross.Value
		r.Rate = Interval{a.Value * perArea, a.Low * perArea, a.High * perArea, a.Level}
	}
	warn("rig-subtracted", fmt.Sprintf("the leak of the fittings, like a hole of %.2f mm, was subtracted", hole(rig.Value)/Millimetre))
	if !RigFits(rig, limit, r.Cd) {
		warn("rig-leaks", "the fittings may leak more than a third of the limit's area: mend them and test again")
	}
	if !r.few && (r.Outcome == Undecided || r.Outcome == Holds || r.Outcome == Leaks) {
		lim := float64(CircleArea(limit)) * r.Cd
		net := Undecided
		switch {
		case a.Low > lim:
			net = Leaks
		case a.High < lim:
			net = Holds
		}
		if r.HeldUp {
			r.IfShut = net
		} else {
			r.Outcome = net
		}
	}
	return r
}

// NetProcedure is a [Procedure] whose results are without the rig's own leak,
// [Setup.RigLeak]. Without one it is the same as a Procedure.
type NetProcedure struct {
	inner     *Procedure
	rig       Interval
	limit     Length
	confirmed bool // the verdict stands after the subtraction too
}

// NewNetProcedure starts a test.
func NewNetProcedure(set Setup) *NetProcedure {
	set = set.WithDefaults()
	p := &NetProcedure{rig: set.RigLeak, limit: set.Limit}
	if p.rig != (Interval{}) {
		// The sum of rig and duct is watched against the sum of rig and limit.
		lim := float64(CircleArea(set.Limit)) * set.Cd
		set.Limit = EquivalentHole(Area(lim+p.rig.Value), set.Cd)
	}
	p.inner = NewProcedure(set)
	return p
}

// State returns a snapshot for the screen.
func (p *NetProcedure) State() State {
	st := p.inner.State()
	if p.rig == (Interval{}) {
		return st
	}
	st.Result = Net(st.Result, p.rig, p.limit)
	if st.Verdict != Undecided && !p.confirmed {
		st.Verdict = Undecided
		if st.Advice == AdviseRelease {
			st.Advice = AdviseHandsOff
		}
	}
	return st
}

// Step takes an event and returns what follows from it.
func (p *NetProcedure) Step(ev Event) []Effect {
	out := p.inner.Step(ev)
	if p.rig == (Interval{}) {
		return out
	}
	st := p.inner.State()
	kept := out[:0]
	for _, e := range out {
		switch e := e.(type) {
		case Estimated:
			kept = append(kept, Estimated{e.At, Net(e.Result, p.rig, p.limit)})
		case Finished:
			kept = append(kept, Finished{e.At, Net(e.Result, p.rig, p.limit)})
		case VerdictReached: // told below, once the subtraction agrees
		default:
			kept = append(kept, e)
		}
	}
	if st.Verdict == Undecided {
		p.confirmed = false
	} else if r := Net(st.Result, p.rig, p.limit); !p.confirmed && r.Outcome == st.Verdict {
		p.confirmed = true
		kept = append(kept, VerdictReached{st.Now, r})
	}
	return kept
}
