package decay

import (
	"math"
	"slices"
)

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
	ambientSD  float64
	top        float64 // highest cell, above the base
	filled     bool    // pressure came up at all, or was up from the start
	fillAt     float64 // start of the latest rise, NaN when none was seen
	firstFill  float64 // of the first
	hold       stretch
	hasHold    bool
	isolated   bool // the hold shows that the supply is off: it falls
	holdOpen   bool // the hold runs to the end of what is known
	disturbed  bool
	touched    bool // the hold ended when somebody touched the leak
	gone       bool // all the air, as the supply was shut
	phase      Phase
	phaseAt    float64
}

// window is half the width of the slope windows around cell i, s: at least w,
// and wide enough for a few cells on either side.
func window(cells []cell, i int, w float64) float64 {
	lo, hi := max(i-2, 0), min(i+2, len(cells)-1)
	return max(w, 0.75*(cells[hi].t-cells[lo].t))
}

// slopes of a trace on the left of, on the right of and around each cell, with
// standard deviations; +Inf where there is too little to tell.
type slopes struct{ left, right, mid, lsd, rsd []float64 }

// sums over cells, for lines through any run of them at constant cost.
type sums struct{ n, t, p, tt, tp float64 }

// running are the sums over the first cells of a trace. What a sum loses to
// rounding is kept beside it: after a day at 1 kHz that is more than a window of
// half a second holds.
type running struct{ sum, lost sums }

// plus adds to a sum and what it lost (D. E. Knuth, The Art of Computer
// Programming 2, 4.2.2, theorem B).
func plus(sum, lost, x float64) (float64, float64) {
	s := sum + x
	z := s - sum
	return s, lost + (sum - (s - z)) + (x - z)
}

func (a *running) minus(b *running) sums {
	return sums{
		a.sum.n - b.sum.n,
		a.sum.t - b.sum.t + (a.lost.t - b.lost.t),
		a.sum.p - b.sum.p + (a.lost.p - b.lost.p),
		a.sum.tt - b.sum.tt + (a.lost.tt - b.lost.tt),
		a.sum.tp - b.sum.tp + (a.lost.tp - b.lost.tp),
	}
}

func (s sums) slope(sigma float64) (slope, sd float64) {
	stt := s.tt - s.t*s.t/s.n
	if s.n <= 0 || stt <= 1e-12 {
		return 0, math.Inf(1)
	}
	return (s.tp - s.t*s.p/s.n) / stt, sigma / math.Sqrt(stt)
}

// rounded adds to a slope's standard deviation what rounding to a step does to
// a line over the time span: its error is the same for readings that are alike.
func rounded(sd, step, span float64) float64 {
	if step == 0 || math.IsInf(sd, 1) {
		return sd
	}
	x := 0.4 * step / span // uniform at either end: √(2/12)
	return math.Sqrt(sd*sd + x*x)
}

// slopesOf finds the slopes over windows of the given half width, s, in sums
// that runningSums gave, of readings with noise sigma that are rounded to step,
// Pa.
func slopesOf(cells []cell, cum []running, width, sigma, step float64, room *[]float64) slopes {
	n := len(cells)
	buf := roomFor(room, 5*n)
	s := slopes{buf[:n], buf[n : 2*n], buf[2*n : 3*n], buf[3*n : 4*n], buf[4*n:]}
	var from, to, inner, outer int // the window's ends move little from cell to cell
	for i, c := range cells {
		w := window(cells, i, width)
		from = firstAt(cells, from, c.t-w)
		to = firstAt(cells, to, math.Nextafter(c.t+w, math.Inf(1)))
		s.left[i], s.lsd[i] = cum[i+1].minus(&cum[from]).slope(sigma)
		s.right[i], s.rsd[i] = cum[to].minus(&cum[i]).slope(sigma)
		s.lsd[i], s.rsd[i] = rounded(s.lsd[i], step, w), rounded(s.rsd[i], step, w)
		if i+1-from < 3 {
			s.lsd[i] = math.Inf(1)
		}
		if to-i < 3 {
			s.rsd[i] = math.Inf(1)
		}
		inner = firstAt(cells, inner, c.t-w/2)
		outer = firstAt(cells, outer, math.Nextafter(c.t+w/2, math.Inf(1)))
		s.mid[i], _ = cum[outer].minus(&cum[inner]).slope(sigma)
	}
	return s
}

// firstAt is the first cell at or after t, sought from a guess.
func firstAt(cells []cell, guess int, t float64) int {
	for guess > 0 && cells[guess-1].t >= t {
		guess--
	}
	for guess < len(cells) && cells[guess].t < t {
		guess++
	}
	return guess
}

// roomFor is room for n values that may hold what was left there.
func roomFor[T any](room *[]T, n int) []T {
	*room = slices.Grow((*room)[:0], n)[:n]
	return *room
}

// runningSums are the sums over the first 0, 1, 2 … cells.
func runningSums(cells []cell, room *[]running) []running {
	cum := roomFor(room, len(cells)+1)
	cum[0] = running{}
	t0, p0 := cells[len(cells)/2].t, cells[len(cells)/2].p // keeps the digits of the sums
	for i, c := range cells {
		t, p := c.t-t0, c.p-p0
		a, b := &cum[i], &cum[i+1]
		b.sum.n = a.sum.n + c.n
		b.sum.t, b.lost.t = plus(a.sum.t, a.lost.t, c.n*t)
		b.sum.p, b.lost.p = plus(a.sum.p, a.lost.p, c.n*p)
		b.sum.tt, b.lost.tt = plus(a.sum.tt, a.lost.tt, c.n*t*t)
		b.sum.tp, b.lost.tp = plus(a.sum.tp, a.lost.tp, c.n*t*p)
	}
	return cum
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
	sg := segments{fillAt: math.NaN(), firstFill: math.NaN(), phase: PhaseReady}
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
	cum := runningSums(cells, &h.sums)
	fast, slow := slopesOf(cells, cum, 0.5, sigma, h.coarse(), &h.fast), slopesOf(cells, cum, 3, sigma, h.coarse(), &h.slow)
	left, right, mid, lsd, rsd := fast.left, fast.right, fast.mid, fast.lsd, fast.rsd
	// Events: where the trace rises, and where it bends downward more sharply
	// than any leak or cooling does.
	rising := make([]bool, n)
	for i := range cells {
		sd := min(lsd[i], rsd[i])
		thr := max(7*sd, 0.004*sg.top)
		rising[i] = right[i] > thr && left[i] > thr || mid[i] > max(2*thr, 10*sd)
	}
	bend := func(i int, since float64) float64 { // > 1 is an event; since: s since the last one
		if math.IsInf(lsd[i], 1) || math.IsInf(rsd[i], 1) {
			return 0
		}
		sd := math.Sqrt(lsd[i]*lsd[i] + rsd[i]*rsd[i])
		thr := max(7*sd, 0.35*math.Abs(left[i]), 0.004*sg.top)
		d := (left[i] - right[i]) / thr
		if since < 0.5 {
			d = 0 // the window still holds the last event
		}
		if since >= 3 && !math.IsInf(slow.lsd[i], 1) && !math.IsInf(slow.rsd[i], 1) {
			thr = max(8*math.Sqrt(slow.lsd[i]*slow.lsd[i]+slow.rsd[i]*slow.rsd[i]), 0.5*math.Abs(slow.left[i]), 0.0008*sg.top)
			d = math.Max(d, (slow.left[i]-slow.right[i])/thr)
		}
		return d
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
			readings := 0.0
			for _, c := range cells[:k] {
				readings += c.n
			}
			sg.hasAmbient, sg.ambientSD = true, sigma/math.Sqrt(readings)
		}
	}
	ref := base
	if sg.hasAmbient {
		ref = sg.ambient
	}
	// Cut into still stretches: pressurised and not rising, split at bends.
	var still []stretch
	floor := max(300, min(3*sigma, 0.05*sg.top))
	if !sg.hasAmbient {
		floor = max(floor, 0.01*sg.top)
	}
	sunk := false // down at ambient, and not filled again since
	for i := i0; i < n; {
		sunk = (sunk || cells[i].p < ref+floor) && !rising[i]
		if rising[i] || sunk {
			if rising[i] && (i == 0 || !rising[i-1]) {
				sg.fillAt = cells[i].t
				if math.IsNaN(sg.firstFill) {
					sg.firstFill = sg.fillAt
				}
			}
			i++
			continue
		}
		j := i
		for j < n && !rising[j] && cells[j].p >= ref+floor {
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
	// A stretch that the supply does not hold up: it is long, or has fallen by itself.
	held := func(s stretch) bool {
		return dur(s) > 8 || dur(s) > 4 && cells[s.from].p-cells[s.to-1].p > 0.01*sg.top
	}
	usable, slowly := make([]bool, len(still)), make([]bool, len(still)) // slowly: told from a leak by its pace alone
	for k, s := range still {
		next := k+1 < len(still) && still[k+1].from <= s.to+1
		// Held up by the supply: flat, and what follows is a long fall that does not empty the duct at once.
		fed := next && s.slope > -3*s.slopeSD && s.slope > -0.0015*sg.top &&
			dur(still[k+1]) > math.Max(1, 0.15*dur(s)) && still[k+1].slope < -6*still[k+1].slopeSD
		if fed && k > 0 && still[k-1].to >= s.from-1 && usable[k-1] && still[k-1].slope < 0 {
			fed = false // already isolated: the duct has been seen to hold by itself
		}
		if fed && math.IsNaN(sg.fillAt) {
			fed = false
		}
		fall := -(cells[s.to-1].p - cells[s.from].p)
		venting := k > 0 && still[k-1].to >= s.from-1 && fall > 0.5*(cells[s.from].p-ref) &&
			(dur(s) < 0.5*dur(still[k-1]) || held(still[k-1]) && quicker(cells, still[k-1], s, ref))
		if venting && !usable[k-1] {
			venting = false
		}
		slowly[k] = venting && dur(s) >= 0.5*dur(still[k-1])
		usable[k] = !fed && !venting && (s.to-s.from) >= 3
		if usable[k] && (best < 0 || dur(s) > 1.3*dur(still[best]) && !(dur(still[best]) > 4 && cells[s.from].p-ref < 0.4*(cells[still[best].from].p-ref))) {
			best = k
		}
	}
	end := n - 1
	sg.phaseAt = cells[0].t
	if best >= 0 {
		s := still[best]
		// A slow fill may be taken for a level: the hold begins where it is over.
		highest := s.from
		for i := s.from; i < s.to; i++ {
			if cells[i].p > cells[highest].p {
				highest = i
			}
		}
		if cells[highest].p-cells[s.from].p > 0.05*sg.top && s.to-highest >= 5 {
			s.from = highest
		}
		// The corner itself: the cell at which the trace bends down most, near the start.
		s.from = corner(cells, s, sigma, !math.IsNaN(sg.firstFill) && sg.firstFill < cells[s.from].t)
		drop, ok := fallen(cells, s.from, s.to, sigma)
		sg.isolated = ok && drop > leastFall*sg.top
		// Level for a while, then gone: it may as well have run empty through a leak
		// when the supply was shut as have been let out.
		if best+1 < len(still) && (slowly[best+1] || dur(s) < 5 && drop < 0.01*sg.top && cells[still[best+1].to-1].p-ref < 0.5*(cells[s.to-1].p-ref)) {
			sg.isolated = false
		}
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
	sg.refilled(cells, rising, ref+near)
	switch last := cells[end]; {
	case rising[end] || n > 1 && rising[end-1] && !(sg.hasHold && sg.holdOpen):
		sg.phase, sg.phaseAt = PhaseFill, sg.fillAt
	case sg.hasHold && !math.IsNaN(sg.fillAt) && (sg.holdOpen && cells[end].t1-cells[sg.hold.from].t < 1 ||
		!sg.isolated && last.p-ref > 0.6*(cells[sg.hold.from].p-ref)):
		// Too early to tell isolation from the last of the fill, or held up by the supply.
		sg.phase, sg.phaseAt = PhaseFill, sg.fillAt
	case sg.hasHold && sg.holdOpen:
		sg.phase, sg.phaseAt = PhaseHold, cells[sg.hold.from].t
	case sg.hasHold:
		hold, ok := sg.latest(cells, still)
		if !ok { // filled again, and nothing shows yet that the supply is off
			sg.phase, sg.phaseAt = PhaseFill, sg.fillAt
			if last.p < ref+near {
				sg.phase, sg.phaseAt = PhaseRelease, last.t
			}
			break
		}
		// A joint that is pressed or let go bends the trace as well: only air that
		// goes much faster than the leak ever took it was let out.
		at := cells[min(hold.to, end)]
		switch out := sg.vented(cells, still, hold, mid, ref, near); {
		case out && last.p-ref < math.Max(near, ventedTo*(at.p-ref)):
			sg.phase, sg.phaseAt = PhaseRelease, at.t
		case last.p < ref+near:
			sg.phase, sg.phaseAt = PhaseEmpty, at.t
		default:
			sg.phase, sg.phaseAt = PhaseHold, cells[hold.from].t
		}
	case last.p < ref+near:
		sg.phase = PhaseReady
	default:
		sg.phase, sg.phaseAt = PhaseFill, sg.fillAt
	}
	return sg
}

// leastFall is the share of the highest pressure by which a duct that is not fed
// falls at least.
const leastFall = 0.0007

// fallen is by how much cells [from, to) fall along a line, and whether that is
// clearly more than noise makes.
func fallen(cells []cell, from, to int, sigma float64) (drop float64, ok bool) {
	_, _, slope, sd := line(cells, from, to, sigma)
	return -slope * (cells[to-1].t - cells[from].t), slope < -5*sd
}

const (
	refillRise   = 0.03 // of the absolute pressure: less than that is no fill
	ventedFaster = 2.5  // times the quickest leak that was seen
	ventedTo     = 0.8  // of the gauge pressure at the end of the hold: less was let out
)

// refilled takes rises after the start of the hold that are no fill off the
// account: when a joint is pressed shut the air that its leak had chilled warms
// up, and the pressure rises by itself, at most by what an expansion without
// any heat from the walls had chilled it. low is about empty, Pa absolute.
func (sg *segments) refilled(cells []cell, rising []bool, low float64) {
	if !sg.hasHold {
		return
	}
	sg.fillAt = math.NaN()
	for i := 0; i < len(cells); i++ {
		if !rising[i] {
			continue
		}
		from, most := i, cells[i].p
		for i < len(cells) && rising[i] {
			most = math.Max(most, cells[i].p)
			i++
		}
		p, warm := cells[from].p, 1+refillRise
		if p > low {
			warm = math.Max(warm, math.Pow(cells[sg.hold.from].p/p, (Gamma-1)/Gamma))
		}
		if from <= sg.hold.from || most > warm*p {
			sg.fillAt = cells[from].t
			continue
		}
		for k := from; k < i; k++ {
			rising[k] = false
		}
	}
}

// quicker reports whether air goes much faster in b than it does in a, both as
// K = −ṗ/(p·ψ), which stays while a duct empties through one hole.
func quicker(cells []cell, a, b stretch, ref float64) bool {
	k := func(s stretch) float64 {
		to := s.from + 1 // the first fifth of the fall: later the line does not follow the curve
		for to < s.to-1 && (to-s.from < 5 || cells[s.from].p-cells[to].p < 0.2*(cells[s.from].p-ref)) {
			to++
		}
		_, p, slope, _ := line(cells, s.from, to, 1)
		return -slope / (p * Psi(ref/p))
	}
	return k(b) > ventedFaster*k(a)
}

// latest is the hold itself, or the longest since when the duct was filled again.
func (sg *segments) latest(cells []cell, still []stretch) (hold stretch, ok bool) {
	if !(sg.fillAt > cells[sg.hold.from].t) {
		return sg.hold, true
	}
	long := 1.0 // s
	for _, s := range still {
		d := cells[s.to-1].t1 - cells[s.from].t
		if cells[s.from].t > sg.fillAt && d > long && s.slope < -5*s.slopeSD && -s.slope*d > leastFall*sg.top {
			hold, long, ok = s, d, true
		}
	}
	return hold, ok
}

// vented reports whether the fall after a hold is much faster than the leak was
// before, both as K = −ṗ/(p·ψ), which stays while the duct empties.
func (sg *segments) vented(cells []cell, still []stretch, hold stretch, mid []float64, ref, near float64) bool {
	k := func(slope, p float64) float64 { return -slope / (p * Psi(ref/p)) }
	leak := 0.0
	for _, s := range still {
		if s.from < hold.to {
			_, p, slope, _ := line(cells, s.from, s.to, 1)
			leak = math.Max(leak, k(slope, p))
		}
	}
	for i := hold.to; i < len(cells); i++ {
		if cells[i].p > ref+near && k(mid[i], cells[i].p) > ventedFaster*leak {
			return true
		}
	}
	return false
}

// slopeBefore is the slope over the three seconds before t, Pa/s; 0 where there
// is too little to tell.
func (h *history) slopeBefore(t float64) float64 {
	to := firstAt(h.cells, len(h.cells), t)
	from := firstAt(h.cells, to, t-3)
	if to-from < 3 {
		return 0
	}
	_, _, slope, sd := line(h.cells, from, to, h.sigma())
	if math.Abs(slope) < 5*sd {
		return 0
	}
	return slope
}

// slowedTo reports whether the trace came down to level p at t ever more slowly, as
// air does that settles to rest there: a fall took longer than the same one
// before it. Where two such falls were not seen it may have.
func (h *history) slowedTo(p, t, fall float64) bool {
	i := firstAt(h.cells, len(h.cells), t)
	back := func(level float64) float64 {
		for i > 0 && h.cells[i-1].p < level {
			i--
		}
		if i == 0 {
			return math.NaN()
		}
		return h.cells[i-1].t
	}
	first := back(p + fall)
	second := back(p + 2*fall)
	return !(t-first < 1.5*(first-second))
}

// lateWord is by how much, s, a word may come late that is taken to be of the
// moment itself. Our own choice.
const lateWord = 2

// shut takes it as given that the supply valve was shut at t, s, or earlier: if
// the pressure has stood since, what follows is the hold. The word may come
// late: a pressure that had clearly fallen before it was not fed any more, so
// the corner that was seen is the better moment.
func (sg *segments) shut(cells []cell, t, ambient, sigma float64) {
	if !sg.hasHold || sg.fillAt > t || sg.isolated && sg.hold.from < len(cells) && cells[sg.hold.from].t >= t-lateWord {
		return // filled again since, or the corner itself was seen
	}
	from := sg.hold.from
	for from < sg.hold.to && cells[from].t < t {
		from++
	}
	if sg.hold.to-from < 3 {
		sg.fell(cells, t, ambient)
		return
	}
	if drop, ok := fallen(cells, sg.hold.from, max(from, sg.hold.from+1), sigma); ok && sg.isolated && drop > leastFall*sg.top {
		return
	}
	sg.hold.from, sg.isolated = from, true
	if sg.holdOpen && sg.phase == PhaseFill {
		sg.phase, sg.phaseAt = PhaseHold, cells[from].t
	}
}

// fell takes the fall that came as the supply was shut for the hold: the supply
// had made up for the leak, and the duct ran empty through it, if not too
// quickly to be measured.
func (sg *segments) fell(cells []cell, t, ambient float64) {
	from, level := sg.hold.to, cells[sg.hold.to-1].p
	for from+1 < len(cells) && math.Abs(cells[from+1].p-level) < 0.01*sg.top {
		from++ // the bend lies a little later than where the flat stretch was seen to end
	}
	to := from
	for to < len(cells) && cells[to].p-ambient > 0.05*sg.top && cells[to].p < level+0.01*sg.top {
		to++
	}
	if sg.isolated {
		return
	}
	if to-from < 5 {
		sg.gone = to < len(cells) && cells[to].p-ambient <= 0.05*sg.top && t <= cells[to].t+lateWord
		if sg.gone {
			sg.phase, sg.phaseAt = PhaseEmpty, cells[to].t
		}
		return
	}
	sg.hold = stretch{from: from, to: to}
	sg.isolated, sg.disturbed, sg.holdOpen = true, false, to == len(cells)
	if sg.phase, sg.phaseAt = PhaseHold, cells[from].t; !sg.holdOpen {
		sg.phase, sg.phaseAt = PhaseEmpty, cells[to].t
	}
}

// roundedFor is for how long after a fill, s, a curve that bends may be a sensor
// that follows with a lag.
const roundedFor = 4

// cut splits cells [from, to) at their downward bends.
func cut(cells []cell, from, to int, bend func(int, float64) float64, sigma float64) []stretch {
	var out []stretch
	start := from
	for i := from + 1; i < to-1; i++ {
		if bend(i, cells[i].t-cells[start].t) <= 1 {
			continue
		}
		// The break itself lies within the wider of the two slope windows.
		hi := i
		for hi < to-1 && cells[hi].t <= cells[i].t+3.5 {
			hi++
		}
		how := overLine
		if cells[i].t-cells[start].t < roundedFor {
			how = overParabola // a slow sensor rounds the corner off
		}
		best, w := breakAt(cells, max(i-2, from), hi, hingeHalf, sigma, how), 0.5
		if best < 0 {
			continue
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

// seek is what kind of a break is sought.
type seek int

const (
	overParabola seek = iota
	overLine          // than a straight line: more power, less precision
	heldUp            // after a stretch that hardly fell
)

// hingeHalf is half the stretch of time, s, in which a break is sought; a corner
// that noise hides there is sought in wider ones too.
const hingeHalf = 0.64

// breakAt finds, among cells [lo, hi), the moment at which the trace breaks
// downward: where a hinge beats a parabola by most within half seconds on
// either side. It returns -1 when none is better than noise makes it.
func breakAt(cells []cell, lo, hi int, half, sigma float64, how seek) int {
	best, most := -1, 40*sigma*sigma
	for i := lo; i < hi; i++ {
		w := 1.6 * window(cells, i, half/1.6)
		a, b := i, i
		for a > 0 && cells[a-1].t >= cells[i].t-w {
			a--
		}
		for b < len(cells)-1 && cells[b+1].t <= cells[i].t+w {
			b++
		}
		if i-a < 3 || b-i < 3 {
			continue
		}
		gain, line, before, bend := hinge(cells[a:b+1], cells[i].t)
		switch how {
		case overLine:
			gain = line
		case heldUp:
			if before < 0.25*(before+bend) {
				continue
			}
		}
		if gain > most && bend < 0 {
			best, most = i, gain
		}
	}
	return best
}

// hinge fits p = a + b·x + c·x² + d·max(x, 0) by least squares, x being the
// time from at, and returns by how much its sum of squares is below that of
// the parabola alone and of a line, b and d: the slope before, and the bend.
func hinge(cells []cell, at float64) (gain, overLine, before, bend float64) {
	var m [4][4]float64
	var y [4]float64
	p0 := cells[0].p
	for _, c := range cells {
		x, p := c.t-at, c.p-p0
		q := [4]float64{1, x, x * x, max(x, 0)}
		for i := range 4 {
			for j := range i + 1 {
				m[i][j] += c.n * q[i] * q[j]
			}
			y[i] += c.n * q[i] * p
		}
	}
	// Cholesky, the matrix being positive definite unless there are too few
	// cells: what the last column adds to the fit is the square of its share.
	for i := range 4 {
		for j := range i + 1 {
			s := m[i][j]
			for k := range j {
				s -= m[i][k] * m[j][k]
			}
			if i != j {
				m[i][j] = s / m[j][j]
			} else if s < 1e-12 {
				return 0, 0, 0, 0
			} else {
				m[i][i] = math.Sqrt(s)
			}
		}
		for k := range i {
			y[i] -= m[i][k] * y[k]
		}
		y[i] /= m[i][i]
	}
	d := y[3] / m[3][3]
	c := (y[2] - m[3][2]*d) / m[2][2]
	b := (y[1] - m[2][1]*c - m[3][1]*d) / m[1][1]
	return y[3] * y[3], y[2]*y[2] + y[3]*y[3], b, d
}

// corner moves the start of a hold onto the moment of isolation. A supply that
// was left on for a while, or readings with much noise, put it seconds after
// the end of the rise.
func corner(cells []cell, s stretch, sigma float64, afterRise bool) int {
	t, end := cells[s.from].t, cells[s.to-1].t
	lo, hi := s.from, s.from
	for lo > 0 && cells[lo-1].t >= t-1 {
		lo--
	}
	for lo < s.from && cells[s.from].p-cells[lo].p > 6*sigma/math.Sqrt(cells[lo].n) {
		lo++ // it rises from here: a bend in the fill is no isolation
	}
	for hi < s.to-1 && cells[hi+1].t <= t+min(4, 0.4*(end-t)) {
		hi++
	}
	seen := breakAt(cells, lo, hi, hingeHalf, sigma, overParabola)
	if afterRise && seen >= 0 {
		// It may be where the rise ends while the supply is still on: a hold has no bend downward after it.
		skip := seen + 1
		if i := breakAt(cells[skip:], 0, hi-skip, hingeHalf, sigma, heldUp); i >= 0 {
			seen = skip + i
		}
	}
	if afterRise && (seen < 0 || seen <= s.from) && !falls(cells, max(seen, s.from), sigma) { // what was seen may be the end of the rise alone
		to := hi
		for to < s.to-1 && cells[to+1].t <= t+min(25, 0.5*(end-t)) {
			to++
		}
		if at, ok := hiddenBreak(cells[s.from:to], sigma); ok {
			return firstAt(cells, s.from, at)
		}
	}
	if seen < 0 {
		seen = breakAt(cells, lo, hi, hingeHalf, sigma, overLine)
	}
	if seen < 0 {
		return s.from
	}
	return seen
}

// falls reports whether a trace falls clearly in the two seconds after cell i.
func falls(cells []cell, i int, sigma float64) bool {
	_, _, slope, sd := line(cells, i, firstAt(cells, i, cells[i].t+2), sigma)
	return slope < -6*sd
}

// hiddenBreak finds the moment at which a trace that noise hides stops being
// held up and falls: where a cubic before it and a cubic after it that meet
// there leave the least. It takes that for a break if they leave clearly less
// than one curve of fifth degree does, and the trace hardly fell before.
func hiddenBreak(cells []cell, sigma float64) (at float64, ok bool) {
	if len(cells) < 12 {
		return 0, false
	}
	// Some sixty cells are enough to place it, and cheap.
	t0, span := cells[0].t, cells[len(cells)-1].t1-cells[0].t
	var few []cell
	for _, c := range cells {
		if k := len(few); k > 0 && c.t1-few[k-1].t0 <= span/60 {
			few[k-1] = few[k-1].merge(c)
		} else {
			few = append(few, c)
		}
	}
	const np = 7
	fit := func(basis func(x float64) [np]float64, n int) (left float64, last [np]float64) {
		var m [np][np]float64
		var y [np]float64
		total := 0.0
		p0 := few[len(few)/2].p
		for _, c := range few {
			q, p := basis((c.t-t0)/span), c.p-p0
			for i := range n {
				for j := range i + 1 {
					m[i][j] += c.n * q[i] * q[j]
				}
				y[i] += c.n * q[i] * p
			}
			total += c.n * p * p
		}
		for i := range n {
			for j := range i + 1 {
				s := m[i][j]
				for k := range j {
					s -= m[i][k] * m[j][k]
				}
				if i != j {
					m[i][j] = s / m[j][j]
				} else if s < 1e-9 {
					return math.Inf(1), last
				} else {
					m[i][i] = math.Sqrt(s)
				}
			}
			for k := range i {
				y[i] -= m[i][k] * y[k]
			}
			y[i] /= m[i][i]
			total -= y[i] * y[i]
		}
		for i := n - 1; i >= 0; i-- {
			last[i] = y[i]
			for k := i + 1; k < n; k++ {
				last[i] -= m[k][i] * last[k]
			}
			last[i] /= m[i][i]
		}
		return total, last
	}
	smooth, _ := fit(func(x float64) [np]float64 {
		x = 2*x - 1
		return [np]float64{1, x, x * x, x * x * x, x * x * x * x, x * x * x * x * x}
	}, 6)
	least := smooth - 40*sigma*sigma
	_, first, _, _ := line(few, 0, 3, sigma)
	_, last, _, _ := line(few, len(few)-3, len(few), sigma)
	for _, c := range few[3 : len(few)-3] {
		xc := (c.t - t0) / span
		left, v := fit(func(x float64) [np]float64 {
			a, b := math.Min(x-xc, 0), math.Max(x-xc, 0)
			return [np]float64{1, a, a * a, a * a * a, b, b * b, b * b * b}
		}, np)
		at0 := few[len(few)/2].p + v[0]
		if left < least && v[4] < 0 && v[1] > 0.25*v[4] && first-at0 < 0.25*(at0-last) {
			least, at, ok = left, c.t, true
		}
	}
	return at, ok
}
