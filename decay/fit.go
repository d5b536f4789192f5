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
	settled  bool // the search ended by itself
	passed   bool // over in this round; th is of an earlier one
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
	fresh   float64 // readings that differ from the one before
	spent   int     // steps of integration so far
}

const (
	fitCells   = 60   // at least, of the later part of a hold
	fitGrowth  = 0.05 // a cell may be this share of the time since isolation
	skipCorner = 0.25 // s left out after isolation: the air is still in motion and the sensor lags
	skipShare  = 0.05 // of a hold at most
)

// trust is how much of a hold a fit believes. Where no model explains what is
// left after the corner, as when the sensor follows with a lag, more is left out
// there; where none explains the rest, the readings are taken as less exact, for
// else they would drown what is known of air and ducts beforehand.
type trust struct {
	doubled int     // how often the part left out was doubled
	blurred int     // how often readings were taken as less exact
	blur    float64 // by how much: a factor on the variance, less one
}

// misfit is how much larger than noise residuals may be, in the mean square,
// before a hold is trusted less.
const misfit = 3

// less is what to trust after a fit whose residuals are so much larger than
// noise, and whether that is less.
func (t trust) less(excess float64) (trust, bool) {
	switch {
	case excess < misfit:
		return t, false
	case t.doubled < 3:
		t.doubled++
	case t.blurred < 2:
		t.blurred++
		t.blur = (1+t.blur)*excess - 1
	default:
		return t, false
	}
	return t, true
}

// newHoldData takes cells [from, to) as a hold isolated at the first of them,
// as far as it is trusted.
func newHoldData(cells []cell, s stretch, pa, zero, tw, sigma float64, trust trust) holdData {
	d := holdData{pa: pa, tw: tw, sigma: sigma}
	t0 := cells[s.from].t
	length := cells[s.to-1].t1 - t0
	last := math.Min(skipCorner, skipShare*length)
	skip := last * math.Exp2(float64(trust.doubled))
	if seldom := length/float64(s.to-s.from) > 2*skipCorner; seldom || s.from == 0 {
		skip, last = 0, 0 // no corner to see
	}
	shut := s.to < len(cells) // what ended the hold may have begun a little before it was seen
	for _, c := range cells[s.from:s.to] {
		d.fresh += c.fresh
	}
	worth := worth(cells[s.from:s.to])
	var acc cell
	put := func() {
		if acc.n > 0 {
			d.t = append(d.t, acc.t-t0)
			d.p = append(d.p, acc.p-zero)
			d.w = append(d.w, worth*acc.n/(sigma*sigma)/(1+trust.blur))
			d.vt = append(d.vt, (acc.t1-acc.t0)*(acc.t1-acc.t0)/12)
			d.n += acc.n
		}
	}
	for _, c := range cells[s.from:s.to] {
		if c.t-t0 < skip || shut && t0+length-c.t1 < last {
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

// worth is the share of readings that count: those that repeat the one before
// tell less, for the error of rounding is the same. A run of them is worth its
// two ends.
func worth(cells []cell) float64 {
	n, fresh := 0.0, 0.0
	for _, c := range cells {
		n += c.n
		fresh += c.fresh
	}
	return math.Min(1, (2*fresh+1)/math.Max(n, 1))
}

// coarsen takes the readings as rounded to division, Pa.
func (d *holdData) coarsen(division float64) {
	sigma := division / math.Sqrt(12)
	for i := range d.w {
		d.w[i] *= d.sigma * d.sigma / (sigma * sigma)
	}
	d.sigma = sigma
}

// prior is the mean and standard deviation of parameter i of m at th, or sd 0
// for none.
func (d *holdData) prior(m model, th *params, i int) (mean, sd float64) {
	switch i {
	case parDT:
		if th[parDT] < priorDT {
			return priorDT, priorDTCold / (1 + math.Max(-th[parDT], 0)/priorDTBled)
		}
		// Filled at once and without a wall, air gets as hot as this: cv·(m·T − m₀·T₀)
		// = cp·T₀·(m − m₀), with p in place of m·T.
		hottest := d.tw * (Gamma/(1+(Gamma-1)*d.pa/math.Max(th[parP0], d.pa)) - 1)
		return priorDT, priorDTSD / (1 + math.Max(th[parDT]-hottest, 0)/priorDTOver)
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
	d.spent += g.trace(th, d.t, out, &jac)
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

// A search minimises the weighted squares of the residuals, priors included, by
// Levenberg–Marquardt on summed normal equations with columns scaled to unit
// diagonal (Marquardt, J. SIAM 11 (1963) 431–441). It goes on an iteration at a
// time, since a whole one takes longer than a look at a live test may.
type search struct {
	d         *holdData
	m         model
	th        params
	held      bool // K stays what it was at the start
	left      int  // iterations
	p0        float64
	cur, next *[nPar + 1][]float64
	data, all float64
	lambda    float64
	settled   bool
}

// search begins one from th, in the room that is given.
func (d *holdData) search(m model, th params, maxIter int, s *scratch, held bool) *search {
	f := &search{d: d, m: m, th: th, held: held, left: maxIter, cur: &s.curve, next: &s.trial, lambda: 1e-3}
	f.p0 = th[parP0] // K and τ are meant here while the search goes on
	g := m.gas(&th, d.pa, d.tw, f.p0)
	f.data, f.all = d.trace(&g, &th, f.cur)
	return f
}

// iterate goes on by one iteration and reports whether the search has ended.
func (f *search) iterate() (done bool) {
	if f.left == 0 {
		return true
	}
	f.left--
	d, m, np := f.d, f.m, f.m.count()
	a, grad := d.normal(m, &f.th, f.cur)
	if f.held {
		for i := range np {
			a[i][parK], a[parK][i] = 0, 0
		}
		a[parK][parK], grad[parK] = 1, 0
	}
	improved := false
	for range 8 {
		step, ok := a.solve(grad, np, f.lambda)
		if !ok {
			f.lambda *= 10
			continue
		}
		to := f.th
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
		g := m.gas(&to, d.pa, d.tw, f.p0)
		nd, na := d.trace(&g, &to, f.next)
		if na < f.all {
			gain := f.all - na
			f.th, f.data, f.all = to, nd, na
			f.cur, f.next = f.next, f.cur
			f.lambda = math.Max(f.lambda/8, 1e-9)
			improved = gain > 0.01+1e-5*f.all
			break
		}
		f.lambda *= 6
	}
	f.settled = !improved
	return f.settled || f.left == 0
}

// fitted is where the search ended.
func (f *search) fitted() fitted {
	d, m, np, th := f.d, f.m, f.m.count(), f.th
	out := fitted{model: m, th: th, settled: f.settled}
	a, _ := d.normal(m, &th, f.cur)
	inv, logDet, ok := a.inverse(np)
	if !ok {
		return out
	}
	for i := range np {
		if _, sd := d.prior(m, &th, i); sd > 0 {
			out.evidence -= math.Log(sd)
		}
	}
	g := m.gas(&th, d.pa, d.tw, f.p0)
	th[parK], th[parLnTau] = g.moved(th[parP0])
	out.th, out.cov, out.chi2, out.chi2All, out.ok = th, inv, f.data, f.all, !math.IsInf(f.all, 0)
	out.evidence += math.Log(m.weight) - 0.5*logDet // the −χ²/2 is added once the noise is known
	return out
}
