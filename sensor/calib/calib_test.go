package calib

import (
	"errors"
	"math"
	"math/rand/v2"
	"strings"
	"testing"

	"pgregory.net/rapid"

	"ebbline/decay"
)

func near(t *testing.T, what string, got, want, within float64) {
	t.Helper()
	if !(math.Abs(got-want) <= within) {
		t.Errorf("%s: got %v, want %v", what, got, want)
	}
}

// read is the pressure in psi of a raw value.
func read(t *testing.T, c *Calibration, r Raw) (psi float64, rng Range) {
	t.Helper()
	if err := c.Check(); err != nil {
		t.Fatal(err)
	}
	got, err := c.Read(r)
	if err != nil {
		t.Fatal(err)
	}
	return got.Value / decay.PSI, got.Range
}

func TestPublishedConversions(t *testing.T) {
	// "How to calculate pressure with an analog output voltage",
	// https://forum.digikey.com/t/how-to-calculate-pressure-with-an-analog-output-voltage/4500
	// Pressure = 100 PSI × (Vout − 0.5 V)/(4.5 V − 0.5 V): 0.5 V is 0, 2.5 V is
	// 50, 4.5 V is 100 psi gauge; and for 0 to 5 V and 75 psi, 2.5 V is 37.5.
	hundred := Preset(decay.ReadsGauge, 100*decay.PSI)
	for _, c := range [][2]float64{{0.5, 0}, {2.5, 50}, {4.5, 100}} {
		psi, rng := read(t, hundred, Raw{Value: c[0], Unit: "V"})
		near(t, "published psi", psi, c[1], 1e-9)
		if rng != Within {
			t.Errorf("%g V: %v", c[0], rng)
		}
	}
	full := 75 * decay.PSI
	line := &Calibration{Kind: Volts, Low: Point{0, 0}, High: Point{5, full}, Top: full}
	psi, _ := read(t, line, Raw{Value: 2.5, Unit: "V"})
	near(t, "0 to 5 V", psi, 37.5, 1e-9)

	// https://onlinesensors.co.uk/what-is-ratiometric-output-guide-with-examples
	// 5 V, 0 to 10 bar: 10 %, 50 % and 90 % of the supply are 0, 5 and 10 bar,
	// at every supply: so with a supply of 3 V, 0.3 V, 1.5 V and 2.7 V.
	ten := Preset(decay.ReadsGauge, 10*decay.Bar)
	for _, supply := range []float64{5, 3} {
		for _, c := range [][2]float64{{0.1, 0}, {0.5, 5}, {0.9, 10}} {
			psi, rng := read(t, ten, Raw{Value: c[0] * supply, Unit: "V", HasSupply: true, Supply: supply})
			near(t, "published bar", psi*decay.PSI/decay.Bar, c[1], 1e-9)
			if rng != Within {
				t.Errorf("%v of %g V: %v", c[0], supply, rng)
			}
		}
	}

	// https://onlinedocs.microchip.com, "Conversion Result": "For single
	// conversion, the result is ADC = VIN·1024/VREF"; "0x3FF represents the
	// selected reference voltage minus one LSB".
	adc := &Calibration{Kind: Volts, Low: Point{0, 0}, High: Point{1, 1}, Bits: 10, Reference: 5}
	for code, want := range map[float64]float64{0: 0, 512: 2.5, 0x3FF: 5 - 5.0/1024} {
		x, err := adc.Signal(Raw{Value: code, Unit: "counts"})
		if err != nil {
			t.Fatal(err)
		}
		near(t, "V of a code", x, want, 1e-12)
	}
}

func TestSupply(t *testing.T) {
	c := Preset(decay.ReadsGauge, 30*decay.PSI)
	// 15 psi is half of the supply, whatever the supply is.
	for name, r := range map[string]Raw{
		"nominal":    {Value: 2.5, Unit: "V"},
		"sag, known": {Value: 2.3, Unit: "V", HasSupply: true, Supply: 4.6},
		"mV":         {Value: 2300, Unit: "mV", HasSupply: true, Supply: 4.6},
	} {
		psi, _ := read(t, c, r)
		near(t, name, psi, 15, 1e-9)
	}
	// Not known, a sag of 8 % costs 1.5 psi: (0.46−0.1)/0.8·30 = 13.5.
	psi, _ := read(t, c, Raw{Value: 2.3, Unit: "V"})
	near(t, "sag, not known", psi, 13.5, 1e-9)

	// A converter on the supply cancels the sag by itself; the supply that a
	// board may send beside it is not applied a second time.
	c.Bits = 10
	psi, _ = read(t, c, Raw{Value: 512, Unit: "counts", HasSupply: true, Supply: 4.6})
	near(t, "counts of the supply", psi, 15, 1e-9)

	// 12 bits against 3.3 V behind 10 kΩ over 20 kΩ: 2.3 V are 1.5333 V.
	c.Bits, c.Reference, c.Divider = 12, 3.3, 1.5
	psi, _ = read(t, c, Raw{Value: 2.3 / 1.5 / 3.3 * 4096, Unit: "counts", HasSupply: true, Supply: 4.6})
	near(t, "fixed reference, divider, sag", psi, 15, 1e-9)

	if _, err := c.Read(Raw{Value: 1, Unit: "V", HasSupply: true, Supply: 0}); err == nil {
		t.Error("a supply of 0 V gave a reading")
	}
}

func TestRange(t *testing.T) {
	c := Preset(decay.ReadsGauge, 30*decay.PSI)
	counts := *c
	counts.Bits = 10
	falling := &Calibration{Kind: Counts, Low: Point{900, 0}, High: Point{100, 2e5}, Bits: 10}
	zeroBased := &Calibration{Kind: Counts, Low: Point{0, 0}, High: Point{1000, 2e5}, Bits: 10}
	rails := &Calibration{Kind: Counts, Low: Point{102, 0}, High: Point{922, 2e5}, Bits: 10}
	for name, x := range map[string]struct {
		c    *Calibration
		raw  Raw
		psi  float64 // NaN: not looked at
		want Range
	}{
		"wire off":         {c, Raw{Value: 0, Unit: "V"}, -3.75, OpenCircuit},
		"zero error":       {c, Raw{Value: 0.48, Unit: "V"}, -0.15, Within},
		"just below":       {c, Raw{Value: 0.29, Unit: "V"}, -1.575, OpenCircuit},
		"full scale":       {c, Raw{Value: 4.5, Unit: "V"}, 30, Within},
		"above":            {c, Raw{Value: 4.6, Unit: "V"}, 30.75, Saturated},
		"counts, wire off": {&counts, Raw{Value: 0, Unit: "counts"}, -3.75, OpenCircuit},
		"counts, full":     {&counts, Raw{Value: 1023, Unit: "counts"}, math.NaN(), Saturated},
		"no range, low":    {rails, Raw{Value: 0, Unit: "counts"}, math.NaN(), OpenCircuit},
		"no range, high":   {rails, Raw{Value: 1023, Unit: "counts"}, math.NaN(), Saturated},
		"no range, within": {rails, Raw{Value: 1000, Unit: "counts"}, math.NaN(), Within},
		"zero at the rail": {zeroBased, Raw{Value: 0, Unit: "counts"}, 0, Within},
		"falling, low":     {falling, Raw{Value: 0, Unit: "counts"}, math.NaN(), Saturated},
		"falling, high":    {falling, Raw{Value: 1023, Unit: "counts"}, math.NaN(), OpenCircuit},
	} {
		psi, rng := read(t, x.c, x.raw)
		if rng != x.want {
			t.Errorf("%s: %v, want %v", name, rng, x.want)
		}
		if !math.IsNaN(x.psi) {
			near(t, name, psi, x.psi, 1e-9)
		}
	}
}

func TestZeroIsKeptApartFromTheLine(t *testing.T) {
	c := Preset(decay.ReadsGauge, 30*decay.PSI)
	before := *c
	near(t, "zero", c.SetZero(0.52, 0)/decay.PSI, 0.15, 1e-9)
	psi, _ := read(t, c, Raw{Value: 0.52, Unit: "V"})
	near(t, "at ambient", psi, 0, 1e-9)
	psi, _ = read(t, c, Raw{Value: 2.52, Unit: "V"})
	near(t, "the slope is as it was", psi, 15, 1e-9)
	near(t, "signal at 15 psi", c.SignalAt(15*decay.PSI), 2.52, 1e-9)
	if c.Low != before.Low || c.High != before.High {
		t.Error("the zero moved the line")
	}
	// An absolute transducer at a known ambient of 95 kPa.
	abs := &Calibration{Kind: Volts, Reads: decay.ReadsAbsolute, Low: Point{0, 0}, High: Point{5, 500e3}}
	near(t, "absolute zero error", abs.SetZero(0.96, 95e3), 1e3, 1e-6)
	got, err := abs.Read(Raw{Value: 0.96, Unit: "V"})
	if err != nil || math.Abs(float64(got.Pressure(1e5))-95e3) > 1e-6 {
		t.Errorf("got %+v, %v", got, err)
	}
}

func TestFit(t *testing.T) {
	two := []Point{{0.5, 0}, {4.5, 200e3}}
	l, err := Fit(two)
	if err != nil {
		t.Fatal(err)
	}
	near(t, "slope", l.Slope, 50e3, 1e-6)
	near(t, "offset", l.Offset, -25e3, 1e-6)
	for _, r := range l.Residuals {
		near(t, "residual of two", r, 0, 1e-6)
	}
	// By hand: x 1 2 3, p 1 2 4: slope 1.5, offset −2/3, residuals
	// −1/6, +1/3, −1/6 (line less point), scatter √(1/6).
	l, err = Fit([]Point{{1, 1}, {2, 2}, {3, 4}})
	if err != nil {
		t.Fatal(err)
	}
	near(t, "slope", l.Slope, 1.5, 1e-12)
	near(t, "offset", l.Offset, -2.0/3, 1e-12)
	for i, want := range []float64{-1.0 / 6, 1.0 / 3, -1.0 / 6} {
		near(t, "residual", l.Residuals[i], want, 1e-12)
	}
	near(t, "scatter", l.SD, math.Sqrt(1.0/6), 1e-12)
	if l.Worst() != 1 {
		t.Errorf("worst is %d", l.Worst())
	}
	for name, ps := range map[string][]Point{"none": nil, "one": {{1, 1}}, "still": {{1, 1}, {1, 5}}, "flat": {{1, 1}, {2, 1}}} {
		if _, err := Fit(ps); err == nil {
			t.Errorf("%s: a line was fitted", name)
		}
	}
	var close *TooCloseError
	if err := Closest([]Point{{0.5, 0}, {2, 100e3}, {2.1, 103e3}}, 10e3); !errors.As(err, &close) || close.A != 1 || close.B != 2 {
		t.Errorf("got %v", err)
	}
	if err := Closest([]Point{{0.5, 0}, {0.5, 100e3}}, 10e3); err == nil || !strings.Contains(err.Error(), "did not follow") {
		t.Errorf("got %v", err)
	}
	if err := Closest(two, 10e3); err != nil {
		t.Error(err)
	}
	c := Preset(decay.ReadsGauge, 200e3)
	c.Zero = 5
	if err := c.SetLine(Line{Slope: 40e3, Offset: -20e3}, 0, 200e3); err != nil {
		t.Fatal(err)
	}
	if c.Low != (Point{0.5, 0}) || c.High != (Point{5.5, 200e3}) || c.Zero != 0 {
		t.Errorf("got %+v", c)
	}
}

func TestMean(t *testing.T) {
	var m Mean
	if m.Noise() != 0 || m.Count() != 0 {
		t.Error("nothing has noise")
	}
	for _, v := range []float64{2, 4, 4, 4, 5, 5, 7, 9} { // mean 5, sum of squares 32
		m.Add(v)
	}
	near(t, "mean", m.Value(), 5, 1e-12)
	near(t, "noise", m.Noise(), math.Sqrt(32.0/7), 1e-12)
	if lo, hi := m.Ends(); lo != 2 || hi != 9 || m.Count() != 8 {
		t.Errorf("ends %v %v of %d", lo, hi, m.Count())
	}
}

func TestWhatIsNoCalibration(t *testing.T) {
	good := Preset(decay.ReadsGauge, 2e5)
	for name, spoil := range map[string]func(c *Calibration){
		"kind":      func(c *Calibration) { c.Kind = 0 },
		"one point": func(c *Calibration) { c.High.Signal = c.Low.Signal },
		"flat":      func(c *Calibration) { c.High.Pressure = c.Low.Pressure },
		"supply":    func(c *Calibration) { c.Supply = 0 },
		"bits":      func(c *Calibration) { c.Bits = 33 },
		"NaN":       func(c *Calibration) { c.Zero = math.NaN() },
		"range":     func(c *Calibration) { c.Bottom = 3e5 },
		"divider":   func(c *Calibration) { c.Divider = -1 },
		"reference": func(c *Calibration) { c.Reference = -1 },
	} {
		c := *good
		spoil(&c)
		if c.Check() == nil {
			t.Errorf("%s: not refused", name)
		}
	}
	for _, r := range []Raw{{Value: math.NaN(), Unit: "V"}, {Value: 1, Unit: "psi"}, {Value: 1}, {Value: 1, Unit: "counts"}} {
		if _, err := good.Read(r); err == nil {
			t.Errorf("%+v: not refused", r)
		}
	}
	counts := &Calibration{Kind: Counts, Low: Point{0, 0}, High: Point{1, 1}}
	if _, err := counts.Read(Raw{Value: 1, Unit: "V"}); err == nil {
		t.Error("volts were read as counts")
	}
	for _, s := range []string{"", "volts gauge low=1V@0Pa", "volts x low=1V@0Pa high=2V@1Pa", "volts gauge low=1V@0Pa high=2V@NaNPa",
		"volts gauge low=1V@0Pa high=2V@1Pa foo=1", "volts gauge low=1V@0Pa low=1V@0Pa high=2V@1Pa", "volts gauge low=1counts@0Pa high=2V@1Pa"} {
		if _, err := Parse(s); err == nil {
			t.Errorf("%q: not refused", s)
		}
	}
}

// anyCalibration draws a calibration that passes its check.
func anyCalibration(t *rapid.T) *Calibration {
	num := func(lo, hi float64, name string) float64 { return rapid.Float64Range(lo, hi).Draw(t, name) }
	x, p := num(-10, 10, "x"), num(-1e5, 1e6, "p")
	c := &Calibration{
		Kind:  Kind(rapid.IntRange(1, 3).Draw(t, "kind")),
		Reads: decay.Reference(rapid.IntRange(0, 1).Draw(t, "reads")),
		Low:   Point{x, p}, High: Point{x + num(0.1, 5, "dx"), p + num(1e3, 1e6, "dp")},
		Zero: num(-1e4, 1e4, "zero"), Supply: num(1, 30, "supply"),
		Bits: rapid.IntRange(0, 32).Draw(t, "bits"), Reference: num(0, 5, "reference"), Divider: num(0.5, 3, "divider"),
	}
	c.Top = num(0, 1e6, "top")
	if err := c.Check(); err != nil {
		t.Fatal(err)
	}
	return c
}

func TestTextReadsBack(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		c := anyCalibration(t)
		got, err := Parse(c.String())
		if err != nil || *got != *c {
			t.Fatalf("%s became %+v, %v", c, got, err)
		}
	})
}

// Whatever the signal, the line's value is told and never held at an end.
func TestNeverClamped(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		c := anyCalibration(t)
		pa := rapid.Float64Range(-1e7, 1e7).Draw(t, "pa")
		unit := c.Kind.SignalUnit()
		raw := Raw{Value: c.SignalAt(pa), Unit: unit}
		if unit == "V" {
			raw.Value /= c.Divider
		}
		got, err := c.Read(raw)
		if err != nil {
			t.Fatal(err)
		}
		if math.Abs(got.Value-pa) > 1e-6*(1e6+math.Abs(pa)) {
			t.Fatalf("%v Pa were read as %v", pa, got.Value)
		}
	})
}

func FuzzParse(f *testing.F) {
	f.Add(Preset(decay.ReadsGauge, 2e5).String())
	f.Add("counts absolute low=102counts@0Pa high=922counts@2e5Pa bits=10 zero=-5Pa")
	f.Fuzz(func(t *testing.T, s string) {
		c, err := Parse(s)
		if err != nil {
			return
		}
		again, err := Parse(c.String())
		if err != nil || *again != *c {
			t.Fatalf("%q is %+v, and read back %+v, %v", s, c, again, err)
		}
		r, err := c.Read(Raw{Value: 1, Unit: c.Kind.SignalUnit()})
		if err == nil && (math.IsNaN(r.Value) || math.IsInf(r.Value, 0)) {
			t.Fatalf("%q reads %v", s, r.Value)
		}
	})
}

// Noise is told from movement.
func TestMeanOfWhatMoves(t *testing.T) {
	for name, path := range map[string]func(i int) float64{
		"still": func(int) float64 { return 0 }, "falls": func(i int) float64 { return -0.02 * float64(i) },
		"to and fro": func(i int) float64 { return 3 * math.Sin(float64(i)/100) },
	} {
		var m Mean
		rnd := rand.New(rand.NewPCG(1, 2))
		for i := range 1000 {
			m.Add(500 + path(i) + 0.5*rnd.NormFloat64())
		}
		if s := m.Steady(); math.Abs(s-0.5) > 0.05 {
			t.Errorf("%s: noise %.3f, want 0.5", name, s)
		}
		if moved := m.Swing() > 1; moved != (name != "still") {
			t.Errorf("%s: it swings by %.3f", name, m.Swing())
		}
		for range 3 {
			m.Add(900) // a spike
			for range 20 {
				m.Add(500 + path(1000) + 0.5*rnd.NormFloat64())
			}
		}
		if s := m.Quiet(); math.Abs(s-0.5) > 0.05 {
			t.Errorf("%s: noise %.3f with spikes, want 0.5", name, s)
		}
	}
}
