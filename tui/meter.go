package tui

import (
	"math"
	"slices"

	"ebbline/decay"
)

const (
	binLength   = 0.04 // s: readings are averaged over this
	meterMemory = 1.0  // s that a rate is read from
	levelMemory = 5.0  // s over which the level follows a slow drift
	changeZ     = 4.5  // standard deviations that tell a change
	changeLeast = 0.08 // of the level: less is not worth a word
	changeLooks = 3    // looks in a row that must agree
	changeOver  = 1.6  // s after which a change has gone through the memory
	heatAfter   = 12.0 // s in which the air takes up or gives off heat after a change
	sameAfter   = 20.0 // s after a change until it is the same again
)

// A trend is how a leak changed lately.
type trend int

const (
	trendNone trend = iota // too early to say
	trendSame
	trendSmaller
	trendLarger
)

// meter reads the leak's rate from the last second. Theil and Sen's slope, the
// median of the slopes of all pairs of points (H. Theil, Proc. Kon. Ned. Akad.
// Wet. A 53 (1950); P. K. Sen, J. Am. Stat. Assoc. 63 (1968)), lets spikes
// pass. Rates are compared as K = −ṗ/(p·ψ), which stays while the duct empties.
type meter struct {
	pa   float64 // ambient, Pa
	bins []bin   // the last second, oldest first
	sum  bin     // under way: sums
	from float64 // s, when it began
	n    int     // readings in it

	known bool    // there is a rate
	rate  float64 // Pa/s, negative when losing
	k, sd float64 // and as K with its standard deviation, 1/s

	scatter float64 // of a bin about the slope, Pa, averaged over seconds

	fading float64 // share of the level that the air's settling may still take off it
	level  float64 // K since the latest change
	weight float64 // s that the level was read over, at most levelMemory
	looks  int     // in a row that tell a change, negative for a smaller one
	trend  trend
	was    float64 // K before the latest change
	went   float64 // K furthest from it, right after the change
	at     float64 // s, when that came
	steady bool    // the heat of the change before had settled then, so was is the leak's
	last   float64 // s, the latest look
	slopes []float64
}

// bin is a mean over a short time.
type bin struct{ t, p float64 }

// add takes a reading: seconds, Pa gauge.
func (m *meter) add(t, p float64) {
	if math.IsNaN(p) || math.IsInf(p, 0) {
		return
	}
	if m.n > 0 && (t < m.from || t-m.from >= binLength-1e-6) {
		m.bins = append(m.bins, bin{m.sum.t / float64(m.n), m.sum.p / float64(m.n)})
		m.sum, m.n = bin{}, 0
	}
	if k := len(m.bins); k > 0 && (t < m.bins[k-1].t || t-m.bins[k-1].t > meterMemory) {
		m.reset() // a rate across a gap means nothing
	}
	if m.n == 0 {
		m.from = t
	}
	m.sum.t, m.sum.p, m.n = m.sum.t+t, m.sum.p+p, m.n+1
	drop := 0
	for drop < len(m.bins) && t-m.bins[drop].t > meterMemory+2*binLength {
		drop++
	}
	m.bins = m.bins[:copy(m.bins, m.bins[drop:])]
}

// reset forgets everything but the ambient.
func (m *meter) reset() {
	*m = meter{pa: m.pa, bins: m.bins[:0], slopes: m.slopes[:0]}
}

// look reads the rate and the trend at t seconds.
func (m *meter) look(t float64) {
	dt := t - m.last
	m.last = t
	n := len(m.bins)
	if n < 5 || m.bins[n-1].t-m.bins[0].t < 0.9*meterMemory {
		m.known = false
		return
	}
	m.slope()
	switch {
	case m.weight == 0: // the first rate, or the first after a start anew
		m.level, m.weight, m.trend, m.at = m.k, meterMemory, trendSame, t
		return
	case dt <= 0:
		return
	}
	going := m.trend >= trendSmaller && t-m.at < changeOver
	levelSD := m.sd / math.Sqrt(m.weight/meterMemory)
	diff := m.k - m.level
	least := changeLeast
	if diff < 0 {
		least += m.fading
	}
	clear := math.Abs(diff) > changeZ*math.Hypot(m.sd, levelSD) && math.Abs(diff) > least*math.Abs(m.level)
	switch {
	case !clear:
		m.looks = 0
	case diff < 0:
		m.looks = min(m.looks, 0) - 1
	default:
		m.looks = max(m.looks, 0) + 1
	}
	// When a leak is pressed, the air it had chilled warms up and holds the
	// pressure for a while, so that the leak looks smaller at first than it is,
	// and then seems to grow. Only what undoes half of the change is another one.
	if heating := m.trend >= trendSmaller && t-m.at < heatAfter; heating {
		if m.trend == trendSmaller {
			m.went = math.Min(m.went, m.level)
		} else {
			m.went = math.Max(m.went, m.level)
		}
		if back := (m.k - m.went) / (m.was - m.went); (m.looks > 0) == (m.trend == trendSmaller) && !(back > 0.5) {
			if m.looks != 0 {
				m.looks, m.weight, m.level = 0, meterMemory, m.k
			}
		}
	}
	to := trendSame
	if m.looks <= -changeLooks {
		to = trendSmaller
	} else if m.looks >= changeLooks {
		to = trendLarger
	}
	switch {
	case to != trendSame && !(going && to == m.trend):
		m.steady = m.trend == trendSame || t-m.at > heatAfter
		m.was, m.trend, m.at, m.went = m.level, to, t, m.k
		m.level, m.weight, m.looks = m.k, meterMemory, 0
	case going: // the change is still on its way through the memory
		m.level, m.weight, m.looks = m.k, meterMemory, 0
		m.went = m.k
	default:
		m.weight = math.Min(m.weight+dt, levelMemory)
		m.level += diff * math.Min(1, dt/m.weight)
		if t-m.at > sameAfter {
			m.trend = trendSame
		}
	}
}

// slope is Theil and Sen's, with a standard deviation from the scatter about it.
func (m *meter) slope() {
	m.slopes = m.slopes[:0]
	var st, sp float64
	for i, a := range m.bins {
		st, sp = st+a.t, sp+a.p
		for _, b := range m.bins[:i] {
			m.slopes = append(m.slopes, (a.p-b.p)/(a.t-b.t))
		}
	}
	n := float64(len(m.bins))
	slices.Sort(m.slopes)
	m.rate = median(m.slopes)
	mt, mp := st/n, sp/n
	rest := m.slopes[:0]
	var tt float64
	for _, a := range m.bins {
		rest = append(rest, a.p-m.rate*a.t)
		tt += (a.t - mt) * (a.t - mt)
	}
	slices.Sort(rest)
	mid := median(rest)
	for i := range rest {
		rest[i] = math.Abs(rest[i] - mid)
	}
	slices.Sort(rest)
	// 1.4826 makes a normal deviation of the median one; a converter's steps may
	// hide all scatter, and then a pascal stands for it.
	scatter := math.Max(1.4826*median(rest), 1)
	// That of one second is itself uncertain by a fifth, so it is averaged.
	if m.scatter == 0 {
		m.scatter = 2 * scatter
	}
	m.scatter += (scatter - m.scatter) * 0.01
	scatter = 1.1 * math.Max(m.scatter, scatter/2) // the median's own loss against least squares
	p := mp + m.pa
	per := math.NaN()
	if ψ := decay.Psi(m.pa / p); p > m.pa && ψ > 0 {
		per = 1 / (p * ψ)
	}
	m.k, m.sd = -m.rate*per, scatter/math.Sqrt(tt)*per
	m.known = !math.IsNaN(m.k) && !math.IsInf(m.k, 0)
	if !m.known {
		m.weight = 0
	}
}

// median is that of sorted values.
func median(v []float64) float64 {
	if len(v) == 0 {
		return math.NaN()
	}
	return (v[len(v)/2] + v[(len(v)-1)/2]) / 2
}
