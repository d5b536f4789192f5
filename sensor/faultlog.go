package sensor

import (
	"fmt"
	"slices"
	"strings"
	"time"

	"ebbline/decay"
)

// maxFaults is how many faults of a test are kept; the first ones tell most.
const maxFaults = 256

// Faults keeps which faults are on, and which a test has seen. The zero value
// is ready.
type Faults struct {
	spells []spell
	more   int // that there was no room for
}

// spell is a fault from its beginning to its end.
type spell struct {
	Fault
	end  time.Duration
	over bool
}

// Take notes a fault.
func (l *Faults) Take(f Fault) {
	if f.State == Ends && f.Code == FaultReference {
		// It was a suspicion, and wrong: the readings were the duct's all along.
		l.spells = slices.DeleteFunc(l.spells, func(s spell) bool { return s.Code == f.Code && !s.over })
		return
	}
	if f.State == Ends {
		for i := range l.spells {
			if s := &l.spells[i]; s.Code == f.Code && !s.over {
				s.over, s.end = true, f.At
			}
		}
		return
	}
	if f.State == Begins && l.On(f.Code) {
		return
	}
	if len(l.spells) >= maxFaults {
		// What is on counts for more than what was.
		i := slices.IndexFunc(l.spells[1:], func(s spell) bool { return s.over })
		if i < 0 {
			l.more++
			return
		}
		l.spells = slices.Delete(l.spells, i+1, i+2)
		l.more++
	}
	l.spells = append(l.spells, spell{Fault: f, end: f.At, over: f.State == Moment})
}

// On reports whether the fault of a code is on.
func (l *Faults) On(code string) bool {
	return slices.ContainsFunc(l.spells, func(s spell) bool { return s.Code == code && !s.over })
}

// Codes lists the faults that are on, the oldest first; never nil.
func (l *Faults) Codes() []string {
	out := []string{}
	for _, s := range l.spells {
		if !s.over {
			out = append(out, s.Code)
		}
	}
	return out
}

// Worst is the gravest fault that is on: one that stops the readings before
// one that makes them doubtful, before others, and the latest of equals.
func (l *Faults) Worst() (Fault, bool) {
	var worst Fault
	rank := -1
	for _, s := range l.spells {
		if s.over {
			continue
		}
		r := 0
		switch {
		case s.Lost():
			r = 2
		case s.Doubt():
			r = 1
		}
		if r >= rank {
			worst, rank = s.Fault, r
		}
	}
	return worst, rank >= 0
}

// Doubtful reports whether a fault is on under which readings are not to be
// taken for the duct's pressure.
func (l *Faults) Doubtful() bool {
	f, ok := l.Worst()
	return ok && f.Doubt()
}

// Event tells a test's procedure at a time whether readings are in doubt.
// Those at the top of the range and those under a sagging supply may only be too
// low, so that the ceiling is watched with them.
func (l *Faults) Event(at time.Duration) decay.Doubt {
	ev := decay.Doubt{At: at, On: l.Doubtful()}
	ev.Alarm = ev.On && (l.On(FaultSaturated) || l.On(FaultRailHigh) || l.On(FaultSag))
	return ev
}

// Live is the state of a running test as far as its readings can be trusted: no
// verdict while they are in doubt, and after that [decay.Unusable] when they were
// in the hold. Faults that ended before the test's first reading, at from, are
// not about it.
func (l *Faults) Live(st decay.State, from time.Duration) decay.State {
	switch {
	case l.Doubtful():
		st.Verdict = decay.Undecided
	case l.Spoil(st.Result, from) && st.Phase != decay.PhaseOver:
		st.Verdict = decay.Unusable
	}
	return st
}

// Spoil reports whether the readings of r's hold were not the duct's pressure
// for a while, so that no verdict will come of it.
func (l *Faults) Spoil(r decay.Result, from time.Duration) bool {
	return r.Outcome == decay.Unusable || slices.ContainsFunc(l.spells, func(s spell) bool { return !(s.over && s.end < from) && s.spoils(r) })
}

func (s spell) spoils(r decay.Result) bool {
	return s.Doubt() && r.Hold.End > r.Hold.Start && s.At < r.Hold.End+leftOut && (!s.over || s.end > r.Hold.Start)
}

// flagOf is the flag of a result for faults that have one.
var flagOf = map[string]decay.Flag{
	FaultSilent: decay.FlagGaps, FaultUnplugged: decay.FlagGaps, FaultBoardReset: decay.FlagGaps,
	FaultStuck: decay.FlagStuck, FaultSaturated: decay.FlagSaturated, FaultRailHigh: decay.FlagSaturated,
	FaultOpenCircuit: decay.FlagOpenCircuit, FaultRailLow: decay.FlagOpenCircuit,
	FaultBadLine: decay.FlagBadRows, FaultHalfLines: decay.FlagBadRows, FaultBinaryNoise: decay.FlagBadRows,
}

// leftOut is how long before a fault begins readings are left out: a hold that
// ends there was ended by the fault.
const leftOut = time.Second

// Judge returns a result with what the faults say of it: a flag and a warning
// for each kind, and no verdict from a hold during which the readings were not
// the duct's pressure. Faults that ended before the test's first reading, at
// from, are not about it.
func (l *Faults) Judge(r decay.Result, from time.Duration) decay.Result {
	r.Flags, r.Warnings = slices.Clone(r.Flags), slices.Clone(r.Warnings)
	type kind struct {
		first spell
		n     int
	}
	var kinds []kind
	for _, s := range l.spells {
		if s.over && s.end < from || s.Code == FaultReplugged {
			continue
		}
		i := slices.IndexFunc(kinds, func(k kind) bool { return k.first.Code == s.Code })
		if i < 0 {
			kinds = append(kinds, kind{first: s})
			i = len(kinds) - 1
		}
		kinds[i].n++
		judged := r.Outcome == decay.Holds || r.Outcome == decay.Leaks || r.Outcome == decay.Undecided
		if judged && s.spoils(r) {
			r.Outcome = decay.Unusable
			r.HasDecide = false
		}
	}
	for _, k := range kinds {
		if f, ok := flagOf[k.first.Code]; ok && !r.HasFlag(f) {
			r.Flags = append(r.Flags, f)
		}
		if slices.ContainsFunc(r.Warnings, func(w decay.Warning) bool { return w.Code == k.first.Code }) {
			continue
		}
		text := fmt.Sprintf("%s at %.1f s", k.first.Name(), k.first.At.Seconds())
		switch {
		case k.n > 1:
			text = fmt.Sprintf("%s %d times, the first at %.1f s", k.first.Name(), k.n, k.first.At.Seconds())
		case k.first.State == Begins && k.first.over:
			text = fmt.Sprintf("%s from %.1f s to %.1f s", k.first.Name(), k.first.At.Seconds(), k.first.end.Seconds())
		case k.first.State == Begins:
			text = fmt.Sprintf("%s from %.1f s on", k.first.Name(), k.first.At.Seconds())
		}
		r.Warnings = append(r.Warnings, decay.Warning{Code: k.first.Code, Text: text + ": " + k.first.Text})
	}
	return r
}

// Short is the text without the name of the port, for a screen that shows it
// elsewhere.
func (f Fault) Short(port string) string { return strings.TrimPrefix(f.Text, port+": ") }
