package tui

import (
	"math"
	"strconv"
	"strings"
	"time"

	"ebbline/decay"
	"ebbline/decay/report"
	"ebbline/sensor"
	"ebbline/tui/chart"
)

// scene is all that a frame is drawn from. It holds values only, so that a
// picture can be made of any moment without a test running.
type scene struct {
	st       decay.State
	set      decay.Setup // with defaults
	unit     decay.PressureUnit
	title    string
	about    sensor.About
	ports    []string
	trace    *chart.Columns // seconds, Pa gauge
	marks    []mark         // phase changes, oldest first
	fault    string         // the gravest that is on, or one that came and went
	next     string         // what to do about it
	doubt    bool           // the readings are not to be trusted
	restart  bool           // only a start with other flags helps
	spoiled  bool           // they were not in this hold, which makes it unusable
	saved    string         // where the record went
	notice   string         // a record that could not be saved, a stream that ended
	trouble  string         // why the test under way is not being kept
	bell     bool
	rig      bool // the valves can be worked from here
	auto     bool // they work by themselves
	ascii    bool
	card     *card // the start card, while it is shown
	hunt     hunt
	view     view
	wait     wait // until a verdict, as it is shown
	split    split
	section  string // the test under way is of this section; "": of no section
	before   *past  // the test this one is compared with
	detail   bool
	help     bool
	helpPage int
	clean    decay.Result // what was known before that
	keys     []hint       // for the foot of the screen and the help
}

// view is what a test is looked at with.
type view uint8

const (
	viewRoom view = iota
	viewHunt
	viewSplit
)

// mark is a phase change on the time axis.
type mark struct {
	at float64 // s
	to decay.Phase
}

// Smallest screens for each layout; below the small one only words are left.
const (
	fullW, fullH   = 64, 20
	smallW, smallH = 34, 9
	wideW          = 132 // from here the details stand beside the room
	ruleLo, ruleHi = 0.1, 5.0
)

// draw makes a frame of exactly w×h cells.
func (s *scene) draw(w, h int) *grid {
	g := newGrid(w, h)
	g.ascii = s.ascii
	switch {
	case w <= 0 || h <= 0:
	case s.st.OverCeiling:
		s.drawAlarm(g)
	case s.card != nil:
		s.drawCard(g)
	case s.help && w >= smallW && h >= smallH:
		s.drawHelp(g)
	case s.view == viewSplit && !s.help && !s.detail && w >= smallW && h >= smallH:
		s.drawSplit(g)
	case s.view == viewHunt && !s.help && !s.detail && w >= fullW && h >= fullH:
		s.drawHunt(g)
	case s.view == viewHunt && !s.help && !(s.detail && w >= fullW && h >= fullH) && w >= smallW && h >= smallH:
		s.drawHuntSmall(g)
	case w >= fullW && h >= fullH:
		s.drawFull(g)
	case w >= smallW && h >= smallH:
		s.drawSmall(g)
	default:
		s.drawTiny(g)
	}
	return g
}

// advice is the one sentence.
func (s *scene) advice() string {
	if step := s.nextStep(); step != "" {
		return step
	}
	if s.outcome() == decay.NeverBuilt && !s.st.OverCeiling && !s.st.Lost && s.st.Advice != decay.AdviseReleasing && s.st.Phase != decay.PhaseOver {
		st := s.st
		st.Advice = decay.AdviseListen
		return report.Advice(st, s.set, s.unit)
	}
	if s.auto && !s.st.Lost && !s.st.InBand && s.st.Seen && (s.st.Phase == decay.PhaseReady || s.st.Phase == decay.PhaseFill) {
		return "The simulated rig fills and shuts its valve by itself: just watch. The keys f, i and r take its valves over."
	}
	st := s.st
	if s.wait.left > 0 {
		st.Result.ToDecide = s.wait.left
	}
	a := report.Advice(st, s.set, s.unit)
	if s.st.Advice == decay.AdviseSayShut {
		a += " Press i."
	}
	if s.st.Verdict == decay.Unusable && isolated(s.st.Phase) && !s.restart {
		a += " Key n."
	}
	return a
}

// unseen says that the sensor ends where the ceiling is, before air is let in;
// "" when it reaches further.
func (s *scene) unseen() string {
	if s.card == nil && s.st.Phase != decay.PhaseReady {
		return ""
	}
	set := s.set
	if s.card != nil {
		if g, err := decay.ParseGauge(strings.TrimSpace(s.card.ceiling.text)); err == nil {
			set.Ceiling = g
		}
	}
	return report.Unseen(set, s.unit)
}

// digits is the pressure in the chosen unit, or dashes when there is none.
func (s *scene) digits() string {
	if !s.st.Seen || s.st.Lost || math.IsNaN(float64(s.st.P)) || math.IsInf(float64(s.st.P), 0) {
		return "--.--"
	}
	n := s.st.P.Number(s.unit)
	if strings.Trim(n, "-0.") == "" {
		n = strings.TrimPrefix(n, "-") // no minus before a zero
	}
	return n
}

// pressureStyle is plain weight for a normal pressure and the warning colour
// in the band.
func (s *scene) pressureStyle() style {
	switch {
	case s.st.Lost || !s.st.Seen || s.doubt:
		return dim
	case s.st.InBand:
		return warn
	}
	return strong
}

// phase is the word for where the test stands.
func (s *scene) phase() string {
	if s.st.Lost {
		return "no reading"
	}
	if s.inDoubt() {
		return "in doubt"
	}
	return s.st.Phase.String()
}

// verdict is the word of a verdict that was reached, else "".
func (s *scene) verdict() string {
	switch s.outcome() {
	case decay.Holds:
		return "holds"
	case decay.Leaks:
		return "leaks"
	case decay.NeverBuilt:
		return "never built"
	case decay.NoHold:
		return "no hold"
	case decay.Unusable:
		return "unusable"
	}
	if s.st.Phase == decay.PhaseOver {
		return "undecided"
	}
	return ""
}

// outcome is the latched verdict or, once the test is over, its result. That the
// pressure never came up is known without a hold: in a fill that has stopped
// rising, and after it.
func (s *scene) outcome() decay.Outcome {
	switch r := s.st.Result.Outcome; {
	case s.st.Verdict != decay.Undecided:
		return s.st.Verdict
	case s.st.Phase == decay.PhaseOver:
		return r
	case r == decay.NeverBuilt && !s.inDoubt() && (s.st.Advice == decay.AdviseListen || s.st.Phase.Emptied()):
		return r
	}
	return s.st.Verdict
}

func (s *scene) verdictStyle() style {
	if s.outcome() == decay.Holds {
		return strong
	}
	return warn
}

// inPhase is the time since the phase began, as m:ss.
func (s *scene) inPhase() string { return clock((s.st.Now - s.st.PhaseSince).Seconds()) }

// toCeiling says how far the ceiling is at the present rate; "" when the
// pressure is not rising toward it.
func (s *scene) toCeiling() string {
	if s.st.ToCeiling <= 0 || s.st.Lost {
		return ""
	}
	t := "ceiling in " + brief(s.st.ToCeiling)
	if s.st.InBand {
		return "WARNING BAND: " + t
	}
	return t + " at this rate"
}

// facts are the lines beside the digits, the most wanted first.
func (s *scene) facts() []fact {
	var out []fact
	st := s.st
	if t := s.toCeiling(); t != "" {
		k := plain
		if st.InBand {
			k = warn
		}
		out = append(out, fact{t, k})
	} else if st.InBand && !st.Lost {
		out = append(out, fact{"WARNING BAND: ceiling " + s.set.Ceiling.Format(s.unit), warn})
	}
	if st.Result.HasFit {
		if hole := s.sized(); hole != "" {
			out = append(out, fact{hole, s.guessStyle()})
		}
		if isolated(st.Phase) {
			out = append(out, fact{"leak at first " + s.loss(), dim})
		}
	} else if isolated(st.Phase) && !math.IsNaN(st.Slope) && !st.Lost {
		out = append(out, fact{"change " + signed(st.Slope*60/s.unit.Pascal) + " " + s.unit.Name + "/min", dim})
	}
	if st.Result.HasFlag(decay.FlagOverCeiling) || st.Result.Peak > s.set.Ceiling {
		out = append(out, fact{"ceiling passed: " + st.Result.Peak.Format(s.unit), warn})
	}
	return out
}

type fact struct {
	text string
	st   style
}

func isolated(p decay.Phase) bool { return p == decay.PhaseSettle || p == decay.PhaseHold }

// guessStyle is dim for an estimate that is a first guess.
func (s *scene) guessStyle() style {
	if s.st.FirstGuess() {
		return dim
	}
	return plain
}

// sized is the equivalent hole with its interval, called a guess while it is not
// worth more; "" when unknown.
func (s *scene) sized() string {
	h := s.hole()
	switch {
	case h == "":
		return ""
	case s.st.FirstGuess():
		return "guess " + h
	}
	return "hole " + h
}

// hole is the equivalent hole with its interval, "" when unknown.
func (s *scene) hole() string {
	r := s.found(s.st.Result)
	if !r.HasFit || !r.HasVolume {
		return ""
	}
	if u, ok := report.Under(r); ok {
		return u
	}
	return mm(r.Hole.Value) + " mm (" + mm(r.Hole.Low) + " to " + mm(r.Hole.High) + ")"
}

// loss is the leak's share of the pressure loss.
func (s *scene) loss() string {
	return signed(-s.st.Result.LossRate*60/s.unit.Pascal) + " " + s.unit.Name + "/min"
}

// details are the specialist's lines.
func (s *scene) details() []fact {
	r := s.st.Result
	var out []fact
	add := func(name, value string) {
		out = append(out, fact{name + strings.Repeat(" ", max(1, 16-width(name))) + value, plain})
	}
	out = append(out, fact{"details", strong})
	if r.HasFit {
		if r.HasVolume {
			sq := func(v float64) string { return three(v / decay.SquareMM) }
			add("effective area", sq(r.Area.Value)+" mm² ("+sq(r.Area.Low)+" to "+sq(r.Area.High)+")")
			add("", "sd from the trace "+sq(r.AreaSD)+" mm²")
			name := "equivalent hole"
			if s.st.FirstGuess() {
				name = "first guess of the hole"
			}
			add(name, s.hole())
			add("flow", three(decay.SCCM0C(r.Flow))+" sccm at 0 °C")
		}
		add("rate K", three(r.Rate.Value*1000)+" /1000 s ("+three(r.Rate.Low*1000)+" to "+three(r.Rate.High*1000)+")")
		add("leak law", r.Law.String())
		add("settling", three(100*r.Settling.Amplitude)+" %, τ "+brief(r.Settling.Tau))
		add("leak at first", s.loss())
	} else {
		out = append(out, fact{"no estimate yet", dim})
	}
	if r.Hold.StartAbs > 0 {
		add("hold from", r.Hold.StartAbs.Format(s.unit))
	}
	add("limit", report.Millimetres(float64(s.set.Limit))+", Cd "+three(s.set.Cd))
	if r.Smallest > 0 {
		add("could resolve", report.Millimetres(float64(r.Smallest)))
	}
	if r.HasDecide {
		add("verdict in", "about "+brief(r.ToDecide))
	}
	if s.set.Volume > 0 {
		v := three(float64(s.set.Volume)/decay.Litre) + " L"
		if s.set.VolumeTolerance > 0 {
			v += " ±" + three(100*s.set.VolumeTolerance) + " %"
		}
		add("volume", v)
	} else {
		add("volume", "not stated: no hole size (--volume)")
	}
	ambient := r.Ambient
	if ambient == 0 {
		ambient = s.set.NominalAmbient()
	}
	add("ambient", ambient.Format(s.unit))
	if r.Zero != 0 {
		add("zero taken off", r.Zero.Format(s.unit))
	}
	add("peak", r.Peak.Format(s.unit))
	add("readings", strconv.Itoa(r.Samples))
	add("sensor", s.about.Name)
	if s.about.Detail != "" {
		add("", s.about.Detail)
	}
	if s.about.Rate > 0 {
		add("rate", three(s.about.Rate)+" readings a second")
	}
	if s.about.Clock != "" {
		add("time from", s.about.Clock)
	}
	if len(r.Flags) > 0 {
		var names []string
		for _, f := range r.Flags {
			names = append(names, string(f))
		}
		add("seen", strings.Join(names, ", "))
	}
	for _, w := range r.Warnings {
		out = append(out, fact{"! " + w.Text, plain})
	}
	return out
}

// clock prints seconds as m:ss or h:mm:ss.
func clock(t float64) string {
	if math.IsNaN(t) || t < 0 || t > 1e9 {
		t = 0
	}
	n := int(t)
	two := func(v int) string { return strconv.Itoa(v/10) + strconv.Itoa(v%10) }
	if n >= 3600 {
		return strconv.Itoa(n/3600) + ":" + two(n/60%60) + ":" + two(n%60)
	}
	return strconv.Itoa(n/60) + ":" + two(n%60)
}

// brief prints a duration in one or two words.
func brief(d time.Duration) string {
	s := d.Seconds()
	switch {
	case s < 9.95:
		return strconv.FormatFloat(math.Max(0, s), 'f', 1, 64) + " s"
	case s < 120:
		return strconv.FormatFloat(s, 'f', 0, 64) + " s"
	case s < 7200:
		return strconv.FormatFloat(s/60, 'f', 0, 64) + " min"
	}
	return strconv.FormatFloat(s/3600, 'f', 0, 64) + " h"
}

// signed prints a rate with its sign always shown.
func signed(v float64) string {
	if math.IsNaN(v) || math.IsInf(v, 0) {
		return "unknown"
	}
	s := strconv.FormatFloat(math.Abs(v), 'f', 2, 64)
	switch {
	case strings.Trim(s, "0.") == "":
		return s
	case v < 0:
		return "−" + s
	}
	return "+" + s
}

// mm prints a length in metres as millimetres.
func mm(v float64) string {
	if math.IsInf(v, 1) {
		return "∞"
	}
	return strconv.FormatFloat(v/decay.Millimetre, 'f', 2, 64)
}

// three prints three significant digits.
func three(v float64) string {
	if math.IsInf(v, 1) {
		return "∞"
	}
	if a := math.Abs(v); a != 0 && (a < 1e-4 || a >= 1e6) {
		return strconv.FormatFloat(v, 'e', 2, 64)
	}
	if v == 0 || math.IsNaN(v) {
		return strconv.FormatFloat(v, 'f', 0, 64)
	}
	d := 2 - int(math.Floor(math.Log10(math.Abs(v))))
	return strconv.FormatFloat(v, 'f', max(0, min(d, 6)), 64)
}
