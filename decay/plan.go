package decay

import (
	"math"
	"slices"
)

// Plan is a test that is being planned: what is known of duct and sensor, and
// how it is going to be held.
type Plan struct {
	Setup            // Volume must be stated; ZeroTolerance, where stated, means that no zero will be seen
	Pressure Gauge   // at isolation
	Seconds  float64 // of hold
	Rate     float64 // readings per second
	Noise    float64 // Pa, standard deviation of one reading
	Step     float64 // Pa, of the converter; 0: none
}

// What a planned hold is assumed to be like where a Plan says nothing: an
// ordinary fill, and an idle in which the zero is seen.
const (
	PlanWarm   = 20.0 // K, of the air above the wall at isolation
	PlanSettle = 9.0  // s, thermal time constant
	PlanIdle   = 3.0  // s at ambient before the fill
)

// Resolution is what a planned hold can tell.
type Resolution struct {
	// Smallest is the hole that is told from none, its interval clear of zero,
	// in 95 of 100 holds; +Inf when there is none.
	Smallest Length
	// LimitLow and LimitHigh are the interval to be expected of a hole of the
	// limit's size.
	LimitLow, LimitHigh Length
	// ToHold and ToLeak are after how many seconds of a watched hold a tight
	// duct is told to hold, and a hole of twice the limit to leak; +Inf when
	// that takes more than ten minutes.
	ToHold, ToLeak float64
}

// Cause is something that limits a plan, and the smallest hole that it alone
// would leave to be resolved.
type Cause struct {
	Name  string // noise, steps, settling, rubber or zero
	Alone Length
}

// Option is a change to a plan and what it brings.
type Option struct {
	Name string // which of the Plan's values is changed: seconds, volume, ...
	Plan Plan
	Resolution
}

// withDefaults fills in the Setup's defaults and the ambient.
func (p Plan) withDefaults() Plan {
	p.Setup = p.Setup.WithDefaults()
	p.Ambient = p.NominalAmbient()
	return p
}

// shares are the parts of an area's interval at 95 %, m², and relative ones.
type shares struct {
	sd       float64 // from the readings
	settling float64 // of the model of settling
	creep    float64 // rubber that creeps like a leak
	growth   float64 // rubber that swells: share by which the upper bound grows
	rel      float64 // volume and span
}

// shares of the interval of a hole of effective area a after t seconds.
func (p *Plan) shares(a, t float64) shares {
	tw, pa := float64(p.AmbientTemperature), float64(p.Ambient)
	p0 := float64(p.Pressure) + pa
	toArea := float64(p.Volume) / math.Sqrt(RAir*tw)
	psi0 := Psi(pa / p0)
	bound := Planned{
		Volume: p.Volume, Ambient: p.Ambient, Temperature: p.AmbientTemperature, Start: p.Pressure,
		Area: Area(a), Warm: PlanWarm, Settling: seconds(PlanSettle), Seconds: t, Idle: PlanIdle,
		Rate: p.Rate, Noise: p.Noise, Step: p.Step, Weak: true,
	}
	if p.ZeroTolerance > 0 {
		bound.Idle, bound.ZeroSD = 0, p.ZeroTolerance*p.FullScale/1.96
	}
	subsonic := 0.0
	if psi0 < 0.999*psiChoked {
		subsonic = 0.5
	}
	span := p.SpanTolerance * pa * (1/p0 + subsonic/float64(p.Pressure))
	return shares{
		sd:       bound.Bound(),
		settling: settlingDoubt * PlanWarm / tw / PlanSettle * math.Exp(-t/PlanSettle) / psi0 * toArea,
		creep:    1.2 * p.Compliance / t / psi0 * toArea,
		growth:   p.Compliance * (1 + p0/float64(p.Pressure)),
		rel:      math.Hypot(p.VolumeTolerance, span),
	}
}

// low and high are the bounds of the interval to be expected of area a, at z
// standard deviations.
func (s shares) low(a, z float64) float64 {
	f := z / 1.96
	return a - f*(math.Hypot(math.Hypot(1.96*s.sd, s.settling), a*s.rel)+s.creep)
}

func (s shares) high(a, z float64) float64 {
	f := z / 1.96
	return a + f*(math.Hypot(math.Hypot(1.96*s.sd, s.settling), a*s.rel)+a*s.growth)
}

// power is how many standard deviations of its value a hole must be above what
// is told from none half of the time, to be told in 95 of 100 holds.
const power = 1.645

// smallest solves for the area whose interval is clear of zero in 95 of 100
// holds.
func (p *Plan) smallest() float64 {
	a := 0.0
	for range 40 {
		s := p.shares(a, p.Seconds)
		next := 0.0
		if rest := 1 - s.rel*s.rel; rest > 0 {
			// a − h = √(w² + a²·rel²) with h the creep and the power, w the rest.
			h, w := s.creep+power*s.sd, math.Hypot(1.96*s.sd, s.settling)
			next = (h + math.Sqrt(h*h-rest*(h*h-w*w))) / rest
		}
		if math.IsInf(next, 0) || math.IsNaN(next) || next <= 0 {
			return math.Inf(1)
		}
		if math.Abs(next-a) < 1e-4*next {
			return next
		}
		a = next
	}
	return a
}

// longest hold that is looked at when asking how long a verdict takes, s.
const longestPlan = 600.0

// Resolve says what p can tell.
func (p Plan) Resolve() Resolution {
	p = p.withDefaults()
	lim := float64(CircleArea(p.Limit)) * p.Cd
	s := p.shares(lim, p.Seconds)
	r := Resolution{
		Smallest:  p.hole(p.smallest()),
		LimitLow:  p.hole(s.low(lim, 1.96)),
		LimitHigh: p.hole(s.high(lim, 1.96)),
	}
	// A watched verdict needs a wider margin, and to have stood for a while.
	r.ToHold = firstAfter(func(t float64) bool {
		s := p.shares(0, t)
		return s.high(0, watchedZ)*(1+s.growth) < lim
	})
	r.ToLeak = firstAfter(func(t float64) bool { return p.shares(4*lim, t).low(4*lim, watchedZ) > lim })
	return r
}

// firstAfter is when a watched hold that shows clear from some length on comes
// to its verdict, s; +Inf when that takes too long.
func firstAfter(clear func(t float64) bool) float64 {
	const coarse = 1.3
	t := watchedSeconds / watchedGrowth
	for ; !clear(t); t *= coarse {
		if t > longestPlan {
			return math.Inf(1)
		}
	}
	if t > watchedSeconds/watchedGrowth { // it became so within the last step
		lo, hi := t/coarse, t
		for range 4 {
			if mid := (lo + hi) / 2; clear(mid) {
				hi = mid
			} else {
				lo = mid
			}
		}
		t = hi
	}
	return math.Max(t*watchedGrowth, watchedSeconds)
}

func (p *Plan) hole(a float64) Length {
	if math.IsInf(a, 1) {
		return Length(a)
	}
	return EquivalentHole(Area(a), p.Cd)
}

// Causes are what limits p, the heaviest first. Each is what would be left if
// all else were perfect; those that leave nothing to see are left out.
func (p Plan) Causes() []Cause {
	p = p.withDefaults()
	s := p.shares(0, p.Seconds)
	noise, steps, zero := p, p, p
	noise.Step, steps.Noise = 0, 0
	noise.ZeroTolerance, steps.ZeroTolerance = 0, 0
	zero.Noise, zero.Step = 1e-3, 0
	out := []Cause{
		{"settling", p.hole(s.settling)},
		{"rubber", p.hole(s.creep)},
	}
	sd := func(q Plan) Length {
		a := q.shares(0, q.Seconds).sd * (1.96 + power)
		return q.hole(a)
	}
	if p.Noise > 0 {
		out = append(out, Cause{"noise", sd(noise)})
	}
	if p.Step > 0 {
		out = append(out, Cause{"steps", sd(steps)})
	}
	if p.ZeroTolerance > 0 {
		out = append(out, Cause{"zero", sd(zero)})
	}
	out = slices.DeleteFunc(out, func(c Cause) bool { return c.Alone < 1e-9 })
	slices.SortStableFunc(out, func(a, b Cause) int {
		switch {
		case a.Alone > b.Alone:
			return -1
		case a.Alone < b.Alone:
			return 1
		}
		return 0
	})
	return out
}

// Options are the changes to p that can be made, the most useful first: the
// one that brings the smallest hole.
func (p Plan) Options() []Option {
	p = p.withDefaults()
	var out []Option
	try := func(name string, change func(*Plan)) {
		q := p
		change(&q)
		out = append(out, Option{Name: name, Plan: q, Resolution: q.Resolve()})
	}
	try("seconds", func(q *Plan) { q.Seconds *= 2 })
	try("volume", func(q *Plan) { q.Volume /= 2 })
	if most := p.highest(); float64(most) > 1.05*float64(p.Pressure) {
		try("pressure", func(q *Plan) { q.Pressure = most })
	}
	if p.Noise > 0 {
		try("noise", func(q *Plan) { q.Noise /= 2 })
	}
	if p.Step > 0 {
		try("bits", func(q *Plan) { q.Step /= 16 })
	}
	if p.Rate < 1000 {
		try("rate", func(q *Plan) { q.Rate = math.Min(4*q.Rate, 1000) })
	}
	if p.Compliance > 0 {
		try("compliance", func(q *Plan) { q.Compliance /= 4 })
	}
	if p.ZeroTolerance > 0 {
		try("zero", func(q *Plan) { q.ZeroTolerance = 0 })
	}
	slices.SortStableFunc(out, func(a, b Option) int {
		switch {
		case a.Smallest < b.Smallest:
			return -1
		case a.Smallest > b.Smallest:
			return 1
		}
		return 0
	})
	return out
}

// highest is the pressure just below the warning band, and within the sensor's
// range.
func (p *Plan) highest() Gauge {
	top := float64(p.Ceiling) * WarningBand
	if p.FullScale > 0 {
		full := p.FullScale
		if p.Reads == ReadsAbsolute {
			full -= float64(p.Ambient)
		}
		top = math.Min(top, 0.95*full)
	}
	return Gauge(top)
}
