package decay

import "math"

// A fitted model with its uncertainty.
type fitted struct {
	model    model
	th       params
	cov      matrix  // unscaled by the residuals
	chi2     float64 // of the data
	chi2All  float64 // with the priors
	evidence float64 // log, up to a constant common to the models
	below    float64 // standard deviation of K to either side, from the trace
	above    float64
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

// scratch is room for one model's curve and its derivatives, reused from fit
// to fit.
type scratch struct {
	curve, trial [nPar + 1][]float64 // the pressures, then the derivatives
}

func newScratch(n int) *scratch {
	s := new(scratch)
	buf := make([]float64, 2*(nPar+1)*n)
	for i := range nPar + 1 {
		s.curve[i], buf = buf[:n:n], buf[n:]
		s.trial[i], buf = buf[:n:n], buf[n:]
		if i == 1+parZero { // a shift of the zero shifts every pressure
			for k := range n {
				s.curve[i][k], s.trial[i][k] = 1, 1
			}
		}
	}
	return s
}

// trace puts into c what gas g says the cells' mean pressures are, with their
// derivatives: the pressure at their mean times, and what its curvature adds
// over their width. It returns the cost: weighted squares of the residuals,
// without and with the priors.
func (d *holdData) trace(g *gas, th *params, c *[nPar + 1][]float64) (data, all float64) {
	jac := [nPar][]float64(c[1:])
	out := c[0]
	g.trace(th, d.t, out, &jac)
	n := len(d.t)
	before := out[0]
	for i := range n {
		q := out[i]
		if i > 0 && i < n-1 {
			h1, h2 := d.t[i]-d.t[i-1], d.t[i+1]-d.t[i]
			now := q
			bend := 2 * ((out[i+1]-now)/h2 - (now-before)/h1) / (h1 + h2)
			before = now
			q += 0.5 * bend * d.vt[i]
			out[i] = q
		}
		r := d.p[i] - q - th[parZero]
		data += r * r * d.w[i]
	}
	all = data
	for i := range g.count() {
		if mean, sd := d.prior(g.model, th, i); sd > 0 {
			u := (th[i] - mean) / sd
			all += u * u
		}
	}
	if math.IsNaN(all) {
		all, data = math.Inf(1), math.Inf(1)
	}
	return data, all
}

// normal sums the normal equations of the residuals at th, priors included:
// half the Hessian of the cost, and half its negative gradient.
func (d *holdData) normal(m model, th *params, c *[nPar + 1][]float64) (a matrix, g params) {
	np := m.count()
	for i := range np {
		ji := c[1+i]
		for j := i; j < np; j++ {
			jj, sum := c[1+j], 0.0
			for k, w := range d.w {
				sum += ji[k] * jj[k] * w
			}
			a[i][j], a[j][i] = sum, sum
		}
		for k, w := range d.w {
			g[i] += ji[k] * (d.p[k] - c[0][k] - th[parZero]) * w
		}
		if mean, sd := d.prior(m, th, i); sd > 0 {
			a[i][i] += 1 / (sd * sd)
			g[i] -= (th[i] - mean) / (sd * sd)
		}
	}
	return a, g
}

// fit minimises the weighted squares of the residuals, priors included, by
// Levenberg–Marquardt on summed normal equations with columns scaled to unit
// diagonal (Marquardt, J. SIAM 11 (1963) 431–441), starting from th.
func (d *holdData) fit(m model, th params, maxIter int, s *scratch) fitted {
	return d.search(m, th, maxIter, s, false)
}

// search is fit, or with hold set the same at the K of th.
func (d *holdData) search(m model, th params, maxIter int, s *scratch, hold bool) fitted {
	np := m.count()
	f := fitted{model: m, th: th}
	if len(d.t) < 3 {
		return f
	}
	p0 := th[parP0] // K and τ are meant here while the search goes on
	cur, next := &s.curve, &s.trial
	g := m.gas(&th, d.pa, d.tw, p0)
	data, all := d.trace(&g, &th, cur)
	lambda := 1e-3
	for range maxIter {
		a, grad := d.normal(m, &th, cur)
		if hold {
			for i := range np {
				a[i][parK], a[parK][i] = 0, 0
			}
			a[parK][parK], grad[parK] = 1, 0
		}
		improved := false
		for range 8 {
			step, ok := a.solve(grad, np, lambda)
			if !ok {
				lambda *= 10
				continue
			}
			to := th
			for i := range np {
				to[i] += step[i]
			}
			to[parDT] = math.Min(math.Max(to[parDT], -120), 150)
			to[parLnTau] = math.Min(math.Max(to[parLnTau], -1.5), 7)
			if m.shape == ellipse {
				to[parMix] = math.Min(math.Max(to[parMix], 0), 0.6)
			} else {
				to[parMix] = math.Min(math.Max(to[parMix], -0.1), 1.1)
			}
			g = m.gas(&to, d.pa, d.tw, p0)
			nd, na := d.trace(&g, &to, next)
			if na < all {
				gain := all - na
				th, data, all = to, nd, na
				cur, next = next, cur
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
	a, _ := d.normal(m, &th, cur)
	inv, logDet, ok := a.inverse(np)
	if !ok {
		return f
	}
	for i := range np {
		if _, sd := d.prior(m, &th, i); sd > 0 {
			f.evidence -= math.Log(sd)
		}
	}
	g = m.gas(&th, d.pa, d.tw, p0)
	th[parK], th[parLnTau] = g.moved(th[parP0])
	f.th, f.cov, f.chi2, f.chi2All, f.ok = th, inv, data, all, !math.IsInf(all, 0)
	f.evidence += math.Log(m.weight) - 0.5*logDet // the −χ²/2 is added once the noise is known
	return f
}

// profile widens f's standard deviations of K to either side to where the best
// fit at a K held there is worse by what 1.96 of them stand for: the cost of a
// fast leak, whose gas cools and warms again, is far from a parabola.
func (d *holdData) profile(f *fitted, widen float64, s *scratch) {
	const z = 1.96
	side := func(sd, sign float64) float64 {
		th := f.th
		for range 5 {
			th[parK] = f.th[parK] + sign*z*sd
			if th[parK] <= 0 {
				break
			}
			g := d.search(f.model, th, 12, s, true)
			if !g.ok {
				break
			}
			rise := math.Sqrt(math.Max(g.chi2All-f.chi2All, 0) / widen)
			if rise > 0.93*z {
				break
			}
			sd *= math.Min(z/math.Max(rise, 0.1), 2)
			th = g.th
		}
		return sd
	}
	f.below, f.above = side(f.below, -1), side(f.above, 1)
}

// matrix is a symmetric one of a model's parameters.
type matrix [nPar][nPar]float64

// cholesky factors the leading n rows of a, scaled to a unit diagonal to which
// damping is added, into l·lᵀ; scale is what rows and columns were multiplied
// by. ok is false where a is not positive definite.
func (a *matrix) cholesky(n int, damping float64) (l matrix, scale params, ok bool) {
	for i := range n {
		scale[i] = 1 / math.Sqrt(math.Max(a[i][i], 1e-300))
	}
	for i := range n {
		for j := range i + 1 {
			s := a[i][j] * scale[i] * scale[j]
			if i == j {
				s += damping
			}
			for k := range j {
				s -= l[i][k] * l[j][k]
			}
			if i != j {
				l[i][j] = s / l[j][j]
			} else if l[i][i] = math.Sqrt(s); !(s > 1e-14) {
				return l, scale, false
			}
		}
	}
	return l, scale, true
}

// solve is the x of (a + damping on the scaled diagonal)·x = g.
func (a *matrix) solve(g params, n int, damping float64) (x params, ok bool) {
	l, scale, ok := a.cholesky(n, damping)
	if !ok {
		return x, false
	}
	for i := range n {
		g[i] *= scale[i]
	}
	x = l.back(g, n)
	for i := range n {
		x[i] *= scale[i]
	}
	return x, true
}

// back solves l·lᵀ·x = g.
func (l *matrix) back(g params, n int) params {
	for i := range n {
		for k := range i {
			g[i] -= l[i][k] * g[k]
		}
		g[i] /= l[i][i]
	}
	for i := n - 1; i >= 0; i-- {
		for k := i + 1; k < n; k++ {
			g[i] -= l[k][i] * g[k]
		}
		g[i] /= l[i][i]
	}
	return g
}

// inverse of the leading n rows of a, and the log of their determinant.
func (a *matrix) inverse(n int) (inv matrix, logDet float64, ok bool) {
	l, scale, ok := a.cholesky(n, 0)
	if !ok {
		return inv, 0, false
	}
	for i := range n {
		var e params
		e[i] = 1
		col := l.back(e, n)
		for j := range n {
			inv[j][i] = col[j] * scale[i] * scale[j]
		}
		logDet += 2 * (math.Log(l[i][i]) - math.Log(scale[i]))
	}
	return inv, logDet, true
}

// startingPoints of the search, as factors on the guess of K and values of the
// rest. The fit of a fast leak has other minima, with the gas far too cold and
// the hole too big; the last ones are tried for such leaks only.
var startingPoints = []struct{ k, dt, lnTau float64 }{
	{1, priorDT, priorLnTau},
	{0.8, 10, 1.2},
	{1, 2, 3.4},
	{0.8, priorDT, priorLnTau},
	{0.8, 2, 3.2},
	{0.65, 30, priorLnTau},
}

const slowStarts = 3 // of them are enough for a leak that empties little of the duct

// chiOr is the cost of the fit, +Inf if there is none.
func (f fitted) chiOr() float64 {
	if !f.ok {
		return math.Inf(1)
	}
	return f.chi2All
}

// orificeDoubt is the share of the weight below which a leak is told as
// something else than an orifice.
const orificeDoubt = 0.05

// estimate is what the competing models say together.
type estimate struct {
	best      fitted
	fits      []fitted
	weights   []float64
	k, sdK    float64 // of the likeliest law, from the trace alone
	mean, sd  float64 // of K over all the models
	lowK, hiK float64 // 95 % over all the models, from the trace alone
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
	room := newScratch(len(d.t))
	n := len(d.p)
	fast := d.p[n-1]-d.pa < 0.6*(d.p[0]-d.pa) // a good part of the duct empties
	const first = 4                           // nozzle and seep, with either way of cooling
	worthwhile := map[bool]bool{false: true, true: true}
	for i, m := range models {
		f := fitted{model: m}
		switch {
		case warm != nil && warm.fits[i].ok:
			f = d.fit(m, warm.fits[i].th, maxIter, room)
			if m.natural && i < first && warm.fits[i-1].ok {
				// Natural convection explains the same trace with warmer air and a smaller leak.
				from := warm.fits[i-1].th
				from[parK] *= 0.7
				from[parDT] *= 1.6
				from[parLnTau] += 0.5
				if g := d.fit(m, from, maxIter, room); g.ok && g.chi2All < f.chi2All {
					f = g
				}
			}
		case i < first:
			starts := startingPoints
			if !fast {
				starts = starts[:slowStarts]
			}
			for _, s := range starts {
				from := guess
				from[parK] *= s.k
				from[parDT], from[parLnTau] = s.dt, s.lnTau
				if g := d.fit(m, from, 4, room); g.ok && (!f.ok || g.chi2All < f.chi2All) {
					f = g
				}
			}
			if f.ok {
				f = d.fit(m, f.th, maxIter, room)
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
			f = d.fit(m, start, maxIter, room)
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
	g := bf.model.gas(&bf.th, d.pa, d.tw, bf.th[parP0])
	d.trace(&g, &bf.th, &room.curve)
	buf := room.curve[0]
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
		if f.ok {
			most = max(most, f.evidence)
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
	shares := make([]float64, mixing+1)
	for i, f := range e.fits {
		e.weights[i] /= sum
		shares[f.model.shape] += e.weights[i]
		switch f.model.law() {
		case LawSeep:
			e.seepShare += e.weights[i]
		case LawOrifice:
			e.orifShare += e.weights[i]
		}
	}
	shape, best := e.likeliest(shares)
	e.best = e.fits[best]
	e.mean, e.sd = e.moments(func(model) bool { return true })
	e.k, e.sdK = e.moments(func(m model) bool { return m.shape == shape })

	for i := range e.fits {
		if f := &e.fits[i]; f.ok {
			f.below = math.Sqrt(f.cov[parK][parK] * e.widen)
			f.above = f.below
			if fast && e.weights[i] > 0.02 {
				d.profile(f, e.widen, room)
			}
		}
	}
	e.lowK = min(e.quantile(0.025), e.k)
	e.hiK = max(e.quantile(0.975), e.k)
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

// likeliest is the shape whose value is told, and the index of its best fit.
// A mean of laws that explain one trace with several areas would be true of
// none of them, so it is an orifice, which is what an equivalent hole stands
// for, unless the trace speaks against that; and among orifices the likeliest.
// The interval covers them all.
func (e *estimate) likeliest(shares []float64) (s shape, best int) {
	law := LawOrifice
	if rest := 1 - e.seepShare - e.orifShare; e.orifShare < orificeDoubt && e.seepShare > rest {
		law = LawSeep
	} else if e.orifShare < orificeDoubt {
		law = LawMixed
	}
	best = -1
	for i, f := range e.fits {
		if !f.ok || f.model.law() != law {
			continue
		}
		same := best >= 0 && f.model.shape == s
		if best < 0 || same && e.weights[i] > e.weights[best] || !same && shares[f.model.shape] > shares[s] {
			s, best = f.model.shape, i
		}
	}
	return s, best
}

// moments are the mean of K and its standard deviation over the models that in
// admits.
func (e *estimate) moments(in func(model) bool) (mean, sd float64) {
	sum, v := 0.0, 0.0
	for i, f := range e.fits {
		if w := e.weights[i]; w > 0 && in(f.model) {
			sum += w
			mean += w * f.th[parK]
		}
	}
	mean /= sum
	for i, f := range e.fits {
		if w := e.weights[i]; w > 0 && in(f.model) {
			dk := f.th[parK] - mean
			v += w / sum * (f.cov[parK][parK]*e.widen + dk*dk)
		}
	}
	return mean, math.Sqrt(v)
}

// quantile of the mixture of normal distributions of K that the models give.
func (e *estimate) quantile(q float64) float64 {
	lo, hi := e.mean-12*e.sd, e.mean+12*e.sd
	for range 60 {
		x := (lo + hi) / 2
		cdf := 0.0
		for i, f := range e.fits {
			if e.weights[i] > 0 {
				sd := f.below
				if x > f.th[parK] {
					sd = f.above
				}
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
