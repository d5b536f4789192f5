package decay_test

import (
	"math"
	"math/rand/v2"
	"slices"
	"sort"
	"testing"
	"time"

	"ebbline/decay"
	"ebbline/decay/decaytest"
)

// fromDial reads a trace as a person with a dial does: n readings, step
// seconds apart, the first late seconds after isolation, each rounded to a
// division; it stops where the dial can no longer be read.
func fromDial(tr decaytest.Trace, n int, late, step float64, division decay.Gauge) []decay.Sample {
	var out []decay.Sample
	pa := tr.Setup.NominalAmbient()
	for j := range n {
		at := tr.IsolatedAt + time.Duration((late+float64(j)*step)*1e9)
		i := sort.Search(len(tr.Samples), func(i int) bool { return tr.Samples[i].At >= at })
		if i == len(tr.Samples) {
			break
		}
		g := tr.Samples[i].P.Gauge(pa)
		if g = decay.Gauge(math.Round(float64(g/division))) * division; g < 3*division {
			break
		}
		out = append(out, decay.Sample{At: time.Duration(float64(j) * step * 1e9), P: g.Absolute(pa)})
	}
	return out
}

// TestFewReadings reads known leaks from a dial with half-psi divisions, three
// to twenty times, no fill and no zero seen.
func TestFewReadings(t *testing.T) {
	long(t)
	rnd := rand.New(rand.NewPCG(77, 5))
	between := func(a, b float64) float64 { return a + (b-a)*rnd.Float64() }
	var cases, covered, wrong int
	var widths []float64
	for i := range 120 {
		d := math.Exp(between(math.Log(0.3), math.Log(2)))
		if i%6 == 0 {
			d = 0
		}
		n, late, step := 3+rnd.IntN(18), between(0, 20), between(5, 20)
		tr := decaytest.Make(decaytest.Rig{
			Volume: between(5e-3, 20e-3), Area: decaytest.HoleArea(d), Tau: between(3, 10), Supply: between(18, 28) * decay.PSI,
			HoldSeconds: late + float64(n)*step, Rate: 2, Noise: 200, Seed: rnd.Uint64(),
		})
		read := fromDial(tr, n, late, step, 0.5*decay.PSI)
		if len(read) < 3 {
			continue
		}
		cases++
		r := decay.Analyse(tr.Setup, read)
		if !r.HasFit {
			t.Errorf("%d readings of a hole of %.2f mm: no fit, %v: %v", len(read), d, r.Outcome, read)
			continue
		}
		truth := float64(tr.TruthArea)
		if r.Area.Low <= truth && truth <= r.Area.High {
			covered++
		} else {
			t.Logf("%d readings: true %.3g mm2 outside %.3g to %.3g", len(read), truth*1e6, r.Area.Low*1e6, r.Area.High*1e6)
		}
		limit := 0.62 * float64(decay.CircleArea(0.5*decay.Millimetre))
		if r.Outcome == decay.Leaks && truth < limit || r.Outcome == decay.Holds && truth > limit {
			wrong++
		}
		if d > 0 && len(read) >= 6 {
			widths = append(widths, (r.Hole.High-r.Hole.Low)/(d*decay.Millimetre))
		}
		if r.HasFlag(decay.FlagSpikes) || r.HasFlag(decay.FlagStuck) {
			t.Errorf("%d readings of a hole of %.2f mm: a false flag, %v", len(read), d, r.Flags)
		}
	}
	slices.Sort(widths)
	width := widths[len(widths)/2]
	t.Logf("%d dials: %d covered, %d verdicts wrong, interval of the hole %.0f %% of it at the median with six readings or more", cases, covered, wrong, 100*width)
	if float64(covered) < 0.92*float64(cases) || wrong > 1 || width > 0.3 {
		t.Error("the bar is 92 % covered, one verdict wrong, 30 % wide")
	}
}

// TestAllReadingsEqual checks that a dial that never moves is not taken for a
// sensor without noise.
func TestAllReadingsEqual(t *testing.T) {
	var read []decay.Sample
	for i := range 5 {
		read = append(read, decay.Sample{At: time.Duration(i) * 10 * time.Second, P: decay.Gauge(25 * decay.PSI).Absolute(decay.Atmosphere)})
	}
	r := decay.Analyse(decay.Setup{Volume: 10 * decay.Litre, Rigid: true}, read)
	if !r.HasFit || r.Hole.Low != 0 || r.Hole.High < 0.1*decay.Millimetre || r.Hole.High > 0.6*decay.Millimetre {
		t.Errorf("fit %v, hole %v to %v mm; half a psi in 40 s of 10 L is some 0.3 mm", r.HasFit, r.Hole.Low*1e3, r.Hole.High*1e3)
	}
}

// TestRoundingIsFound checks what readings are found to be rounded to.
func TestRoundingIsFound(t *testing.T) {
	for _, c := range []struct {
		name   string
		values []float64 // kPa gauge
		lo, hi float64   // width allowed for the area's SD, mm²
	}{
		{"tenths of a kPa", []float64{172.3, 165.1, 158.9, 152.0, 146.2, 140.1}, 0, 0.004},
		{"half psi", []float64{172.369, 165.474, 158.579, 151.685, 144.79, 141.343}, 0.01, 0.3},
	} {
		var read []decay.Sample
		for i, v := range c.values {
			read = append(read, decay.Sample{At: time.Duration(i) * 10 * time.Second, P: decay.Gauge(v * decay.Kilopascal).Absolute(decay.Atmosphere)})
		}
		r := decay.Analyse(decay.Setup{Volume: 10 * decay.Litre, Rigid: true}, read)
		if sd := r.AreaSD * 1e6; sd < c.lo || sd > c.hi {
			t.Errorf("%s: standard deviation %.3g mm2, want %g to %g", c.name, sd, c.lo, c.hi)
		}
	}
}
