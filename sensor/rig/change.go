package rig

import (
	"math"

	"ebbline/decay"
)

// change takes over a configuration whose duct or leak is another. The air
// keeps its pressure and temperature.
func (r *Rig) change(edit func(*Config)) error {
	c := r.cfg
	edit(&c)
	if err := c.Validate(); err != nil {
		return err
	}
	r.m *= float64(c.Volume / r.cfg.Volume)
	r.cfg = c
	r.hA = c.wallHeat()
	r.step = c.stepFor()
	return nil
}

// SetHole makes the leak's hole another; 0 shuts it. The error says what of it
// no rig can be; the rig then stays as it was.
func (r *Rig) SetHole(d decay.Length) error { return r.change(func(c *Config) { c.Hole = d }) }

// SetSeep makes the laminar leak another, in kg/(s·Pa²); 0 shuts it.
func (r *Rig) SetSeep(s float64) error { return r.change(func(c *Config) { c.Seep = s }) }

// SetVolume makes the duct another size, at the same pressure and temperature.
func (r *Rig) SetVolume(v decay.Volume) error { return r.change(func(c *Config) { c.Volume = v }) }

// SeepLike is the laminar leak, kg/(s·Pa²), that passes at the rig's supply
// pressure as much as a hole of the given diameter.
func (c Config) SeepLike(hole decay.Length) float64 {
	p := c.Supply.Absolute(c.Ambient)
	cda := decay.Area(decay.DefaultCd * float64(decay.CircleArea(hole)))
	m := float64(decay.NozzleFlow(cda, p, c.Temperature, c.Ambient))
	return m / float64(p*p-c.Ambient*c.Ambient)
}

// HoleLike is the diameter of the hole that passes at the rig's supply pressure
// as much as its laminar leak: the inverse of [Config.SeepLike].
func (c Config) HoleLike() decay.Length {
	one := c.SeepLike(decay.Millimetre)
	return decay.Length(math.Sqrt(c.Seep/one)) * decay.Millimetre
}

// change works on the rig between two readings.
func (s *Source) change(work func(*Rig) error) error {
	s.mu.Lock()
	defer s.mu.Unlock()
	return work(s.board.rig)
}

// SetHole makes the leak's hole another while the rig runs; 0 shuts it. The
// error says what of it no rig can be; the rig then stays as it was.
func (s *Source) SetHole(d decay.Length) error {
	return s.change(func(r *Rig) error { return r.SetHole(d) })
}

// SetSeep makes the laminar leak another while the rig runs, in kg/(s·Pa²);
// [Config.SeepLike] gives one as large as a hole.
func (s *Source) SetSeep(seep float64) error {
	return s.change(func(r *Rig) error { return r.SetSeep(seep) })
}

// SetVolume makes the duct another size while the rig runs.
func (s *Source) SetVolume(v decay.Volume) error {
	return s.change(func(r *Rig) error { return r.SetVolume(v) })
}

// Config is what the rig is at present.
func (s *Source) Config() Config {
	s.mu.Lock()
	defer s.mu.Unlock()
	return s.board.rig.cfg
}
