package rig

import (
	"context"
	"fmt"
	"io"
	"sync"
	"time"

	"ebbline/decay"
	"ebbline/sensor"
)

// Source is a rig that delivers readings at its rate, in real time. It is a
// [sensor.Source] and has [sensor.Controls].
type Source struct {
	mu    sync.Mutex
	board *board
	next  time.Time
	done  chan struct{}
	once  sync.Once
}

// NewSource starts a rig. A script works the valves until somebody does by
// hand; without one (nil) nobody else does. The configuration must be valid.
func NewSource(c Config, s *Script) *Source {
	return &Source{board: newBoard(c, s), next: time.Now(), done: make(chan struct{})}
}

func (s *Source) step() time.Duration {
	return time.Duration(float64(time.Second) / s.board.rig.cfg.Rate)
}

// Next implements [sensor.Source].
func (s *Source) Next(ctx context.Context) (sensor.Item, error) {
	// First, because below an overdue reading would compete with the end.
	select {
	case <-s.done:
		return sensor.Item{}, sensor.ErrClosed
	default:
	}
	if err := ctx.Err(); err != nil {
		return sensor.Item{}, err
	}
	for {
		if err := s.wait(ctx); err != nil {
			return sensor.Item{}, err
		}
		s.mu.Lock()
		p, sends, more := s.board.step(s.step())
		line := s.board.format.line
		if line == nil {
			line = plainLine
		}
		it := sensor.Item{Reading: sensor.Reading{Sample: decay.Sample{At: s.board.now}}}
		ambient := s.board.rig.cfg.Ambient
		it.Shut = more && sends && s.board.rig.shut()
		s.mu.Unlock()
		if !more {
			return sensor.Item{}, io.EOF
		}
		if !sends {
			continue
		}
		it.Raw = line(&p)
		if p.absolute {
			it.P = decay.Pressure(p.shown())
		} else {
			it.P = decay.Gauge(p.shown()).Absolute(ambient)
		}
		return it, nil
	}
}

// wait waits until the next reading is due.
func (s *Source) wait(ctx context.Context) error {
	s.mu.Lock()
	s.next = s.next.Add(s.step())
	wait := time.Until(s.next)
	if wait < -time.Second {
		s.next, wait = time.Now(), 0 // the machine slept: do not rush after it
	}
	s.mu.Unlock()
	timer := time.NewTimer(wait)
	defer timer.Stop()
	select {
	case <-timer.C:
		return nil
	case <-s.done:
		return sensor.ErrClosed
	case <-ctx.Done():
		return ctx.Err()
	}
}

// About implements [sensor.Source].
func (s *Source) About() sensor.About {
	c := s.Config()
	hole := "a tight duct"
	switch seep := fmt.Sprintf("a seep like a hole of %.2f mm", float64(c.HoleLike())/decay.Millimetre); {
	case c.Hole > 0:
		digits := "%.2f"
		if c.Hole < 0.1*decay.Millimetre {
			digits = "%.2g" // or a tiny one would be of 0.00 mm
		}
		hole = fmt.Sprintf("a hole of "+digits+" mm", float64(c.Hole)/decay.Millimetre)
		if c.Seep > 0 {
			hole += " and " + seep
		}
	case c.Seep > 0:
		hole = seep
	}
	return sensor.About{
		Name:      "simulated rig",
		Detail:    fmt.Sprintf("simulated: %.3g L, %s, %g readings a second; no real pressure anywhere", float64(c.Volume)/decay.Litre, hole, c.Rate),
		Reads:     c.reads(),
		FullScale: c.FullScale,
		Simulated: true,
	}
}

// Close implements [sensor.Source].
func (s *Source) Close() error {
	s.once.Do(func() { close(s.done) })
	return nil
}

func (s *Source) byHand(work func(*Rig)) {
	s.mu.Lock()
	defer s.mu.Unlock()
	s.board.script = nil
	work(s.board.rig)
}

// Fill implements [sensor.Controls].
func (s *Source) Fill() { s.byHand((*Rig).Fill) }

// Isolate implements [sensor.Controls].
func (s *Source) Isolate() { s.byHand((*Rig).Isolate) }

// Release implements [sensor.Controls].
func (s *Source) Release() { s.byHand((*Rig).Release) }

// Inject switches a fault on for a time; 0: until it is cleared. The error says
// that only a port can have it.
func (s *Source) Inject(f Fault, long time.Duration) error {
	if f.OfPort() {
		return fmt.Errorf("%v is a fault of a port, and the rig inside has none: use a rig on a pseudo-terminal", f)
	}
	s.mu.Lock()
	defer s.mu.Unlock()
	s.board.inject(f, long)
	return nil
}

// Clear switches a fault off.
func (s *Source) Clear(f Fault) {
	s.mu.Lock()
	defer s.mu.Unlock()
	s.board.faults.on &^= 1 << f
}

// State is how the rig stands.
func (s *Source) State() State {
	s.mu.Lock()
	defer s.mu.Unlock()
	return s.board.state()
}
