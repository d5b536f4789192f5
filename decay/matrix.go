package decay

import "math"

// matrix is a symmetric one of a model's parameters.
type matrix [nPar][nPar]float64

// cholesky factors the leading n rows of a, scaled to a unit diagonal to which
// damping is added, into l·lᵀ; scale is what rows and columns were multiplied
// by. ok is false where a is not positive definite.
func (a *matrix) cholesky(n int, damping float64) (l matrix, scale params, ok bool) {
	for i := range n {
		scale[i] = 1 / math.Sqrt(math.Max(a[i][i], 1e-300))
	}
	for i := range n {
		for j := range i + 1 {
			s := a[i][j] * scale[i] * scale[j]
			if i == j {
				s += damping
			}
			for k := range j {
				s -= l[i][k] * l[j][k]
			}
			if i != j {
				l[i][j] = s / l[j][j]
			} else if l[i][i] = math.Sqrt(s); !(s > 1e-14) {
				return l, scale, false
			}
		}
	}
	return l, scale, true
}

// solve is the x of (a + damping on the scaled diagonal)·x = g.
func (a *matrix) solve(g params, n int, damping float64) (x params, ok bool) {
	l, scale, ok := a.cholesky(n, damping)
	if !ok {
		return x, false
	}
	for i := range n {
		g[i] *= scale[i]
	}
	x = l.back(g, n)
	for i := range n {
		x[i] *= scale[i]
	}
	return x, true
}

// back solves l·lᵀ·x = g.
func (l *matrix) back(g params, n int) params {
	for i := range n {
		for k := range i {
			g[i] -= l[i][k] * g[k]
		}
		g[i] /= l[i][i]
	}
	for i := n - 1; i >= 0; i-- {
		for k := i + 1; k < n; k++ {
			g[i] -= l[k][i] * g[k]
		}
		g[i] /= l[i][i]
	}
	return g
}

// inverse of the leading n rows of a, and the log of their determinant.
func (a *matrix) inverse(n int) (inv matrix, logDet float64, ok bool) {
	l, scale, ok := a.cholesky(n, 0)
	if !ok {
		return inv, 0, false
	}
	for i := range n {
		var e params
		e[i] = 1
		col := l.back(e, n)
		for j := range n {
			inv[j][i] = col[j] * scale[i] * scale[j]
		}
		logDet += 2 * (math.Log(l[i][i]) - math.Log(scale[i]))
	}
	return inv, logDet, true
}
