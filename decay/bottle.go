package decay

import (
	"fmt"
	"math"
	"sort"
	"time"
)

// VolumeByBottle is a duct's volume from a bottle that was opened to it.
type VolumeByBottle struct {
	Volume   Interval // m³
	OpenedAt time.Duration
	Before   Gauge  // pressure just before the tap was opened, fitted
	After    Gauge  // and once its fall was over
	Hold     Result // of the hold up to the tap
}

// FindVolumeByBottle gives the volume of a duct from one trace in which, during
// a hold, the tap of a bottle of known volume (± tolerance, relative, at 95 %)
// at ambient pressure was opened to the duct. Air and its energy are shared:
//
//	p₁·V + pa·Vb = p₂·(V + Vb)
//
// at the moment of opening, whatever the temperatures, and again when the heat
// has settled. Both sides of the step are fitted as one: the duct's leak and
// settling before it, and after it the same leak out of both volumes while the
// duct's air, chilled by its expansion, and the bottle's, heated by being
// compressed, come back to the wall's temperature each at its own pace.
func FindVolumeByBottle(set Setup, bottle Volume, tolerance float64, samples []Sample) (VolumeByBottle, error) {
	set = set.WithDefaults()
	set.Volume, set.VolumeTolerance = 0, 0
	set.Compliance, set.Rigid = 0, true
	span := set.SpanTolerance
	set.SpanTolerance = 0
	v, err := volumeByBottle(set, bottle, samples)
	if err != nil {
		return v, err
	}
	spread := v.Volume.Value * tolerance
	if span > 0 {
		wide, err := volumeByBottle(set, bottle, spanned(set, samples, span))
		if err != nil {
			return v, err
		}
		spread = math.Hypot(spread, wide.Volume.Value-v.Volume.Value)
	}
	v.Volume.spread(math.Hypot(spread, v.Volume.Value*bottleDoubt))
	return v, nil
}

// bottleDoubt is what the model of one temperature a vessel leaves open, as a
// share of the volume at 95 %; from our simulations.
const bottleDoubt = 0.004

// spread widens iv by the half-width d, in quadrature.
func (iv *Interval) spread(d float64) {
	iv.Low = math.Max(iv.Value-math.Hypot(iv.Value-iv.Low, d), 0)
	iv.High = iv.Value + math.Hypot(iv.High-iv.Value, d)
}

// Parameters of a hold with a bottle opened in it.
const (
	botP0 = iota
	botK
	botDT
	botLnTau
	botZero
	botLnV
	botLnTauB // of the bottle's air, at the pressure after the step
	botLnTap  // of the tap's effective area over the duct's volume, 1/m
	botWarm   // K by which all of the air is warmer after the step than the model makes it
	botCount
)

// Priors of the bottle's side: small vessels settle in some seconds; jets stir
// the air while the tap's flow is on, and then heat moves a little otherwise.
const (
	priorLnTauB, priorLnTauBSD = 1.8, 1.0
	priorWarmSD                = 1.0 // K
	lnTapSD                    = 0.7 // of the tap's width about a first guess
)

// bottleModels are those of a jet, and again with the airs of duct and bottle
// mixed to one as the tap is opened, as in a wide and short connection.
var bottleModels = append(jetModels[:len(jetModels):len(jetModels)], jetModels[:4]...)

// mixedWarmSD is how far, K, mixed air may be from sharing its energy, which
// walls take and give while it is stirred.
const mixedWarmSD = 5.0

// tapStep finds where the tap was opened: the cells before it, the first after it
// that is quiet again, and the last. It looks for the deepest sharp fall with
// quiet air on both sides, after from (s).
func tapStep(cells []cell, from, ambient, sigma float64) (open, quiet, last int, ok bool) {
	sl := slopesOf(cells, runningSums(cells, new([]running)), 0.5, sigma, 0, new([]float64))
	n := len(cells)
	top := 0.0
	for _, c := range cells {
		top = math.Max(top, c.p-ambient)
	}
	if top <= 0 {
		return 0, 0, 0, false
	}
	deepest := 0.0
	for i := 1; i < n-3; i++ {
		if cells[i].t < from || math.IsInf(sl.lsd[i], 1) || math.IsInf(sl.rsd[i], 1) {
			continue
		}
		bend := sl.left[i] - sl.right[i]
		if bend < 8*math.Hypot(sl.lsd[i], sl.rsd[i]) || bend < 0.008*top || sl.right[i] > 2*sl.left[i]-0.005*top {
			continue
		}
		// The sharpest bend of this neighbourhood, and its steepest fall.
		k := i
		for k+1 < n-3 && cells[k+1].t < cells[i].t+0.8 && !math.IsInf(sl.rsd[k+1], 1) {
			k++
			if sl.left[k]-sl.right[k] > bend {
				bend, i = sl.left[k]-sl.right[k], k
			}
		}
		// It is over once little more than the slope before it, the leak's, is left.
		steepest, j, own := 0.0, i, math.Min(sl.left[i], 0)
		for j < n-1 && (cells[j].t < cells[i].t+0.6 || sl.mid[j]-own < 0.08*(steepest-own)) {
			steepest = math.Min(steepest, sl.mid[j])
			j++
		}
		fall := cells[i].p - cells[j].p
		if fall < 0.02*top || cells[j].p-ambient < 0.05*top || cells[j].t-cells[i].t > 30 {
			continue
		}
		// The quiet stretch after it lasts until the next sharp fall or rise.
		e := j
		for e < n-1 && math.Abs(sl.mid[e]) < math.Max(0.25*math.Abs(steepest), math.Max(10*sigma, 1.5*math.Abs(own))) && cells[e].p-ambient > 0.03*top {
			e++
		}
		if cells[e].t-cells[j].t < 4 {
			continue
		}
		// Deep and quick: air that cools falls deep as well, but slowly.
		if score := fall * fall / (cells[j].t - cells[i].t); score > deepest {
			deepest, open, quiet, last, ok = score, i, j, e, true
		}
	}
	if !ok {
		return 0, 0, 0, false
	}
	// The fall begins where the trace leaves its line of the second before.
	from0 := open
	for from0 > 0 && cells[from0-1].t > cells[open].t-1 && cells[from0-1].t > from-1 {
		from0--
	}
	tm, pm, slope, _ := line(cells, from0, open, sigma)
	enough := math.Max(6*sigma, 0.02*(cells[open].p-cells[quiet].p))
	if open-from0 >= 3 {
		for open+1 < quiet && cells[open].p > pm+slope*(cells[open].t-tm)-enough {
			open++
		}
	}
	return open, quiet, last, true
}

func volumeByBottle(set Setup, bottle Volume, samples []Sample) (VolumeByBottle, error) {
	var v VolumeByBottle
	h := newHistory()
	for _, s := range samples {
		h.add(s.At.Seconds(), float64(s.P))
	}
	h.flush()
	cells := h.cells
	if len(cells) < 20 {
		return v, fmt.Errorf("%w: only %d readings", ErrNoHold, len(samples))
	}
	sigma := math.Max(h.sigma(), 0.5)
	most := 0
	for i, c := range cells {
		if c.p > cells[most].p {
			most = i
		}
	}
	open, quiet, last, ok := tapStep(cells, cells[most].t+2.5, float64(set.NominalAmbient()), sigma)
	if !ok {
		return v, ErrNoStep
	}
	cutAt := func(t float64) int {
		return sort.Search(len(samples), func(i int) bool { return samples[i].At.Seconds() > t })
	}
	v.Hold = Analyse(set, samples[:cutAt(cells[open].t0-1e-9)])
	if !v.Hold.HasFit {
		return v, fmt.Errorf("before the tap was opened, at %.1f s, %w (%v)", cells[open].t, ErrNoHold, v.Hold.Outcome)
	}
	v.OpenedAt = seconds(cells[open].t)
	pa, tw, zero := float64(v.Hold.Ambient), float64(set.AmbientTemperature), float64(v.Hold.Zero)
	h1 := holdOf(set, &v.Hold, samples[:cutAt(cells[open].t0-1e-9)])
	if len(h1.t) < 5 {
		return v, fmt.Errorf("before the tap was opened, at %.1f s, %w that is long enough", cells[open].t, ErrNoHold)
	}
	// Quiet is where the fall has slowed; the last of the tap's flow and the sensor's lag take a little more.
	for quiet < last && cells[quiet].t < cells[open].t+1.3*(cells[quiet].t-cells[open].t)+0.3 {
		if cells[quiet].t >= cells[open].t+0.8 {
			break
		}
		quiet++
	}
	after := cells[last].t
	if r := Analyse(afterSetup(set, &v.Hold), samples[cutAt(cells[quiet].t):cutAt(after)]); r.HasFit {
		after = r.Hold.End.Seconds()
	}
	for last > quiet && cells[last].t1 > after-0.3 {
		last--
	}
	h2 := newHoldData(cells, stretch{from: quiet, to: last + 1}, pa, zero, tw, sigma, trust{})
	if len(h2.t) < 5 {
		return v, fmt.Errorf("after the tap was opened, at %.1f s, %w that is long enough", cells[open].t, ErrNoHold)
	}
	t0 := v.Hold.Hold.Start.Seconds()
	ts := cells[open].t - t0
	for i := range h2.t {
		h2.t[i] += cells[quiet].t - t0
	}

	// What was seen of the fall itself: its mean pressure tells how wide the tap is.
	var mean, readings float64
	for _, c := range cells[open:quiet] {
		mean, readings = mean+c.p*c.n, readings+c.n
	}
	p1, p2 := h1.p[len(h1.p)-1], h2.p[0]
	if p2-pa <= 0 || p1-p2 <= 0 || readings == 0 {
		return v, fmt.Errorf("%w: from %.1f to %.1f kPa gauge", ErrNoVolume, (p1-pa)/1e3, (p2-pa)/1e3)
	}
	fall := span{ts, cells[quiet].t - t0}
	fallSD := 0.01*(p1-p2) + sigma // the cells do not begin and end as the fall does

	// A first guess without heat or leak.
	guess := make([]float64, botCount)
	guess[botP0] = float64(v.Hold.Hold.StartAbs)
	guess[botK] = v.Hold.Rate.Value
	tauSeen := priorLnTau
	if tau := v.Hold.Settling.Tau.Seconds(); tau > 1 && tau < 60 {
		tauSeen = math.Log(tau)
	}
	guess[botLnV] = math.Log(float64(bottle) * (p2 - pa) / (p1 - p2))
	// An even fall would take twice the area under it, and a choked tap moves the bottle's gain in that time.
	took := 2 * (fall.to - fall.from) * (mean/readings - zero - p2) / (p1 - p2)
	took = math.Min(math.Max(took, 0.05), fall.to-fall.from)
	guess[botLnTap] = math.Log(float64(bottle) / math.Exp(guess[botLnV]) * (p2 - pa) / (p1 * math.Sqrt(RAir*tw) * psiChoked * took))
	n1, n := len(h1.t), len(h1.t)+len(h2.t)
	var fits []solution
	var prior []float64
	for i, m := range bottleModels {
		mixed := i >= len(jetModels)
		q := problem{
			p: append(append(append([]float64(nil), h1.p...), h2.p...), mean/readings-zero),
			w: append(append(append([]float64(nil), h1.w...), h2.w...), 1/(fallSD*fallSD)),
			predict: func(th, out []float64) {
				withBottle(m, mixed, th, float64(bottle), pa, tw, fall, h1.t, h2.t, out)
				h1.overCells(out[:n1])
				h2.overCells(out[n1:n])
				for i := range out {
					out[i] += th[botZero]
				}
			},
			step: []float64{1, 1e-5, 0.02, 1e-3, 1, 1e-4, 1e-3, 1e-2, 0.01},
			mean: []float64{0, 0, priorDT, priorLnTau, 0, 0, priorLnTauB, guess[botLnTap], 0},
			sd:   []float64{0, 0, priorDTSD, priorLnTauSD, math.Max(h1.zeroSD, 0.01), 0, priorLnTauBSD, lnTapSD, priorWarmSD},
			lo:   []float64{pa, -1, -100, -3, -2e4, math.Log(1e-6), -3, guess[botLnTap] - 3, -30},
			hi:   []float64{1e7, 10, 150, 7, 2e4, math.Log(100), 6, guess[botLnTap] + 3, 30},
		}
		if mixed {
			q.sd[botWarm] = mixedWarmSD
		}
		var best solution
		from := []struct{ dt, lnTau, lnTauB float64 }{
			{priorDT, tauSeen, priorLnTauB}, {25, 1.5, 0.7}, {5, 2.5, 2.6}, {priorDT, tauSeen, -0.5}, {1, -1, -1}, {priorDT, tauSeen, 3.2},
		}
		for _, from := range from[:m.starts(len(from))] {
			start := append([]float64(nil), guess...)
			start[botDT], start[botLnTau], start[botLnTauB] = from.dt, from.lnTau, from.lnTauB
			if f := q.solve(start, 6); f.ok && (!best.ok || f.cost < best.cost) {
				best = f
			}
		}
		if best.ok {
			best = q.solve(best.th, 30)
		}
		fits = append(fits, best)
		prior = append(prior, m.weight)
	}
	best := lowest(fits)
	if best < 0 {
		return v, fmt.Errorf("%w that can be fitted", ErrNoHold)
	}
	widen := widening(fits[best].res, botCount, n1)
	share := weigh(fits, prior, widen)
	var ln mixture
	for i, f := range fits {
		if f.ok {
			ln = ln.with(f.th[botLnV], math.Sqrt(f.cov.At(botLnV, botLnV)*widen), share[i])
		} else {
			ln = ln.with(0, 1, 0)
		}
	}
	iv := ln.interval(orificeShare(fits, bottleModels, share))
	v.Volume = Interval{math.Exp(iv.Value), math.Exp(iv.Low), math.Exp(iv.High), iv.Level}
	at := make([]float64, 3)
	withBottle(bottleModels[best], best >= len(jetModels), fits[best].th, float64(bottle), pa, tw, fall, []float64{ts}, []float64{fall.to}, at)
	v.Before, v.After = Gauge(at[0]-pa), Gauge(at[1]-pa)
	return v, nil
}

// afterSetup is what is known of the hold after the step.
func afterSetup(set Setup, before *Result) Setup {
	if set.Ambient == 0 {
		set.Ambient = before.Ambient
	}
	return set
}

// lowest is the fit of the lowest cost, -1 if there is none.
func lowest(fits []solution) int {
	best := -1
	for i, f := range fits {
		if f.ok && (best < 0 || f.cost < fits[best].cost) {
			best = i
		}
	}
	return best
}

// overCells adds to pressures at the cells' mean times what their curvature
// adds over the cells' width.
func (d *holdData) overCells(out []float64) {
	before := out[0]
	for i := 1; i < len(d.t)-1; i++ {
		h1, h2 := d.t[i]-d.t[i-1], d.t[i+1]-d.t[i]
		now := out[i]
		bend := 2 * ((out[i+1]-now)/h2 - (now-before)/h1) / (h1 + h2)
		before = now
		out[i] += 0.5 * bend * d.vt[i]
	}
}

// span is a stretch of time, s since isolation.
type span struct{ from, to float64 }

// withBottle integrates a hold in which a bottle is opened at fall.from: the
// duct's gas alone at the times first, then both vessels with the tap's flow
// between them until they are at one pressure, and from there on as one, at the
// times then (s since isolation). Last in out is the duct's mean pressure over
// the fall. Masses are in units of V/R, so that the duct's is p/T and the
// bottle's β·p/T with β = Vb/V.
//
//	duct    ṗ = (Tw−T)·p₀/(Tw·τ) − γ·T·ṁ − γ·T'·ẇ         T' of the air that flows
//	bottle  β·ṗ = β·(Tw−Tb)·p₂/(Tw·τb) + γ·T'·ẇ           through the tap
//	ṁ = K·p·ψ(pa/p)/√(T·Tw) or K·(p²−pa²)/Tw·ψ(pa/p₀)·p₀/(p₀²−pa²)
//	ẇ = a·√R·p/√T·ψ(pb/p)                                  a = CdA_tap/V
func withBottle(m model, mixed bool, th []float64, bottle, pa, tw float64, fall span, first, then, out []float64) {
	p0, k := th[botP0], th[botK]
	beta := bottle / math.Exp(th[botLnV])
	tau, tauB := math.Exp(th[botLnTau]), math.Exp(th[botLnTauB])
	tap := math.Exp(th[botLnTap]) * math.Sqrt(RAir)
	seep := 0.0
	if m.shape == seeping && p0 > pa {
		seep = Psi(pa/p0) * p0 / (p0*p0 - pa*pa) / tw
	}
	leak := func(p, t float64) float64 {
		if p <= pa {
			return 0
		}
		if m.shape == seeping {
			return k * seep * (p*p - pa*pa)
		}
		return k * p * Psi(pa/p) / math.Sqrt(t*tw)
	}
	ref2 := (p0 + beta*pa) / (1 + beta) // where τb is meant
	gamma, warm := Gamma, th[botDT]
	if m.still {
		gamma, warm = 1, 0 // the wall gives at once what the work takes
	}
	heat := func(p, t, ref, tau float64) float64 {
		if m.still {
			return 0
		}
		q := (tw - t) * ref / (tw * tau)
		if m.natural {
			q *= math.Sqrt(math.Sqrt(math.Abs(tw-t)/naturalRef+1e-3) * p / ref)
		}
		return q
	}
	// State: pressure and mass in the duct, pressure and mass in the bottle.
	type state struct{ p, d, pb, b float64 }
	plus := func(a, r state, h float64) state {
		return state{a.p + h*r.p, a.d + h*r.d, a.pb + h*r.pb, a.b + h*r.b}
	}
	of := func(p, mass float64) float64 { // temperature
		if m.still {
			return tw
		}
		return p / mass
	}
	alone := func(s state) state {
		t := of(s.p, s.d)
		l := leak(s.p, t)
		return state{heat(s.p, t, p0, tau) - gamma*t*l, -l, 0, 0}
	}
	flowing := func(s state) state {
		t, tb := of(s.p, s.d), of(beta*s.pb, s.b)
		r := alone(s)
		w, from := 0.0, t
		if s.p > s.pb {
			w = tap * s.p / math.Sqrt(t) * Psi(s.pb/s.p)
		} else {
			w, from = -tap*s.pb/math.Sqrt(tb)*Psi(s.p/s.pb), tb
		}
		return state{r.p - gamma*from*w, r.d - w, heat(s.pb, tb, ref2, tauB) + gamma*from*w/beta, w}
	}
	joined := func(s state) state {
		t, tb := of(s.p, s.d), of(beta*s.p, s.b)
		r := alone(s)
		dp := (r.p + beta*heat(s.p, tb, ref2, tauB)) / (1 + beta)
		over := (r.p - dp) / gamma // what flows on into the bottle, times its temperature
		if over > 0 {
			over /= t
		} else {
			over /= tb
		}
		return state{dp, r.d - over, dp, over}
	}
	step := func(s state, h float64, rates func(state) state) state {
		k1 := rates(s)
		k2 := rates(plus(s, k1, h/2))
		k3 := rates(plus(s, k2, h/2))
		k4 := rates(plus(s, k3, h))
		return plus(plus(plus(plus(s, k1, h/6), k2, h/3), k3, h/3), k4, h/6)
	}
	now := 0.0
	s := state{p: p0, d: p0 / (tw + warm), pb: pa, b: beta * pa / tw}
	advance := func(to, fastest float64, rates func(state) state) {
		if span := to - now; span > 0 {
			n := min(int(span*fastest*5)+1, 400)
			for range n {
				s = step(s, span/float64(n), rates)
			}
			now = to
		}
	}
	fast := math.Max(1/tau, math.Abs(k))
	for i, t := range first {
		advance(t, fast, alone)
		out[i] = s.p
	}
	advance(fall.from, fast, alone)

	if mixed {
		// One gas in both vessels, whose time constant is τb.
		s = state{p: (s.p + beta*pa) / (1 + beta) * (1 + th[botWarm]/tw), d: s.d + beta*pa/tw}
		out[len(out)-1] = s.p
		one := func(s state) state {
			t := (1 + beta) * s.p / s.d
			l := leak(s.p, t)
			return state{heat(s.p, t, ref2, tauB) - gamma*t*l/(1+beta), -l, 0, 0}
		}
		for i, t := range then {
			advance(t, math.Max(math.Abs(k), 1/tauB), one)
			out[len(first)+i] = s.p
		}
		return
	}

	// The fall, by steps that each take off a part of what is left between the pressures.
	sum := 0.0
	for range 300 {
		if s.p-s.pb < 0.0005*s.p {
			break
		}
		t := of(s.p, s.d)
		rate := tap * s.p * math.Sqrt(t) * Psi(s.pb/s.p) * gamma * (1 + 1/beta) / (s.p - s.pb)
		h := math.Min(0.15/rate, 0.2/math.Max(fast, 1/tauB))
		before := s.p
		s = step(s, h, flowing)
		now += h
		if over := now - fall.to; over <= 0 {
			sum += h * (before + s.p) / 2
		} else if over < h {
			sum += (h - over) * (before + s.p) / 2
		}
	}
	s.p = (s.p + beta*s.pb) / (1 + beta) * (1 + th[botWarm]/tw)
	s.pb = s.p
	if rest := fall.to - math.Max(now, fall.from); rest > 0 {
		sum += rest * s.p
	}
	out[len(out)-1] = sum / math.Max(fall.to-fall.from, 1e-9)
	for i, t := range then {
		advance(t, math.Max(fast, 1/tauB), joined)
		out[len(first)+i] = s.p
	}
}
