package decay

import (
	"errors"
	"fmt"
	"math"
	"sort"
)

// Why a volume could not be found. What went wrong in the case at hand is in
// the error that wraps one of these.
var (
	ErrNoHold   = errors.New("no hold was found")
	ErrNotMore  = errors.New("the hold with the jet does not leak more than the one without")
	ErrNoStep   = errors.New("no step was found at which the bottle's tap was opened")
	ErrNoVolume = errors.New("the step does not fit a bottle opened to a duct")
)

// VolumeByJet is a duct's volume, and the leak it has of itself, from two holds.
type VolumeByJet struct {
	Volume  Interval // m³
	Base    Interval // effective area of the duct's own leak, m², at the pressure of the hold with the jet
	Without Result   // of the hold without the jet
	With    Result   // of the hold with it
}

// FindVolumeByJet gives the volume of a duct from one hold without and one
// with a jet of effective area jet (± tolerance, relative, at 95 %) open beside
// its own leak: both holds give a rate K = CdA·√(R·Tw)/V, so
//
//	V = CdA_jet·√(R·Tw)/(K₂ − K₁)    leak = CdA_jet·K₁/(K₂ − K₁)
//
// and no dimension of the duct is needed. A duct that swells gives the volume
// that counts in a hold, V + p·dV/dp. A leak that is not an orifice has another
// K at another pressure; K₁ is taken to the pressure at which the second hold
// began. An error in span moves both holds alike and is carried so.
func FindVolumeByJet(set Setup, jet Area, tolerance float64, without, with []Sample) (VolumeByJet, error) {
	set = set.WithDefaults()
	set.Volume, set.VolumeTolerance = 0, 0
	set.Compliance, set.Rigid = 0, true // what swells in both holds is part of the volume sought
	span := set.SpanTolerance
	set.SpanTolerance = 0

	v, err := volumeByJet(set, jet, without, with)
	if err != nil {
		return v, err
	}
	var apart [2]float64
	if span > 0 {
		wide, err := volumeByJet(set, jet, spanned(set, without, span), spanned(set, with, span))
		if err != nil {
			return v, err
		}
		apart = [2]float64{wide.Volume.Value - v.Volume.Value, wide.Base.Value - v.Base.Value}
	}
	for i, iv := range []*Interval{&v.Volume, &v.Base} {
		iv.spread(math.Hypot(apart[i], iv.Value*math.Hypot(tolerance, jetDoubt)))
	}
	return v, nil
}

// jetDoubt is what the fit of two holds leaves open besides noise, as a share
// of the volume at 95 %: the moment of isolation and the sensor's lag. From our
// simulations.
const jetDoubt = 0.002

// spanned is the trace as a sensor whose span is larger by share would read it.
func spanned(set Setup, samples []Sample, share float64) []Sample {
	pa := set.NominalAmbient()
	out := make([]Sample, len(samples))
	for i, s := range samples {
		from := float64(pa)
		if set.Reads == ReadsAbsolute {
			from = 0
		}
		out[i] = Sample{s.At, Pressure(from + (float64(s.P)-from)*(1+share))}
	}
	return out
}

func volumeByJet(set Setup, jet Area, without, with []Sample) (VolumeByJet, error) {
	v := VolumeByJet{Without: Analyse(set, without), With: Analyse(set, with)}
	a, b := &v.Without, &v.With
	for _, r := range []struct {
		*Result
		name string
	}{{a, "without"}, {b, "with"}} {
		if !r.HasFit {
			return v, fmt.Errorf("in the trace %s the jet: %w (%v)", r.name, ErrNoHold, r.Outcome)
		}
	}
	if up := a.Rate.High - a.Rate.Value; b.Rate.High <= a.Rate.Value || b.Rate.Value+up <= a.Rate.Value {
		return v, notMore(a.Rate.Value, b.Rate.Value)
	}
	h1, h2 := holdOf(set, a, without), holdOf(set, b, with)
	tw := float64(set.AmbientTemperature)
	n1, n2 := len(h1.t), len(h2.t)
	if n1 < 5 || n2 < 5 {
		return v, fmt.Errorf("%w that is long enough", ErrNoHold)
	}
	// Both holds are fitted as one: the same duct, hence the same leak and the
	// same exchange of heat.
	const (
		kJet  = iota
		kLeak // at the pressure at which the hold with the jet began
		lnTau
		p1
		dt1
		zero1
		p2
		dt2
		zero2
		lnTauApart // of the first hold, less what its pressure explains
		count
	)
	guess := make([]float64, count)
	guess[kJet] = math.Max(b.Rate.Value-a.Rate.Value, 0.1*b.Rate.Value)
	guess[kLeak] = a.Rate.Value
	guess[lnTau] = priorLnTau
	guess[p1], guess[p2] = float64(a.Hold.StartAbs), float64(b.Hold.StartAbs)
	guess[dt1], guess[dt2] = priorDT, priorDT
	if tau := a.Settling.Tau.Seconds(); tau > 1 && tau < 60 {
		guess[lnTau] = math.Log(tau)
	}
	var fits []solution
	var weights []float64
	for _, m := range jetModels {
		q := problem{
			p: append(append([]float64(nil), h1.p...), h2.p...),
			w: append(append([]float64(nil), h1.w...), h2.w...),
			predict: func(th, out []float64) {
				grow := th[p2] / th[p1] // a fuller duct takes longer to settle
				if m.natural {
					grow = math.Sqrt(grow)
				}
				first := params{th[p1], th[kLeak], th[dt1], th[lnTau] + th[lnTauApart] - math.Log(grow), th[zero1], 0}
				second := params{th[p2], th[kLeak] + th[kJet], th[dt2], th[lnTau], th[zero2], 0}
				one, two := m, m
				if m.shape == seeping {
					first[parK] /= seepRatio(Pressure(th[p2]), Pressure(th[p1]), Pressure(h2.pa))
					two.shape = mixing
					second[parMix] = th[kLeak] / (th[kLeak] + th[kJet])
				}
				h1.curve(one, &first, out[:n1])
				h2.curve(two, &second, out[n1:])
				for i := range out {
					if i < n1 {
						out[i] += th[zero1]
					} else {
						out[i] += th[zero2]
					}
				}
			},
			step: []float64{1e-4 * guess[kJet], 1e-4 * guess[kJet], 1e-3, 1, 0.02, 1, 1, 0.02, 1, 1e-3},
			mean: []float64{0, 0, priorLnTau, 0, priorDT, 0, 0, priorDT, 0, 0},
			sd:   []float64{0, 0, priorLnTauSD, 0, priorDTSD, math.Max(h1.zeroSD, 0.01), 0, priorDTSD, math.Max(h2.zeroSD, 0.01), sameWallSD},
			lo:   []float64{1e-7, -1, -1.5, h1.pa, -100, -2e4, h2.pa, -100, -2e4, -3},
			hi:   []float64{10, 10, 7, 1e7, 150, 2e4, 1e7, 150, 2e4, 3},
		}
		var best solution
		from := []struct{ dt, lnTau, jet float64 }{{priorDT, guess[lnTau], 1}, {priorDT, priorLnTau, 0.9}, {25, 1.5, 0.9}, {3, 3, 1}}
		for _, from := range from[:m.starts(len(from))] {
			start := append([]float64(nil), guess...)
			start[dt1], start[dt2], start[lnTau], start[kJet] = from.dt, from.dt, from.lnTau, guess[kJet]*from.jet
			if f := q.solve(start, 8); f.ok && (!best.ok || f.cost < best.cost) {
				best = f
			}
		}
		if best.ok {
			best = q.solve(best.th, 30)
		}
		fits = append(fits, best)
		weights = append(weights, m.weight)
	}
	best := lowest(fits)
	if best < 0 {
		return v, fmt.Errorf("%w that can be fitted", ErrNoHold)
	}
	widen := widening(fits[best].res, count, n1)
	share := weigh(fits, weights, widen)
	c := float64(jet) * math.Sqrt(RAir*tw)
	var rate, leak mixture
	for i, f := range fits {
		if !f.ok {
			rate, leak = rate.with(0, 1, 0), leak.with(0, 1, 0)
			continue
		}
		k, l := f.th[kJet], f.th[kLeak]
		rate = rate.with(k, math.Sqrt(f.cov.At(kJet, kJet)*widen), share[i])
		// The leak is jet·l/k: its variance with the covariance of both.
		q := l / k
		va := (f.cov.At(kLeak, kLeak) - 2*q*f.cov.At(kLeak, kJet) + q*q*f.cov.At(kJet, kJet)) / (k * k) * widen
		leak = leak.with(float64(jet)*q, float64(jet)*math.Sqrt(math.Max(va, 0)), share[i])
	}
	told := orificeShare(fits, jetModels, share)
	k := rate.interval(told)
	if k.Low <= 0 {
		return v, notMore(a.Rate.Value, b.Rate.Value)
	}
	v.Volume = Interval{c / k.Value, c / k.High, c / k.Low, k.Level}
	v.Base = leak.interval(told)
	v.Base.Value, v.Base.Low = math.Max(v.Base.Value, 0), math.Max(v.Base.Low, 0)
	return v, nil
}

func notMore(without, with float64) error {
	return fmt.Errorf("%w: %.3g per second with it, %.3g without", ErrNotMore, with, without)
}

// sameWallSD is by how much the exchange of heat may differ between two holds
// of one duct, in ln τ.
const sameWallSD = 0.2

// jetModels are the laws that the duct's own leak may have, and the ways of
// settling; the jet itself is a nozzle.
var jetModels = []model{
	{shape: nozzle, weight: 0.36},
	{shape: nozzle, natural: true, weight: 0.24},
	{shape: seeping, weight: 0.24},
	{shape: seeping, natural: true, weight: 0.16},
	{shape: nozzle, still: true, weight: 0.04},
	{shape: seeping, still: true, weight: 0.02},
}

// starts are from how many places the search for m's fit begins: air at the
// wall's temperature leaves nothing to search for.
func (m model) starts(all int) int {
	if m.still {
		return 1
	}
	return all
}

// curve is what model m says the cells' mean pressures are, without the zero.
func (d *holdData) curve(m model, th *params, out []float64) {
	g := m.gas(th, d.pa, d.tw, th[parP0])
	g.trace(th, d.t, out, nil)
	d.overCells(out)
}

// holdOf is the data of the hold that r found in samples.
func holdOf(set Setup, r *Result, samples []Sample) holdData {
	h := newHistory()
	for _, s := range samples {
		h.add(s.At.Seconds(), float64(s.P))
	}
	h.flush()
	from := sort.Search(len(h.cells), func(i int) bool { return h.cells[i].t >= r.Hold.Start.Seconds()-1e-6 })
	to := sort.Search(len(h.cells), func(i int) bool { return h.cells[i].t1 > r.Hold.End.Seconds()+1e-6 })
	sigma := math.Max(h.sigma(), 0.5)
	d := newHoldData(h.cells, stretch{from: from, to: to}, float64(r.Ambient), float64(r.Zero), float64(set.AmbientTemperature), sigma, trust{})
	switch {
	case !r.HasFlag(FlagNoZero):
		before := 0.0
		for _, c := range h.cells {
			if c.p-float64(r.Ambient)-float64(r.Zero) > math.Max(8*sigma, 1500) {
				break
			}
			before += c.n
		}
		d.zeroSD = sigma / math.Sqrt(math.Max(before, 1))
	case set.ZeroTolerance > 0 && set.FullScale > 0:
		d.zeroSD = set.ZeroTolerance * set.FullScale / 1.96
	}
	return d
}

// seepRatio is by how much the rate K of a seep is larger at p than at from:
// the flow ∝ p² − pa² is compared with that of a nozzle, p·ψ(pa/p).
func seepRatio(p, from, ambient Pressure) float64 {
	k := func(p Pressure) float64 {
		return float64(p*p-ambient*ambient) / (float64(p) * Psi(float64(ambient/p)))
	}
	return k(p) / k(from)
}
