package decay_test

import (
	"math"
	"testing"
	"time"

	"ebbline/decay"
	"ebbline/decay/decaytest"
)

// TestCurveLiesOnItsTrace: the curve of the fit passes within the noise of the
// readings it was fitted to, and the result beside it is that of Analyse.
func TestCurveLiesOnItsTrace(t *testing.T) {
	for name, rig := range map[string]decaytest.Rig{
		"leak":  {Area: 0.3 * decay.SquareMM, IdleSeconds: 3, HoldSeconds: 40, Noise: 50, Seed: 1},
		"tight": {IdleSeconds: 3, HoldSeconds: 40, Noise: 50, Seed: 2},
		"zero":  {Area: 0.1 * decay.SquareMM, IdleSeconds: 3, HoldSeconds: 40, Noise: 50, ZeroError: 2000, Seed: 3},
		"seep":  {Seep: 3e-15, IdleSeconds: 3, HoldSeconds: 40, Noise: 50, Seed: 4},
	} {
		t.Run(name, func(t *testing.T) {
			tr := decaytest.Make(rig)
			r, c := decay.AnalyseCurve(tr.Setup, tr.Samples)
			if want := decay.Analyse(tr.Setup, tr.Samples); r.Area != want.Area || r.Outcome != want.Outcome {
				t.Errorf("the result is %+v, Analyse says %+v", r.Area, want.Area)
			}
			if !c.Ok() {
				t.Fatal("no curve")
			}
			at, p := c.Gauge(c.Rate(), 200)
			sum, n := 0.0, 0
			for _, s := range tr.Samples {
				if s.At < at[0] || s.At > at[len(at)-1] || s.At-at[0] < 500*time.Millisecond {
					continue
				}
				f := float64(s.At-at[0]) / float64(at[1]-at[0])
				i := min(int(f), len(at)-2)
				f -= float64(i)
				want := float64(p[i])*(1-f) + float64(p[i+1])*f
				d := float64(s.P.Gauge(r.Ambient)-r.Zero) - want
				sum, n = sum+d*d, n+1
			}
			if rms := math.Sqrt(sum / float64(n)); n < 1000 || rms > 60 {
				t.Errorf("%d readings lie %.1f Pa off the curve, their noise is 50 Pa", n, rms)
			}
			_, more := c.Gauge(c.Rate()*2+0.001, 200)
			if !(more[199] < p[199]) || more[0] != p[0] {
				t.Errorf("a larger leak starts at %v and ends at %v, the fit at %v and %v", more[0], more[199], p[0], p[199])
			}
			if k := c.RateOf(r.Area.Value); math.Abs(k-r.Rate.Value) > 1e-9+1e-6*r.Rate.Value {
				t.Errorf("the area's rate is %v, the result's %v", k, r.Rate.Value)
			}
		})
	}
}

func TestCurveOfNothing(t *testing.T) {
	_, c := decay.AnalyseCurve(decay.Setup{}, nil)
	if at, p := c.Gauge(0, 10); c.Ok() || at != nil || p != nil {
		t.Error("a curve without a hold")
	}
	tr := decaytest.Make(decaytest.Rig{IdleSeconds: 3, HoldSeconds: 30, Noise: 50})
	_, c = decay.AnalyseCurve(tr.Setup, tr.Samples)
	for _, k := range []float64{-1, math.NaN(), math.Inf(1)} {
		if at, _ := c.Gauge(k, 10); at != nil {
			t.Errorf("a curve of the rate %v", k)
		}
	}
	if at, _ := c.Gauge(0, 1); at != nil {
		t.Error("a curve of one point")
	}
}
