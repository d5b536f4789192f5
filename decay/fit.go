package decay

import (
	"math"

	"gonum.org/v1/gonum/mat"
)

// A fitted model with its uncertainty.
type fitted struct {
	model    model
	th       params
	cov      [nPar][nPar]float64 // unscaled by the residuals
	chi2     float64             // of the data
	chi2All  float64             // with the priors
	evidence float64             // log, up to a constant common to the models
	ok       bool
}

// holdData is the part of a trace that is fitted, thinned into cells whose
// times count from isolation.
type holdData struct {
	t, p, w []float64 // s, Pa absolute, weight 1/Pa²
	vt      []float64 // s²: variance of the stamps within a cell
	pa, tw  float64
	sigma   float64
	n       float64 // readings
	zeroSD  float64 // Pa: how well the zero is known
}

const (
	fitCells   = 60   // at least, of the later part of a hold
	fitGrowth  = 0.05 // a cell may be this share of the time since isolation
	skipCorner = 0.25 // s left out after isolation: the air is still in motion and the sensor lags
)

// newHoldData takes cells [from, to) as a hold isolated at the first of them.
func newHoldData(cells []cell, s stretch, pa, zero, tw, sigma float64) holdData {
	d := holdData{pa: pa, tw: tw, sigma: sigma}
	t0 := cells[s.from].t
	length := cells[s.to-1].t1 - t0
	skip := math.Min(skipCorner, 0.05*length)
	shut := s.to < len(cells) // what ended the hold may have begun a little before it was seen
	var acc cell
	put := func() {
		if acc.n > 0 {
			d.t = append(d.t, acc.t-t0)
			d.p = append(d.p, acc.p-zero)
			d.w = append(d.w, acc.n/(sigma*sigma))
			d.vt = append(d.vt, (acc.t1-acc.t0)*(acc.t1-acc.t0)/12)
			d.n += acc.n
		}
	}
	for _, c := range cells[s.from:s.to] {
		if c.t-t0 < skip || shut && t0+length-c.t1 < skip {
			continue
		}
		if acc.n > 0 && c.t1-acc.t0 > math.Min(fitGrowth*(c.t-t0), length/fitCells) {
			put()
			acc = cell{}
		}
		if acc.n == 0 {
			acc = c
		} else {
			acc = acc.merge(c)
		}
	}
	put()
	return d
}

// prior is the mean and standard deviation of parameter i of m at th, or sd 0
// for none.
func (d *holdData) prior(m model, th *params, i int) (mean, sd float64) {
	switch i {
	case parDT:
		if th[parDT] < priorDT {
			return priorDT, priorDTCold
		}
		return priorDT, priorDTSD
	case parLnTau:
		return priorLnTau, priorLnTauSD
	case parZero:
		return 0, math.Max(d.zeroSD, 0.01)
	case parMix:
		if m.shape == ellipse {
			return priorB, priorBSD
		}
		return priorMix, priorMixSD
	}
	return 0, 0
}

// predict is what model m says the cells' mean pressures are: the pressure at
// their mean times, and what its curvature adds over their width.
func (d *holdData) predict(m model, th *params, out []float64) {
	m.predict(th, d.pa, d.tw, d.t, out)
	n := len(d.t)
	before := out[0]
	for i := 1; i < n-1; i++ {
		h1, h2 := d.t[i]-d.t[i-1], d.t[i+1]-d.t[i]
		now := out[i]
		bend := 2 * ((out[i+1]-now)/h2 - (now-before)/h1) / (h1 + h2)
		before = now
		out[i] += 0.5 * bend * d.vt[i]
	}
}

func (d *holdData) cost(m model, th *params, buf []float64) (data, all float64) {
	d.predict(m, th, buf)
	for i, q := range buf[:len(d.t)] {
		r := d.p[i] - q - th[parZero]
		data += r * r * d.w[i]
	}
	all = data
	for i := range m.count() {
		if mean, sd := d.prior(m, th, i); sd > 0 {
			u := (th[i] - mean) / sd
			all += u * u
		}
	}
	if math.IsNaN(all) {
		all, data = math.Inf(1), math.Inf(1)
	}
	return data, all
}

// fit minimises the weighted squares of the residuals, priors included, by
// Levenberg–Marquardt on summed normal equations with columns scaled to unit
// diagonal (Marquardt, J. SIAM 11 (1963) 431–441), starting from th.
func (d *holdData) fit(m model, th params, maxIter int) fitted {
	np, n := m.count(), len(d.t)
	f := fitted{model: m, th: th}
	if n < 3 {
		return f
	}
	steps := params{1, 1e-6, 0.02, 1e-3, 1, 1e-3}
	base, bump := make([]float64, n), make([]float64, n)
	data, all := d.cost(m, &th, base)
	lambda := 1e-3
	var a mat.SymDense
	var jac [nPar][]float64
	for i := range np {
		jac[i] = make([]float64, n)
	}
	normal := func() (*mat.SymDense, []float64) {
		for i := range np {
			if i == parZero {
				for k := range n {
					jac[i][k] = 1
				}
				continue
			}
			up := th
			h := steps[i] * math.Max(1, math.Abs(th[i])*1e-3)
			if i == parK {
				h = math.Max(1e-7, 1e-4*math.Abs(th[parK]))
			}
			up[i] += h
			d.predict(m, &up, bump)
			for k := range n {
				jac[i][k] = (bump[k] - base[k]) / h
			}
		}
		s := mat.NewSymDense(np, nil)
		g := make([]float64, np)
		for i := range np {
			for j := i; j < np; j++ {
				sum := 0.0
				for k := range n {
					sum += jac[i][k] * jac[j][k] * d.w[k]
				}
				if i == j {
					if _, sd := d.prior(m, &th, i); sd > 0 {
						sum += 1 / (sd * sd)
					}
				}
				s.SetSym(i, j, sum)
			}
			for k := range n {
				g[i] += jac[i][k] * (d.p[k] - base[k] - th[parZero]) * d.w[k]
			}
			if mean, sd := d.prior(m, &th, i); sd > 0 {
				g[i] -= (th[i] - mean) / (sd * sd)
			}
		}
		return s, g
	}
	for range maxIter {
		s, g := normal()
		a = *s
		improved := false
		for range 8 {
			b, scale := unitDiagonal(s, lambda)
			var ch mat.Cholesky
			if !ch.Factorize(b) {
				lambda *= 10
				continue
			}
			rhs := mat.NewVecDense(np, nil)
			for i := range np {
				rhs.SetVec(i, g[i]*scale[i])
			}
			var x mat.VecDense
			if ch.SolveVecTo(&x, rhs) != nil && math.IsNaN(x.AtVec(0)) {
				lambda *= 10
				continue
			}
			next := th
			for i := range np {
				next[i] += x.AtVec(i) * scale[i]
			}
			next[parDT] = math.Min(math.Max(next[parDT], -120), 150)
			next[parLnTau] = math.Min(math.Max(next[parLnTau], -1.5), 7)
			if m.shape == ellipse {
				next[parMix] = math.Min(math.Max(next[parMix], 0), 0.6)
			} else {
				next[parMix] = math.Min(math.Max(next[parMix], -0.1), 1.1)
			}
			nd, na := d.cost(m, &next, bump)
			if na < all {
				gain := all - na
				th, data, all = next, nd, na
				base, bump = bump, base
				lambda = math.Max(lambda/8, 1e-9)
				improved = gain > 0.01+1e-5*all
				break
			}
			lambda *= 6
		}
		if !improved {
			break
		}
	}
	s, _ := normal()
	a = *s
	// Covariance on scaled columns, for conditioning.
	b, scale := unitDiagonal(&a, 0)
	var ch mat.Cholesky
	if !ch.Factorize(b) {
		return f
	}
	var inv mat.SymDense
	if err := ch.InverseTo(&inv); err != nil {
		if _, badly := err.(mat.Condition); !badly {
			return f
		}
	}
	logDet := -ch.LogDet()
	for i := range np {
		logDet += 2 * math.Log(scale[i])
		for j := range np {
			f.cov[i][j] = inv.At(i, j) * scale[i] * scale[j]
		}
		if _, sd := d.prior(m, &th, i); sd > 0 {
			f.evidence -= math.Log(sd)
		}
	}
	f.th, f.chi2, f.chi2All, f.ok = th, data, all, !math.IsInf(all, 0)
	f.evidence += 0.5*logDet + math.Log(m.weight) // the −χ²/2 is added once the noise is known
	return f
}

// unitDiagonal scales a symmetric matrix to a unit diagonal, to which damping
// is added, and returns it with the scale of each row and column.
func unitDiagonal(s *mat.SymDense, damping float64) (b *mat.SymDense, scale []float64) {
	n := s.SymmetricDim()
	b, scale = mat.NewSymDense(n, nil), make([]float64, n)
	for i := range n {
		scale[i] = 1 / math.Sqrt(math.Max(s.At(i, i), 1e-300))
	}
	for i := range n {
		b.SetSym(i, i, s.At(i, i)*scale[i]*scale[i]+damping)
		for j := i + 1; j < n; j++ {
			b.SetSym(i, j, s.At(i, j)*scale[i]*scale[j])
		}
	}
	return b, scale
}

// startingPoints of the search: the fit of a fast leak has a second minimum,
// with the gas far too cold and the hole too big.
var startingPoints = []struct{ k, dt, lnTau float64 }{
	{1, priorDT, priorLnTau},
	{0.8, 10, 1.2},
	{1, 2, 3.4},
}

// chiOr is the cost of the fit, +Inf if there is none.
func (f fitted) chiOr() float64 {
	if !f.ok {
		return math.Inf(1)
	}
	return f.chi2All
}

// estimate is what the competing models say together.
type estimate struct {
	best      fitted
	fits      []fitted
	weights   []float64
	k, sdK    float64 // averaged over the models, from the trace alone
	lowK, hiK float64 // 95 %, from the trace alone
	length    float64 // of the hold, s
	widen     float64 // by which residuals that are not white widened it
	seepShare float64 // posterior weight of laws, to name the law
	orifShare float64
}

// start makes a first guess from the late part of the hold: the closed-form
// rate there, and an ordinary settling.
func (d *holdData) start() params {
	n := len(d.t)
	lo := n / 2
	var sw, st, sp float64
	for i := lo; i < n; i++ {
		sw += d.w[i]
		st += d.w[i] * d.t[i]
		sp += d.w[i] * d.p[i]
	}
	tm, pm := st/sw, sp/sw
	var stt, stp float64
	for i := lo; i < n; i++ {
		stt += d.w[i] * (d.t[i] - tm) * (d.t[i] - tm)
		stp += d.w[i] * (d.t[i] - tm) * (d.p[i] - pm)
	}
	k := 0.0
	if stt > 0 && pm > d.pa*1.001 {
		k = -stp / stt / (pm * Psi(d.pa/pm))
	}
	// A fast leak is better seen whole, on the universal curve.
	first, last := d.p[0], d.p[n-1]
	if last < 0.9*first && last > 1.001*d.pa {
		k = (IsothermalCurve(first/d.pa) - IsothermalCurve(last/d.pa)) / (d.t[n-1] - d.t[0])
	} else if last <= 1.001*d.pa {
		for i := range d.t { // emptied within the hold: use the part above a tenth
			if d.p[i]-d.pa < 0.1*(first-d.pa) && i > 0 {
				k = (IsothermalCurve(first/d.pa) - IsothermalCurve(math.Max(d.p[i]/d.pa, 1))) / (d.t[i] - d.t[0])
				break
			}
		}
	}
	return params{first, k, priorDT, priorLnTau, 0, priorMix}
}

// estimate fits every model and weighs them. warm may hold an earlier
// estimate of the same hold to start from.
func (d *holdData) estimate(warm *estimate, maxIter int) (estimate, bool) {
	var e estimate
	if len(d.t) < 3 {
		return e, false
	}
	e.length = d.t[len(d.t)-1]
	guess := d.start()
	const first = 4 // nozzle and seep, with either way of cooling
	worthwhile := map[bool]bool{false: true, true: true}
	for i, m := range models {
		f := fitted{model: m}
		switch {
		case warm != nil && warm.fits[i].ok:
			f = d.fit(m, warm.fits[i].th, maxIter)
			if m.natural && i < first && warm.fits[i-1].ok {
				// Natural convection explains the same trace with warmer air and a smaller leak.
				from := warm.fits[i-1].th
				from[parK] *= 0.7
				from[parDT] *= 1.6
				from[parLnTau] += 0.5
				if g := d.fit(m, from, maxIter); g.ok && g.chi2All < f.chi2All {
					f = g
				}
			}
		case i < first:
			for _, s := range startingPoints {
				from := guess
				from[parK] *= s.k
				from[parDT], from[parLnTau] = s.dt, s.lnTau
				if g := d.fit(m, from, 4); g.ok && (!f.ok || g.chi2All < f.chi2All) {
					f = g
				}
			}
			if f.ok {
				f = d.fit(m, f.th, maxIter)
			}
		case m.still || worthwhile[m.natural]:
			from := e.fits[btoi(m.natural)]
			if s := e.fits[2+btoi(m.natural)]; m.shape == mixing && s.ok && (s.chi2All < from.chi2All || !from.ok) {
				from = s
			}
			start := from.th
			if !from.ok {
				start = guess
			}
			start[parMix] = priorMix
			if m.shape == ellipse {
				start[parMix] = priorB
			}
			f = d.fit(m, start, maxIter)
		}
		e.fits = append(e.fits, f)
		if i == first-1 {
			// Where one way of cooling is clearly better, the other need not be tried with every law.
			chi := func(k int) float64 {
				return math.Min(e.fits[k].chiOr(), e.fits[k+2].chiOr())
			}
			a, b := chi(0), chi(1)
			clear := 20 * math.Max(1, math.Min(a, b)/math.Max(float64(len(d.t)-4), 1))
			if sound := math.Min(a, b) < 2*float64(len(d.t)); sound {
				worthwhile[false], worthwhile[true] = a <= b+clear, b <= a+clear
			}
		}
	}
	best := -1
	for i, f := range e.fits {
		if f.ok && (best < 0 || f.chi2All < e.fits[best].chi2All) {
			best = i
		}
	}
	if best < 0 {
		return e, false
	}
	// Residuals: larger than the noise, or not white, widen everything.
	bf := e.fits[best]
	buf := make([]float64, len(d.t))
	d.predict(bf.model, &bf.th, buf)
	dof := math.Max(float64(len(d.t)-bf.model.count()), 1)
	red := math.Max(bf.chi2/dof, 1)
	var c0, c1 float64
	for i := range d.t {
		r := (d.p[i] - buf[i] - bf.th[parZero]) * math.Sqrt(d.w[i])
		c0 += r * r
		if i > 0 {
			c1 += r * (d.p[i-1] - buf[i-1] - bf.th[parZero]) * math.Sqrt(d.w[i-1])
		}
	}
	e.widen = red
	if rho := c1 / math.Max(c0, 1e-300); rho > 2/math.Sqrt(float64(len(d.t))) {
		rho = math.Min(rho, 0.9)
		e.widen *= (1 + rho) / (1 - rho)
	}
	most := math.Inf(-1)
	for i := range e.fits {
		f := &e.fits[i]
		f.evidence -= 0.5 * f.chi2All / e.widen
		if f.ok && f.evidence > most {
			most, best = f.evidence, i
		}
	}
	sum := 0.0
	e.weights = make([]float64, len(e.fits))
	for i, f := range e.fits {
		if f.ok {
			e.weights[i] = math.Exp(f.evidence - most)
			sum += e.weights[i]
		}
	}
	for i, f := range e.fits {
		e.weights[i] /= sum
		e.k += e.weights[i] * f.th[parK]
		switch f.model.law() {
		case LawSeep:
			e.seepShare += e.weights[i]
		case LawOrifice:
			e.orifShare += e.weights[i]
		}
	}
	v := 0.0
	for i, f := range e.fits {
		dk := f.th[parK] - e.k
		v += e.weights[i] * (f.cov[parK][parK]*e.widen + dk*dk)
	}
	e.best = e.fits[best]
	e.sdK = math.Sqrt(v)
	e.lowK = e.quantile(0.025)
	e.hiK = e.quantile(0.975)
	return e, true
}

// settling is the rate, 1/s, at which the models still see the air settle at
// the end of the hold: the largest of those that count.
func (e *estimate) settling(tw float64) float64 {
	most := 0.0
	for i, f := range e.fits {
		if e.weights[i] < 0.01 || f.model.still {
			continue
		}
		tau := math.Exp(f.th[parLnTau])
		rate := f.th[parDT] / tw / tau * math.Exp(-e.length/tau)
		if math.Abs(rate) > math.Abs(most) {
			most = rate
		}
	}
	return most
}

// quantile of the mixture of normal distributions of K that the models give.
func (e *estimate) quantile(q float64) float64 {
	lo, hi := e.k-12*e.sdK, e.k+12*e.sdK
	for range 60 {
		x := (lo + hi) / 2
		cdf := 0.0
		for i, f := range e.fits {
			if e.weights[i] > 0 {
				sd := math.Sqrt(f.cov[parK][parK] * e.widen)
				cdf += e.weights[i] * 0.5 * math.Erfc((f.th[parK]-x)/(sd*math.Sqrt2))
			}
		}
		if cdf < q {
			lo = x
		} else {
			hi = x
		}
	}
	return (lo + hi) / 2
}
