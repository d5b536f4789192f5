package decay

import (
	"math"
	"time"

	"gonum.org/v1/gonum/mat"
)

// Planned is a hold as it is going to be, or as a simulated one truly was: all
// that sets how well its leak can be known. Fields are in SI units; a zero
// value stands for what its doc says.
type Planned struct {
	Volume      Volume      // of the duct
	Ambient     Pressure    // absolute; 0: 101.325 kPa
	Temperature Temperature // of the wall; 0: 20 °C
	Start       Gauge       // pressure at isolation
	Area        Area        // effective area of an orifice leak; 0: tight
	Warm        float64     // K by which the air is above the wall at isolation
	Settling    time.Duration
	Seconds     float64 // length of the hold
	Idle        float64 // s at ambient before the fill, which show the zero; 0: the zero is as good as ZeroSD
	ZeroSD      float64 // Pa, standard deviation of the zero beside what Idle shows; 0 with Idle 0: known
	Rate        float64 // readings per second
	Noise       float64 // Pa, standard deviation of one reading, white
	Step        float64 // Pa, of the converter; taken as white noise of Step²/12

	// Weak adds what the estimate assumes and doubts: its weak priors of the
	// air's warmth and time constant, and that heat may be exchanged at a
	// constant rate or as natural convection has it. Without it nothing but the
	// laws is known: the textbook's bound.
	Weak bool
}

// boundCells is how many cells a planned hold is cut into at most.
const boundCells = 150

// sigma is the standard deviation of one reading with its rounding, Pa.
func (p Planned) sigma() float64 { return math.Sqrt(p.Noise*p.Noise + p.Step*p.Step/12) }

// Bound is the Cramér–Rao bound: the smallest standard deviation, m², that any
// unbiased estimate of the leak's effective area can have on such a hold, when
// the pressure at isolation, the leak, the air's warmth, its time constant and
// the zero are all unknown. It is the root of the area's element in the
// inverse of the Fisher matrix Σ ∂p/∂θᵢ·∂p/∂θⱼ/σ² (H. Cramér, Mathematical
// Methods of Statistics, 1946, ch. 32; C. R. Rao, 1945; from memory), with the
// Fisher matrix of the priors added where p.Weak asks for them (H. L. van
// Trees, Detection, Estimation and Modulation Theory I, 1968, sec. 2.4; from
// memory). The volume is taken as known. It is +Inf where the hold tells
// nothing.
func (p Planned) Bound() float64 {
	pa, tw := float64(p.Ambient), float64(p.Temperature)
	if pa == 0 {
		pa = float64(DefaultAmbient)
	}
	if tw == 0 {
		tw = float64(DefaultTemperature)
	}
	n := p.Seconds * p.Rate
	sigma := p.sigma()
	if !(n >= 1 && sigma > 0 && p.Volume > 0 && p.Start > 0) {
		return math.Inf(1)
	}
	toRate := math.Sqrt(RAir*tw) / float64(p.Volume)
	tau := p.Settling.Seconds()
	if tau <= 0 {
		tau = math.Exp(priorLnTau)
	}
	th := params{parP0: float64(p.Start) + pa, parK: float64(p.Area) * toRate, parDT: p.Warm, parLnTau: math.Log(tau)}
	m := model{shape: nozzle}
	np := m.count()

	// Cells grow with the time since isolation, as the signal slows down.
	var ts, ws []float64
	cell := p.Seconds / boundCells
	for t := 0.0; t < p.Seconds-1e-9; {
		d := math.Min(math.Max(1/p.Rate, math.Min(0.03*t, cell)), p.Seconds-t)
		ts, ws = append(ts, t+d/2), append(ws, d*p.Rate/(sigma*sigma))
		t += d
	}
	// Columns are made of unit size by a first guess of each parameter's scale.
	scale := params{1e3, math.Max(1e-4, th[parK]), 10, 1, 100, 1}
	jac := make([][]float64, np)
	up, down := make([]float64, len(ts)), make([]float64, len(ts))
	for i := range np {
		jac[i] = make([]float64, len(ts))
		if i == parZero {
			for k := range ts {
				jac[i][k] = scale[i]
			}
			continue
		}
		h := 1e-3
		a, b := th, th
		a[i] += h * scale[i]
		b[i] -= h * scale[i]
		ga, gb := m.gas(&a, pa, tw, th[parP0]), m.gas(&b, pa, tw, th[parP0])
		ga.trace(&a, ts, up, nil)
		gb.trace(&b, ts, down, nil)
		for k := range ts {
			jac[i][k] = (up[k] - down[k]) / (2 * h)
		}
	}
	if p.Weak {
		// The other way of exchanging heat, as one more direction in which the trace may lie.
		other := model{shape: nozzle, natural: true}
		g, o := m.gas(&th, pa, tw, th[parP0]), other.gas(&th, pa, tw, th[parP0])
		g.trace(&th, ts, down, nil)
		o.trace(&th, ts, up, nil)
		col := make([]float64, len(ts))
		for k := range ts {
			col[k] = up[k] - down[k]
		}
		jac = append(jac, col)
	}
	fisher := mat.NewSymDense(len(jac), nil)
	for i := range jac {
		for j := i; j < len(jac); j++ {
			s := 0.0
			for k := range ts {
				s += jac[i][k] * jac[j][k] * ws[k]
			}
			fisher.SetSym(i, j, s)
		}
	}
	know := func(i int, sd float64) {
		if sd > 0 {
			u := 1.0
			if i < np {
				u = scale[i]
			}
			fisher.SetSym(i, i, fisher.At(i, i)+u*u/(sd*sd))
		}
	}
	// The zero: what the readings before the fill say, else the tolerance.
	zero := p.ZeroSD
	if p.Idle*p.Rate >= 1 {
		zero = math.Hypot(zero, sigma/math.Sqrt(p.Idle*p.Rate))
	}
	know(parZero, math.Max(zero, 0.01))
	if p.Weak {
		sd := priorDTSD
		if p.Warm < priorDT {
			sd = priorDTCold
		}
		know(parDT, sd)
		know(parLnTau, priorLnTauSD)
		know(np, 0.5) // it is one or the other
	} else if p.Warm == 0 && p.Area == 0 {
		// Air that neither warms nor cools says nothing about its time constant.
		know(parLnTau, priorLnTauSD)
	}
	b, unit := unitDiagonal(fisher)
	var ch mat.Cholesky
	if !ch.Factorize(b) {
		return math.Inf(1)
	}
	var inv mat.SymDense
	if err := ch.InverseTo(&inv); err != nil {
		if _, badly := err.(mat.Condition); !badly {
			return math.Inf(1)
		}
	}
	v := inv.At(parK, parK) * unit[parK] * unit[parK]
	if !(v > 0) {
		return math.Inf(1)
	}
	return math.Sqrt(v) * scale[parK] / toRate
}

// unitDiagonal scales a symmetric matrix to a unit diagonal and returns it
// with the scale of each row and column.
func unitDiagonal(s *mat.SymDense) (b *mat.SymDense, scale []float64) {
	n := s.SymmetricDim()
	b, scale = mat.NewSymDense(n, nil), make([]float64, n)
	for i := range n {
		scale[i] = 1 / math.Sqrt(math.Max(s.At(i, i), 1e-300))
	}
	for i := range n {
		for j := i; j < n; j++ {
			b.SetSym(i, j, s.At(i, j)*scale[i]*scale[j])
		}
	}
	return b, scale
}
