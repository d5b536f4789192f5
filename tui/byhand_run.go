package tui

import (
	"errors"
	"fmt"
	"math"
	"slices"
	"strconv"
	"strings"
	"time"

	"ebbline/decay"
)

// DialReading is what somebody read from a dial and typed.
type DialReading struct {
	At time.Duration // since the first reading
	P  decay.Gauge
}

// maxDialReadings is more than a person types: a longer series is a recorded
// trace.
const maxDialReadings = 5000

// HandRun is a hold that is read by eye: the readings so far and what they
// say. Like a procedure it knows no clock.
type HandRun struct {
	set    decay.Setup
	list   []DialReading
	proc   *decay.NetProcedure // for the verdict under watching
	result decay.Result        // of all readings so far
	over   bool
}

// NewHandRun starts a hold read from a dial whose smallest division the set-up
// states.
func NewHandRun(set decay.Setup) *HandRun {
	return &HandRun{set: set, proc: decay.NewNetProcedure(set)}
}

// Add takes a reading. It refuses one that is not after the reading ahead of
// it, and one that no dial shows.
func (h *HandRun) Add(r DialReading) error {
	switch n := len(h.list); {
	case h.over:
		return errors.New("the hold is over")
	case n >= maxDialReadings:
		return fmt.Errorf("more than %d readings: ebbline measure judges recorded traces", maxDialReadings)
	case r.At < 0:
		return fmt.Errorf("%g s is before the first reading", r.At.Seconds())
	case n > 0 && r.At <= h.list[n-1].At:
		return fmt.Errorf("%g s is not after the reading ahead of it, at %g s", r.At.Seconds(), h.list[n-1].At.Seconds())
	case !(r.P > -decay.Bar && r.P < 10*decay.Bar):
		return fmt.Errorf("outside -1 to 10 bar gauge (%.4g to %.4g psi), what a dial for this test may show", -decay.Bar/decay.PSI, 10*decay.Bar/decay.PSI)
	}
	h.list = append(h.list, r)
	h.take(r)
	h.judge()
	return nil
}

// judge looks at the readings as a whole: there are few, and each counts.
func (h *HandRun) judge() {
	samples := make([]decay.Sample, len(h.list))
	for i, r := range h.list {
		samples[i] = h.sample(r)
	}
	h.result = decay.Net(decay.Analyse(h.set, samples), h.set.RigLeak, h.set.WithDefaults().Limit)
}

func (h *HandRun) sample(r DialReading) decay.Sample {
	return decay.Sample{At: r.At, P: r.P.Absolute(h.set.NominalAmbient())}
}

func (h *HandRun) take(r DialReading) {
	h.proc.Step(decay.Taken{Sample: h.sample(r)})
	h.proc.Step(decay.Look{At: r.At})
}

// Misfit says what is odd of a reading beside the ones before it, "" when it
// goes on as they did. The bounds are our own choice: they let pass what settling
// air and a leak do, and not a wrong figure in front.
func (h *HandRun) Misfit(r DialReading, u decay.PressureUnit) string {
	n := len(h.list)
	if n == 0 || r.P > h.set.WithDefaults().Ceiling { // of that the alarm tells
		return ""
	}
	last, division := h.list[n-1], h.set.Division
	before := " the " + last.P.Number(u) + " of " + clock(last.At.Seconds())
	if r.P > last.P+max(2*division, last.P/50) {
		return r.P.Number(u) + " is higher than" + before
	}
	most := last.P/2 + 2*division
	if n > 1 {
		prev := h.list[n-2]
		fall := (max(prev.P-last.P, 0) + division) * decay.Gauge((r.At-last.At).Seconds()/(last.At-prev.At).Seconds())
		most = max(3*fall, last.P/10)
	}
	if r.P < last.P-most {
		return r.P.Number(u) + " is far below" + before
	}
	return ""
}

// TakeBack removes the reading at place i of [HandRun.Readings].
func (h *HandRun) TakeBack(i int) (DialReading, bool) {
	if i < 0 || i >= len(h.list) || h.over {
		return DialReading{}, false
	}
	gone := h.list[i]
	h.list = slices.Delete(h.list, i, i+1)
	h.proc = decay.NewNetProcedure(h.set)
	for _, r := range h.list {
		h.take(r)
	}
	h.judge()
	return gone, true
}

// Readings are those in force, in order.
func (h *HandRun) Readings() []DialReading { return h.list }

// State is a snapshot, in which a hold is under way as soon as there is a
// reading: whoever reads a dial starts after the valve was shut.
func (h *HandRun) State() decay.State {
	st := h.proc.State()
	st.Result = h.result
	if st.Verdict != h.result.Outcome { // the record would say otherwise
		st.Verdict = decay.Undecided
	}
	if len(h.list) > 0 && !h.over {
		st.Phase, st.PhaseSince = decay.PhaseHold, 0
	}
	return st
}

// Finish ends the hold and returns its result.
func (h *HandRun) Finish() decay.Result {
	if !h.over {
		h.proc.Step(decay.Finish{At: h.proc.State().Now})
		h.judge()
		h.over = true
	}
	return h.result
}

// ParseDial reads what a person typed as the pressure on a dial: a number in
// u, or a number with its own unit. It is always gauge.
func ParseDial(text string, u decay.PressureUnit) (decay.Gauge, error) {
	t := strings.TrimSpace(text)
	if t == "" {
		return 0, errors.New("nothing was typed")
	}
	v, err := strconv.ParseFloat(strings.Replace(t, ",", ".", 1), 64)
	if err == nil && !math.IsInf(v, 0) && strings.Trim(t, "0123456789.,+-") == "" { // not 2e1, nor NaN
		return decay.Gauge(v * u.Pascal), nil
	}
	g, err := decay.ParseGauge(t)
	if err != nil {
		return 0, fmt.Errorf("%.20q is no pressure, as 25.5 or 25.5%s", t, u.Name)
	}
	return g, nil
}

// usualDivision is the smallest division of an ordinary dial in u.
func usualDivision(u decay.PressureUnit) string {
	switch u.Name {
	case "bar":
		return "0.05"
	case "kPa":
		return "5"
	case "psi":
		return "0.5"
	}
	return strconv.FormatFloat(math.Round(0.5*decay.PSI/u.Pascal*100)/100, 'g', 3, 64)
}

// HandSentence is what to do now in a hold that is read by eye.
func (h *HandRun) HandSentence(u decay.PressureUnit) string {
	st, n := h.State(), len(h.list)
	r := h.result
	switch {
	case h.over:
		return "Done: let the air out slowly, and wait for zero before you loosen a clamp."
	case n == 0:
		return "Fill, shut the valve, then type what the dial shows: the time starts with the first key."
	case h.list[n-1].P > h.set.WithDefaults().Ceiling:
		return "Over the ceiling: shut the supply and let air out now."
	case st.Verdict != decay.Undecided:
		return "The answer is there: end the hold, then let the air out slowly, standing clear of plugs."
	case n > 1 && h.list[n-1].P > h.list[n-2].P+h.set.Division:
		return "Higher than the reading before: is the supply shut? A slip of the finger can be taken back."
	case n < decay.FewestReadings:
		return "Hands off the valves, go on reading: " + strconv.Itoa(n) + " of at least " + strconv.Itoa(decay.FewestReadings) + " readings."
	case r.HasFit && !r.HasVolume:
		return "No volume is known, so there is no verdict, only a rate: end when you have readings enough."
	case r.HasFit && r.HasDecide && r.ToDecide > 0 && r.ToDecide < 20*time.Minute:
		return "Not sure yet: go on for about " + brief(r.ToDecide) + "."
	case r.HasFit && r.Outcome == decay.Undecided:
		return "Not sure yet: a longer hold, a finer dial or a transducer would tell more."
	case r.HasFit && r.Outcome == decay.Leaks:
		return "Likely a leak, and so says the record if you end now: a few more readings settle it."
	case r.HasFit && r.Outcome == decay.Holds:
		return "Likely tight enough, and so says the record if you end now: a few more readings settle it."
	case r.HasFit:
		return "So far: " + strings.ReplaceAll(r.Outcome.String(), "-", " ") + ". Go on reading."
	}
	return "Go on reading: there is too little to judge yet."
}
