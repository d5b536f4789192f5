package wire

import (
	"errors"
	"math"
	"strings"
	"testing"
	"time"

	"pgregory.net/rapid"
)

type split1 struct {
	text string
	long bool
}

func lines(chunks ...string) (out []split1) {
	s := NewSplitter()
	keep := func(l string, long bool) { out = append(out, split1{l, long}) }
	for _, c := range chunks {
		s.Feed([]byte(c), keep)
	}
	s.Flush(keep)
	return out
}

func TestSplitterEnds(t *testing.T) {
	got := lines("a\nb\r\nc\rd\r\n\r\n\ne")
	want := []string{"a", "b", "c", "d", "", "", "e"}
	if len(got) != len(want) {
		t.Fatalf("got %v, want %q", got, want)
	}
	for i := range want {
		if got[i].text != want[i] || got[i].long {
			t.Errorf("line %d: got %q, want %q", i, got[i].text, want[i])
		}
	}
}

func TestSplitterBoundsALine(t *testing.T) {
	got := lines(strings.Repeat("x", MaxLine)+"\n", strings.Repeat("y", 5*MaxLine), "\n1\n")
	if len(got) != 3 || got[0].long || !got[1].long || len(got[1].text) != MaxLine || got[2] != (split1{"1", false}) {
		t.Fatalf("got %d lines: %v", len(got), got)
	}
	s := NewSplitter()
	for range 1000 {
		s.Feed([]byte(strings.Repeat("z", 4096)), func(string, bool) { t.Fatal("a line without an end was yielded") })
	}
	if cap(s.buf) > 4*MaxLine {
		t.Errorf("buffer grew to %d bytes", cap(s.buf))
	}
}

func TestAnyCutGivesTheSameLines(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		text := rapid.StringOf(rapid.SampledFrom([]rune("ab1,.\r\n\r\n\n"))).Draw(t, "text")
		if rapid.Bool().Draw(t, "long") {
			text += strings.Repeat("l", rapid.IntRange(MaxLine-2, MaxLine+2).Draw(t, "n")) + "\r\nend"
		}
		whole := lines(text)
		var chunks []string
		for rest := text; rest != ""; {
			n := rapid.IntRange(0, len(rest)).Draw(t, "cut")
			chunks = append(chunks, rest[:n])
			rest = rest[n:]
			if n == 0 {
				chunks, rest = append(chunks, rest[:1]), rest[1:]
			}
		}
		cut := lines(chunks...)
		if len(cut) != len(whole) {
			t.Fatalf("%d lines in one piece, %d when cut: %q", len(whole), len(cut), chunks)
		}
		for i := range cut {
			if cut[i] != whole[i] {
				t.Fatalf("line %d: %v in one piece, %v when cut", i, whole[i], cut[i])
			}
		}
	})
}

func TestColumns(t *testing.T) {
	for _, c := range []struct {
		name string
		q    Quantity
		unit string
		ref  string
		s    float64
	}{
		{"time_s", Time, "", "", 1}, {"time_ms", Time, "", "", 1e-3}, {"Zeit_s", Time, "", "", 1}, {"t", Time, "", "", 0},
		{"t_s", Time, "", "", 1}, {"Time (ms)", Time, "", "", 1e-3}, {"timeMs", Time, "", "", 1e-3}, {"temps [s]", Time, "", "", 1},
		{"tiempo_s", Time, "", "", 1}, {"seconds", Time, "", "", 1}, {"ms", Time, "", "", 1e-3}, {"clock", Time, "", "", 0},
		{"Elapsed Time (min)", Time, "", "", 60}, {"micros", Time, "", "", 1e-6}, {"millis", Time, "", "", 1e-3},
		{"Uhrzeit", Time, "", "", 0}, {"Χρόνος (s)", Time, "", "", 1},
		{"pressure_psi", Pressure, "psi", "", 0}, {"pressure_kpa", Pressure, "kPa", "", 0}, {"Pressure (psi)", Pressure, "psi", "", 0},
		{"p_bar_abs", Pressure, "bar", "absolute", 0}, {"p_bar_gauge", Pressure, "bar", "gauge", 0}, {"pressure_kPa", Pressure, "kPa", "", 0},
		{"Druck [mbar]", Pressure, "mbar", "", 0}, {"pressureKPa", Pressure, "kPa", "", 0}, {"pression", Pressure, "", "", 0},
		{"presión (kPa abs)", Pressure, "kPa", "absolute", 0}, {"boost_psig", Pressure, "psi", "gauge", 0}, {"bar(a)", Pressure, "bar", "absolute", 0},
		{"kPaA", Pressure, "kPa", "absolute", 0}, {"Überdruck [hPa]", Pressure, "hPa", "gauge", 0}, {"gauge_psi", Pressure, "psi", "gauge", 0},
		{"gauge", Pressure, "", "gauge", 0}, {"p", Pressure, "", "", 0}, {"P1", Pressure, "", "", 0}, {"MAP kPa", Pressure, "kPa", "absolute", 0},
		{"p (kgf/cm²)", Pressure, "kgf/cm²", "", 0}, {"inHg", Pressure, "inHg", "", 0}, {"vacuum in Hg", Pressure, "inHg", "", 0},
		{"Ladedruck_bar", Pressure, "bar", "", 0}, {"p_gas_bar", Pressure, "bar", "", 0},
		{"T_gas_K", Temperature, "K", "", 0}, {"temp_C", Temperature, "°C", "", 0}, {"Temperature (°F)", Temperature, "°F", "", 0},
		{"gas temp", Temperature, "", "", 0}, {"T_gas", Temperature, "", "", 0}, {"pressure sensor temperature", Temperature, "", "", 0},
		{"T [°C]", Temperature, "°C", "", 0},
		{"sensor_V", Voltage, "V", "", 0}, {"mV", Voltage, "mV", "", 0}, {"adc", Counts, "counts", "", 0},
		{"supply_V", Supply, "V", "", 0}, {"vcc", Supply, "", "", 0}, {"Vcc (mV)", Supply, "mV", "", 0}, {"supply_psi", Pressure, "psi", "", 0}, {"battery_V", Other, "", "", 0}, {"vcc_raw", Other, "", "", 0}, {"A0", Counts, "counts", "", 0}, {"a15", Counts, "counts", "", 0}, {"a16", Other, "", "", 0}, {"psi/s", Other, "", "", 0}, {"target_psi", Other, "", "", 0}, {"quantity", Other, "", "", 0}, {"value", Other, "", "", 0},
		{"", Other, "", "", 0}, {"flow l/min", Other, "", "", 0},
	} {
		g := ParseColumn(c.name)
		if g.Quantity != c.q || g.Unit != c.unit || g.Reference != c.ref || g.Scale != c.s {
			t.Errorf("%q: got %+v", c.name, g)
		}
	}
	for _, name := range []string{"pressure_MPa", "p (mmHg)", "pressure_atm"} {
		if g := ParseColumn(name); g.Quantity != Pressure || g.Unknown == "" {
			t.Errorf("%q: its unit is unknown and must be told so, got %+v", name, g)
		}
	}
	if a, b := ParseColumn("ambient_kpa"), ParseColumn("pressure_kpa"); a.Rank <= b.Rank {
		t.Errorf("the air around ranks %d, the duct %d", a.Rank, b.Rank)
	}
}

func TestDecode(t *testing.T) {
	type want struct {
		line string
		skip bool
		f    Fields
	}
	skip := func(l string) want { return want{line: l, skip: true} }
	v := func(l string, value float64, unit, ref string) want {
		return want{line: l, f: Fields{Value: value, Unit: unit, Reference: ref}}
	}
	tv := func(l string, s, value float64, unit, ref string) want {
		return want{line: l, f: Fields{HasTime: true, Time: s, Value: value, Unit: unit, Reference: ref}}
	}
	for name, c := range map[string]struct {
		opt  Options
		rows []want
		says string
	}{
		"number":       {Options{}, []want{skip(""), skip("# x"), v("\ufeff29.8", 29.8, "", ""), v(" -0.5 ", -.5, "", ""), v("1e5", 1e5, "", "")}, "one number"},
		"stated unit":  {Options{Unit: "psig"}, []want{v("29.8", 29.8, "psi", "gauge")}, "psi gauge"},
		"unit":         {Options{}, []want{v("29.8 psi", 29.8, "psi", ""), v("205.3kPa gauge", 205.3, "kPa", "gauge"), v("2,05 bar(a)", 0, "", "")}[:2], "number and unit"},
		"volts":        {Options{}, []want{v("2.51 V", 2.51, "V", ""), v("2510mV", 2510, "mV", "")}, "in mV"},
		"millis":       {Options{Unit: "kPa"}, []want{v("1000,101.5", 101.5, "kPa", ""), tv("1100,101.6", 1.1, 101.6, "kPa", ""), tv("1200,101.7", 1.2, 101.7, "kPa", "")}, "milliseconds"},
		"micros":       {Options{}, []want{v("1000000 512.5", 512.5, "", ""), tv("1100000 512.5", 1.1, 512.5, "", "")}, "microseconds"},
		"seconds":      {Options{}, []want{v("0.1,29.8", 29.8, "", ""), tv("0.2,29.9", .2, 29.9, "", "")}, "seconds"},
		"millis, unit": {Options{}, []want{v("1000;29,8 psi", 29.8, "psi", ""), tv("1100;29,7 psi", 1.1, 29.7, "psi", "")}, "psi"},
		"comma, one":   {Options{}, []want{skip("29,81"), v("29,79", 29.79, "", ""), v("28,79", 28.79, "", ""), v("29,80", 29.8, "", "")}, "one number"},
		"comma, two":   {Options{}, []want{skip("1000,512"), v("1100,511", 511, "", ""), tv("1200,511", 1.2, 511, "", "")}, "milliseconds"},
		"comma stated": {Options{DecimalComma: true}, []want{v("29,81", 29.81, "", "")}, "one number"},
		"header": {Options{}, []want{skip("time_ms,temp_C,pressure_psi,x"),
			{line: "100,21.5,29.8,?", f: Fields{HasTime: true, Time: .1, Value: 29.8, Unit: "psi", HasTemp: true, Temp: 21.5}},
			skip("time_ms,temp_C,pressure_psi,x")}, "pressure_psi"},
		"quotes":  {Options{}, []want{skip(`"Zeit_s";"Druck [mbar]"`), tv(`"1,5";"1013,2"`, 1.5, 1013.2, "mbar", "")}, "Druck"},
		"tab":     {Options{}, []want{skip("t_s\tp_bar_abs"), tv("0.5\t2.04", .5, 2.04, "bar", "absolute")}, "absolute"},
		"clock":   {Options{}, []want{skip("clock,p_bar"), tv("00:01:00.5,2.04", 60.5, 2.04, "bar", "")}, "p_bar"},
		"given":   {Options{Header: "time_ms,pressure_psi"}, []want{tv("1000,29.8", 1, 29.8, "psi", "")}, "header"},
		"pairs":   {Options{}, []want{tv("t_ms=1000 p=29.8 psi", 1, 29.8, "psi", ""), v("pressure: 30 psi gauge", 30, "psi", "gauge")}, "name and value"},
		"by unit": {Options{}, []want{{line: "T=21.5C P=101.3kPa", f: Fields{Value: 101.3, Unit: "kPa", HasTemp: true, Temp: 21.5}}, v("A0: 2.5 V", 2.5, "V", "")}, "A0"},
		"plotter": {Options{}, []want{{line: "pressure_kPa:101.5,temp:21.2", f: Fields{Value: 101.5, Unit: "kPa", HasTemp: true, Temp: 21.2}}}, "name and value"},
		"json": {Options{}, []want{{line: `{"t_ms":1000,"pressure":2.05,"unit":"bar","reads":"absolute","temp_c":20}`,
			f: Fields{HasTime: true, Time: 1, Value: 2.05, Unit: "bar", Reference: "absolute", HasTemp: true, Temp: 20}}}, "JSON"},
	} {
		t.Run(name, func(t *testing.T) {
			d := NewLineDecoder(c.opt)
			for _, w := range c.rows {
				f, err := d.Decode(w.line)
				if w.skip {
					if !errors.Is(err, ErrSkip) {
						t.Errorf("%q: want it skipped, got %+v, %v", w.line, f, err)
					}
					continue
				}
				if err != nil {
					t.Errorf("%q: %v", w.line, err)
					continue
				}
				if math.Abs(f.Time-w.f.Time) < 1e-12 {
					f.Time = w.f.Time
				}
				if f != w.f {
					t.Errorf("%q: got %+v, want %+v", w.line, f, w.f)
				}
			}
			if !strings.Contains(d.Detected(), c.says) {
				t.Errorf("Detected() = %q, want it to say %q", d.Detected(), c.says)
			}
		})
	}
}

func TestDecodeRefuses(t *testing.T) {
	for _, l := range []string{"nan", "inf", "-Inf", "1e999", "0x10", "29.8 furlongs", "ready", "1,2,3", "1.2.3", "p=nan", "{", `{"p":"x"}`,
		"29.8\xff", "pressure sensor ready", "3 MPa", "p_MPa=3", "firmware: 2", "=", ":", "1=", ",", ";", "\t1\t", "--5"} {
		if f, err := NewLineDecoder(Options{}).Decode(l); err == nil || errors.Is(err, ErrSkip) {
			if l == "\t1\t" && err == nil && f.Value == 1 {
				continue // blanks around a number are no fault
			}
			t.Errorf("%q: got %+v, %v; want a refusal", l, f, err)
		}
	}
	d := NewLineDecoder(Options{})
	for i, l := range []string{"20 29.8", "20 29.7", "20 29.8", "20 29.7", "20 29.6"} {
		_, err := d.Decode(l)
		if i == 4 && err == nil {
			t.Error("a first number that never rises was taken for a clock")
		}
	}
}

func TestClock(t *testing.T) {
	day := func(s string) time.Duration {
		v, err := time.Parse(time.RFC3339Nano, s)
		if err != nil {
			t.Fatal(err)
		}
		return time.Duration(v.UnixNano())
	}
	for in, want := range map[string]time.Duration{
		"12:34:56.7": 12*time.Hour + 34*time.Minute + 56700*time.Millisecond, "00:00:01,25": 1250 * time.Millisecond,
		"34:56.7": 34*time.Minute + 56700*time.Millisecond, "1:02:03 PM": 13*time.Hour + 2*time.Minute + 3*time.Second,
		"12:00:00 AM": 0, "26:00:00": 26 * time.Hour, "2024-02-29T23:59:59.5Z": day("2024-02-29T23:59:59.5Z"), "2024-03-01 00:00:00": day("2024-03-01T00:00:00Z"),
		"2024-05-01T12:00:00+02:00": day("2024-05-01T10:00:00Z"), "31.12.2025 12:00:00": day("2025-12-31T12:00:00Z"),
		"12/31/2025 12:00:00": day("2025-12-31T12:00:00Z"), "1969-12-31T23:59:59-0030": day("1970-01-01T00:29:59Z"),
	} {
		if got, _, ok := Clock(in); !ok || got != want {
			t.Errorf("%q: got %v, %v, want %v", in, got, ok, want)
		}
	}
	for _, in := range []string{"", "12", "1:2:3:4", "25:00:00x", "12:61:00", "2024-01-01", "a:b", "1.5", "13:00:00 PM", "2024-01-01 26:00:00"} {
		if got, _, ok := Clock(in); ok {
			t.Errorf("%q: taken for %v", in, got)
		}
	}
}

func TestNumber(t *testing.T) {
	for in, want := range map[string]float64{"1": 1, "-0.5": -.5, "+.25": .25, "1.5e3": 1500, "7.315": 7.315, "123456789012345678901": 123456789012345678901., "0.1": .1} {
		if got, ok := Number(in, false); !ok || got != want {
			t.Errorf("%q: %v, %v", in, got, ok)
		}
	}
	for in, want := range map[string]float64{"1,5": 1.5, "1.234,5": 1234.5, "1,234.5": 1234.5, "-1,5e2": -150} {
		if got, ok := Number([]byte(in), true); !ok || got != want {
			t.Errorf("%q: %v, %v", in, got, ok)
		}
	}
	for _, in := range []string{"", "-", ".", "1,5", "nan", "1e400", "1_0", "0x1", "1 2", "1..2"} {
		if got, ok := Number(in, false); ok {
			t.Errorf("%q: taken for %v", in, got)
		}
	}
}

func FuzzSplitter(f *testing.F) {
	f.Add([]byte("a\r\nb\rc\n"), uint8(3))
	f.Fuzz(func(t *testing.T, b []byte, n uint8) { checkSplitter(t, b, n) })
}

func checkSplitter(t testing.TB, b []byte, n uint8) {
	t.Helper()
	whole := lines(string(b))
	var chunks []string
	for rest := string(b); rest != ""; {
		k := min(int(n%7)+1, len(rest))
		chunks, rest = append(chunks, rest[:k]), rest[k:]
	}
	cut := lines(chunks...)
	if len(cut) != len(whole) {
		t.Fatalf("%d lines, cut %d", len(whole), len(cut))
	}
	for i := range cut {
		if cut[i] != whole[i] || len(cut[i].text) > MaxLine || strings.ContainsAny(cut[i].text, "\r\n") {
			t.Fatalf("line %d: %v, cut %v", i, whole[i], cut[i])
		}
	}
}

func FuzzLineDecoder(f *testing.F) {
	for _, s := range []string{"29.8 psi", "1000,512\n1100,511", "time_s,p_bar\n1,2\n2", `{"t":1,"p":2}`, "p=1 t=2:3:4", "12:34:56;1,5", "a:=1"} {
		f.Add(s)
	}
	f.Fuzz(func(t *testing.T, s string) { checkLines(t, s) })
}

func checkLines(t testing.TB, s string) {
	t.Helper()
	d := NewLineDecoder(Options{Unit: "kPa"})
	for _, l := range strings.Split(s, "\n") {
		got, err := d.Decode(l)
		if err == nil && (!finite(got.Value) || !finite(got.Time) || !finite(got.Temp) || !finite(got.Supply)) {
			t.Fatalf("%q gave %+v", l, got)
		}
		if err != nil && got != (Fields{}) {
			t.Fatalf("%q gave both %+v and %v", l, got, err)
		}
		if err == nil && len(l) <= 80 && !strings.Contains(l, `\`) && !sent(l, got.Value) {
			t.Fatalf("%q gave %v, which was not sent", l, got.Value)
		}
	}
	if d.Detected() == "" {
		t.Fatal("nothing said")
	}
}

func BenchmarkDecode(b *testing.B) {
	d := NewLineDecoder(Options{})
	d.Decode("time_ms,pressure_psi")
	b.ReportAllocs()
	for b.Loop() {
		if _, err := d.Decode("123456,29.81"); err != nil {
			b.Fatal(err)
		}
	}
}

// Rows with a decimal point have shown what their comma means, whatever the
// clock does before a value comes without one.
func TestCommaAfterAPoint(t *testing.T) {
	d := NewLineDecoder(Options{Unit: "psi", TimeUnit: "ms"})
	for _, c := range []struct {
		line string
		want float64
	}{{"4294966800,0.25", 0.25}, {"4294967000,1", 1}, {"4294967200,0.5", 0.5}, {"104,0", 0}, {"90,2", 2}} {
		if f, err := d.Decode(c.line); err != nil || f.Value != c.want || !f.HasTime {
			t.Errorf("%q: %+v, %v", c.line, f, err)
		}
	}
}
