package decay_test

import (
	"math"
	"testing"

	"ebbline/decay"

	"pgregory.net/rapid"
)

// Two worked examples of volumetric efficiency from an open companion to a
// textbook of internal combustion engines (its files do not state the title):
// inputs and formula found, results recomputed.
func TestEngineDemand(t *testing.T) {
	swept := func(n int, bore, stroke float64) decay.Volume {
		return decay.Volume(float64(n) * math.Pi / 4 * bore * bore * stroke)
	}
	// 8 cylinders of 90 × 80 mm, 4500 rpm, 6 kg/min of air at 1 bar and 300 K:
	// 56.39 %, with R = 287 where we have 287.053.
	e := decay.Engine{Displacement: swept(8, 0.09, 0.08), Efficiency: 0.5639, Charge: 300}
	close(t, "air, kg/min", float64(e.Demand(1*decay.Bar, 4500*decay.RPM))*60, 6, 0.002)
	// 4 cylinders of 120 × 100 mm, 2000 rpm, 0.062112 m³/s of a density of
	// 1.15 kg/m³: 82.38 %.
	e = decay.Engine{Displacement: swept(4, 0.12, 0.1), Efficiency: 0.8238, Charge: 293.15}
	p := decay.Pressure(1.15 * decay.RAir * 293.15)
	close(t, "air, m³/s", float64(e.Demand(p, 2000*decay.RPM))/1.15, 0.062112, 1e-5)
	// A two-stroke engine fills twice as often.
	two := e
	two.Strokes = 2
	close(t, "two strokes", float64(two.Demand(p, 20)), 2*float64(e.Demand(p, 20)), 1e-12)
	// Derived by hand for the defaults: 2.0 L, 3000 rpm, 1.95 bar absolute, 45 °C:
	// 0.9·0.002·25·195000/(287.053·318.15) kg/s.
	close(t, "defaults, g/s", 1e3*float64(decay.Engine{Displacement: 0.002}.Demand(195000, 50)), 96.084, 0.001)
}

// Choked, the share does not hang on the pressure: 1 mm with Cd 0.62 takes
// 0.62·π/4·10⁻⁶·√(R·T)·0.68473/(0.9·0.002·25) = 0.2239 % of the air of 2.0 L at
// 3000 rpm (derived by hand).
func TestShareOfAHole(t *testing.T) {
	e := decay.Engine{Displacement: 0.002}
	one := decay.HoleEscape(decay.Interval{Value: 1e-3, Low: 0.9e-3, High: 1.2e-3, Level: 0.95}, 0.62)
	for _, p := range []decay.Pressure{195000, 245000} {
		s := e.ShareOf(one, p, 50, decay.DefaultAmbient)
		close(t, "share", s.Value, 0.0022392, 1e-6)
		close(t, "low", s.Low, 0.81*s.Value, 1e-9)
		close(t, "high", s.High, 1.44*s.Value, 1e-9)
	}
	left := e.Left(one, 245000, 50, decay.DefaultAmbient)
	close(t, "left", left.Value, 245000/1.0022392, 1)
	if !(left.Low < left.Value && left.Value < left.High) {
		t.Errorf("bounds %+v", left)
	}
	// requested/actual − 1 = 25.64 %: 10.70 mm.
	a := e.Explaining(245000, 195000, 50, decay.DefaultAmbient)
	close(t, "explaining, mm", float64(decay.EquivalentHole(a, 0.62))/decay.Millimetre, math.Sqrt((245.0/195-1)/0.0022392), 0.01)
	// 1 % of the air: 2.11 mm.
	w := e.AreaOfShare(decay.WorthRepairing, 245000, 50, decay.DefaultAmbient)
	close(t, "worth, mm", float64(decay.EquivalentHole(w, 0.62))/decay.Millimetre, math.Sqrt(0.01/0.0022392), 0.001)
}

// What a hole leaves of a pressure is explained by that hole.
func TestExplainingUndoesLeft(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		e := decay.Engine{
			Displacement: decay.Volume(rapid.Float64Range(0.6e-3, 13e-3).Draw(t, "displacement")),
			Strokes:      rapid.SampledFrom([]int{2, 4}).Draw(t, "strokes"),
			Efficiency:   rapid.Float64Range(0.5, 1.1).Draw(t, "efficiency"),
			Charge:       decay.Temperature(rapid.Float64Range(270, 390).Draw(t, "charge")),
		}
		ambient := decay.Pressure(rapid.Float64Range(70e3, 105e3).Draw(t, "ambient"))
		requested := ambient * decay.Pressure(rapid.Float64Range(1.1, 3.5).Draw(t, "ratio"))
		n := decay.Speed(rapid.Float64Range(800, 8000).Draw(t, "rpm") * decay.RPM)
		d := rapid.Float64Range(0.3e-3, 12e-3).Draw(t, "hole")
		l := decay.HoleEscape(decay.Interval{Value: d, Low: d, High: d}, 0.62)
		left := e.Left(l, requested, n, ambient).Value
		if !(left > float64(ambient) && left < float64(requested)) {
			t.Fatalf("%.0f Pa left of %.0f Pa over %.0f Pa", left, requested, ambient)
		}
		if left < float64(ambient)+100 {
			return // nearly all is gone: the pressure hardly tells the hole
		}
		got := float64(decay.EquivalentHole(e.Explaining(requested, decay.Pressure(left), n, ambient), 0.62))
		if math.Abs(got/d-1) > 1e-6 {
			t.Fatalf("hole of %.4f mm explained by %.4f mm", d*1e3, got*1e3)
		}
		// A larger hole, a slower engine: less is left.
		bigger := decay.HoleEscape(decay.Interval{Value: 1.1 * d, Low: d, High: 1.2 * d}, 0.62)
		if e.Left(bigger, requested, n, ambient).Value >= left || e.Left(l, requested, n*0.9, ambient).Value >= left {
			t.Fatal("a larger hole or a slower engine leaves more")
		}
	})
}

// A seep is carried to another pressure by p²−pa², an unclear law covers both.
func TestEscapeFollowsItsLaw(t *testing.T) {
	area := decay.Interval{Value: 1e-6, Low: 0.9e-6, High: 1.1e-6, Level: 0.95}
	from, amb := decay.Pressure(275000), decay.Pressure(100000)
	at := func(law decay.Law, p decay.Pressure) decay.Interval {
		return decay.Escape{Area: area, From: from, Outer: amb, Law: law}.Flow(p, 318, amb)
	}
	close(t, "same at the hold's pressure", at(decay.LawSeep, from).Value, at(decay.LawOrifice, from).Value, 1e-15)
	half := decay.Pressure(180000)
	want := at(decay.LawSeep, from).Value * (180.0*180 - 100*100) / (275.0*275 - 100*100)
	close(t, "seep", at(decay.LawSeep, half).Value, want, 1e-12)
	u := at(decay.LawUnclear, half)
	if u.Value != at(decay.LawOrifice, half).Value || u.Low > at(decay.LawSeep, half).Low || u.High < at(decay.LawOrifice, half).High {
		t.Errorf("an unclear law does not cover both: %+v", u)
	}
	if f := at(decay.LawSeep, amb); f.Value != 0 {
		t.Errorf("flow without a difference: %+v", f)
	}
}

func TestNothingExplains(t *testing.T) {
	e := decay.Engine{Displacement: 0.002}
	if a := e.Explaining(200000, 210000, 50, 100000); a != 0 {
		t.Errorf("nothing is missing, and %v explains it", a)
	}
	if a := e.Explaining(200000, 95000, 50, 100000); !math.IsInf(float64(a), 1) {
		t.Errorf("a leak of %v brings it below ambient", a)
	}
	if l := e.Left(decay.HoleEscape(decay.Interval{Value: 1e-3}, 0.62), 90000, 50, 100000); l.Value != 90000 {
		t.Errorf("%v left", l.Value)
	}
	for f, want := range map[float64]decay.Explains{math.NaN(): decay.ExplainsUnknown, 0: decay.ExplainsNot, 0.0999: decay.ExplainsNot, 0.1: decay.ExplainsPart, 0.5: decay.ExplainsMost, 0.9: decay.ExplainsIt, 3: decay.ExplainsIt} {
		if got := decay.ExplainsOf(f); got != want {
			t.Errorf("%g: %v, want %v", f, got, want)
		}
	}
}

func TestParseSpeedAndDisplacement(t *testing.T) {
	for text, want := range map[string]float64{"3000rpm": 3000, "50 Hz": 3000, "314.159265 rad/s": 3000, "2500 1/min": 2500, "1500,5 U/min": 1500.5} {
		n, err := decay.ParseSpeed(text)
		if err != nil {
			t.Errorf("%q: %v", text, err)
		}
		close(t, text, n.RPM(), want, 1e-4)
	}
	for _, text := range []string{"3000", "rpm", "3 km/h", ""} {
		if n, err := decay.ParseSpeed(text); err == nil {
			t.Errorf("%q is %v", text, n)
		}
	}
	for text, want := range map[string]float64{"2.0L": 2e-3, "1998cm3": 1.998e-3, "350 in3": 5.735e-3} {
		v, err := decay.ParseDisplacement(text)
		if err != nil {
			t.Errorf("%q: %v", text, err)
		}
		close(t, text, float64(v), want, 1e-6)
	}
	for _, text := range []string{"0L", "-2L", "2", "2 kg", "2000L", "1e400L"} {
		if v, err := decay.ParseDisplacement(text); err == nil {
			t.Errorf("%q is %v", text, v)
		}
	}
}
