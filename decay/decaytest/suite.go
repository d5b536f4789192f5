package decaytest

import (
	"fmt"
	"math"
	"math/rand/v2"

	"ebbline/decay"
)

// Case is a named rig with what a sound estimate may answer.
type Case struct {
	Group string
	Name  string
	Rig   Rig
	// Setup changes what the estimator is told; nil: the truth.
	Setup func(*decay.Setup)
	// Want lists the outcomes that are right. Empty: Holds only when the true
	// hole is below the limit, Leaks only when it is above, Undecided always.
	Want []decay.Outcome
	// Flags must all be raised.
	Flags []decay.Flag
	// NoArea: the case is about the outcome alone; its area is not scored.
	NoArea bool
}

// Groups of the suite, in order.
var Groups = []string{"clean", "random", "natural", "noisy", "quick", "laws", "tight", "coarse", "lagging", "faults"}

const psi = 6894.757293168

// HoleArea is the effective area of a sharp-edged round hole of d millimetres
// with a discharge coefficient of 0.62.
func HoleArea(d float64) float64 { return 0.62 * math.Pi / 4 * d * d * 1e-6 }

// Suite is the table of known-truth cases. It is the same at every call.
func Suite() []Case {
	var out []Case
	out = append(out, clean()...)
	out = append(out, RandomRigs("random", 60, 11, false)...)
	out = append(out, RandomRigs("natural", 24, 12, true)...)
	out = append(out, noisy()...)
	out = append(out, quick()...)
	out = append(out, laws()...)
	out = append(out, tight()...)
	out = append(out, coarse()...)
	out = append(out, lagging()...)
	out = append(out, faults()...)
	return out
}

func clean() []Case {
	var out []Case
	rnd := rand.New(rand.NewPCG(1, 1))
	for _, d := range []float64{0.1, 0.2, 0.3, 0.5, 0.8, 1.2, 2, 3, 5} {
		for _, litres := range []float64{3, 8, 20} {
			out = append(out, Case{
				Group: "clean", Name: fmt.Sprintf("%.1fmm-%.0fL", d, litres),
				Rig: Rig{
					Volume: litres * 1e-3, Area: HoleArea(d), Tau: 3 + 5*rnd.Float64(),
					Supply: (20 + 7*rnd.Float64()) * psi, IdleSeconds: 4, FillSeconds: 6,
					HoldSeconds: 60, ReleaseSeconds: 5, Rate: 50 + 50*float64(rnd.IntN(2)),
					Noise: 30 + 70*rnd.Float64(), Seed: rnd.Uint64(),
				},
			})
		}
	}
	return out
}

// RandomRigs draws n rigs with heat exchanged at the wall: at a constant rate,
// or as natural convection has it.
func RandomRigs(group string, n int, seed uint64, natural bool) []Case {
	rnd := rand.New(rand.NewPCG(seed, 2))
	between := func(a, b float64) float64 { return a + (b-a)*rnd.Float64() }
	out := make([]Case, 0, n)
	for i := range n {
		d := math.Exp(between(math.Log(0.2), math.Log(3)))
		litres := math.Exp(between(math.Log(3), math.Log(20)))
		out = append(out, Case{
			Group: group, Name: fmt.Sprintf("%02d-%.2fmm-%.1fL", i, d, litres),
			Rig: Rig{
				Volume: litres * 1e-3, Area: HoleArea(d), Tau: between(3, 15), NaturalConvection: natural,
				Ambient: between(90e3, 103e3), WallT: between(278, 308), Supply: between(15, 27) * psi,
				IdleSeconds: between(2, 5), FillSeconds: between(3, 12), FillReach: between(0.4, 0.95),
				HoldSeconds: between(40, 90), ReleaseSeconds: 5, Rate: between(20, 100),
				Noise: between(20, 150), ZeroError: between(-800, 800), Jitter: between(0, 0.5),
				Seed: rnd.Uint64(),
			},
		})
	}
	return out
}

// noisy are readings whose noise hides the moment of isolation, at the end of a
// long fill that levels off, and coarse quiet ones of ducts that run empty.
func noisy() []Case {
	var out []Case
	rnd := rand.New(rand.NewPCG(9, 9))
	between := func(a, b float64) float64 { return a + (b-a)*rnd.Float64() }
	for i := range 24 {
		d := between(0.3, 1.2)
		out = append(out, Case{Group: "noisy", Name: fmt.Sprintf("%02d-%.2fmm", i, d), Rig: Rig{
			Volume: 10e-3, Area: HoleArea(d), Tau: 6, IdleSeconds: 4, FillSeconds: between(10, 14), FillReach: between(0.6, 0.95),
			HoldSeconds: 60, ReleaseSeconds: 5, Rate: 50, Noise: between(275, 700), Seed: rnd.Uint64(),
		}})
	}
	for i := range 6 {
		d := between(1.5, 3)
		out = append(out, Case{Group: "noisy", Name: fmt.Sprintf("coarse-%02d-%.2fmm", i, d), Rig: Rig{
			Volume: between(3e-3, 8e-3), Area: HoleArea(d), Tau: 6, IdleSeconds: 4, FillSeconds: 8,
			HoldSeconds: 60, ReleaseSeconds: 5, Rate: 50, Noise: 10, Quantum: 200, Seed: rnd.Uint64(),
		}})
	}
	return out
}

// quick are short fills that stay on the supply for a moment, and short holds.
func quick() []Case {
	var out []Case
	rnd := rand.New(rand.NewPCG(20, 9))
	between := func(a, b float64) float64 { return a + (b-a)*rnd.Float64() }
	for i := range 60 {
		d, litres := between(0.2, 0.9), between(1.5, 8)
		out = append(out, Case{Group: "quick", Name: fmt.Sprintf("%02d-%.2fmm-%.1fL", i, d, litres), Rig: Rig{
			Volume: litres * 1e-3, Area: HoleArea(d), Tau: 6, IdleSeconds: 2, FillSeconds: between(2, 4), HoldSeconds: between(7, 25),
			ReleaseSeconds: between(2, 15), Rate: 50, Noise: 60, Quantum: []float64{0, 84, 255}[i%3], Seed: rnd.Uint64(),
		}})
	}
	return out
}

// base is an ordinary rig for the groups that vary one thing.
func base(seed uint64) Rig {
	return Rig{
		Volume: 8e-3, Tau: 6, IdleSeconds: 4, FillSeconds: 7, HoldSeconds: 60,
		ReleaseSeconds: 5, Rate: 50, Noise: 60, Seed: seed,
	}
}

// seepFor is the κ whose mass flow at the supply pressure is that of area.
func seepFor(r Rig, area float64) float64 {
	r = r.withDefaults()
	p := r.Supply + r.Ambient
	return area * p / math.Sqrt(gasR*r.WallT) * machFlow(p, r.Ambient) / (p*p - r.Ambient*r.Ambient)
}

func laws() []Case {
	var out []Case
	add := func(name string, r Rig) { out = append(out, Case{Group: "laws", Name: name, Rig: r}) }
	for i, d := range []float64{0.4, 0.8, 1.5} {
		seed := uint64(100 + 10*i)
		tag := fmt.Sprintf("-%.1fmm", d)
		r := base(seed)
		r.Seep = seepFor(r, HoleArea(d))
		add("seep"+tag, r)
		r = base(seed + 1)
		r.Area, r.Seep = HoleArea(d)/2, seepFor(r, HoleArea(d)/2)
		add("mixed"+tag, r)
		r = base(seed + 2)
		r.Area, r.ISOB = HoleArea(d), 0.2
		add("iso-b0.20"+tag, r)
		r = base(seed + 3)
		r.Area, r.ISOB = HoleArea(d), 0.35
		add("iso-b0.35"+tag, r)
		r = base(seed + 4)
		r.Area, r.PerryCd = HoleArea(d)/0.62, true
		add("sharp-edge"+tag, r)
		r = base(seed + 5)
		r.Area, r.ComplianceShare = HoleArea(d), 0.015
		add("compliant"+tag, r)
		r = base(seed + 6)
		r.Area, r.CreepShare, r.CreepTau = HoleArea(d), 0.01, 40
		add("creeping"+tag, r)
	}
	return out
}

func tight() []Case {
	var out []Case
	add := func(name string, r Rig) { out = append(out, Case{Group: "tight", Name: name, Rig: r}) }
	for i, tau := range []float64{3, 6, 12, 25} {
		r := base(uint64(200 + i))
		r.Tau, r.FillSeconds, r.FillReach = tau, 4, 0.95
		add(fmt.Sprintf("cooling-%.0fs", tau), r)
	}
	for i, litres := range []float64{3, 20} {
		r := base(uint64(210 + i))
		r.Volume = litres * 1e-3
		add(fmt.Sprintf("plain-%.0fL", litres), r)
	}
	for i, share := range []float64{0.003, 0.006, 0.01} {
		r := base(uint64(220 + i))
		r.CreepShare, r.CreepTau, r.ComplianceShare = share, 30, 0.005
		add(fmt.Sprintf("creeping-%.1f%%", 100*share), r)
	}
	for i, pa := range []float64{75e3, 80e3, 85e3} {
		r := base(uint64(230 + i))
		r.Ambient = pa
		add(fmt.Sprintf("altitude-%.0fkPa", pa/1e3), r)
	}
	for i, litres := range []float64{8, 20} { // vented for longer than it was held
		r := base(uint64(235 + i))
		r.Volume, r.HoldSeconds, r.ReleaseSeconds, r.Vent = litres*1e-3, 20, 60, 3e-4
		add(fmt.Sprintf("slowly-vented-%.0fL", litres), r)
		out[len(out)-1].NoArea = true // a supply that had held it up would look the same
	}
	r := base(240)
	r.Quantum, r.Noise = 30*psi/819, 40 // ten bits over 0.5 … 4.5 V of 5 V
	add("ten-bit", r)
	r = base(241)
	r.Quantum, r.Noise, r.Lag = 30*psi/819, 0, 0.2
	add("ten-bit-no-noise", r)
	return out
}

// coarse are converters of few bits whose readings a board prints in psi with few
// digits: the steps come out uneven, and a tight duct stays on one of them for
// good without being stuck.
func coarse() []Case {
	var out []Case
	for i, converter := range []struct {
		bits      int
		fullScale float64 // psi
	}{{8, 30}, {10, 100}, {10, 30}, {12, 30}} {
		for j, digit := range []float64{0.01, 0.001, 0.00001} {
			for k, d := range []float64{0, 0.1, 0.8} {
				for l, noise := range []float64{3, 70} { // Pa
					r := base(uint64(1000 + 100*i + 10*j + 2*k + l))
					r.Tau = []float64{2, 6, 20}[(i+j+k+l)%3]
					r.Area, r.Rate, r.Noise = HoleArea(d), 20, noise
					r.Quantum, r.Printed = converter.fullScale*psi/0.8/(math.Exp2(float64(converter.bits))-1), digit*psi
					out = append(out, Case{Group: "coarse", Name: fmt.Sprintf("%.1fmm-%dbit-%.0fpsi-%gpsi-%.0fPa-%.0fs", d, converter.bits, converter.fullScale, digit, noise, r.Tau), Rig: r})
				}
			}
		}
	}
	return out
}

// lagging are sensors that follow with a lag, as damped transmitters do, which
// rounds the corner off; some of the leaks are over within seconds.
func lagging() []Case {
	var out []Case
	for i, duct := range []struct{ litres, hole float64 }{{8, 0.3}, {8, 0.8}, {8, 1.5}, {20, 3}, {5, 2}, {3, 2}, {3, 3}} {
		for j, lag := range []float64{0.05, 0.2, 0.4} {
			r := base(uint64(1500 + 10*i + j))
			r.Volume, r.Area, r.Lag = duct.litres*1e-3, HoleArea(duct.hole), lag
			r.Rate, r.Noise = 100, 20
			out = append(out, Case{Group: "lagging", Name: fmt.Sprintf("%.1fmm-%.0fL-%gs", duct.hole, duct.litres, lag), Rig: r})
		}
	}
	return out
}

func faults() []Case {
	var out []Case
	add := func(name string, r Rig, noArea bool, want []decay.Outcome, flags ...decay.Flag) {
		out = append(out, Case{Group: "faults", Name: name, Rig: r, Want: want, Flags: flags, NoArea: noArea})
	}
	leak := func(seed uint64, d float64) Rig {
		r := base(seed)
		r.Area = HoleArea(d)
		return r
	}
	decided := []decay.Outcome{decay.Leaks, decay.Undecided}

	r := leak(300, 0.9)
	r.Spikes = 0.01
	add("spikes", r, false, decided, decay.FlagSpikes)
	r = leak(301, 0.9)
	r.Dropped = 0.1
	add("dropped", r, false, decided)
	r = leak(302, 0.9)
	r.Doubled = 0.05
	add("doubled", r, false, decided)
	r = leak(303, 0.9)
	r.GapAfter = 20
	add("gap", r, false, decided, decay.FlagGaps)
	r = leak(304, 0.9)
	r.BleedAfter, r.HoldSeconds = 35, 70
	add("bled", r, false, decided, decay.FlagDisturbed)
	r = leak(305, 0.9)
	r.TopUpAfter, r.HoldSeconds = 30, 70
	add("topped-up", r, false, decided, decay.FlagDisturbed)
	r = leak(306, 0.9)
	r.StuckAfter = 15
	add("stuck", r, true, []decay.Outcome{decay.Unusable, decay.Leaks, decay.Undecided}, decay.FlagStuck)
	r = leak(307, 0.9)
	r.OpenAfter = 15
	add("open-circuit", r, true, []decay.Outcome{decay.Unusable, decay.Leaks, decay.Undecided}, decay.FlagOpenCircuit)
	r = leak(308, 0.3)
	r.FullScale = 20 * psi
	add("saturated", r, true, []decay.Outcome{decay.Unusable, decay.Undecided, decay.Holds}, decay.FlagSaturated)
	r = leak(309, 0.9)
	r.IdleSeconds, r.ZeroError = 0, 0
	add("no-idle", r, false, decided, decay.FlagNoZero)
	r = leak(310, 0.9)
	r.HoldSeconds, r.ReleaseSeconds = 3, 0
	add("short", r, true, []decay.Outcome{decay.Leaks, decay.Undecided, decay.NoHold}, decay.FlagShortHold)
	r = leak(311, 14)
	r.SupplyArea, r.FillSeconds, r.HoldSeconds = 6e-6, 40, 10
	add("never-built", r, true, []decay.Outcome{decay.NeverBuilt}) // a hose is off
	r = leak(312, 0)
	r.FillSeconds, r.HoldSeconds, r.ReleaseSeconds, r.Supply, r.IdleSeconds = 0.01, 0, 0, 1, 40
	add("ambient-only", r, true, []decay.Outcome{decay.NoHold})
	r = leak(313, 0.9)
	r.Supply = 33 * psi
	add("over-ceiling", r, false, decided, decay.FlagOverCeiling)
	r = leak(314, 0.9)
	r.Lag = 0.3
	add("lagging", r, false, decided)
	r = leak(315, 0.9)
	r.ReleaseSeconds = 0
	add("no-release", r, false, decided)
	return out
}
