package decay

import (
	"math"

	"gonum.org/v1/gonum/mat"
)

// problem is a least-squares problem of readings p with weights w (1/σ²) and
// parameters that may have a normal prior each.
type problem struct {
	p, w     []float64
	predict  func(th, out []float64)
	step     []float64 // by which each parameter is varied for its derivative
	mean, sd []float64 // priors; sd 0: none
	lo, hi   []float64 // bounds
}

// solution of a problem, with its covariance before any widening.
type solution struct {
	th       []float64
	cov      *mat.SymDense
	res      []float64 // residuals over σ
	chi2     float64   // of the readings
	cost     float64   // with the priors
	evidence float64   // log, save for the cost
	ok       bool
}

func (q *problem) cost(th, buf []float64) (data, all float64) {
	q.predict(th, buf)
	for i, m := range buf {
		r := q.p[i] - m
		data += r * r * q.w[i]
	}
	all = data
	for i, sd := range q.sd {
		if sd > 0 {
			u := (th[i] - q.mean[i]) / sd
			all += u * u
		}
	}
	if math.IsNaN(all) {
		return math.Inf(1), math.Inf(1)
	}
	return data, all
}

// normal gives the matrix of the normal equations and their right side at th,
// where the prediction is base.
func (q *problem) normal(th, base []float64) (*mat.SymDense, []float64) {
	np, n := len(th), len(q.p)
	jac := make([][]float64, np)
	up, a := make([]float64, n), make([]float64, np)
	for i := range np {
		copy(a, th)
		h := q.step[i]
		if a[i]+h > q.hi[i] {
			h = -h
		}
		a[i] += h
		q.predict(a, up)
		jac[i] = make([]float64, n)
		for k := range n {
			jac[i][k] = (up[k] - base[k]) / h
		}
	}
	s, g := mat.NewSymDense(np, nil), make([]float64, np)
	for i := range np {
		for j := i; j < np; j++ {
			sum := 0.0
			for k := range n {
				sum += jac[i][k] * jac[j][k] * q.w[k]
			}
			if i == j && q.sd[i] > 0 {
				sum += 1 / (q.sd[i] * q.sd[i])
			}
			s.SetSym(i, j, sum)
		}
		for k := range n {
			g[i] += jac[i][k] * (q.p[k] - base[k]) * q.w[k]
		}
		if q.sd[i] > 0 {
			g[i] -= (th[i] - q.mean[i]) / (q.sd[i] * q.sd[i])
		}
	}
	return s, g
}

// solve minimises the cost from start on by Levenberg–Marquardt (Marquardt, J.
// SIAM 11 (1963) 431–441) and takes the covariance and the evidence from the
// curvature at the minimum (Laplace's approximation).
func (q *problem) solve(start []float64, maxIter int) solution {
	np, n := len(start), len(q.p)
	th := append([]float64(nil), start...)
	base, bump := make([]float64, n), make([]float64, n)
	data, all := q.cost(th, base)
	lambda := 1e-3
	for range maxIter {
		s, g := q.normal(th, base)
		improved := false
		for range 8 {
			b, scale := unitDiagonal(s)
			for i := range np {
				b.SetSym(i, i, b.At(i, i)+lambda)
			}
			var ch mat.Cholesky
			if !ch.Factorize(b) {
				lambda *= 10
				continue
			}
			rhs := mat.NewVecDense(np, nil)
			for i := range np {
				rhs.SetVec(i, g[i]*scale[i])
			}
			var x mat.VecDense
			if ch.SolveVecTo(&x, rhs) != nil && math.IsNaN(x.AtVec(0)) {
				lambda *= 10
				continue
			}
			next := append([]float64(nil), th...)
			for i := range np {
				next[i] = math.Min(math.Max(next[i]+x.AtVec(i)*scale[i], q.lo[i]), q.hi[i])
			}
			if nd, na := q.cost(next, bump); na < all {
				improved = all-na > 1e-3+1e-6*all
				th, data, all = next, nd, na
				base, bump = bump, base
				lambda = math.Max(lambda/8, 1e-9)
				break
			}
			lambda *= 6
		}
		if !improved {
			break
		}
	}
	sol := solution{th: th, chi2: data, cost: all, res: make([]float64, n)}
	q.predict(th, base)
	for i := range n {
		sol.res[i] = (q.p[i] - base[i]) * math.Sqrt(q.w[i])
	}
	s, _ := q.normal(th, base)
	b, scale := unitDiagonal(s)
	var ch mat.Cholesky
	if math.IsInf(all, 0) || !ch.Factorize(b) {
		return sol
	}
	var inv mat.SymDense
	if err := ch.InverseTo(&inv); err != nil {
		if _, badly := err.(mat.Condition); !badly {
			return sol
		}
	}
	sol.cov = mat.NewSymDense(np, nil)
	sol.evidence = -0.5 * ch.LogDet()
	for i := range np {
		sol.evidence += math.Log(scale[i])
		for j := i; j < np; j++ {
			sol.cov.SetSym(i, j, inv.At(i, j)*scale[i]*scale[j])
		}
		if q.sd[i] > 0 {
			sol.evidence -= math.Log(q.sd[i])
		}
	}
	sol.ok = true
	return sol
}

// widening is by how much variances grow because residuals are larger than the
// noise, or not white: cuts tells where a new series of residuals begins.
func widening(res []float64, parameters int, cuts ...int) float64 {
	var c0, c1 float64
	pairs := 0
	for i, r := range res {
		c0 += r * r
		fresh := i == 0
		for _, c := range cuts {
			fresh = fresh || i == c
		}
		if !fresh {
			c1 += r * res[i-1]
			pairs++
		}
	}
	f := math.Max(c0/math.Max(float64(len(res)-parameters), 1), 1)
	if rho := c1 / math.Max(c0, 1e-300); rho > 2/math.Sqrt(float64(max(pairs, 1))) {
		rho = math.Min(rho, 0.9)
		f *= (1 + rho) / (1 - rho)
	}
	return f
}

// mixture is what competing fits say of one number.
type mixture struct{ value, sd, weight []float64 }

func (m mixture) with(value, sd, weight float64) mixture {
	return mixture{append(m.value, value), append(m.sd, math.Max(sd, 1e-300)), append(m.weight, weight)}
}

// weigh turns the fits' evidence into weights, once the widening is known.
func weigh(fits []solution, prior []float64, widen float64) []float64 {
	w := make([]float64, len(fits))
	most, sum := math.Inf(-1), 0.0
	for i, f := range fits {
		if f.ok {
			w[i] = f.evidence + math.Log(prior[i]) - 0.5*f.cost/widen
			most = math.Max(most, w[i])
		}
	}
	for i, f := range fits {
		if f.ok {
			w[i] = math.Exp(w[i] - most)
			sum += w[i]
		} else {
			w[i] = 0
		}
	}
	for i := range w {
		w[i] /= sum
	}
	return w
}

// orificeShare is the weight of each fit in the value that is told: orifices
// alone where the trace does not speak against them, as in an estimate of a
// hold; the interval covers all.
func orificeShare(fits []solution, of []model, weight []float64) []float64 {
	told, sum := make([]float64, len(fits)), 0.0
	for i := range fits {
		if of[i].law() == LawOrifice {
			told[i] = weight[i]
			sum += weight[i]
		}
	}
	if sum < orificeDoubt {
		return weight
	}
	for i := range told {
		told[i] /= sum
	}
	return told
}

// interval of a mixture of normal distributions at 95 %, with the mean by the
// weights told as its value.
func (m mixture) interval(told []float64) Interval {
	mean := 0.0
	lo, hi := math.Inf(1), math.Inf(-1)
	for i, v := range m.value {
		mean += told[i] * v
		if m.weight[i] > 0 {
			lo, hi = math.Min(lo, v-10*m.sd[i]), math.Max(hi, v+10*m.sd[i])
		}
	}
	at := func(q float64) float64 {
		a, b := lo, hi
		for range 60 {
			x := (a + b) / 2
			cdf := 0.0
			for i, v := range m.value {
				if m.weight[i] > 0 {
					cdf += m.weight[i] * 0.5 * math.Erfc((v-x)/(m.sd[i]*math.Sqrt2))
				}
			}
			if cdf < q {
				a = x
			} else {
				b = x
			}
		}
		return (a + b) / 2
	}
	return Interval{mean, math.Min(at(0.025), mean), math.Max(at(0.975), mean), 0.95}
}
