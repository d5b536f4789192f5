package decay

import "math"

// A cell is a short stretch of readings, summed. Times are seconds, pressures
// absolute pascals.
type cell struct {
	n      float64 // readings in it
	fresh  float64 // of them that differ from the one before
	t, p   float64 // means
	t0, t1 float64 // first and last stamp
}

// merge joins two neighbouring cells.
func (c cell) merge(d cell) cell {
	n := c.n + d.n
	return cell{n, c.fresh + d.fresh, (c.t*c.n + d.t*d.n) / n, (c.p*c.n + d.p*d.n) / n, c.t0, d.t1}
}

const (
	finestCell = 0.05 // s: no phase needs to be placed better than this
	half       = 3    // readings on either side by which a spike is told
	maxCells   = 2400 // after which the history is thinned
	keptShare  = 0.02 // a cell may be this share of its distance from the moments that matter
)

// history keeps a trace in bounded memory: finely around the moment of
// isolation and in the last seconds, and coarser by the rule
// width ≤ keptShare × distance elsewhere, so that the number of cells grows
// with the logarithm of the time.
type history struct {
	cells  []cell
	anchor float64 // moment of isolation; NaN when not known
	rise   float64 // when the fill began, s; NaN: not yet
	limit  int     // len(cells) at which to thin

	ring    [2*half + 1]point // latest readings, to judge the middle one
	nring   int
	noise   []float64 // reservoir of recent |second difference|, for a robust level
	room    []float64 // to find its median in
	noiseAt int

	n, spikes, gaps, backward int
	lastT, lastP, dt          float64 // latest reading; typical step of time
	peak                      float64 // highest accepted reading
	equalSteps, steps         int     // successive readings that are exactly equal, of so many, away from rest
	rest, restBand            float64 // readings this near to rest tell nothing of being stuck
	runLen                    int     // present run of equal readings
	runT0                     float64
	longRun                   float64 // longest run of equal readings, s
	longRunN                  int
	longRunP, longRunT0       float64
	divisor                   float64 // Pa, that every step between readings is a multiple of; 0: none seen
	unrounded                 bool    // there is no such step
	least                     float64 // smallest step between readings, Pa
	unequal                   int     // steps other than zero
	tried, whole, several     int     // of them compared with the smallest: all, whole multiples of it, and two or more times it
	sigmaIs, scatter          float64 // of a reading, with and without what rounding does
	sigmaAt                   int
	lastKept                  float64

	sums       []running // room in which the phases are found, look by look
	fast, slow []float64
}

type point struct{ t, p float64 }

func newHistory() *history {
	return &history{anchor: math.NaN(), rise: math.NaN(), limit: maxCells, peak: math.Inf(-1), lastT: math.NaN()}
}

// sigma is a robust standard deviation of a single reading from the median of
// recent second differences; d = x₁ − (x₀+x₂)/2 has variance 1.5σ².
func (h *history) sigma() float64 {
	if h.sigmaAt > 200 && h.n < h.sigmaAt+min(max(40, h.sigmaAt/50), 400) {
		return h.sigmaIs // sorting at every reading would cost more than all else
	}
	h.sigmaIs, h.sigmaAt = h.freshSigma(), h.n
	return h.sigmaIs
}

func (h *history) freshSigma() float64 {
	h.scatter = 0
	if len(h.noise) >= 5 {
		h.room = append(h.room[:0], h.noise...)
		h.scatter = middle(h.room) / 0.6745 / math.Sqrt(1.5)
	}
	// Readings rounded more coarsely than they are noisy: rounding is the noise.
	return max(h.scatter, h.quantum()/math.Sqrt(12))
}

// quantum is the step that readings are rounded to, Pa; 0 where none is seen.
func (h *history) quantum() float64 {
	// A converter's steps that are printed with few digits of another unit differ a
	// little. But they are whole multiples of one of them, more or less, and readings
	// often repeat, not only in a run of a sensor that is stuck; those of no converter
	// are not and do not.
	n := h.n - h.longRunN
	often := n >= 20 && h.unequal >= 3 && float64(n-h.unequal) > 0.3*float64(n)
	multiples := h.tried >= 20 && h.whole*20 >= h.tried*19 && 10*(h.several+n-h.unequal) >= h.tried
	if often || multiples {
		return max(h.divisor, h.least)
	}
	return h.divisor
}

// coarse is the step readings are rounded to where that is coarser than their
// noise, so that successive errors are alike; else 0.
func (h *history) coarse() float64 {
	if q := h.quantum(); q > 1.5*h.scatter {
		return q
	}
	return 0
}

// step is what of a converter's step noise leaves to be seen in a mean of readings
// (B. Widrow, I. Kollár, Quantization Noise, 2008, ch. 4, from memory), Pa.
func (h *history) step() float64 {
	q := h.coarse()
	if q == 0 {
		return 0
	}
	noise := h.scatter / q
	return q * math.Exp(-2*math.Pi*math.Pi*noise*noise)
}

// middle is the upper median of s, which it reorders: C. A. R. Hoare's FIND,
// Comm. ACM 4 (1961) 321, as it is needed at every reading.
func middle(s []float64) float64 {
	k, lo, hi := len(s)/2, 0, len(s)-1
	for lo < hi {
		x, i, j := s[k], lo, hi
		for i <= j {
			for s[i] < x {
				i++
			}
			for s[j] > x {
				j--
			}
			if i <= j {
				s[i], s[j] = s[j], s[i]
				i++
				j--
			}
		}
		if j < k {
			lo = i
		}
		if i > k {
			hi = j
		}
	}
	return s[k]
}

// add takes a reading; the one two before it is judged and kept or dropped.
func (h *history) add(t, p float64) {
	if math.IsNaN(p) || math.IsInf(p, 0) || math.IsNaN(t) {
		return
	}
	if !math.IsNaN(h.lastT) {
		if t < h.lastT {
			h.backward++
			return
		}
		step := t - h.lastT
		if h.dt == 0 {
			h.dt = step
		}
		if step > math.Max(0.5, 6*h.dt) && h.n > 5 {
			h.gaps++
		} else {
			h.dt += 0.05 * (step - h.dt)
		}
	}
	h.lastT = t
	if h.n > 0 && p != h.lastP {
		h.stepped(math.Abs(p - h.lastP))
	}
	h.lastP = p
	h.n++
	if h.nring < len(h.ring) {
		h.ring[h.nring] = point{t, p}
		h.nring++
		if h.nring < len(h.ring) {
			return
		}
		for _, x := range h.ring[:half] { // these have no neighbours ahead of them
			h.keep(x)
		}
	} else {
		copy(h.ring[:], h.ring[1:])
		h.ring[len(h.ring)-1] = point{t, p}
	}
	m := &h.ring
	mid := m[half]
	if h.n > 10 && h.spike(h.sigma()) {
		h.spikes++
		return
	}
	d := math.Abs(mid.p - (m[half-1].p+m[half+1].p)/2)
	if len(h.noise) < 201 {
		h.noise = append(h.noise, d)
	} else {
		h.noise[h.noiseAt%len(h.noise)] = d
		h.noiseAt++
	}
	h.keep(mid)
}

// spike reports whether the middle one of the latest readings lies far from
// the median of its neighbourhood, which a ramp or step would have spread.
func (h *history) spike(sigma float64) bool {
	var s [2*half + 1]float64
	mid, far := h.ring[half].p, 0.0
	for i, x := range h.ring {
		s[i] = x.p
		far = max(far, math.Abs(x.p-mid))
	}
	if far <= 8*sigma {
		return false // whatever the median is: spares most readings the search for it
	}
	med := middle(s[:])
	for i, x := range h.ring {
		s[i] = math.Abs(x.p - med)
	}
	spread := math.Max(1.5*middle(s[:]), sigma)
	most := 8*spread + 0.002*math.Abs(med)
	if h.least < coarsest {
		most = math.Max(most, 2.5*h.least) // a flicker by a step or two of the converter
	}
	return math.Abs(mid-med) > most
}

// coarsest is more than the step of any converter in use, Pa: 8 bits over 0.5 to
// 4.5 V of 5 V and 100 psi.
const coarsest = 4 * Kilopascal

// keep puts an accepted reading into the cells.
func (h *history) keep(x point) {
	h.peak = math.Max(h.peak, x.p)
	fresh := 0.0
	if k := len(h.cells); k > 0 {
		loaded := math.Abs(x.p-h.rest) > h.restBand
		if loaded {
			h.steps++
		}
		if x.p == h.lastKept {
			if loaded {
				h.equalSteps++
			}
			h.runLen++
			if d := x.t - h.runT0; d > h.longRun && loaded {
				h.longRun, h.longRunN, h.longRunP, h.longRunT0 = d, h.runLen, x.p, h.runT0
			}
		} else {
			fresh = 1
			h.runLen, h.runT0 = 1, x.t
		}
	} else {
		h.runT0, h.runLen, fresh = x.t, 1, 1
	}
	h.lastKept = x.p
	c := cell{1, fresh, x.t, x.p, x.t, x.t}
	if k := len(h.cells); k > 0 && x.t-h.cells[k-1].t0 < finestCell {
		h.cells[k-1] = h.cells[k-1].merge(c)
	} else {
		h.cells = append(h.cells, c)
	}
}

// stepped notes a step between unequal readings: what divides all of them is
// what they were rounded to.
func (h *history) stepped(s float64) {
	h.unequal++
	if h.least == 0 || s < 0.8*h.least {
		h.least, h.tried, h.whole, h.several = s, 0, 0, 0
	}
	h.least = math.Min(h.least, s)
	if n := math.Round(s / h.least); n <= 5 {
		if off := (n + 1) * math.Max(h.divisor, 0.02*h.least); off < 0.4*h.least {
			h.tried++
			h.whole += btoi(math.Abs(s-n*h.least) <= off)
			h.several += btoi(n > 1)
		}
	}
	if h.unrounded {
		return
	}
	const finest = 1 // Pa: below it rounding matters to nobody
	a, b := max(s, h.divisor), min(s, h.divisor)
	if h.divisor == 0 {
		h.divisor = s
		return
	}
	for b > finest { // Euclid's algorithm, blind to what printing in another unit does
		n := math.Round(a / b)
		r := math.Abs(a - b*n)
		if r < max(0.05, 0.02*b) {
			if h.divisor > 1.5*b {
				h.divisor = b // else what stood first stands, or it would follow a smooth curve's steps
			}
			return
		}
		a, b = b, r
	}
	h.divisor, h.unrounded = 0, true
}

// full says that it is time to thin; the owner first finds the anchor.
func (h *history) full() bool { return len(h.cells) > h.limit }

// flush judges the last readings at the end of a trace, as they are.
func (h *history) flush() {
	from := 0
	if h.nring == len(h.ring) {
		from = half + 1
	}
	for _, x := range h.ring[from:h.nring] {
		h.keep(x)
	}
	h.nring = 0
}

// thin merges neighbours that are finer than they need to be.
func (h *history) thin() {
	now := h.cells[len(h.cells)-1].t1
	out := h.cells[:1]
	for _, c := range h.cells[1:] {
		last := &out[len(out)-1]
		far := now - c.t1
		if !math.IsNaN(h.anchor) {
			far = math.Min(far, math.Abs(last.t-h.anchor))
		}
		if !math.IsNaN(h.rise) { // or the zero before the fill would have the fill in it
			far = math.Min(far, math.Max(math.Abs(last.t-h.rise), math.Abs(c.t-h.rise)))
		}
		if c.t1-last.t0 <= keptShare*far {
			*last = last.merge(c)
		} else {
			out = append(out, c)
		}
	}
	h.cells = out
	// Should thinning not have helped (readings seconds apart for days), double the room.
	h.limit = max(maxCells, len(out)+len(out)/4)
}
