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
	return time.Duration(float64(time.Second) / s.board.cfg.Rate)
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
	case <-s.done:
		return sensor.Item{}, sensor.ErrClosed
	case <-ctx.Done():
		return sensor.Item{}, ctx.Err()
	}
	s.mu.Lock()
	defer s.mu.Unlock()
	line, g, more := s.board.step(s.step())
	if !more {
		return sensor.Item{}, io.EOF
	}
	return sensor.Item{Reading: sensor.Reading{
		Sample: decay.Sample{At: s.board.now, P: g.Absolute(s.board.cfg.Ambient)},
		Raw:    line,
	}}, nil
}

// About implements [sensor.Source].
func (s *Source) About() sensor.About {
	c := s.Config()
	hole := "a tight duct"
	switch seep := fmt.Sprintf("a seep like a hole of %.2f mm", float64(c.HoleLike())/decay.Millimetre); {
	case c.Hole > 0:
		hole = fmt.Sprintf("a hole of %.2f mm", float64(c.Hole)/decay.Millimetre)
		if c.Seep > 0 {
			hole += " and " + seep
		}
	case c.Seep > 0:
		hole = seep
	}
	return sensor.About{
		Name:      "simulated rig",
		Detail:    fmt.Sprintf("simulated: %.3g L, %s, %g readings a second; no real pressure anywhere", float64(c.Volume)/decay.Litre, hole, c.Rate),
		Reads:     decay.ReadsGauge,
		FullScale: float64(c.FullScale),
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
