package tui

import (
	"strings"
	"time"
	"unicode"
	"unicode/utf8"

	"ebbline/decay"
	"ebbline/sensor"
)

// takeFault notes what is wrong with the readings, or is no longer.
func (m *model) takeFault(f sensor.Fault, now time.Time) {
	m.faults.Take(f)
	if m.over {
		return
	}
	m.at = max(m.at, f.At)
	m.step(m.faults.Event(m.at))
	switch {
	case f.State == sensor.Ends:
	case f.Lost():
		m.why = f.Name() + ": " + f.Short(m.s.about.Name)
		m.heard = now.Add(-silence)
		m.step(decay.Lost{At: m.at, Why: m.why})
	case f.State == sensor.Moment:
		m.moment, m.faulted = f.Name()+": "+f.Short(m.s.about.Name)+"; "+f.Hint, now
	}
}

// showFaults brings the scene's fault up to date: the gravest that is on, else
// for a while one that came and went.
func (m *model) showFaults(now time.Time) {
	s := &m.s
	s.fault, s.next, s.doubt, s.restart = "", "", false, false
	s.spoiled = m.faults.Spoil(s.st.Result, m.from)
	if f, ok := m.faults.Worst(); ok {
		s.fault, s.next, s.doubt = f.Name()+": "+f.Short(s.about.Name), f.Hint, f.Doubt()
		s.restart = f.Code == sensor.FaultReference
	} else if m.moment != "" && now.Sub(m.faulted) <= faultShown {
		s.fault = m.moment
	}
	if m.said != "" && now.Sub(m.saidAt) <= saidShown && !s.doubt {
		s.fault = m.said
	}
}

// state is where the test stands, as far as the readings can be trusted; a
// result says what the faults say of it.
func (m *model) state() decay.State {
	st := m.faults.Live(m.proc.State(), m.from)
	if m.over {
		st.Result = m.faults.Judge(st.Result, m.from)
		if st.Result.Outcome == decay.Unusable {
			st.Verdict = decay.Undecided
		}
	}
	return st
}

// inDoubt reports whether the readings of a running test are not to be trusted.
func (s *scene) inDoubt() bool { return s.doubt && s.st.Phase != decay.PhaseOver }

// nextStep is what to do about the fault that is on, "" when none asks for it.
func (s *scene) nextStep() string {
	if s.next == "" || s.st.Phase == decay.PhaseOver || s.st.OverCeiling {
		return ""
	}
	step := sentence(s.next)
	if s.restart { // a next test would be read just as wrongly
		step += " Key q quits."
	}
	if s.doubt || s.st.Lost {
		switch s.st.Phase {
		case decay.PhaseReady, decay.PhaseFill:
			return "Shut the supply. " + step
		}
		if s.spoiled && !s.restart {
			return step + " This test is unusable: test again after that, key n."
		}
		return step
	}
	return ""
}

// sentence starts s with a capital and ends it with a stop.
func sentence(s string) string {
	r, n := utf8.DecodeRuneInString(s)
	s = string(unicode.ToUpper(r)) + s[n:]
	if !strings.HasSuffix(s, ".") {
		s += "."
	}
	return s
}
