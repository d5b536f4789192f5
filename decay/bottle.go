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
	After    Gauge  // and once it has spread into the bottle
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
	botWarm   // K by which all of the air is warmer after the step than shared energy makes it
	botCount
)

// Priors of the bottle's side: small vessels settle in a few seconds, and
// little heat is exchanged while the tap's flow is on.
const (
	priorLnTauB, priorLnTauBSD = 1.4, 1.0
	priorWarmSD                = 1.5 // K
)

// step finds where the tap was opened: the cells before it, the first after it
// that is quiet again, and the last. It looks for the deepest sharp fall with
// quiet air on both sides, after from (s).
func tapStep(cells []cell, from, ambient, sigma float64) (open, quiet, last int, ok bool) {
	sl := slopesOf(cells, runningSums(cells), 0.5, sigma)
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
		steepest, j := 0.0, i
		for j < n-1 && (cells[j].t < cells[i].t+0.6 || sl.mid[j] < 0.08*steepest) {
			steepest = math.Min(steepest, sl.mid[j])
			j++
		}
		fall := cells[i].p - cells[j].p
		if fall < 0.02*top || cells[j].p-ambient < 0.05*top || cells[j].t-cells[i].t > 30 {
			continue
		}
		// The quiet stretch after it lasts until the next sharp fall or rise.
		e := j
		for e < n-1 && math.Abs(sl.mid[e]) < math.Max(0.25*math.Abs(steepest), 10*sigma) && cells[e].p-ambient > 0.03*top {
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
	open, quiet, last, ok := tapStep(cells, cells[most].t+1, float64(set.NominalAmbient()), sigma)
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
	h2 := newHoldData(cells, stretch{from: quiet, to: last + 1}, pa, zero, tw, sigma)
	if len(h2.t) < 5 {
		return v, fmt.Errorf("after the tap was opened, at %.1f s, %w that is long enough", cells[open].t, ErrNoHold)
	}
	t0 := v.Hold.Hold.Start.Seconds()
	ts := cells[open].t - t0
	for i := range h2.t {
		h2.t[i] += cells[quiet].t - t0
	}

	// A first guess without heat or leak.
	p1, p2 := h1.p[len(h1.p)-1], h2.p[len(h2.p)/2]
	if p2-pa <= 0 || p1-p2 <= 0 {
		return v, fmt.Errorf("%w: from %.1f to %.1f kPa gauge", ErrNoVolume, (p1-pa)/1e3, (p2-pa)/1e3)
	}
	guess := make([]float64, botCount)
	guess[botP0] = float64(v.Hold.Hold.StartAbs)
	guess[botK] = v.Hold.Rate.Value
	guess[botDT], guess[botLnTau], guess[botLnTauB] = priorDT, priorLnTau, priorLnTauB
	if tau := v.Hold.Settling.Tau.Seconds(); tau > 1 && tau < 60 {
		guess[botLnTau] = math.Log(tau)
	}
	guess[botLnV] = math.Log(float64(bottle) * (p2 - pa) / (p1 - p2))
	n1 := len(h1.t)
	var fits []solution
	var prior []float64
	for _, m := range jetModels {
		shape := m
		q := problem{
			p: append(append([]float64(nil), h1.p...), h2.p...),
			w: append(append([]float64(nil), h1.w...), h2.w...),
			predict: func(th, out []float64) {
				withBottle(shape, th, float64(bottle), pa, tw, ts, h1.t, h2.t, out)
				h1.overCells(out[:n1])
				h2.overCells(out[n1:])
				for i := range out {
					out[i] += th[botZero]
				}
			},
			step: []float64{1, 1e-5, 0.02, 1e-3, 1, 1e-4, 1e-3, 0.01},
			mean: []float64{0, 0, priorDT, priorLnTau, 0, 0, priorLnTauB, 0},
			sd:   []float64{0, 0, priorDTSD, priorLnTauSD, math.Max(h1.zeroSD, 0.01), 0, priorLnTauBSD, priorWarmSD},
			lo:   []float64{pa, -1, -100, -1.5, -2e4, math.Log(1e-6), -1.5, -30},
			hi:   []float64{1e7, 10, 150, 7, 2e4, math.Log(100), 6, 30},
		}
		var best solution
		for _, from := range []struct{ dt, lnTau, lnTauB float64 }{{priorDT, guess[botLnTau], priorLnTauB}, {25, 1.5, 0.7}, {5, 2.5, 2.2}} {
			start := append([]float64(nil), guess...)
			start[botDT], start[botLnTau], start[botLnTauB] = from.dt, from.lnTau, from.lnTauB
			if f := q.solve(start, 8); f.ok && (!best.ok || f.cost < best.cost) {
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
		}
	}
	iv := ln.interval()
	v.Volume = Interval{math.Exp(iv.Value), math.Exp(iv.Low), math.Exp(iv.High), iv.Level}
	at := make([]float64, 2)
	withBottle(jetModels[best], fits[best].th, float64(bottle), pa, tw, ts, []float64{ts}, []float64{ts}, at)
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

// withBottle integrates a hold in which a bottle is opened at ts: the duct's
// gas alone at the times first, and duct and bottle at one pressure at the
// times then (s since isolation). Masses are in units of V/R, so that the
// duct's is p/T and the bottle's β·p/T with β = Vb/V.
//
//	before  ṗ = (Tw−T)·p₀/(Tw·τ) − γ·T·ṁ
//	after   (1+β)·ṗ = (Tw−T)·p₀/(Tw·τ) + β·(Tw−Tb)·p₂/(Tw·τb) − γ·T·ṁ
//	ṁ = K·p·ψ(pa/p)/√(T·Tw) or K·(p²−pa²)/Tw·ψ(pa/p₀)·p₀/(p₀²−pa²)
func withBottle(m model, th []float64, bottle, pa, tw, ts float64, first, then, out []float64) {
	p0, k := th[botP0], th[botK]
	beta := bottle / math.Exp(th[botLnV])
	tau, tauB := math.Exp(th[botLnTau]), math.Exp(th[botLnTauB])
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
	heat := func(p, t, ref, tau float64) float64 {
		q := (tw - t) * ref / (tw * tau)
		if m.natural {
			q *= math.Sqrt(math.Sqrt(math.Abs(tw-t)/naturalRef+1e-3) * p / ref)
		}
		return q
	}
	// State: pressure, mass in the duct, mass in the bottle (0 before).
	type state struct{ p, d, b float64 }
	ref2 := p0
	rates := func(s state) state {
		t := s.p / s.d
		l := leak(s.p, t)
		own := heat(s.p, t, p0, tau) - Gamma*t*l
		if s.b == 0 {
			return state{own, -l, 0}
		}
		tb := beta * s.p / s.b
		dp := (own + beta*heat(s.p, tb, ref2, tauB)) / (1 + beta)
		over := (own - dp) / Gamma // what flows on into the bottle, times its temperature
		if over > 0 {
			over /= t
		} else {
			over /= tb
		}
		return state{dp, -l - over, over}
	}
	now := 0.0
	s := state{p0, p0 / (tw + th[botDT]), 0}
	advance := func(to float64) {
		span := to - now
		if span <= 0 {
			return
		}
		fast := math.Max(1/tau, math.Abs(k))
		if s.b > 0 {
			fast = math.Max(fast, 1/tauB)
		}
		n := min(int(span*fast*3)+1, 400)
		h := span / float64(n)
		plus := func(a, r state, h float64) state { return state{a.p + h*r.p, a.d + h*r.d, a.b + h*r.b} }
		for range n {
			k1 := rates(s)
			k2 := rates(plus(s, k1, h/2))
			k3 := rates(plus(s, k2, h/2))
			k4 := rates(plus(s, k3, h))
			s = plus(plus(plus(plus(s, k1, h/6), k2, h/3), k3, h/3), k4, h/6)
		}
		now = to
	}
	for i, t := range first {
		advance(t)
		out[i] = s.p
	}
	advance(ts)
	// The tap is opened: energy is shared, and what stays in the duct has expanded isentropically.
	p1, all := s.p, s.d+beta*pa/tw
	p2 := (p1 + beta*pa) / (1 + beta)
	d := s.d * math.Pow(p2/p1, 1/Gamma)
	ref2 = p2
	s = state{p2 * (1 + th[botWarm]/tw), d, math.Max(all-d, 1e-12)}
	for i, t := range then {
		advance(t)
		out[len(first)+i] = s.p
	}
}
