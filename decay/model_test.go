package decay

import (
	"fmt"
	"math"
	"testing"
)

// name of a model for test output.
func (m model) name() string {
	return fmt.Sprintf("%s,natural=%v,still=%v", [...]string{"nozzle", "sharp", "ellipse", "seep", "mixed"}[m.shape], m.natural, m.still)
}

var tryPar = params{280e3, 0.03, 14, math.Log(7), 0, 0.35}

// TestPartials holds every model's derivatives against differences of its
// slope.
func TestPartials(t *testing.T) {
	const pa, tw, step = 101325.0, 293.15, 1e-6
	for _, m := range models {
		for _, p := range []float64{290e3, 195e3, 150e3, 104e3} {
			for _, h := range []float64{0.05, 0.004, -0.03} {
				g := m.gas(&tryPar, pa, tw, tryPar[parP0])
				v := math.Pow(pa/p, 1.0/7)
				if m.still {
					h = 0
				}
				got := g.partials(v, h)
				diff := func(f func(x float64) (float64, float64)) [2]float64 {
					a, b := f(step)
					c, d := f(-step)
					return [2]float64{(a - c) / (2 * step), (b - d) / (2 * step)}
				}
				by := func(i int) [2]float64 {
					return diff(func(x float64) (float64, float64) {
						th := tryPar
						th[i] += x
						g := m.gas(&th, pa, tw, tryPar[parP0])
						return g.slope(v, h)
					})
				}
				byV := diff(func(x float64) (float64, float64) { return g.slope(v+x, h) })
				byH := diff(func(x float64) (float64, float64) { return g.slope(v, h+x) })
				if m.still {
					byH = [2]float64{}
				}
				check := func(what string, got, want float64) {
					if math.Abs(got-want) > 1e-6+1e-4*math.Abs(want) {
						t.Errorf("%s at %g kPa, h %g: ∂%s = %g, by differences %g", m.name(), p/1e3, h, what, got, want)
					}
				}
				check("v̇/∂v", got.vv, byV[0])
				check("ḣ/∂v", got.hv, byV[1])
				check("v̇/∂h", got.vh, byH[0])
				check("ḣ/∂h", got.hh, byH[1])
				for k, want := range map[string][2]float64{"K": by(parK), "lnτ": by(parLnTau), "mix": by(parMix)} {
					have := map[string][2]float64{"K": got.k, "lnτ": got.lnTau, "mix": got.mix}[k]
					if k == "mix" && m.count() < nPar {
						continue
					}
					check("v̇/∂"+k, have[0], want[0])
					check("ḣ/∂"+k, have[1], want[1])
				}
			}
		}
	}
}

// TestSensitivities holds the derivatives that are carried along a trace
// against differences of whole traces, to the hundredth that the search needs.
func TestSensitivities(t *testing.T) {
	const pa, tw = 101325.0, 293.15
	var ts []float64
	for x := 0.3; x < 60; x *= 1.06 {
		ts = append(ts, x)
	}
	n := len(ts)
	steps := params{50, 1e-5, 0.05, 1e-3, 0, 1e-3}
	for _, m := range models {
		g := m.gas(&tryPar, pa, tw, tryPar[parP0])
		s := newScratch(n)
		jac := [nPar][]float64(s.curve[1:])
		g.trace(&tryPar, ts, s.curve[0], &jac)
		for i := range m.count() {
			if i == parZero || m.still && (i == parDT || i == parLnTau) {
				continue
			}
			ends := [2][]float64{make([]float64, n), make([]float64, n)}
			for k, sign := range []float64{-1, 1} {
				th := tryPar
				th[i] += sign * steps[i]
				g := m.gas(&th, pa, tw, tryPar[parP0])
				g.trace(&th, ts, ends[k], nil)
			}
			most := 0.0
			for k := range n {
				most = math.Max(most, math.Abs(jac[i][k]))
			}
			for k := range n {
				want := (ends[1][k] - ends[0][k]) / (2 * steps[i])
				if math.Abs(jac[i][k]-want) > 0.02*most {
					t.Errorf("%s: ∂p/∂%d at %.1f s = %g, by differences %g, greatest %g", m.name(), i, ts[k], jac[i][k], want, most)
					break
				}
			}
		}
	}
}

// TestMovedIsTheSame checks that K and τ moved to another pressure stand for the
// same gas.
func TestMovedIsTheSame(t *testing.T) {
	const pa, tw = 101325.0, 293.15
	for _, m := range models {
		g := m.gas(&tryPar, pa, tw, tryPar[parP0])
		th := tryPar
		th[parP0] = 240e3
		th[parK], th[parLnTau] = g.moved(th[parP0])
		if m.shape == mixing { // the seep's share is another there too
			continue
		}
		to := m.gas(&th, pa, tw, th[parP0])
		v := math.Pow(pa/220e3, 1.0/7)
		a, c := g.slope(v, 0.03)
		b, d := to.slope(v, 0.03)
		if math.Abs(a/b-1) > 1e-9 || !m.still && math.Abs(c/d-1) > 1e-9 {
			t.Errorf("%s: the pressure's slope changed by %g, the temperature's by %g", m.name(), b/a-1, d/c-1)
		}
	}
}

// TestSolve checks the small linear algebra on a matrix whose answer is known.
func TestSolve(t *testing.T) {
	a := matrix{{4e6, 2e3, 0}, {2e3, 3, 1e-4}, {0, 1e-4, 2e-8}}
	want := params{1e-3, -2, 500}
	var g params
	for i := range 3 {
		for j := range 3 {
			g[i] += a[i][j] * want[j]
		}
	}
	x, ok := a.solve(g, 3, 0)
	inv, logDet, ok2 := a.inverse(3)
	if !ok || !ok2 {
		t.Fatal("not positive definite")
	}
	for i := range 3 {
		if math.Abs(x[i]/want[i]-1) > 1e-9 {
			t.Errorf("x[%d] = %g, want %g", i, x[i], want[i])
		}
		for j := range 3 {
			sum := 0.0
			for k := range 3 {
				sum += a[i][k] * inv[k][j]
			}
			if unit := btof(i == j); math.Abs(sum-unit) > 1e-6 {
				t.Errorf("a·a⁻¹[%d][%d] = %g", i, j, sum)
			}
		}
	}
	det := 4e6*(3*2e-8-1e-8) - 2e3*(2e3*2e-8)
	if math.Abs(logDet-math.Log(det)) > 1e-9 {
		t.Errorf("log determinant %g, want %g", logDet, math.Log(det))
	}
	if _, _, ok := (&matrix{{1, 2}, {2, 1}}).inverse(2); ok {
		t.Error("an indefinite matrix was inverted")
	}
}

// TestBlowDownClosedForms checks the integration where it has closed forms, as
// long as the flow is choked, τ = V/(CdA·ψ*·√(RT₀)): adiabatic
// p = p₀·(1 + t/(5τ))^(−7), isothermal p = p₀·e^(−t/τ) (the usual textbook
// results, derived anew), and White, Fluid Mechanics, P3.27 (found): at constant
// temperature the density falls by a quarter in 0.2877·V/(α·A·√(RT)), α 0.685.
func TestBlowDownClosedForms(t *testing.T) {
	const pa, tw, k = 101325.0, 293.15, 0.05
	th := params{parP0: 320e3, parK: k, parLnTau: 20}
	tau := 1 / (k * psiChoked)
	ts := []float64{1, 2, 4, 0.2877 / (k * 0.685), 10}
	out := make([]float64, len(ts))
	m := model{shape: nozzle}
	g := m.gas(&th, pa, tw, th[parP0])
	g.trace(&th, ts, out, nil)
	for i, x := range ts {
		if want := th[parP0] * math.Pow(1+x/(5*tau), -7); math.Abs(out[i]/want-1) > 1e-6 {
			t.Errorf("adiabatic at %g s: %.1f Pa, closed form %.1f", x, out[i], want)
		}
	}
	m.still = true
	g = m.gas(&th, pa, tw, th[parP0])
	g.trace(&th, ts, out, nil)
	for i, x := range ts {
		if want := th[parP0] * math.Exp(-x/tau); math.Abs(out[i]/want-1) > 1e-6 {
			t.Errorf("isothermal at %g s: %.1f Pa, closed form %.1f", x, out[i], want)
		}
	}
	if fall := out[3] / th[parP0]; math.Abs(fall-0.75) > 0.0005 {
		t.Errorf("after White's time the density is %.4f of the first, want 0.75", fall)
	}
}

// TestSeepClosedForm checks the integration of a laminar leak at constant
// temperature: (p−pa)/(p+pa) falls as exp(−2κ·pa·t), from dp/dt = −κ·(p²−pa²).
func TestSeepClosedForm(t *testing.T) {
	const pa, tw = 101325.0, 293.15
	th := params{parP0: 280e3, parK: 0.03}
	m := model{shape: seeping, still: true}
	g := m.gas(&th, pa, tw, th[parP0])
	kappa := g.k * g.seep // ṁ/m = K·ψ(pa/p₀)·p₀/(p₀²−pa²) · (p²−pa²)/p
	ts := []float64{2, 10, 40, 120}
	out := make([]float64, len(ts))
	g.trace(&th, ts, out, nil)
	for i, x := range ts {
		y := (280e3 - pa) / (280e3 + pa) * math.Exp(-2*kappa*pa*x)
		if want := pa * (1 + y) / (1 - y); math.Abs(out[i]/want-1) > 1e-6 {
			t.Errorf("at %g s: %.1f Pa, closed form %.1f", x, out[i], want)
		}
	}
}
