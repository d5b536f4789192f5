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
	priorDTBled              = 20.0       // K: so much colder than the walls only air is that was let out just before
	priorDTOver              = 20.0       // K: so much hotter than an adiabatic fill makes it air hardly is
	priorLnTau, priorLnTauSD = 2.2, 0.9   // ln s: 9 s, within a factor 2.5
	priorMix, priorMixSD     = 0.5, 0.35
	priorB, priorBSD         = 0.3, 0.15 // ISO 6358 components: 0.1 to 0.5
	naturalRef               = 10.0      // K: where lnTau of a natural-convection model is meant
	naturalFloor             = 1e-3      // share of naturalRef: keeps convection's slope finite where it changes sign
)

// count is the number of parameters in use.
func (m model) count() int {
	if m.shape == mixing || m.shape == ellipse {
		return nPar
	}
	return nPar - 1
}

// gas is a model with its parameters, ready to be integrated. The state is
// v = (pa/p)^(1/7) and h = T/Tw − 1: the powers in ψ² = 7·r^(10/7)·(1 − r^(2/7)),
// r = v⁷, and p itself are then products of v, and no exponential is taken in
// the loop.
//
//	ṁ/m = K·√(T/Tw)·ψ(pa/p)                               orifice
//	ṁ/m = K·ψ(pa/p₀)·(T/Tw)·(p²−pa²)/p · p₀/(p₀²−pa²)     seep
//	dT/dt = (Tw−T)/τ·(p₀/p)(T/Tw) − (γ−1)·T·ṁ/m
//	dp/dt = p·(Ṫ/T − ṁ/m)
type gas struct {
	model
	pa, tw, p0 float64 // p0: at which K and τ are meant
	k, mix, b  float64
	rate       float64 // 1/τ
	norm, seep float64 // so that K is that of an ideal nozzle with the same flow at p0
	normB      float64 // ∂ln norm/∂b
}

func (m model) gas(th *params, pa, tw, p0 float64) gas {
	g := gas{model: m, pa: pa, tw: tw, p0: p0, k: th[parK], rate: math.Exp(-th[parLnTau]), norm: 1}
	r0 := pa / p0
	switch m.shape {
	case seeping:
		g.mix = 1
	case mixing:
		g.mix = th[parMix]
	case sharpEdge:
		g.norm = 1 / SharpEdgeCd(r0)
	case ellipse:
		g.b = math.Min(th[parMix], 0.95)
		s := math.Max(ISO6358Ratio(r0, g.b), 1e-9)
		g.norm = Psi(r0) / s
		g.normB = -ellipseByB(r0, g.b, s) / s
	}
	if p0 > pa {
		g.seep = Psi(r0) * p0 / (p0*p0 - pa*pa)
	}
	return g
}

// ellipseByB is the derivative of the ISO 6358 factor s at r by b.
func ellipseByB(r, b, s float64) float64 {
	if r <= b || r >= 1 {
		return 0
	}
	return -(r - b) / (1 - b) * (r - 1) / ((1 - b) * (1 - b)) / math.Max(s, 1e-3)
}

const coldest = 0.3 // of the wall's temperature: keeps a search that has gone astray in bounds

// vChoked is v at the critical ratio.
var vChoked = math.Pow(CriticalRatio, 1.0/7)

// slope is the time derivative of the state.
func (g *gas) slope(v, h float64) (dv, dh float64) {
	v2 := v * v
	v6 := v2 * v2 * v2
	r := v6 * v
	tt := 1 + h
	if tt < coldest {
		tt = coldest
	}
	mu := 0.0
	if v < 1 {
		if g.mix != 1 {
			psi := psiChoked
			switch {
			case g.shape == ellipse:
				psi = g.norm * ISO6358Ratio(r, g.b)
			case v > vChoked:
				psi = v2 * v2 * v * math.Sqrt(7*(1-v2))
			}
			if g.shape == sharpEdge {
				psi *= g.norm * SharpEdgeCd(r)
			}
			mu = (1 - g.mix) * math.Sqrt(tt) * psi
		}
		if g.mix != 0 {
			mu += g.mix * g.seep * tt * g.pa * (1/r - r)
		}
		mu *= g.k
	}
	if g.still {
		return v / 7 * mu, 0
	}
	exchange := g.rate * r * (g.p0 / g.pa) // rate/q, q = p/p0
	if g.natural {
		q := g.pa / (g.p0 * r)
		exchange *= math.Sqrt(math.Sqrt((math.Abs(h)*g.tw/naturalRef + naturalFloor) * q * q))
	}
	e := -h * exchange
	return -v / 7 * (e - Gamma*mu), tt * (e - (Gamma-1)*mu)
}

// partials are the derivatives of a gas's slope by its state, and by the
// parameters other than the state at isolation.
type partials struct {
	vv, vh, hv, hh float64
	k, lnTau, mix  [2]float64 // of (v̇, ḣ)
}

func (g *gas) partials(v, h float64) (d partials) {
	v2 := v * v
	v6 := v2 * v2 * v2
	r := v6 * v
	tt := 1 + h
	if tt < coldest {
		tt = coldest
	}
	var m, mv, mh, mm float64 // of ṁ/m over K, and its derivatives by v, h and mix
	if v < 1 {
		if g.mix != 1 {
			psi, psiV := psiChoked, 0.0
			switch {
			case g.shape == ellipse:
				s := ISO6358Ratio(r, g.b)
				psi = g.norm * s
				if r > g.b {
					u := (r - g.b) / (1 - g.b)
					psiV = g.norm * -u / (1 - g.b) / math.Max(s, 1e-3) * 7 * v6
				}
				mm = math.Sqrt(tt) * (g.norm*ellipseByB(r, g.b, s) + psi*g.normB)
			case v > vChoked:
				psi = v2 * v2 * v * math.Sqrt(7*(1-v2))
				psiV = psi * (5/v - v/math.Max(1-v2, 1e-6))
			}
			if g.shape == sharpEdge {
				cd := g.norm * SharpEdgeCd(r)
				slope := g.norm * (-0.1002 + r*(2*0.8415+r*(-3*3.9+r*(4*4.6001-5*1.6827*r)))) * 7 * v6
				psi, psiV = psi*cd, psiV*cd+psi*slope
			}
			root := math.Sqrt(tt)
			m = (1 - g.mix) * root * psi
			mv = (1 - g.mix) * root * psiV
			mh = 0.5 * m / tt
			if g.shape == mixing {
				mm = -root * psi
			}
		}
		if g.mix != 0 {
			s := g.seep * tt * g.pa * (1/r - r)
			m += g.mix * s
			mv += g.mix * g.seep * tt * g.pa * -7 / v * (1/r + r)
			mh += g.mix * s / tt
			if g.shape == mixing {
				mm += s
			}
		}
	}
	mu := g.k * m
	if g.still {
		d.vv = (mu + v*g.k*mv) / 7
		d.k[0] = v / 7 * m
		return d
	}
	exchange := g.rate * r * (g.p0 / g.pa)
	byV, byH := 7*exchange/v, 0.0
	if g.natural {
		q := g.pa / (g.p0 * r)
		x := math.Abs(h)*g.tw/naturalRef + naturalFloor
		exchange *= math.Sqrt(math.Sqrt(x * q * q))
		byV = 3.5 * exchange / v
		byH = exchange * math.Copysign(g.tw/naturalRef, h) / (4 * x)
	}
	const c = Gamma - 1
	e := -h * exchange // as in slope: ḣ = tt·(e − c·µ), v̇ = −v/7·(e − γ·µ)
	ev, eh := -h*byV, -exchange-h*byH
	d.hv = tt * (ev - c*g.k*mv)
	d.hh = e - c*mu + tt*(eh-c*g.k*mh)
	d.vv = -(e-Gamma*mu)/7 - v/7*(ev-Gamma*g.k*mv)
	d.vh = -v / 7 * (eh - Gamma*g.k*mh)
	d.k = [2]float64{v / 7 * (c + 1) * m, -c * tt * m}
	d.lnTau = [2]float64{v / 7 * e, -tt * e}
	d.mix = [2]float64{v / 7 * (c + 1) * g.k * mm, -c * tt * g.k * mm}
	return d
}

// trace integrates the gas from isolation at t = 0 by Runge–Kutta steps of
// fourth order and puts the pressure at the times ts (increasing, s) into out,
// and, where jac is not nil, its derivatives by the parameters into jac's rows.
// Those are carried along by the trapezoid rule, one Jacobian a step: they
// steer the search and size the uncertainty, for which a hundredth is enough. It
// returns how many steps it took.
func (g *gas) trace(th *params, ts, out []float64, jac *[nPar][]float64) (took int) {
	v, h := math.Pow(g.pa/th[parP0], 1.0/7), th[parDT]/g.tw
	if g.still {
		h = 0
	}
	tau := 1 / g.rate
	fastest := g.rate
	if g.natural {
		fastest *= 2
	}
	var s [5][2]float64 // ∂(v, h)/∂(p0, K, DT, lnτ, mix)
	var before partials
	if jac != nil {
		s[0][0] = -v / (7 * th[parP0])
		if !g.still {
			s[2][1] = 1 / g.tw
		}
		before = g.partials(v, h)
	}
	t := 0.0
	for i, goal := range ts {
		if span := goal - t; span > 0 {
			lim := math.Min(1/fastest, 0.15/math.Max(math.Abs(g.k), 1e-6))
			if t < 2*tau {
				lim = math.Min(lim, 0.25*tau)
			}
			steps := min(int(span/lim)+1, 200)
			took += steps
			d := span / float64(steps)
			for range steps {
				a1, b1 := g.slope(v, h)
				a2, b2 := g.slope(v+d/2*a1, h+d/2*b1)
				a3, b3 := g.slope(v+d/2*a2, h+d/2*b2)
				a4, b4 := g.slope(v+d*a3, h+d*b3)
				v += d / 6 * (a1 + 2*a2 + 2*a3 + a4)
				h += d / 6 * (b1 + 2*b2 + 2*b3 + b4)
				if jac == nil {
					continue
				}
				now := g.partials(v, h)
				step(&s, &before, &now, d/2)
				before = now
			}
			t = goal
		}
		v2 := v * v
		p := g.pa / (v2 * v2 * v2 * v)
		out[i] = p
		if jac != nil {
			byV := -7 * p / v
			jac[parP0][i] = byV * s[0][0]
			jac[parK][i] = byV * s[1][0]
			jac[parDT][i] = byV * s[2][0]
			jac[parLnTau][i] = byV * s[3][0]
			jac[parMix][i] = byV * s[4][0]
		}
	}
	return took
}

// step takes sensitivities s over a step of twice half, s, by the trapezoid
// rule: (I − half·J₁)·s₁ = (I + half·J₀)·s₀ + half·(f₀ + f₁).
func step(s *[5][2]float64, from, to *partials, half float64) {
	a, b := 1-half*to.vv, -half*to.vh
	c, e := -half*to.hv, 1-half*to.hh
	det := 1 / (a*e - b*c)
	for i := range s {
		x := s[i][0] + half*(from.vv*s[i][0]+from.vh*s[i][1])
		y := s[i][1] + half*(from.hv*s[i][0]+from.hh*s[i][1])
		switch i {
		case 1:
			x += half * (from.k[0] + to.k[0])
			y += half * (from.k[1] + to.k[1])
		case 3:
			x += half * (from.lnTau[0] + to.lnTau[0])
			y += half * (from.lnTau[1] + to.lnTau[1])
		case 4:
			x += half * (from.mix[0] + to.mix[0])
			y += half * (from.mix[1] + to.mix[1])
		}
		s[i][0] = (e*x - b*y) * det
		s[i][1] = (a*y - c*x) * det
	}
}

// moved are K and lnτ, meant at p1, of a gas whose K and τ are meant at p0: the
// ideal nozzle that passes the same flow is another one there.
func (g *gas) moved(p1 float64) (k, lnTau float64) {
	flow := func(p float64) float64 {
		r := g.pa / p
		f := 0.0
		switch g.shape {
		case seeping, mixing:
			f = (1-g.mix)*Psi(r) + g.mix*g.seep*(p-g.pa*r)
		case ellipse:
			f = g.norm * ISO6358Ratio(r, g.b)
		case sharpEdge:
			f = g.norm * SharpEdgeCd(r) * Psi(r)
		default:
			return 1
		}
		return f / Psi(r)
	}
	if p1 <= g.pa || g.p0 <= g.pa {
		return g.k, -math.Log(g.rate)
	}
	shift := math.Log(p1 / g.p0)
	if g.natural {
		shift /= 2
	}
	return g.k * flow(p1), shift - math.Log(g.rate)
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
