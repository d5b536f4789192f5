package decay

import "math"

// A stretch is a run of cells between two events of a trace.
type stretch struct {
	from, to int // cells [from, to)
	slope    float64
	slopeSD  float64
}

// segments is what the phases of a trace are found to be.
type segments struct {
	ambient    float64 // level before the fill, Pa absolute; meaningful with hasAmbient
	hasAmbient bool
	top        float64 // highest cell, above the base
	filled     bool    // pressure came up at all, or was up from the start
	fillAt     float64 // start of the latest rise, NaN when none was seen
	hold       stretch
	hasHold    bool
	holdOpen   bool // the hold runs to the end of what is known
	disturbed  bool
	phase      Phase
	phaseAt    float64
}

// window is half the width of the slope windows around cell i, s: wide enough
// for a few cells on either side.
func window(cells []cell, i int) float64 {
	lo, hi := max(i-2, 0), min(i+2, len(cells)-1)
	return math.Max(0.5, 0.75*(cells[hi].t-cells[lo].t))
}

// line is a least-squares line through cells [from, to): level at its mean
// time, slope, and the slope's standard deviation for reading noise sigma.
func line(cells []cell, from, to int, sigma float64) (tm, pm, slope, sd float64) {
	var n, st, sp float64
	for _, c := range cells[from:to] {
		n += c.n
		st += c.n * c.t
		sp += c.n * c.p
	}
	if n == 0 {
		return 0, 0, 0, math.Inf(1)
	}
	tm, pm = st/n, sp/n
	var stt, stp float64
	for _, c := range cells[from:to] {
		d := c.t - tm
		stt += c.n * d * d
		stp += c.n * d * (c.p - pm)
	}
	if stt <= 0 {
		return tm, pm, 0, math.Inf(1)
	}
	return tm, pm, stp / stt, sigma / math.Sqrt(stt)
}

// segment finds the phases in a trace. base is the nominal ambient. The same
// code serves a live test and a recorded trace.
func segment(h *history, base float64, reads Reference, ambientStated bool, ceiling float64) segments {
	cells := h.cells
	sg := segments{fillAt: math.NaN(), phase: PhaseReady}
	if len(cells) < 3 {
		return sg
	}
	sigma := math.Max(h.sigma(), 1)
	if reads == ReadsAbsolute && !ambientStated {
		// The first second of a trace that starts near one atmosphere is the ambient.
		_, first, _, _ := line(cells, 0, min(5, len(cells)), sigma)
		if first > 55e3 && first < 112e3 {
			base = first
		}
	}
	top := math.Inf(-1)
	for _, c := range cells {
		top = math.Max(top, c.p)
	}
	sg.top = top - base
	small := math.Max(math.Max(8*sigma, 1500), 0.03*ceiling)
	if sg.top < small {
		return sg
	}
	sg.filled = true
	near := math.Max(small, 0.06*sg.top) // above base: not ambient any more

	n := len(cells)
	left, right, mid := make([]float64, n), make([]float64, n), make([]float64, n)
	lsd, rsd := make([]float64, n), make([]float64, n)
	a, b, wa, wb := 0, 0, 0, 0
	for i := range cells {
		w := window(cells, i)
		for a < i && cells[a].t < cells[i].t-w {
			a++
		}
		for a > 0 && cells[a-1].t >= cells[i].t-w {
			a--
		}
		b = max(b, i)
		for b < n && cells[b].t <= cells[i].t+w {
			b++
		}
		_, _, left[i], lsd[i] = line(cells, a, i+1, sigma)
		_, _, right[i], rsd[i] = line(cells, i, b, sigma)
		wa, wb = i, i+1
		for wa > 0 && cells[wa-1].t >= cells[i].t-w/2 {
			wa--
		}
		for wb < n && cells[wb].t <= cells[i].t+w/2 {
			wb++
		}
		_, _, mid[i], _ = line(cells, wa, wb, sigma)
	}
	// Events: where the trace rises, and where it bends downward more sharply
	// than any leak or cooling does.
	rising := make([]bool, n)
	for i := range cells {
		sd := math.Min(lsd[i], rsd[i])
		thr := math.Max(7*sd, 0.004*sg.top)
		rising[i] = right[i] > thr && left[i] > thr || mid[i] > math.Max(2*thr, 10*sd)
	}
	bend := func(i int) float64 { // > 1 is an event
		if math.IsInf(lsd[i], 1) || math.IsInf(rsd[i], 1) {
			return 0
		}
		sd := math.Hypot(lsd[i], rsd[i])
		thr := math.Max(7*sd, math.Max(0.35*math.Abs(left[i]), 0.004*sg.top))
		return (left[i] - right[i]) / thr
	}
	// Ambient before the fill.
	i0 := 0
	for i0 < n && cells[i0].p < base+near && !rising[i0] {
		i0++
	}
	if i0 > 0 {
		k := i0
		for k > 1 && cells[i0-1].t-cells[k-1].t < math.Min(0.3, 0.25*(cells[i0-1].t-cells[0].t)) {
			k--
		}
		if cells[k-1].t1-cells[0].t0 >= 0.25 || k >= 3 {
			_, sg.ambient, _, _ = line(cells, 0, k, sigma)
			sg.hasAmbient = true
		}
	}
	ref := base
	if sg.hasAmbient {
		ref = sg.ambient
	}
	// Cut into still stretches: pressurised and not rising, split at bends.
	var still []stretch
	for i := i0; i < n; {
		if rising[i] || cells[i].p < ref+near {
			if rising[i] && (i == 0 || !rising[i-1]) {
				sg.fillAt = cells[i].t
			}
			i++
			continue
		}
		j := i
		for j < n && !rising[j] && cells[j].p >= ref+near {
			j++
		}
		still = append(still, cut(cells, i, j, bend, sigma)...)
		i = j
	}
	best := -1
	for k := range still {
		s := &still[k]
		_, _, s.slope, s.slopeSD = line(cells, s.from, s.to, sigma)
	}
	dur := func(s stretch) float64 { return cells[s.to-1].t1 - cells[s.from].t0 }
	usable := make([]bool, len(still))
	for k, s := range still {
		next := k+1 < len(still) && still[k+1].from <= s.to+1
		// Held up by the supply: flat, and what follows is a long fall that does not empty the duct at once.
		fed := next && s.slope > -3*s.slopeSD && s.slope > -0.0015*sg.top &&
			dur(still[k+1]) > math.Max(2, 0.15*dur(s)) && dur(still[k+1]) > 0.5*dur(s) && still[k+1].slope < -6*still[k+1].slopeSD
		if fed && k > 0 && still[k-1].to >= s.from-1 && usable[k-1] {
			fed = false // already isolated: the duct has been seen to hold by itself
		}
		if fed && math.IsNaN(sg.fillAt) {
			fed = false
		}
		fall := -(cells[s.to-1].p - cells[s.from].p)
		venting := k > 0 && still[k-1].to >= s.from-1 && fall > 0.5*(cells[s.from].p-ref) && dur(s) < 0.5*dur(still[k-1])
		if venting && !usable[k-1] {
			venting = false
		}
		usable[k] = !fed && !venting && (s.to-s.from) >= 3
		if usable[k] && (best < 0 || dur(s) > 1.0*dur(still[best]) && !(dur(still[best]) > 4 && cells[s.from].p-ref < 0.4*(cells[still[best].from].p-ref))) {
			best = k
		}
	}
	end := n - 1
	sg.phaseAt = cells[0].t
	if best >= 0 {
		s := still[best]
		// The corner itself: the cell at which the trace bends down most, near the start.
		s.from = corner(cells, s, left, right, lsd, rsd)
		sg.hold, sg.hasHold = s, true
		sg.holdOpen = s.to >= n
		for k := range still {
			if k != best && usable[k] && dur(still[k]) > 1 {
				sg.disturbed = true
			}
		}
		// Something rose or bent after the hold without being a release.
		if s.to < n {
			for i := s.to; i < n; i++ {
				if rising[i] && cells[i].p > ref+near {
					sg.disturbed = true
				}
			}
		}
	}
	// Where it stands now.
	switch last := cells[end]; {
	case rising[end] || n > 1 && rising[end-1] && !(sg.hasHold && sg.holdOpen):
		sg.phase = PhaseFill
		sg.phaseAt = sg.fillAt
	case sg.hasHold && sg.holdOpen:
		sg.phase = PhaseHold
		sg.phaseAt = cells[sg.hold.from].t
	case last.p < ref+near && sg.hasHold:
		sg.phase = PhaseRelease
		sg.phaseAt = cells[min(sg.hold.to, end)].t
	case sg.hasHold && mid[end] < 0:
		sg.phase = PhaseRelease
		sg.phaseAt = cells[min(sg.hold.to, end)].t
	case last.p < ref+near:
		sg.phase = PhaseReady
	default:
		sg.phase = PhaseFill
		sg.phaseAt = sg.fillAt
	}
	return sg
}

// cut splits cells [from, to) at their downward bends.
func cut(cells []cell, from, to int, bend func(int) float64, sigma float64) []stretch {
	var out []stretch
	start := from
	for i := from + 1; i < to-1; i++ {
		if bend(i) <= 1 {
			continue
		}
		// The strongest bend within the window is the event.
		best, w := i, window(cells, i)
		for j := i; j < to && cells[j].t <= cells[i].t+1.5*w; j++ {
			if bend(j) > bend(best) {
				best = j
			}
		}
		if best-start >= 3 && cells[best].t-cells[start].t > w {
			out = append(out, stretch{from: start, to: best})
			start = best
		}
		for i < to-1 && cells[i].t < cells[best].t+w {
			i++
		}
	}
	if to-start >= 2 {
		out = append(out, stretch{from: start, to: to})
	}
	return out
}

// corner moves the start of a hold onto the sharpest downward bend within a
// second of it.
func corner(cells []cell, s stretch, left, right, lsd, rsd []float64) int {
	best, most := s.from, math.Inf(-1)
	t := cells[s.from].t
	lo := s.from
	for lo > 0 && cells[lo-1].t >= t-1 {
		lo--
	}
	for i := lo; i < s.to && cells[i].t <= t+1; i++ {
		if math.IsInf(lsd[i], 1) || math.IsInf(rsd[i], 1) {
			continue
		}
		if d := left[i] - right[i]; d > most && d > 5*math.Hypot(lsd[i], rsd[i]) {
			best, most = i, d
		}
	}
	return best
}
