package rig

import (
	"math"
	"time"

	"ebbline/decay"
)

// The transducer is ratiometric on a nominal supply of 5 V: 10 % of the supply
// at zero, 90 % at full scale.
const (
	nominalSupply = 5.0 // V
	saggedSupply  = 4.3 // V
	zeroRatio     = 0.1
	spanRatio     = 0.8
)

// sensed is one conversion.
type sensed struct {
	value  float64 // Pa in the transducer's own reference, as a board that counts on 5 V works it out
	ratio  float64 // output to supply
	supply float64 // V
}

// sense is what the transducer and the converter make of the true pressure:
// zero error, noise, the converter's steps, the range, and the faults that are
// on, each since a time ago.
func (r *Rig) sense(on faultSet, sagged time.Duration) sensed {
	c := r.cfg
	x := float64(r.Pressure())
	if !c.Absolute {
		x -= float64(c.Ambient)
	}
	noise := float64(c.Noise)
	if on.has(Noisy) {
		noise = 20 * math.Max(noise, 20)
	}
	x += float64(c.ZeroError) + noise*r.rng.NormFloat64()
	if on.has(Spikes) && r.rng.Float64() < 0.02 {
		x += c.FullScale * (r.rng.Float64() - 0.5)
	}
	if c.Bits > 0 {
		step := c.FullScale / float64(int(1)<<c.Bits)
		x = math.Round(x/step) * step
	}
	x = math.Min(x, c.FullScale)
	s := sensed{value: x, ratio: zeroRatio + spanRatio*x/c.FullScale, supply: nominalSupply}
	switch {
	case on.has(OpenCircuit):
		s.ratio = 0
	case on.has(RailLow):
		s.ratio = 0.05
	case on.has(RailHigh):
		s.ratio = 0.95
	case on.has(Sag):
	default:
		return s
	}
	if on.has(Sag) {
		s.supply = saggedSupply + (nominalSupply-saggedSupply)*math.Exp(-sagged.Seconds()/0.02) + 0.002*r.rng.NormFloat64()
	}
	s.value = (s.volts()/nominalSupply - zeroRatio) / spanRatio * c.FullScale
	return s
}

// volts is the transducer's output.
func (s sensed) volts() float64 { return s.ratio * s.supply }

// counts is the converter's output with the supply for its reference, which
// takes a sag out of it.
func (s sensed) counts(bits int) int {
	if bits == 0 {
		bits = 16
	}
	top := float64(int(1)<<bits - 1)
	return int(math.Round(math.Min(math.Max(s.ratio, 0), 1) * top)) // a converter has no more counts than these
}

// Read is what the transducer shows, without a fault.
func (r *Rig) Read() decay.Gauge {
	v := r.sense(0, 0).value
	if r.cfg.Absolute {
		return decay.Pressure(v).Gauge(r.cfg.Ambient)
	}
	return decay.Gauge(v)
}
