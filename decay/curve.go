package decay

import (
	"math"
	"time"
)

// Curve is the pressure that a fitted hold expects, for drawing it over its
// trace. The zero value is of no hold: see [Curve.Ok].
type Curve struct {
	model   model
	th      params
	pa, tw  float64
	zero    float64 // Pa, what the fit takes the sensor to show too much
	start   float64 // s, of isolation in the trace's time
	end     float64 // s
	perArea float64 // rate K, 1/s, of an effective area of 1 m²; 0 without a volume
}

// AnalyseCurve is [Analyse] with the curve of the fit.
func AnalyseCurve(set Setup, samples []Sample) (Result, Curve) {
	l := NewLive(set)
	for _, s := range samples {
		l.Add(s)
	}
	r := l.Whole()
	if l.warm == nil || !r.HasFit {
		return r, Curve{}
	}
	c := Curve{
		model: l.warm.best.model, th: l.warm.best.th, pa: l.warmData.pa, tw: l.warmData.tw,
		start: r.Hold.Start.Seconds(), end: r.Hold.End.Seconds(), zero: l.warm.best.th[parZero],
	}
	if r.HasVolume {
		c.perArea = math.Sqrt(RAir*c.tw) / float64(r.Volume)
	}
	return r, c
}

// Ok reports whether there is a curve.
func (c Curve) Ok() bool { return c.end > c.start }

// Rate is the leak rate K, 1/s, of the model that is drawn.
func (c Curve) Rate() float64 { return c.th[parK] }

// RateOf is the rate K, 1/s, that a leak of effective area a, m², would have
// in this duct; NaN when its volume is not known.
func (c Curve) RateOf(a float64) float64 {
	if c.perArea == 0 {
		return math.NaN()
	}
	return a * c.perArea
}

// Gauge gives the gauge pressure at n instants, equally spaced over the hold,
// that the fit expects, had the leak the rate k, 1/s, and everything else been
// as fitted: the air settles as it did, so curves of several rates show what
// the leak alone makes. n is at least 2.
func (c Curve) Gauge(k float64, n int) (at []time.Duration, p []Gauge) {
	if !c.Ok() || n < 2 || !(k >= 0) || math.IsInf(k, 0) {
		return nil, nil
	}
	th := c.th
	th[parK] = k
	ts, out := make([]float64, n), make([]float64, n)
	for i := range ts {
		ts[i] = (c.end - c.start) * float64(i) / float64(n-1)
	}
	g := c.model.gas(&th, c.pa, c.tw, th[parP0])
	g.trace(&th, ts, out, nil)
	for i, t := range ts {
		if math.IsNaN(out[i]) || math.IsInf(out[i], 0) {
			return nil, nil
		}
		at = append(at, seconds(c.start+t))
		p = append(p, Pressure(out[i]).Gauge(Pressure(c.pa))+Gauge(c.zero))
	}
	return at, p
}
