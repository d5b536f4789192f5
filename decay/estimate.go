package decay

import "math"

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

// A warm is how natural convection explains a trace that constant exchange of
// heat explains as well: with warmer air and a smaller leak.
type warm struct{ k, dt, lnTau float64 }

var warmer = []warm{{0.7, 1.6, 0.5}, {0.4, 2.5, 1}}

func (w warm) from(th params) params {
	th[parK] *= w.k
	th[parDT] *= w.dt
	th[parLnTau] += w.lnTau
	return th
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
// something else than an orifice, and an orifice as something else than an
// ideal nozzle.
const orificeDoubt = 0.05

// estimate is what the competing models say together.
type estimate struct {
	best      fitted
	fits      []fitted
	weights   []float64
	k, sdK    float64 // of the likeliest law, from the trace alone
	mean, sd  float64 // of K over all the models
	lowK, hiK float64 // 95 % over all the models, from the trace alone
	// The same for a verdict under watching.
	lowWatched, hiWatched float64
	length                float64 // of the hold, s
	thorough              float64 // what it was when every model was fitted last
	widen                 float64 // by which residuals that are not white widened it
	excess                float64 // mean square of the residuals over that of noise, one at least
	seepShare             float64 // posterior weight of laws, to name the law
	orifShare             float64
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

// estimation is a round of fits to a hold that can be done a part at a time: no
// look at a live test shall take long.
type estimation struct {
	d       holdData
	warm    *estimate // an earlier one of the same hold to start from, or nil
	maxIter int
	guess   params
	fast    bool // a good part of the duct empties
	room    *scratch
	e       estimate
	// Where one way of cooling is clearly better, the other need not be tried
	// with every law: constant, natural.
	worthwhile [2]bool

	search   *search  // under way, or nil
	points   []params // at which searches for the model under way begin
	trial    fitted   // of it, the best of its starting points so far
	tried    int      // starting points
	longer   int      // how often a search that has not ended by itself goes on
	went     int      // how often that of the model under way did
	profiled int      // models whose cost was followed to either side
	flank    flank    // of the next
}

// negligible is the weight of a model that is passed over in a round that is
// not thorough.
const negligible = 1e-6

// begin starts a round of fits, a quick one from warm or one of long searches,
// and reports whether there is enough to fit.
func (d holdData) begin(warm *estimate, quick bool) (*estimation, bool) {
	n := len(d.t)
	if n < 3 {
		return nil, false
	}
	s := &estimation{d: d, warm: warm, maxIter: 20, longer: 2, guess: d.start(), room: newScratch(n), worthwhile: [2]bool{true, true}}
	if quick {
		s.maxIter, s.longer = 6, 0
	}
	s.fast = d.p[n-1]-d.pa < 0.6*(d.p[0]-d.pa)
	s.e.length = d.t[n-1]
	s.e.thorough = s.e.length
	if warm != nil && s.e.length < 1.3*warm.thorough {
		s.e.thorough = warm.thorough
	}
	return s, true
}

// step works on until about so many steps of integration were taken, an
// iteration of a search more at most, and reports whether all is done. Without a
// fit there is no estimate.
func (s *estimation) step(steps int) (done, ok bool) {
	for stop := s.d.spent + steps; s.d.spent < stop; {
		e := &s.e
		switch {
		case len(e.fits) < len(models):
			f, whole := s.next(len(e.fits))
			if !whole {
				continue
			}
			if f.ok && !f.settled && s.went < s.longer && s.worse(f) < hopeless {
				s.trial = f
				s.went++
				continue
			}
			s.went = 0
			e.fits = append(e.fits, f)
			if len(e.fits) == baseModels {
				s.compareCooling()
			}
			if len(e.fits) == len(models) && !s.weigh() {
				return true, false
			}
		case s.profiled < len(e.fits):
			f := &e.fits[s.profiled]
			if follow := f.ok && (s.fast || s.d.n < fewReadings) && e.weights[s.profiled] > 0.02; !follow || s.profile(f) {
				s.profiled++
			}
		default:
			e.bound()
			return true, true
		}
	}
	return false, false
}

// fewReadings are so few that the cost is no parabola.
const fewReadings = 30

const baseModels = 4 // the first of models: nozzle and seep, with either way of cooling

// fit goes on with the search under way, or begins one, and reports whether it
// has ended.
func (s *estimation) fit(m model, th params, maxIter int, held bool) (f fitted, done bool) {
	if len(s.d.t) < 3 {
		return fitted{model: m, th: th}, true
	}
	if s.search == nil {
		s.search = s.d.search(m, th, maxIter, s.room, held)
	}
	if !s.search.iterate() {
		return f, false
	}
	f, s.search = s.search.fitted(), nil
	return f, true
}

// next goes on with the fit of model i by an iteration, and reports whether it
// is done.
func (s *estimation) next(i int) (f fitted, whole bool) {
	m := models[i]
	switch {
	case s.went > 0:
		return s.fit(m, s.trial.th, s.maxIter, false)
	case s.warm != nil && s.e.thorough == s.warm.thorough && s.warm.weights[i] < negligible:
		return fitted{model: m, th: s.warm.fits[i].th, passed: s.warm.fits[i].ok || s.warm.fits[i].passed}, true
	case s.warm != nil && (s.warm.fits[i].ok || s.warm.fits[i].passed):
		if s.tried == 0 {
			if f, whole = s.fit(m, s.warm.fits[i].th, s.maxIter, false); !whole {
				return f, false
			}
			again := m.natural && i < baseModels && s.warm.fits[i-1].ok && f.ok
			if again {
				s.trial, s.tried = f, 1
			}
			return f, !again
		}
		g, whole := s.fit(m, warmer[0].from(s.warm.fits[i-1].th), s.maxIter, false)
		if !whole {
			return g, false
		}
		s.tried = 0
		if g.ok && g.chi2All < s.trial.chi2All {
			return g, true
		}
		return s.trial, true
	case i < baseModels:
		if s.tried == 0 && s.search == nil {
			s.trial, s.points = fitted{model: m}, s.starts(i)
		}
		if s.tried < len(s.points) {
			g, whole := s.fit(m, s.points[s.tried], 4, false)
			if !whole {
				return g, false
			}
			if g.ok && (!s.trial.ok || g.chi2All < s.trial.chi2All) {
				s.trial = g
			}
			s.tried++
			if s.worse(s.trial) > 300*float64(len(s.d.t)) && !(m.natural && s.tried <= len(warmer)) {
				s.tried = len(s.points) // the law is so far off that no start will help it
			}
			return g, false
		}
		if f = s.trial; f.ok && (s.search != nil || s.worse(f) < hopeless) {
			if f, whole = s.fit(m, f.th, s.maxIter, false); !whole {
				return f, false
			}
		}
		s.tried = 0
		return f, true
	case m.still || s.worthwhile[btoi(m.natural)]:
		from := s.e.fits[btoi(m.natural)]
		if g := s.e.fits[2+btoi(m.natural)]; m.shape == mixing && g.ok && (g.chi2All < from.chi2All || !from.ok) {
			from = g
		}
		start := from.th
		if !from.ok {
			start = s.guess
		}
		start[parMix] = priorMix
		if m.shape == ellipse {
			start[parMix] = priorB
		}
		return s.fit(m, start, s.maxIter, false)
	}
	return fitted{model: m}, true
}

// flank is how far the cost of a fit was followed to one side.
type flank struct {
	above bool
	tried int
	sd    float64
	at    params
}

// profile goes on with widening f's standard deviations of K to either side, and
// reports whether that is done: to where the best fit at a K held there is worse
// by what 1.96 of them stand for. The cost of a fast leak, whose gas cools and
// warms again, is far from a parabola.
func (s *estimation) profile(f *fitted) (done bool) {
	const z = 1.96
	k := &s.flank
	side, sign := &f.below, -1.0
	if k.above {
		side, sign = &f.above, 1
	}
	if k.tried == 0 && s.search == nil {
		k.sd, k.at = *side, f.th
	}
	if s.search == nil {
		k.at[parK] = f.th[parK] + sign*z*k.sd
	}
	if k.at[parK] > 0 {
		g, whole := s.fit(f.model, k.at, 12, true)
		if !whole {
			return false
		}
		k.tried++
		rise := math.Sqrt(math.Max(g.chi2All-f.chi2All, 0) / s.e.widen)
		if g.ok && rise <= 0.93*z {
			k.sd *= math.Min(z/math.Max(rise, 0.1), 2)
			k.at = g.th
			if k.tried < 5 {
				return false
			}
		}
	}
	*side = k.sd
	done = k.above
	*k = flank{above: !k.above}
	return done
}

// starts are where the search for model i, one of the first, begins.
func (s *estimation) starts(i int) []params {
	var out []params
	if models[i].natural && s.e.fits[i-1].ok {
		for _, w := range warmer {
			out = append(out, w.from(s.e.fits[i-1].th))
		}
	}
	points := startingPoints
	if !s.fast {
		points = points[:slowStarts]
	}
	for _, at := range points {
		from := s.guess
		from[parK] *= at.k
		from[parDT], from[parLnTau] = at.dt, at.lnTau
		out = append(out, from)
	}
	return out
}

// hopeless is by how much a model may be worse than the best before it is left
// as it is: no longer search would give it weight.
const hopeless = 2000

// worse is by how much the cost of f is above that of the best fit so far, in
// units of what the best leaves a cell if that is more than noise.
func (s *estimation) worse(f fitted) float64 {
	best := math.Inf(1)
	for _, g := range s.e.fits {
		best = min(best, g.chiOr())
	}
	if !f.ok || math.IsInf(best, 1) {
		return 0
	}
	return (f.chi2All - best) / max(1, best/float64(len(s.d.t)))
}

// compareCooling finds which ways of cooling are worth fitting with the rest
// of the laws.
func (s *estimation) compareCooling() {
	chi := func(k int) float64 {
		return min(s.e.fits[k].chiOr(), s.e.fits[k+2].chiOr())
	}
	a, b, n := chi(0), chi(1), float64(len(s.d.t))
	clear := 20 * max(1, min(a, b)/max(n-4, 1))
	if sound := min(a, b) < 2*n; sound {
		s.worthwhile = [2]bool{a <= b+clear, b <= a+clear}
	}
}

// weigh gives the fits their weights once they are all done, and reports
// whether any of them holds.
func (s *estimation) weigh() bool {
	e, d, room := &s.e, &s.d, s.room
	best := -1
	for i, f := range e.fits {
		if f.ok && (best < 0 || f.chi2All < e.fits[best].chi2All) {
			best = i
		}
	}
	if best < 0 {
		return false
	}
	// Residuals: larger than the noise, or not white, widen everything.
	bf := e.fits[best]
	g := bf.model.gas(&bf.th, d.pa, d.tw, bf.th[parP0])
	d.trace(&g, &bf.th, &room.curve)
	buf := room.curve[0]
	dof := max(float64(len(d.t)-bf.model.count()), float64(len(d.t)-2)/2, 1) // priors hold what few readings cannot
	red := math.Max(bf.chi2/dof, 1)
	var c0, c1 float64
	for i := range d.t {
		r := (d.p[i] - buf[i] - bf.th[parZero]) * math.Sqrt(d.w[i])
		c0 += r * r
		if i > 0 {
			c1 += r * (d.p[i-1] - buf[i-1] - bf.th[parZero]) * math.Sqrt(d.w[i-1])
		}
	}
	e.widen, e.excess = red, red
	if rho := c1 / math.Max(c0, 1e-300); rho > 2/math.Sqrt(float64(len(d.t))) {
		rho = math.Min(rho, 0.9)
		e.widen *= (1 + rho) / (1 - rho)
	}
	most := math.Inf(-1)
	for i := range e.fits {
		f := &e.fits[i]
		f.evidence -= 0.5 * (f.chi2/e.widen + f.chi2All - f.chi2)
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
		}
	}
	return true
}

// bound gives the intervals over all the models.
func (e *estimate) bound() {
	e.lowK = min(e.quantile(0.025), e.k)
	e.hiK = max(e.quantile(0.975), e.k)
	tail := 0.5 * math.Erfc(watchedZ/math.Sqrt2)
	e.lowWatched = min(e.quantile(tail), e.k)
	e.hiWatched = max(e.quantile(1-tail), e.k)
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
// none of them. So it is an ideal nozzle, which is what an effective area
// stands for, unless the trace speaks against that; then the likeliest shape of
// an orifice, unless it speaks against those; then seep or both together. The
// interval covers them all.
func (e *estimate) likeliest(shares []float64) (s shape, best int) {
	law := LawOrifice
	if rest := 1 - e.seepShare - e.orifShare; e.orifShare < orificeDoubt && e.seepShare > rest {
		law = LawSeep
	} else if e.orifShare < orificeDoubt {
		law = LawMixed
	}
	best = -1
	plain := law == LawOrifice && shares[nozzle] > orificeDoubt*e.orifShare
	for i, f := range e.fits {
		if !f.ok || f.model.law() != law || plain && f.model.shape != nozzle {
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
