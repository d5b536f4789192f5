package decay_test

import (
	"math"
	"strings"
	"testing"

	"ebbline/decay"
)

// NIST SP 811 (2008), App. B.8: psi 6.894 757 E+03, bar and atm exact, inHg
// (conventional) 3.386 389 E+03, kgf/cm² 9.806 65 E+04 exact; found in two
// public notes that quote it.
func TestUnitFactors(t *testing.T) {
	close(t, "psi", decay.PSI, 6894.757, 0.0005)
	close(t, "bar", decay.Bar, 1e5, 0)
	close(t, "atm", decay.Atmosphere, 101325, 0)
	close(t, "inHg", decay.InHg, 3386.389, 0.0005)
	close(t, "kgf/cm²", decay.KgfPerCm2, 98066.5, 0)
	close(t, "30 psi", 30*decay.PSI, 206842.72, 0.01)
	close(t, "atm in psi", decay.Atmosphere/decay.PSI, 14.695949, 1e-6)
	close(t, "atm in inHg", decay.Atmosphere/decay.InHg, 29.92126, 1e-5)
	// Exact: the pound-force over the square inch.
	close(t, "psi from its definition", decay.PSI, 0.45359237*9.80665/(0.0254*0.0254), 1e-8)
	close(t, "cubic inch", decay.CubicInch, math.Pow(0.0254, 3), 1e-18)
	close(t, "cubic foot", decay.CubicFoot, math.Pow(0.3048, 3), 1e-12)
}

func TestGaugeNeedsAmbient(t *testing.T) {
	g := decay.Gauge(2e5)
	for _, pa := range []decay.Pressure{75e3, 101325} {
		if p := g.Absolute(pa); p != 2e5+pa || p.Gauge(pa) != g {
			t.Errorf("gauge %g over %g came back as %g", g, pa, p.Gauge(pa))
		}
	}
}

func TestEquivalentHole(t *testing.T) {
	for _, d := range []decay.Length{1e-4, 1e-3, 5e-3} {
		got := decay.EquivalentHole(decay.Area(0.62*float64(decay.CircleArea(d))), 0.62)
		close(t, "hole", float64(got), float64(d), 1e-15)
	}
	if decay.EquivalentHole(0, 0.62) != 0 || decay.EquivalentHole(-1e-6, 0.62) != 0 {
		t.Error("a hole without an area")
	}
}

func TestParsePressures(t *testing.T) {
	for _, x := range []struct {
		text string
		pa   float64
	}{
		{"30psi", 206842.72}, {"30 psi", 206842.72}, {"30psig", 206842.72}, {"2 bar g", 2e5}, {"2,5 bar", 2.5e5},
		{"150 kPa gauge", 150e3}, {"-3 kPa", -3000}, {"1.2e2 kPa", 120e3}, {"29.92125 inHg", 101324.98}, {"1 kgf/cm2", 98066.5},
		{"1 kg/cm²", 98066.5}, {"900 mbar", 90e3}, {"900hPa", 90e3}, {"5000 Pa", 5000},
	} {
		g, err := decay.ParseGauge(x.text)
		if err != nil {
			t.Errorf("%q: %v", x.text, err)
			continue
		}
		close(t, x.text, float64(g), x.pa, 0.01)
	}
	for _, x := range []struct {
		text string
		pa   float64
	}{{"95kPa", 95e3}, {"14.7 psia", 101352.93}, {"1.2 bar a", 1.2e5}, {"950 hPa absolute", 95e3}, {"0.95bar abs", 95e3}} {
		p, err := decay.ParsePressure(x.text)
		if err != nil {
			t.Errorf("%q: %v", x.text, err)
			continue
		}
		close(t, x.text, float64(p), x.pa, 0.01)
	}
}

// A gauge text is refused where an absolute pressure is wanted, and the other
// way about; and so is everything that is not one finite pressure.
func TestParsePressureRefuses(t *testing.T) {
	for _, text := range []string{"30psia", "2 bar a", "95 kPa absolute", "1 bar abs"} {
		if g, err := decay.ParseGauge(text); err == nil || !strings.Contains(err.Error(), "absolute") {
			t.Errorf("ParseGauge(%q) = %v, %v", text, g, err)
		}
	}
	for _, text := range []string{"30psig", "2 bar g", "95 kPa gauge", "2barg"} {
		if p, err := decay.ParsePressure(text); err == nil || !strings.Contains(err.Error(), "gauge") {
			t.Errorf("ParsePressure(%q) = %v, %v", text, p, err)
		}
	}
	for _, text := range []string{"", " ", "psi", "30", "30 parsec", "3 MPa", "NaN psi", "Inf kPa", "1e999 kPa", "1e307 bar", "30psi30psi", "0x10 psi", "--3 psi"} {
		if g, err := decay.ParseGauge(text); err == nil {
			t.Errorf("ParseGauge(%q) = %v, want an error", text, g)
		}
	}
	for _, text := range []string{"0 kPa", "-5 psi"} {
		if p, err := decay.ParsePressure(text); err == nil {
			t.Errorf("ParsePressure(%q) = %v, want an error", text, p)
		}
	}
}

// What is printed can be read again, to the digits printed.
func TestPressureRoundTrip(t *testing.T) {
	for _, u := range decay.PressureUnits {
		for _, pa := range []float64{90e3, 101325, 206842.72, 300e3} {
			text := decay.Gauge(pa).Format(u)
			if !strings.HasSuffix(text, u.Name+" gauge") {
				t.Errorf("%q does not name its unit and reference", text)
			}
			g, err := decay.ParseGauge(text)
			if err != nil {
				t.Errorf("%q: %v", text, err)
			}
			close(t, text, float64(g), pa, 100)
			text = decay.Pressure(pa).Format(u)
			if !strings.HasSuffix(text, u.Name+" absolute") {
				t.Errorf("%q does not name its unit and reference", text)
			}
			p, err := decay.ParsePressure(text)
			if err != nil {
				t.Errorf("%q: %v", text, err)
			}
			close(t, text, float64(p), pa, 100)
		}
	}
}

func TestParseVolume(t *testing.T) {
	for _, x := range []struct {
		text   string
		v, tol float64
	}{
		{"10L", 0.01, 0}, {"10 L ± 3%", 0.01, 0.03}, {"10L+-3%", 0.01, 0.03}, {"10L+/-3 %", 0.01, 0.03}, {"9500 cm3", 0.0095, 0},
		{"0.01m3", 0.01, 0}, {"610 in3", 0.00999611, 0}, {"1 ft3", 0.0283168, 0}, {"2,5 l", 0.0025, 0},
	} {
		v, tol, err := decay.ParseVolume(x.text)
		if err != nil {
			t.Errorf("%q: %v", x.text, err)
			continue
		}
		close(t, x.text, float64(v), x.v, 1e-7)
		close(t, x.text+" tolerance", tol, x.tol, 1e-12)
	}
	for _, text := range []string{"", "10", "L", "0 L", "-3 L", "1e9 L", "NaN L", "10 L ± x", "10 L ± 300%", "10 psi"} {
		if v, _, err := decay.ParseVolume(text); err == nil {
			t.Errorf("ParseVolume(%q) = %v, want an error", text, v)
		}
	}
}

func TestParseOthers(t *testing.T) {
	for _, x := range []struct {
		text string
		m    float64
	}{{"0.5mm", 0.0005}, {"1/16 in", 0.0015875}, {`1/8"`, 0.003175}, {"2 cm", 0.02}, {"300um", 0.0003}} {
		l, err := decay.ParseLength(x.text)
		if err != nil {
			t.Errorf("%q: %v", x.text, err)
			continue
		}
		close(t, x.text, float64(l), x.m, 1e-12)
	}
	for _, text := range []string{"", "mm", "5", "0mm", "-1mm", "1/0 in", "a/2 in", "NaN mm", "1/ in", "Inf/2 in", "NaN/2 in", "1/1e-320 in"} {
		if l, err := decay.ParseLength(text); err == nil {
			t.Errorf("ParseLength(%q) = %v, want an error", text, l)
		}
	}
	a, err := decay.ParseArea("0.51mm2")
	if err != nil {
		t.Error(err)
	}
	close(t, "area", float64(a), 0.51e-6, 1e-15)
	for _, text := range []string{"", "0mm2", "-1mm2", "1mm", "NaN mm2"} {
		if a, err := decay.ParseArea(text); err == nil {
			t.Errorf("ParseArea(%q) = %v, want an error", text, a)
		}
	}
	for _, x := range []struct {
		text string
		k    float64
	}{{"20C", 293.15}, {"68F", 293.15}, {"293K", 293}, {"-5°C", 268.15}} {
		k, err := decay.ParseTemperature(x.text)
		if err != nil {
			t.Errorf("%q: %v", x.text, err)
			continue
		}
		close(t, x.text, float64(k), x.k, 1e-9)
	}
	for _, text := range []string{"", "20", "-300C", "900F", "NaN C", "20 L"} {
		if k, err := decay.ParseTemperature(text); err == nil {
			t.Errorf("ParseTemperature(%q) = %v, want an error", text, k)
		}
	}
}

// FuzzParse: no text makes a parser panic, and what a parser takes is finite
// and in its range.
func FuzzParse(f *testing.F) {
	for _, s := range []string{"30psi", "10 L ± 3%", "1/16 in", "0.51mm2", "-5°C", "1,5 bar g", "", "1e400psi", "1/1e-320 in", "±", "NaN K"} {
		f.Add(s)
	}
	f.Fuzz(func(t *testing.T, s string) {
		finite := func(what string, v float64) {
			if math.IsNaN(v) || math.IsInf(v, 0) {
				t.Errorf("%s(%q) = %g without an error", what, s, v)
			}
		}
		if g, err := decay.ParseGauge(s); err == nil {
			finite("ParseGauge", float64(g))
		}
		if p, err := decay.ParsePressure(s); err == nil {
			finite("ParsePressure", float64(p))
			if p <= 0 {
				t.Errorf("ParsePressure(%q) = %g", s, p)
			}
		}
		if v, tol, err := decay.ParseVolume(s); err == nil {
			finite("ParseVolume", float64(v))
			if v <= 0 || tol < 0 || tol > 0.9 {
				t.Errorf("ParseVolume(%q) = %g ± %g", s, v, tol)
			}
		}
		if l, err := decay.ParseLength(s); err == nil {
			finite("ParseLength", float64(l))
		}
		if a, err := decay.ParseArea(s); err == nil {
			finite("ParseArea", float64(a))
		}
		if k, err := decay.ParseTemperature(s); err == nil && !(k >= 200 && k <= 400) {
			t.Errorf("ParseTemperature(%q) = %g", s, k)
		}
	})
}
