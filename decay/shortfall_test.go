package decay_test

import (
	"math"
	"slices"
	"strings"
	"testing"

	"ebbline/decay"

	"pgregory.net/rapid"
)

var hPa = decay.PressureUnit{Name: "hPa", Pascal: decay.Hectopascal}

// row is a reading in rpm and hPa.
func row(rpm, requested, actual float64) decay.ChargeRow {
	return decay.ChargeRow{Speed: decay.Speed(rpm * decay.RPM), Requested: decay.Pressure(requested * 100), Actual: decay.Pressure(actual * 100), Load: math.NaN()}
}

// pull is full load over the speeds, with what is missing as a function of rpm.
func pull(missing func(rpm float64) float64) []decay.ChargeRow {
	out := []decay.ChargeRow{row(0, 1013, 1011), row(820, 1015, 1016)}
	for rpm := 1500.0; rpm <= 4500; rpm += 250 {
		out = append(out, row(rpm, 2200, 2200-missing(rpm)))
	}
	return out
}

func codes(c decay.Complaint) string {
	var out []string
	for _, f := range c.Findings {
		out = append(out, f.Code)
	}
	return strings.Join(out, " ")
}

// Common practice, no source: 1 bar = 1000 hPa = 14.5 psi, and a shortfall of
// 500 hPa is about half a bar, 7 1/4 psi.
func TestHalfABar(t *testing.T) {
	c := decay.NewComplaint([]decay.ChargeRow{row(3000, 2450, 1950)}, decay.ChargeSetup{})
	if !c.Short() || c.Next != decay.NextHold {
		t.Fatalf("%+v", c)
	}
	short := c.Points[c.Worst].Shortfall()
	close(t, "bar", short/decay.Bar, 0.5, 1e-12)
	close(t, "hPa", short/decay.Hectopascal, 500, 1e-9)
	close(t, "psi", short/decay.PSI, 7.25, 0.005)
	close(t, "psi in a bar", decay.Bar/decay.PSI, 14.5, 0.005)
	close(t, "hPa in a bar", decay.Bar/decay.Hectopascal, 1000, 0)
}

func TestWhereItBeginsAndHowItChanges(t *testing.T) {
	for _, c := range []struct {
		name    string
		missing func(rpm float64) float64
		begins  float64
		worst   float64
		trend   decay.Trend
		next    decay.Next
	}{
		{"as a hole", func(n float64) float64 { return 450000 / n }, 1500, 1500, decay.TrendShrinks, decay.NextHold},
		{"as a blockage", func(n float64) float64 { return n * n / 40000 }, 1750, 4500, decay.TrendGrows, decay.NextHold},
		{"everywhere", func(float64) float64 { return 200 }, 1500, 1500, decay.TrendSteady, decay.NextHold},
		{"nowhere", func(float64) float64 { return 20 }, 0, 1500, decay.TrendUnknown, decay.NextNone},
		{"more than asked for", func(float64) float64 { return -150 }, 0, 1500, decay.TrendUnknown, decay.NextNone},
	} {
		got := decay.NewComplaint(pull(c.missing), decay.ChargeSetup{Ambient: 101300, RequestedUnit: hPa, ActualUnit: hPa})
		begins := 0.0
		if got.Begins >= 0 {
			begins = math.Round(got.Points[got.Begins].Speed.RPM())
		}
		if begins != c.begins || math.Round(got.Points[got.Worst].Speed.RPM()) != c.worst || got.Trend != c.trend || got.Next != c.next {
			t.Errorf("%s: begins %v, worst %v, %v, %v: %s", c.name, begins, got.Points[got.Worst].Speed.RPM(), got.Trend, got.Next, codes(got))
		}
		if got.Off != 1 || got.Idle != 1 || got.Judged != 13 {
			t.Errorf("%s: %d off, %d idle, %d judged", c.name, got.Off, got.Idle, got.Judged)
		}
	}
}

// Each doubt about the figures, from figures that raise it, and no other that
// stops.
func TestSanityBeforeBlame(t *testing.T) {
	hole := func(n float64) float64 { return 450000 / n }
	change := func(f func(decay.ChargeRow) decay.ChargeRow) []decay.ChargeRow {
		rows := pull(hole)
		for i := range rows {
			rows[i] = f(rows[i])
		}
		return rows
	}
	one := func(requested, actual float64) []decay.ChargeRow {
		return []decay.ChargeRow{row(3000, requested, actual)}
	}
	sea := decay.ChargeSetup{Ambient: 101300, RequestedUnit: hPa, ActualUnit: hPa}
	with := func(f func(*decay.ChargeSetup)) decay.ChargeSetup { s := sea; f(&s); return s }
	for _, c := range []struct {
		name string
		rows []decay.ChargeRow
		set  decay.ChargeSetup
		code string
		stop bool
	}{
		{"all is well", pull(hole), sea, decay.FoundOffAgrees, false},
		{"nothing requested with the engine off", change(func(r decay.ChargeRow) decay.ChargeRow {
			if r.Speed == 0 {
				r.Requested = 0
			}
			return r
		}), sea, decay.FoundOffAgrees, false},
		{"sensor not seen at rest", one(2450, 1950), sea, decay.FoundOffUnknown, false},
		{"sensor off by 60 hPa", one(2450, 1950), with(func(s *decay.ChargeSetup) { s.HasOff, s.Off = true, 95300 }), decay.FoundOffDiffers, true},
		{"sensor in kPa under hPa", one(2450, 1950), with(func(s *decay.ChargeSetup) { s.HasOff, s.Off = true, 10130 }), decay.FoundOffDiffers, true},
		{"gauge sensor at rest", one(2450, 1950), with(func(s *decay.ChargeSetup) { s.HasOff, s.Off = true, 300 }), decay.FoundOffGauge, true},
		{"below ambient at idle", change(func(r decay.ChargeRow) decay.ChargeRow {
			if r.Speed > 10 && r.Speed < 15 {
				r.Actual -= 9000
			}
			return r
		}), sea, decay.FoundIdleBelow, true},
		{"below ambient under load", one(1450, 940), sea, decay.FoundLoadBelow, true},
		{"no charge at all", one(1900, 1010), sea, decay.FoundNoCharge, false},
		{"actual gauge, one reading", one(2450, 1440), sea, decay.FoundGaugeActual, true},
		{"requested gauge, one reading", one(1450, 2460), sea, decay.FoundGaugeAsked, true},
		{"actual gauge", change(func(r decay.ChargeRow) decay.ChargeRow { r.Actual -= 101300; return r }), sea, decay.FoundGaugeActual, true},
		{"requested gauge", change(func(r decay.ChargeRow) decay.ChargeRow { r.Requested -= 101300; return r }), sea, decay.FoundGaugeAsked, true},
		{"both gauge", change(func(r decay.ChargeRow) decay.ChargeRow { r.Actual -= 101300; r.Requested -= 101300; return r }), sea, decay.FoundGaugeBoth, true},
		{"ten times too little", one(2450, 195), sea, decay.FoundUnitActual, true},
		{"ten times too much", one(2450, 19500), sea, decay.FoundUnitActual, true},
		{"psi under bar", []decay.ChargeRow{row(3000, 2450, 28300)}, with(func(s *decay.ChargeSetup) {
			s.ActualUnit = decay.PressureUnit{Name: "bar", Pascal: decay.Bar}
		}), decay.FoundUnitActual, true},
		{"requested ten times too much", one(24500, 1950), sea, decay.FoundUnitAsked, true},
		{"on a mountain", one(2450, 1950), with(func(s *decay.ChargeSetup) { s.Ambient = 79500 }), decay.FoundAltitude, false},
		{"ambient against altitude", one(2450, 1950), with(func(s *decay.ChargeSetup) { s.HasAltitude, s.Altitude = true, 2000 }), decay.FoundAltDiffers, false},
		{"nothing asked for", one(1020, 1015), sea, decay.FoundNoAsk, true},
		{"sensor's rest reading for ambient", one(2450, 1950), decay.ChargeSetup{HasOff: true, Off: 84556}, decay.FoundOffAmbient, false},
	} {
		got := decay.NewComplaint(c.rows, c.set)
		i := slices.IndexFunc(got.Findings, func(f decay.Finding) bool { return f.Code == c.code })
		if i < 0 || got.Findings[i].Stops != c.stop {
			t.Errorf("%s: no %s (stops: %v) in %q", c.name, c.code, c.stop, codes(got))
		}
		for _, f := range got.Findings {
			alsoAtRest := strings.HasPrefix(c.code, "gauge") && f.Code == decay.FoundOffGauge
			if f.Stops && f.Code != c.code && !alsoAtRest {
				t.Errorf("%s: stopped by %s as well", c.name, f.Code)
			}
		}
		if (got.Next == decay.NextAsk) != c.stop {
			t.Errorf("%s: next is %v", c.name, got.Next)
		}
	}
}

// The units that would make a pressure plausible are named, and no others.
func TestUnitsThatWouldFit(t *testing.T) {
	for _, c := range []struct {
		requested, actual float64 // hPa
		unit              decay.PressureUnit
		want              string
		ten               float64
	}{
		{2450, 195, hPa, "kPa", 10},
		{2450, 28300, decay.PressureUnit{Name: "bar", Pascal: decay.Bar}, "psi", 0.1},
		{2450, 1.95 * 68.95, decay.PressureUnit{Name: "psi", Pascal: decay.PSI}, "bar kgf/cm²", 10},
		{2450, 19500, decay.PressureUnit{Name: "kPa", Pascal: decay.Kilopascal}, "hPa", 0.1},
	} {
		got := decay.NewComplaint([]decay.ChargeRow{row(3000, c.requested, c.actual)}, decay.ChargeSetup{RequestedUnit: hPa, ActualUnit: c.unit})
		if len(got.Findings) != 1 {
			t.Fatalf("%v: %s", c, codes(got))
		}
		var names []string
		for _, u := range got.Findings[0].Units {
			names = append(names, u.Name)
		}
		if strings.Join(names, " ") != c.want || got.Findings[0].Other != c.ten {
			t.Errorf("%v: %v, %g", c, names, got.Findings[0].Other)
		}
	}
}

// US Standard Atmosphere 1976, the summary's table from memory: 1500 m has
// 845.59 hPa (geopotential). A sensor that reads it with the engine off places
// itself there, and the compressor's work is told against it.
func TestAltitudeFromTheSensor(t *testing.T) {
	got := decay.NewComplaint([]decay.ChargeRow{row(3000, 2450, 1950)}, decay.ChargeSetup{HasOff: true, Off: 84559})
	if got.Ambient != 84559 || got.Findings[0].Code != decay.FoundOffAmbient {
		t.Fatalf("%+v", got)
	}
	close(t, "altitude, m", float64(got.Findings[0].Far), 1500, 1)
	i := slices.IndexFunc(got.Findings, func(f decay.Finding) bool { return f.Code == decay.FoundAltitude })
	close(t, "pressure ratio", got.Findings[i].Other, 2450/845.59, 1e-3)
	got = decay.NewComplaint([]decay.ChargeRow{row(3000, 2450, 1950)}, decay.ChargeSetup{HasAltitude: true, Altitude: 2000})
	close(t, "ambient at 2000 m, hPa", float64(got.Ambient)/100, 795.01, 0.1)
}

func TestRowsThatAreNotJudged(t *testing.T) {
	rows := pull(func(float64) float64 { return 200 })
	for i := range rows {
		rows[i].Load = 95
	}
	rows[5].Load, rows[5].Actual = 30, 120000   // part load
	rows[6].Actual = decay.Pressure(math.NaN()) // a fault of the logger
	rows[7].Actual = 6553500
	rows[8].Requested = 100000
	got := decay.NewComplaint(rows, decay.ChargeSetup{Ambient: 101300, RequestedUnit: hPa, ActualUnit: hPa})
	if got.Part != 1 || !slices.Equal(got.Impossible, []int{6, 7}) || got.Unasked != 1 || got.Judged != 9 || got.Next != decay.NextHold {
		t.Errorf("%+v", got)
	}
	close(t, "worst", got.Points[got.Worst].Shortfall(), 20000, 1e-6)
	for i := range rows {
		rows[i].Load = 20
	}
	if got := decay.NewComplaint(rows, decay.ChargeSetup{Ambient: 101300}); !strings.Contains(codes(got), decay.FoundPartLoad) {
		t.Errorf("part load only is not told: %s", codes(got))
	}
}

// Whatever the rows hold, each is accounted for, and points rise with speed.
func TestComplaintCountsEveryRow(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		num := rapid.OneOf(rapid.Float64Range(-2000, 5000), rapid.Float64(), rapid.SampledFrom([]float64{0, math.NaN(), math.Inf(1), 1013, 2200, 1e9}))
		var rows []decay.ChargeRow
		for range rapid.IntRange(0, 60).Draw(t, "rows") {
			r := row(num.Draw(t, "rpm"), num.Draw(t, "requested"), num.Draw(t, "actual"))
			r.Load = num.Draw(t, "load")
			r.Ambient = decay.Pressure(100 * num.Draw(t, "ambient"))
			rows = append(rows, r)
		}
		set := decay.ChargeSetup{Ambient: decay.Pressure(rapid.SampledFrom([]float64{0, 80e3, 101e3}).Draw(t, "ambient of all")),
			HasOff: rapid.Bool().Draw(t, "off seen"), Off: decay.Pressure(100 * num.Draw(t, "off")), RequestedUnit: hPa, ActualUnit: hPa}
		c := decay.NewComplaint(rows, set)
		if c.Points == nil && c.Next == decay.NextHold {
			t.Fatal("a hold test without a reading")
		}
		stopped := false
		for _, f := range c.Findings {
			stopped = stopped || f.Stops
		}
		if stopped != (c.Next == decay.NextAsk) {
			t.Fatalf("%v with %q", c.Next, codes(c))
		}
		if n := c.Judged + c.Part + c.Idle + c.Off + c.Unasked + len(c.Impossible); c.Ambient > 0 && n != len(rows) {
			t.Fatalf("%d of %d rows accounted for: %+v", n, len(rows), c)
		}
		for i := 1; i < len(c.Points); i++ {
			if c.Points[i].Speed < c.Points[i-1].Speed {
				t.Fatal("points do not rise with speed")
			}
		}
		if len(c.Points) > 14 {
			t.Fatalf("%d points", len(c.Points))
		}
		// A leak set beside it never breaks either.
		e := decay.Engine{Displacement: 0.002}
		m := e.Explain(c, decay.HoleEscape(decay.Interval{Value: 2e-3, Low: 1e-3, High: 3e-3}, 0.62), 0.62)
		if len(m.At) != len(c.Points) || m.Part.Value > 1+1e-9 || m.Part.Value < 0 || m.Part.Low > m.Part.High {
			t.Fatalf("%+v", m.Part)
		}
	})
}
