package decay

import "math"

// A shape is how a leak's flow falls with pressure.
type shape int

const (
	nozzle    shape = iota // ideal nozzle, constant Cd
	sharpEdge              // ideal nozzle times Perry's coefficient
	ellipse                // ISO 6358 with a critical ratio b of its own
	seeping                // laminar, ∝ p² − pa²
	mixing                 // nozzle and seep together
)

// A model is a named set of assumptions about a hold.
type model struct {
	shape   shape
	still   bool    // the gas keeps the wall's temperature throughout: the universal curve
	natural bool    // hA ∝ (|Tw−T|·p²)^¼, laminar natural convection; else constant hA
	weight  float64 // before seeing the data
}

func (m model) law() Law {
	switch m.shape {
	case seeping:
		return LawSeep
	case mixing:
		return LawMixed
	}
	return LawOrifice
}

// models compete for each hold. The weights are ours: tears and open joints
// are commoner than porous rubber, and mixtures rarer than either.
var models = []model{
	{shape: nozzle, weight: 0.22},
	{shape: nozzle, natural: true, weight: 0.16},
	{shape: seeping, weight: 0.16},
	{shape: seeping, natural: true, weight: 0.12},
	{shape: sharpEdge, weight: 0.08},
	{shape: sharpEdge, natural: true, weight: 0.06},
	{shape: ellipse, weight: 0.06},
	{shape: ellipse, natural: true, weight: 0.04},
	{shape: mixing, weight: 0.06},
	{shape: mixing, natural: true, weight: 0.04},
	{shape: nozzle, still: true, weight: 0.04},
	{shape: seeping, still: true, weight: 0.02},
}

// Parameters of a model, by index.
const (
	parP0    = iota // pressure at isolation, Pa absolute
	parK            // K = CdA·√(R·Tw)/V of the whole leak at p0, 1/s
	parDT           // gas temperature less wall temperature at isolation, K
	parLnTau        // ln of the thermal time constant at p0, ln s
	parZero         // what is left of the sensor's zero error, Pa
	parMix          // mixing: seep's share of the flow at p0; ellipse: b
	nPar
)

type params [nPar]float64

// Priors, physical and weak. A fill warms the gas by anything from nothing
// (slow) to some 70 K (adiabatic, ambient to 30 psi gauge); time constants of
// 3 to 40 s have been seen in metal and rubber ducts of 3 to 20 L.
const (
	priorDT, priorDTSD       = 12.0, 25.0 // K
	priorDTCold              = 10.0       // K: the same below the mean; filling never cools
	priorLnTau, priorLnTauSD = 2.2, 0.9   // ln s: 9 s, within a factor 2.5
	priorMix, priorMixSD     = 0.5, 0.35
	priorB, priorBSD         = 0.3, 0.15 // ISO 6358 components: 0.1 to 0.5
	naturalRef               = 10.0      // K: where lnTau of a natural-convection model is meant
)

// count is the number of parameters in use.
func (m model) count() int {
	if m.shape == mixing || m.shape == ellipse {
		return nPar
	}
	return nPar - 1
}

// predict integrates the two-state gas (pressure, temperature) of the design
// with wall heat exchange and a leak from isolation at t = 0, by Runge–Kutta
// steps of fourth order, and puts the pressure at the times ts (increasing,
// s) into out.
//
//	ṁ/m = K·√(T/Tw)·ψ(pa/p)                               orifice
//	ṁ/m = K·ψ(pa/p₀)·(T/Tw)·(p²−pa²)/p · p₀/(p₀²−pa²)     seep
//	dT/dt = (Tw−T)/τ·(p₀/p)(T/Tw) − (γ−1)·T·ṁ/m
//	dp/dt = p·(Ṫ/T − ṁ/m)
func (m model) predict(th *params, pa, tw float64, ts, out []float64) {
	p0, k := th[parP0], th[parK]
	tau := math.Exp(th[parLnTau])
	mix, b := 0.0, math.Min(th[parMix], 0.95)
	switch m.shape {
	case seeping:
		mix = 1
	case mixing:
		mix = th[parMix]
	}
	r0 := pa / p0
	norm := 1.0 // so that K is that of an ideal nozzle with the same flow at p0
	switch m.shape {
	case sharpEdge:
		norm = 1 / SharpEdgeCd(r0)
	case ellipse:
		norm = Psi(r0) / math.Max(ISO6358Ratio(r0, b), 1e-9)
	}
	seep := 0.0
	if p0 > pa {
		seep = Psi(pa/p0) * p0 / (p0*p0 - pa*pa)
	}
	vc := math.Pow(CriticalRatio, 1.0/7)
	// State: v = (pa/p)^(1/7), h = T/Tw − 1. The powers in ψ² = 7·r^(10/7)·
	// (1 − r^(2/7)), and p itself, are then products of v: no exponential is
	// taken in the loop.
	deriv := func(v, h float64) (dv, dh float64) {
		v2 := v * v
		p := pa / (v2 * v2 * v2 * v)
		tt := math.Max(1+h, 0.3)
		mu := 0.0
		if v < 1 {
			if mix != 1 {
				psi := psiChoked
				switch r := v2 * v2 * v2 * v; {
				case m.shape == ellipse:
					psi = norm * ISO6358Ratio(r, b)
				case v > vc:
					psi = v2 * v2 * v * math.Sqrt(7*(1-v2))
				}
				if m.shape == sharpEdge {
					psi *= norm * SharpEdgeCd(v2*v2*v2*v)
				}
				mu = (1 - mix) * math.Sqrt(tt) * psi
			}
			if mix != 0 {
				mu += mix * seep * tt * (p - pa*pa/p)
			}
			mu *= k
		}
		if m.still {
			return v / 7 * mu, 0
		}
		rate := 1 / tau
		q := p / p0
		if m.natural {
			rate *= math.Sqrt(math.Sqrt((math.Abs(h)*tw/naturalRef + 1e-3) * q * q))
		}
		dh = -h*rate*tt/q - (Gamma-1)*tt*mu
		return -v / 7 * (dh/tt - mu), dh
	}
	v, h := math.Pow(pa/p0, 1.0/7), th[parDT]/tw
	if m.still {
		h = 0
	}
	t := 0.0
	fastest := 1 / tau
	if m.natural {
		fastest *= 2
	}
	for i, goal := range ts {
		span := goal - t
		if span > 0 {
			lim := math.Min(1/fastest, 0.15/math.Max(math.Abs(k), 1e-6))
			if t < 2*tau {
				lim = math.Min(lim, 0.25*tau)
			}
			steps := min(int(span/lim)+1, 200)
			d := span / float64(steps)
			for range steps {
				a1, b1 := deriv(v, h)
				a2, b2 := deriv(v+d/2*a1, h+d/2*b1)
				a3, b3 := deriv(v+d/2*a2, h+d/2*b2)
				a4, b4 := deriv(v+d*a3, h+d*b3)
				v += d / 6 * (a1 + 2*a2 + 2*a3 + a4)
				h += d / 6 * (b1 + 2*b2 + 2*b3 + b4)
			}
			t = goal
		}
		v2 := v * v
		out[i] = pa / (v2 * v2 * v2 * v)
	}
}

// IsothermalCurve is G(x) = ∫₁ˣ dξ/(ξ·ψ(1/ξ)) of a nozzle emptying a volume at
// constant temperature, x being absolute pressure over ambient: then
// G(x(t)) = G(x₀) − K·t. It ends at ambient, where G is 0; for choked x it is
// G(1/CriticalRatio) + ln(x·CriticalRatio)/ψ*, the exponential.
func IsothermalCurve(x float64) float64 {
	if x <= 1 {
		return 0
	}
	xc := 1 / CriticalRatio
	top := math.Min(x, xc)
	// ξ = 1 + s² takes the root out of the integrand at ξ = 1; Simpson in s.
	const n = 64
	smax := math.Sqrt(top - 1)
	f := func(s float64) float64 {
		if s == 0 {
			return 2 / math.Sqrt2 // ψ(1/ξ) → √2·s
		}
		xi := 1 + s*s
		return 2 * s / (xi * Psi(1/xi))
	}
	sum := f(0) + f(smax)
	for i := 1; i < n; i++ {
		w := 4.0
		if i%2 == 0 {
			w = 2
		}
		sum += w * f(smax*float64(i)/n)
	}
	g := sum * smax / (3 * n)
	if x > xc {
		g += math.Log(x/xc) / psiChoked
	}
	return g
}
