package rig

import (
	"fmt"
	"time"

	"ebbline/decay"
)

// banner is what the board prints when it starts anew.
const banner = "simulated board, ready"

// headingEvery is how often a format's heading is printed, so that a reader who
// comes later meets it too.
const headingEvery = time.Second

// board is a rig with its script, its faults and its wire format; time comes in
// steps.
type board struct {
	rig    *Rig
	script *Script // nil: the valves are worked by hand
	stage  int     // of the script: 0 ready, 1 fill, 2 hold, 3 release, 4 over
	since  time.Duration
	now    time.Duration // since the rig was started

	format *format
	unit   decay.PressureUnit
	faults faultClock
	stream *stream
	clock  uint32        // the board's own clock at zeroAt
	zeroAt time.Duration // when the board was started
	stuck  *sensed       // the value that repeats
	down   bool          // between a reset and the boot after it
	began  bool          // the reset was at the latest step
	booted bool          // the board is up again, and has not said so yet
	headed time.Duration // when the heading was printed
	latest printed
}

// newBoard returns a board whose configuration is valid.
func newBoard(c Config, s *Script) *board {
	b := &board{rig: New(c), script: s, unit: c.Unit, clock: c.ClockStart, stream: newStream(c.Seed), headed: -headingEvery}
	b.format, _ = findFormat(c.Format) // Validate found it
	if b.unit == (decay.PressureUnit{}) {
		b.unit = decay.PressureUnits[0]
	}
	b.faults.plans = append(b.faults.plans, c.Plans...)
	if b.format.line == nil {
		b.step(0) // a slave may be asked at once
	}
	return b
}

func (c Config) reads() decay.Reference {
	if c.Absolute {
		return decay.ReadsAbsolute
	}
	return decay.ReadsGauge
}

func (b *board) inject(f Fault, long time.Duration) { b.faults.inject(f, b.now, long) }

// step goes on by d. It returns what the board then prints, and whether it
// prints at all; more is false when the script is over.
func (b *board) step(d time.Duration) (p printed, sends, more bool) {
	b.follow()
	if b.script != nil && b.stage == 4 {
		return printed{}, false, false
	}
	b.rig.Advance(d)
	b.now += d
	b.faults.advance(b.now)
	on := b.faults.on
	b.began = on.has(Reset) && !b.down
	if b.down && !on.has(Reset) {
		b.clock, b.zeroAt, b.headed, b.booted = 0, b.now, b.now-headingEvery, true
	}
	b.down = on.has(Reset)
	up := b.now - b.zeroAt
	p = printed{
		millis: b.clock + uint32(up.Milliseconds()), micros: b.clock + uint32(up.Microseconds()),
		sensed:  b.rig.sense(on, b.now-b.faults.since[Sag]),
		celsius: float64(b.rig.Temperature()) - decay.ZeroCelsius,
		bits:    b.rig.cfg.Bits, unit: b.unit, absolute: b.rig.cfg.Absolute, scale: 1,
	}
	switch {
	case !on.has(Stuck):
		b.stuck = nil
	case b.stuck == nil:
		s := p.sensed
		b.stuck = &s
	default:
		p.sensed = *b.stuck
	}
	if on.has(TimesTen) {
		p.scale *= 10
	}
	if on.has(TimesBar) {
		p.scale *= decay.Bar / decay.PSI
	}
	b.latest = p
	return p, !on.has(Silence) && !b.down, true
}

// bytes goes on by d and returns what then arrives at the port's reader.
func (b *board) bytes(d time.Duration) (out []byte, more bool) {
	p, sends, more := b.step(d)
	on := b.faults.on
	switch {
	case !more || b.format.line == nil:
		return b.stream.send(nil, on, b.now), more
	case b.began:
		line := b.format.line(&p)
		return b.stream.send([]byte(line[:len(line)/2]), on, b.now), more
	case !sends:
		return b.stream.send(nil, on, b.now), more
	}
	if b.booted {
		b.booted = false
		out = append(out, b.stream.noise(16)...)
		out = append(out, b.stream.line("", on, b.now)...)
		out = append(out, b.stream.line(banner, on, b.now)...)
	}
	if b.format.heading != nil && b.now-b.headed >= headingEvery {
		b.headed = b.now
		out = append(out, b.stream.line(b.format.heading(&p), on, b.now)...)
	}
	return append(out, b.stream.line(b.format.line(&p), on, b.now)...), more
}

// plainLine is the default format's.
func plainLine(p *printed) string { return fmt.Sprintf("%d,%s", p.millis, p.pressure()) }

// State is how a rig stands, for a person to see.
type State struct {
	At           time.Duration // since it was started
	Supply, Vent bool          // valves open
	Pressure     decay.Gauge   // true
	Temperature  decay.Temperature
	Config       Config  // with the present hole, seep and volume
	Faults       []Fault // that are on
}

// Phase is what the valves do: fill, release or hold.
func (s State) Phase() decay.Phase {
	switch {
	case s.Supply:
		return decay.PhaseFill
	case s.Vent:
		return decay.PhaseRelease
	}
	return decay.PhaseHold
}

func (b *board) state() State {
	return State{
		At: b.now, Supply: b.rig.supply, Vent: b.rig.vent, Pressure: b.rig.Pressure().Gauge(b.rig.cfg.Ambient),
		Temperature: b.rig.Temperature(), Config: b.rig.cfg, Faults: b.faults.on.list(),
	}
}
