package main

import (
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"math"
	"strings"
	"time"

	"ebbline/decay"
	"ebbline/decay/report"
	"ebbline/sensor"
	"ebbline/tui"
)

// session is a test without a screen: readings in, one line a second out.
type session struct {
	src          sensor.Source
	set          decay.Setup
	unit         decay.PressureUnit
	out          io.Writer
	asJSON       bool
	length       time.Duration // ends the test; 0: nothing does
	untilVerdict bool
	onItem       func(sensor.Item)  // keeps it, on the reader's goroutine; may be nil
	save         func(decay.Result) // keeps the result before it is printed; may be nil
	tell         func(string)       // says once how the readings are understood; may be nil
	earlier      []decay.Sample     // of a test that is gone on with
	before       *tui.Past          // compared with; nil: nothing is

	proc   *decay.NetProcedure
	lines  *tui.Queue // to out
	faults sensor.Faults
	heard  time.Time     // when the latest item came, at first when the test began
	at     time.Duration // its time
	told   time.Duration // the latest time that was printed
}

// linesBehind is how many lines may wait for who takes them before the line of a
// second is left out.
const linesBehind = 10

// lookEvery is how often the estimate is renewed.
const lookEvery = 200 * time.Millisecond

// run follows the source until the context ends, the source does, or what was
// asked for is reached. It prints and returns the result of the whole test; an
// error of the source comes with it.
func (s *session) run(ctx context.Context) (decay.Result, error) {
	s.proc = decay.NewNetProcedure(s.set)
	for _, r := range s.earlier {
		s.proc.Step(decay.Taken{Sample: r})
	}
	// Neither the readings nor the clock wait for who takes the lines.
	s.lines = tui.NewQueue(s.out)
	defer s.lines.Close(0)
	pump := sensor.NewPump(s.src, s.onItem)
	drain := func() {
		for _, it := range pump.Drain(nil) {
			s.take(it)
		}
	}
	finish := func() decay.Result {
		pump.Stop()
		drain() // what came last is in the record
		return s.finish()
	}

	look := time.NewTicker(lookEvery)
	defer look.Stop()
	began := time.Now()
	s.heard, s.at = began, s.proc.State().Now
	second := 0
	for {
		select {
		case <-ctx.Done():
			return finish(), nil
		case <-pump.Wake():
			err := pump.Err() // before draining: what came ahead of the end is then drained too
			drain()
			if err != nil {
				if errors.Is(err, io.EOF) || errors.Is(err, sensor.ErrClosed) || errors.Is(err, context.Canceled) || errors.Is(err, context.DeadlineExceeded) {
					err = nil
				}
				return finish(), err
			}
		case <-look.C:
			if s.step(decay.Look{At: s.proc.State().Now}) && s.untilVerdict {
				s.second()
				return finish(), nil
			}
			since := time.Since(began)
			if n := int(since / time.Second); n > second {
				second = n
				s.second()
			}
			st := s.proc.State()
			over := st.Phase.Emptied() && st.Advice == decay.AdviseDone && !s.faults.Doubtful()
			if over || s.length > 0 && since >= s.length ||
				s.untilVerdict && st.Advice == decay.AdviseListen {
				return finish(), nil
			}
		}
	}
}

// take tells the procedure of an item.
func (s *session) take(it sensor.Item) {
	at := it.At
	if it.Fault != nil {
		at = it.Fault.At
	}
	s.heard, s.at = time.Now(), max(s.at, at)
	if it.Fault == nil {
		s.step(decay.Taken{Sample: it.Sample})
		if it.Shut {
			s.step(decay.Shut{At: it.At})
		}
		return
	}
	s.fault(*it.Fault)
	s.faults.Take(*it.Fault)
	s.step(s.faults.Event(it.Fault.At))
	if it.Fault.Lost() && it.Fault.State != sensor.Ends {
		s.step(decay.Lost{At: it.Fault.At, Why: it.Fault.Text})
	}
}

// step takes an event to the procedure, prints alarms and verdicts, and
// reports whether a verdict was reached.
func (s *session) step(ev decay.Event) (verdict bool) {
	for _, ef := range s.proc.Step(ev) {
		switch ef := ef.(type) {
		case decay.CeilingPassed:
			s.alarm("over-ceiling", "over the ceiling: shut the supply and let air out", ef.At, ef.P)
		case decay.CeilingCleared:
			s.alarm("ceiling-cleared", "below the ceiling again", ef.At, ef.P)
		case decay.VerdictReached:
			verdict = !s.faults.Doubtful()
		}
	}
	return verdict
}

func (s *session) alarm(code, text string, at time.Duration, p decay.Gauge) {
	now, of := s.said(at)
	if s.asJSON {
		s.object(struct {
			T     float64 `json:"t_s"`
			Of    float64 `json:"of_s"`
			Alarm string  `json:"alarm"`
			P     float64 `json:"kpa_gauge"`
			Text  string  `json:"text"`
		}{now.Seconds(), at.Seconds(), code, float64(p) / decay.Kilopascal, text})
		return
	}
	fmt.Fprintf(s.lines, "%6.1f s  ALARM  %s, %s%s\n", now.Seconds(), p.Format(s.unit), text, of)
}

// said is the time that a line is printed with, which never goes back, and what
// to add when it came late and is of an earlier moment.
func (s *session) said(at time.Duration) (now time.Duration, of string) {
	s.told = max(s.told, at)
	if s.told-at >= 100*time.Millisecond {
		of = fmt.Sprintf(" (came late, is of %.1f s)", at.Seconds())
	}
	return s.told, of
}

func (s *session) fault(f sensor.Fault) {
	now, of := s.said(f.At)
	if s.asJSON {
		s.object(struct {
			T     float64 `json:"t_s"`
			Of    float64 `json:"of_s"`
			Fault string  `json:"fault"`
			State string  `json:"state"`
			Name  string  `json:"name"`
			Text  string  `json:"text"`
			Hint  string  `json:"hint"`
		}{now.Seconds(), f.At.Seconds(), f.Code, f.State.String(), f.Name(), f.Text, f.Hint})
		return
	}
	word := "FAULT"
	if f.State == sensor.Ends {
		word = "FAULT OVER"
	}
	fmt.Fprintf(s.lines, "%6.1f s  %s  %s: %s: %s%s\n", now.Seconds(), word, f.Name(), printable(f.Text), f.Hint, of)
}

// outcome is the outcome a running test shows: none while the readings are in
// doubt.
func (s *session) outcome() decay.Outcome {
	return liveOutcome(s.state())
}

// state is where the test stands, as far as the readings can be trusted.
func (s *session) state() decay.State { return s.faults.Live(s.proc.State(), 0) }

// liveOutcome is the latched verdict, or why there will be none.
func liveOutcome(st decay.State) decay.Outcome {
	o := st.Result.Outcome
	built := o != decay.NeverBuilt || st.Advice != decay.AdviseListen // a fill that begins is low too
	if st.Verdict == decay.Undecided && (!built || o == decay.Unusable) {
		return o
	}
	return st.Verdict
}

// advice is what to do now. While the readings are not the duct's pressure,
// nothing that rests on them may be advised: least of all that it is empty.
func (s *session) advice(st decay.State) string {
	if f, ok := s.faults.Worst(); ok && f.Doubt() {
		return fmt.Sprintf("Do not trust the readings (%s), the duct may be under pressure: %s.", f.Name(), f.Hint)
	}
	switch st.Advice {
	case decay.AdviseFill, decay.AdviseKeepFilling, decay.AdviseIsolate:
		if s.src.About().Simulated {
			return "The simulated rig fills and shuts its valve by itself."
		}
	}
	return report.Advice(st, s.set, s.unit)
}

// clock is the test's time. It goes on while nothing comes, and never back when
// what comes is late.
func (s *session) clock() time.Duration {
	now := s.proc.State().Now
	if quiet := time.Since(s.heard); quiet > lookEvery {
		now = s.at + quiet
	}
	now, _ = s.said(now)
	return now
}

// second prints where the test stands.
func (s *session) second() {
	st := s.state()
	st.Now = s.clock()
	if st.Seen && s.tell != nil {
		a := s.src.About()
		if n, ok := s.src.(noted); ok {
			a.Detail = strings.TrimPrefix(a.Detail, n.note+"; ") // was said before
		}
		if !a.Simulated && a.Detail != "" {
			s.tell("how the lines are read: " + a.Detail)
		}
		s.tell = nil
	}
	if s.lines.Waiting() > linesBehind {
		return // late it would tell nothing; alarms, faults and the result wait
	}
	r := st.Result
	sized := r.HasFit && r.HasVolume
	if s.asJSON {
		type hole struct {
			Value float64  `json:"value"`
			Low   float64  `json:"low"`
			High  *float64 `json:"high"`
			Level float64  `json:"level"`
			Cd    float64  `json:"cd"`
		}
		line := struct {
			T        float64  `json:"t_s"`
			P        *float64 `json:"kpa_gauge"`
			Phase    string   `json:"phase"`
			Outcome  string   `json:"outcome"`
			Hole     *hole    `json:"hole_mm"`
			Decay    *float64 `json:"decay_per_s"`
			ToDecide *float64 `json:"seconds_to_decide"`
			Lost     bool     `json:"signal_lost"`
			Over     bool     `json:"over_ceiling"`
			Advice   string   `json:"advice"`
			Text     string   `json:"text"`
			Faults   []string `json:"faults"` // that are on
		}{T: st.Now.Seconds(), Phase: st.Phase.String(), Outcome: s.outcome().String(), Lost: st.Lost, Over: st.OverCeiling,
			Advice: string(st.Advice), Text: s.advice(st), Faults: s.faults.Codes()}
		if st.Seen && !st.Lost {
			line.P = finite(float64(st.P) / decay.Kilopascal)
		}
		if v, low := finite(r.Hole.Value/decay.Millimetre), finite(r.Hole.Low/decay.Millimetre); sized && v != nil && low != nil {
			line.Hole = &hole{*v, *low, finite(r.Hole.High / decay.Millimetre), r.Hole.Level, r.Cd}
		}
		if r.HasFit {
			line.Decay = finite(r.Rate.Value)
		}
		if r.HasDecide {
			line.ToDecide = finite(r.ToDecide.Seconds())
		}
		s.object(line)
		return
	}
	p := "no reading"
	if st.Seen && !st.Lost {
		p = st.P.Format(s.unit)
	}
	found := ""
	if sized {
		name := "hole"
		if st.FirstGuess() {
			name = "first guess"
		}
		found = fmt.Sprintf("  %s %s (%s to %s)", name, report.Millimetres(r.Hole.Value), report.Millimetres(r.Hole.Low), report.Millimetres(r.Hole.High))
	}
	fmt.Fprintf(s.lines, "%6.1f s  %s  %s  %s%s  %s\n", st.Now.Seconds(), p, st.Phase, s.outcome(), found, s.advice(st))
}

// finish ends the test and prints its result.
func (s *session) finish() decay.Result {
	began := time.Now()
	s.step(decay.Finish{At: s.proc.State().Now})
	r := s.faults.Judge(s.proc.State().Result, 0)
	in := report.Input{File: s.src.About().Name, Result: r, Of: s.set.Of, Simulated: s.src.About().Simulated, Elapsed: time.Since(began)}
	if s.save != nil {
		s.save(r)
	}
	if s.asJSON {
		s.repair(r)
		_ = report.JSON(s.lines, in) // a closed output has nobody to tell
	} else {
		_ = report.Text(s.lines, in, s.unit)
		s.repair(r)
	}
	return r
}

func (s *session) object(v any) {
	if b, err := json.Marshal(v); err == nil {
		fmt.Fprintf(s.lines, "%s\n", b)
	}
}

// finite is nil for what JSON has no number for.
func finite(f float64) *float64 {
	if math.IsNaN(f) || math.IsInf(f, 0) {
		return nil
	}
	return &f
}
