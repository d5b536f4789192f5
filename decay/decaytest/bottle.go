package decaytest

import (
	"math"
	"math/rand/v2"
	"time"

	"ebbline/decay"
)

// Tap is a rig with a bottle at ambient behind a tap, which is opened during
// the hold. The rig's rubber is rigid, and of its faults only noise, zero
// error, quantum and jitter happen.
type Tap struct {
	Rig
	Bottle    float64 // m³
	OpenAfter float64 // s after isolation
	TapArea   float64 // m², effective; 0: 15 mm²
	BottleTau float64 // s, thermal time constant of the bottle's gas at ambient; 0: 3 s
}

// fourfold is the state of both gases: pressures and masses.
type fourfold struct{ p, m, pb, mb float64 }

func (a fourfold) plus(k fourfold, h float64) fourfold {
	return fourfold{a.p + h*k.p, a.m + h*k.m, a.pb + h*k.pb, a.mb + h*k.mb}
}

// through is the mass flow of the tap from p, t to outer; it is made linear
// close to balance, where a nozzle's would be without a derivative.
func (b *Tap) through(p, t, outer float64) float64 {
	f := machFlow(p, outer)
	if x := p/outer - 1; x < 0.002 {
		f = machFlow(1.002, 1) * x / 0.002
	}
	return b.TapArea * p / math.Sqrt(gasR*t) * f
}

func (b *Tap) rates(a fourfold, supply, vent, open bool) fourfold {
	t, tb := a.p*b.Volume/(a.m*gasR), a.pb*b.Bottle/(a.mb*gasR)
	own := b.Rig.rates(air{p: a.p, m: a.m}, supply, vent)
	hb := b.Ambient * b.Bottle / (gasR * b.WallT) * gasR / (kappa - 1) / b.BottleTau
	if b.NaturalConvection {
		hb *= math.Pow(math.Abs(b.WallT-tb)/10, 0.25) * math.Sqrt(a.pb/b.Ambient)
	}
	out := fourfold{p: own.p, m: own.m, pb: (kappa - 1) * hb * (b.WallT - tb) / b.Bottle}
	if !open {
		return out
	}
	flow, from := 0.0, t
	if a.p >= a.pb {
		flow = b.through(a.p, t, a.pb)
	} else {
		flow, from = -b.through(a.pb, tb, a.p), tb
	}
	out.m -= flow
	out.mb += flow
	out.p -= kappa * gasR * from * flow / b.Volume
	out.pb += kappa * gasR * from * flow / b.Bottle
	return out
}

func (b *Tap) step(a fourfold, h float64, supply, vent, open bool) fourfold {
	k1 := b.rates(a, supply, vent, open)
	k2 := b.rates(a.plus(k1, h/2), supply, vent, open)
	k3 := b.rates(a.plus(k2, h/2), supply, vent, open)
	k4 := b.rates(a.plus(k3, h), supply, vent, open)
	a = a.plus(k1, h/6).plus(k2, h/3).plus(k3, h/3).plus(k4, h/6)
	a.p, a.pb = max(a.p, b.Ambient), max(a.pb, b.Ambient)
	return a
}

// MakeTap runs the rig through idle, fill, hold with the tap opened in it, and
// release.
func MakeTap(b Tap) Trace {
	b.Rig = b.Rig.withDefaults()
	b.ComplianceShare, b.CreepShare = 0, 0
	if b.TapArea == 0 {
		b.TapArea = 15e-6
	}
	if b.BottleTau == 0 {
		b.BottleTau = 3
	}
	rnd := rand.New(rand.NewPCG(b.Seed, 0x7a9))
	seconds := func(s float64) time.Duration { return time.Duration(math.Round(s * 1e9)) }
	isolated := b.IdleSeconds + b.FillSeconds
	opened := isolated + b.OpenAfter
	released := isolated + b.HoldSeconds
	end := released + b.ReleaseSeconds
	tr := Trace{
		IsolatedAt: seconds(isolated), HoldEnd: seconds(released),
		Setup: decay.Setup{
			Ambient: decay.Pressure(b.Ambient), AmbientTemperature: decay.Temperature(b.WallT),
			FullScale: b.FullScale, Rigid: true,
		},
	}
	at := func(v float64) float64 { return b.Ambient * v / (gasR * b.WallT) }
	a := fourfold{b.Ambient, at(b.Volume), b.Ambient, at(b.Bottle)}
	// The tap's flow near balance settles in about rate⁻¹, which Runge and Kutta's rule has to follow.
	rate := kappa * b.TapArea * math.Sqrt(gasR*b.WallT) * machFlow(1.002, 1) / 0.002 * (1/b.Volume + 1/b.Bottle)
	still := 1 / rate
	now := 0.0
	for i := range int(math.Floor(end*b.Rate)) + 1 {
		due := float64(i) / b.Rate
		for now < due-1e-12 {
			h := min(0.004, due-now)
			if now >= opened-1e-9 {
				h = min(h, still)
			}
			for _, edge := range [...]float64{b.IdleSeconds, isolated, opened, released} {
				if now < edge-1e-9 && now+h > edge {
					h = edge - now
				}
			}
			if mid := now + h/2; mid > b.IdleSeconds {
				a = b.step(a, h, mid < isolated, mid > released, mid > opened)
			}
			now += h
			if math.Abs(now-isolated) < 1e-9 {
				tr.truth(&b.Rig, air{p: a.p, m: a.m})
			}
		}
		reading := a.p - b.Ambient + b.ZeroError + b.Noise*rnd.NormFloat64()
		if b.Quantum > 0 {
			reading = math.Round(reading/b.Quantum) * b.Quantum
		}
		stamp := due
		if b.Jitter > 0 {
			stamp = max(0, stamp+b.Jitter*(rnd.Float64()-0.5)/b.Rate)
		}
		tr.Samples = append(tr.Samples, decay.Sample{At: seconds(stamp), P: decay.Pressure(reading + b.Ambient)})
	}
	return tr
}
