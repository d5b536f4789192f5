// Package decaytest makes pressure traces whose leak is known, for tests. It
// shares no code with the estimator: it has its own flow function, written over
// the Mach number, and integrates the two-state equations of the air in a duct
// by Runge and Kutta's rule instead of looking up a closed form.
package decaytest

import (
	"math"
	"math/rand/v2"
	"time"

	"ebbline/decay"
)

// Rig describes a duct, its leak, its supply and its transducer in bare SI
// units. The zero value of a field switches that effect off; where a zero would
// make no sense its doc says what it then stands for.
type Rig struct {
	Volume float64 // m³; 0: 8 L

	Area    float64 // m², effective area of the orifice leak (for PerryCd: bore area)
	Seep    float64 // κ, kg/(s·Pa²): ṁ = κ·(p² − pa²)
	ISOB    float64 // critical ratio b of an ISO 6358 ellipse for Area; 0: ideal nozzle
	PerryCd bool    // Area is multiplied by Perry's coefficient at the present ratio

	Isothermal        bool    // the gas stays at WallT
	HA                float64 // W/K between gas and wall; 0: from Tau
	Tau               float64 // s, thermal time constant at the supply pressure; 0 with HA 0: 6 s
	NaturalConvection bool    // hA ∝ |Tw−T|^¼·p^½, equal to HA at 10 K and the supply pressure

	ComplianceShare float64 // the volume swells at once by this share at the supply pressure
	CreepShare      float64 // and by this share more, given time
	CreepTau        float64 // s, time constant of the creep; 0: 60 s

	Ambient float64 // Pa absolute; 0: 101 325
	WallT   float64 // K; 0: 293.15
	Supply  float64 // Pa gauge; 0: 25 psi

	IdleSeconds    float64 // at ambient before the fill
	FillSeconds    float64 // supply valve open; 0: 6 s
	FillReach      float64 // share of FillSeconds after which a tight duct is full; 0: 0.7
	SupplyArea     float64 // m²; 0: as FillReach needs, and enough to outrun the leak
	HoldSeconds    float64
	ReleaseSeconds float64
	Vent           float64 // m² for each m³ of duct, that the release lets out through; 0: 6e-3

	Rate      float64 // Hz; 0: 50
	Noise     float64 // Pa, standard deviation
	Quantum   float64 // Pa, step of the converter
	Printed   float64 // Pa, last digit that the board prints; 0: all of them
	ZeroError float64 // Pa, added to every reading
	Lag       float64 // s, first order
	Jitter    float64 // share of the sample period by which stamps scatter
	Spikes    float64 // share of readings thrown off by up to ±Supply/2
	Dropped   float64 // share of readings missing
	Doubled   float64 // share of readings delivered twice

	FullScale  float64 // Pa gauge: readings stop there
	StuckAfter float64 // s after isolation from which one value repeats
	OpenAfter  float64 // s after isolation from which the wire is off: −⅛ of 30 psi
	BleedAfter float64 // s after isolation at which a valve is opened for 0.4 s
	TopUpAfter float64 // s after isolation at which the supply is opened for 1 s
	GapAfter   float64 // s after isolation at which 3 s of readings are missing

	Absolute bool // an absolute transducer
	Seed     uint64
}

// Trace is what the rig's transducer said, and the truth behind it.
type Trace struct {
	Samples    []decay.Sample
	Setup      decay.Setup   // volume, ambient, temperature and reference as they truly are
	IsolatedAt time.Duration // the supply valve shut
	HoldEnd    time.Duration // the vent opened, or the readings ended
	EmptyAt    time.Duration // the gauge pressure fell below 300 Pa during the hold; 0: never
	TruthP     decay.Pressure
	TruthT     decay.Temperature
	TruthArea  decay.Area // ideal nozzle passing the leak's mass flow at TruthP and wall temperature
	TruthRate  float64    // K = area·√(R·Tw)/V, 1/s, V at the moment of isolation
}

const (
	gasR  = 287.05287
	kappa = 7.0 / 5
)

// machFlow is ṁ·√(RT)/(A·p) of an ideal nozzle from p to outer, by way of the
// Mach number in its throat: √γ·M·(1 + (γ−1)/2·M²)^(−(γ+1)/(2(γ−1))).
func machFlow(p, outer float64) float64 {
	if p <= outer {
		return 0
	}
	m2 := min(1, 5*(math.Pow(p/outer, 2.0/7)-1))
	return math.Sqrt(kappa*m2) / math.Pow(1+m2/5, 3)
}

// perry is J. A. Perry's (1949) coefficient of a sharp-edged hole, x = pa/p.
func perry(x float64) float64 {
	sum, pow := 0.0, 1.0
	for _, c := range [...]float64{0.8414, -0.1002, 0.8415, -3.9, 4.6001, -1.6827} {
		sum += c * pow
		pow *= x
	}
	return sum
}

// leak is the mass flow out of the duct, kg/s.
func (r *Rig) leak(p, t float64) float64 {
	if p <= r.Ambient {
		return 0
	}
	area, shape := r.Area, 0.0
	if r.PerryCd {
		area *= perry(r.Ambient / p)
	}
	if r.ISOB > 0 {
		shape = machFlow(2, 1e-9)
		if x := r.Ambient / p; x > r.ISOB {
			shape *= math.Sqrt(1 - math.Pow((x-r.ISOB)/(1-r.ISOB), 2))
		}
	} else {
		shape = machFlow(p, r.Ambient)
	}
	return area*p/math.Sqrt(gasR*t)*shape + r.Seep*(p*p-r.Ambient*r.Ambient)
}

func (r Rig) withDefaults() Rig {
	def := func(v *float64, d float64) {
		if *v == 0 {
			*v = d
		}
	}
	def(&r.Volume, 8e-3)
	def(&r.Ambient, 101325)
	def(&r.WallT, 293.15)
	def(&r.Supply, 25*6894.757293168)
	def(&r.FillSeconds, 6)
	def(&r.FillReach, 0.7)
	def(&r.Rate, 50)
	def(&r.CreepTau, 60)
	def(&r.Vent, 6e-3)
	full := (r.Supply + r.Ambient) * r.Volume / (gasR * r.WallT)
	if r.HA == 0 {
		def(&r.Tau, 6)
		r.HA = full * gasR / (kappa - 1) / r.Tau
	}
	if r.SupplyArea == 0 {
		need := r.Supply * r.Volume / (gasR * r.WallT) / (r.FillReach * r.FillSeconds)
		need = need*1.1 + 2*r.leak(r.Supply+r.Ambient, r.WallT)
		// The supply line stands well above the regulator's setting, so it is choked.
		r.SupplyArea = need * math.Sqrt(gasR*r.WallT) / (8e5 * machFlow(2, 1e-9))
	}
	return r
}

// air is the state of the gas and the rubber: pressure, mass, crept share.
type air struct{ p, m, x float64 }

func (a air) plus(k air, h float64) air { return air{a.p + h*k.p, a.m + h*k.m, a.x + h*k.x} }

// volume is that of the swollen duct.
func (r *Rig) volume(a air) float64 {
	return r.Volume * (1 + r.ComplianceShare*(a.p-r.Ambient)/r.Supply + r.CreepShare*a.x)
}

// rates are the time derivatives: mass balance, first law with the work done
// on the rubber, and first-order creep.
func (r *Rig) rates(a air, supply, vent bool) air {
	v := r.volume(a)
	t := a.p * v / (a.m * gasR)
	if r.Isothermal {
		t = r.WallT
	}
	in := 0.0
	if supply {
		set := r.Supply + r.Ambient
		most := r.SupplyArea * 8e5 / math.Sqrt(gasR*r.WallT) * machFlow(2, 1e-9)
		in = most * math.Min(1, math.Max(0, (set-a.p)/(0.04*r.Supply)))
	}
	out := r.leak(a.p, t)
	if vent {
		out += r.Volume * r.Vent * a.p / math.Sqrt(gasR*t) * machFlow(a.p, r.Ambient)
	}
	hA := r.HA
	if r.NaturalConvection {
		hA *= math.Pow(math.Abs(r.WallT-t)/10, 0.25) * math.Sqrt(a.p/(r.Supply+r.Ambient))
	}
	dx := ((a.p-r.Ambient)/r.Supply - a.x) / r.CreepTau
	stretch := r.Volume * r.ComplianceShare / r.Supply // dV/dp
	creep := r.Volume * r.CreepShare * dx
	var dp float64
	if r.Isothermal {
		dp = (gasR*t*(in-out) - a.p*creep) / (v + a.p*stretch)
	} else {
		cp := kappa * gasR / (kappa - 1)
		heat := cp*(in*r.WallT-out*t) + hA*(r.WallT-t)
		dp = ((kappa-1)*heat - kappa*a.p*creep) / (v + kappa*a.p*stretch)
	}
	return air{dp, in - out, dx}
}

func (r *Rig) step(a air, h float64, supply, vent bool) air {
	k1 := r.rates(a, supply, vent)
	k2 := r.rates(a.plus(k1, h/2), supply, vent)
	k3 := r.rates(a.plus(k2, h/2), supply, vent)
	k4 := r.rates(a.plus(k3, h), supply, vent)
	a = a.plus(k1, h/6).plus(k2, h/3).plus(k3, h/3).plus(k4, h/6)
	a.p = max(a.p, r.Ambient)
	return a
}

// Make runs the rig through idle, fill, hold and release.
func Make(r Rig) Trace {
	r = r.withDefaults()
	rnd := rand.New(rand.NewPCG(r.Seed, 0x9e3779b97f4a7c15))
	seconds := func(s float64) time.Duration { return time.Duration(math.Round(s * 1e9)) }
	isolated := r.IdleSeconds + r.FillSeconds
	released := isolated + r.HoldSeconds
	end := released + r.ReleaseSeconds
	tr := Trace{
		IsolatedAt: seconds(isolated), HoldEnd: seconds(released),
		Setup: decay.Setup{
			Ambient: decay.Pressure(r.Ambient), AmbientTemperature: decay.Temperature(r.WallT),
			Volume: decay.Volume(r.Volume), FullScale: r.FullScale,
			Rigid: r.ComplianceShare == 0 && r.CreepShare == 0,
		},
	}
	if r.Absolute {
		tr.Setup.Reads = decay.ReadsAbsolute
	}

	a := air{p: r.Ambient, m: r.Ambient * r.Volume / (gasR * r.WallT)}
	n := int(math.Floor(end*r.Rate)) + 1
	period := 1 / r.Rate
	now, seen, stuck := 0.0, r.Ambient, math.NaN()
	within := func(t, after, length float64) bool {
		return after > 0 && t >= isolated+after && t < isolated+after+length
	}
	for i := range n {
		due := float64(i) * period
		for now < due-1e-12 {
			h := min(0.004, due-now)
			for _, edge := range [...]float64{r.IdleSeconds, isolated, released} {
				if now < edge-1e-9 && now+h > edge {
					h = edge - now
				}
			}
			mid := now + h/2
			if mid > r.IdleSeconds {
				supply := mid < isolated || within(mid, r.TopUpAfter, 1)
				vent := mid > released || within(mid, r.BleedAfter, 0.4)
				a = r.step(a, h, supply, vent)
			}
			now += h
			if r.Lag > 0 {
				seen += (a.p - seen) * -math.Expm1(-h/r.Lag)
			} else {
				seen = a.p
			}
			if math.Abs(now-isolated) < 1e-9 {
				tr.truth(&r, a)
			}
			if tr.EmptyAt == 0 && now > isolated && now < released && a.p-r.Ambient < 300 {
				tr.EmptyAt = seconds(now)
			}
		}

		reading := seen - r.Ambient + r.ZeroError + r.Noise*rnd.NormFloat64()
		if r.Spikes > 0 && rnd.Float64() < r.Spikes {
			reading += r.Supply * (rnd.Float64() - 0.5)
		}
		if r.Quantum > 0 {
			reading = math.Round(reading/r.Quantum) * r.Quantum
		}
		if r.Printed > 0 {
			reading = math.Round(reading/r.Printed) * r.Printed
		}
		if r.FullScale > 0 {
			reading = min(reading, r.FullScale)
		}
		if r.StuckAfter > 0 && due > isolated+r.StuckAfter {
			if math.IsNaN(stuck) {
				stuck = reading
			}
			reading = stuck
		}
		if r.OpenAfter > 0 && due > isolated+r.OpenAfter {
			reading = -30 * 6894.757 / 8
		}
		if within(due, r.GapAfter, 3) || r.Dropped > 0 && rnd.Float64() < r.Dropped {
			continue
		}
		at := due
		if r.Jitter > 0 {
			at = max(0, at+period*r.Jitter*(rnd.Float64()-0.5))
		}
		s := decay.Sample{At: seconds(at), P: decay.Pressure(reading + r.Ambient)}
		tr.Samples = append(tr.Samples, s)
		if r.Doubled > 0 && rnd.Float64() < r.Doubled {
			tr.Samples = append(tr.Samples, s)
		}
	}
	return tr
}

func (tr *Trace) truth(r *Rig, a air) {
	v := r.volume(a)
	tr.TruthP = decay.Pressure(a.p)
	tr.TruthT = decay.Temperature(a.p * v / (a.m * gasR))
	c := math.Sqrt(gasR * r.WallT)
	if f := machFlow(a.p, r.Ambient); f > 0 {
		tr.TruthArea = decay.Area(r.leak(a.p, r.WallT) * c / (a.p * f))
	}
	tr.TruthRate = float64(tr.TruthArea) * c / v
}
