package trace

import (
	"encoding/csv"
	"errors"
	"fmt"
	"math"
	"os"
	"path/filepath"
	"strconv"
	"strings"
	"testing"
	"time"
	"unicode/utf16"

	"pgregory.net/rapid"

	"ebbline/decay"
	"ebbline/decay/record"
	"ebbline/sensor/wire"
)

func read(t *testing.T, text string, opt Options) Trace {
	t.Helper()
	tr, err := Read(strings.NewReader(text), "x.csv", opt)
	if err != nil {
		t.Fatalf("%.60q: %v", text, err)
	}
	return tr
}

// flat writes a trace as "seconds:kPa absolute" for comparison.
func flat(s []decay.Sample) string {
	var b strings.Builder
	for i, x := range s {
		if i > 0 {
			b.WriteByte(' ')
		}
		fmt.Fprintf(&b, "%g:%.4f", x.At.Seconds(), float64(x.P)/1e3)
	}
	return b.String()
}

func TestFormats(t *testing.T) {
	want := "0:200.0000 0.5:199.5000 1:199.0000"
	abs := decay.ReadsAbsolute
	for name, c := range map[string]struct {
		text string
		opt  Options
	}{
		"plain":          {"time_s,p_kPa_abs\n0,200\n0.5,199.5\n1,199\n", Options{}},
		"milliseconds":   {"time_ms,p_kPa_abs\n1000,200\n1500,199.5\n2000,199\n", Options{}},
		"any order":      {"x,p_kPa_abs,note,time_s\n1,200,a,10\n2,199.5,b,10.5\n3,199,c,11\n", Options{}},
		"semicolon":      {"Zeit_s;Druck [mbar abs]\n0,0;2000\n0,5;1995\n1,0;1990,0\n", Options{}},
		"tab":            {"temps (s)\tpression (bar abs)\n0\t2,000\n0,5\t1,995\n1\t1,99\n", Options{}},
		"quotes":         {"\"tiempo_s\",\"presión, kPa abs\"\n\"0\",\"200\"\n\"0,5\",\"199,5\"\n\"1\",\"199\"\n", Options{}},
		"CRLF, BOM":      {"\ufefftime_s,p_kPa_abs\r\n0,200\r\n0.5,199.5\r\n1,199\r\n", Options{}},
		"CR":             {"time_s,p_kPa_abs\r0,200\r0.5,199.5\r1,199", Options{}},
		"comments":       {"# made by hand\n\n\"# more\"\ntime_s,p_kPa_abs\n0,200\n# pause\n0.5,199.5\n\n1,199\n,\n", Options{}},
		"clock":          {"clock,p_kPa_abs\n12:34:56.5,200\n12:34:57.0,199.5\n12:34:57.5,199\n", Options{}},
		"midnight":       {"time,p_kPa_abs\n23:59:59.5,200\n00:00:00.0,199.5\n00:00:00.5,199\n", Options{}},
		"dates":          {"Date,time,p_kPa_abs\nx,2024-12-31T23:59:59.5Z,200\nx,2025-01-01T00:00:00Z,199.5\nx,2025-01-01T00:00:00.5Z,199\n", Options{}},
		"no header":      {"0,100\n0.5,99.5\n1,99\n", Options{Unit: "kPa gauge", Ambient: 100e3}},
		"no header, ms":  {"4000,200\n4500,199.5\n5000,199\n", Options{Unit: "kPa abs"}},
		"blanks":         {"0,0 200\n0,5 199,5\n1,0 199\n", Options{Unit: "kPa", Reads: &abs}},
		"gauge":          {"time_s,p_kPa_gauge\n0,110\n0.5,109.5\n1,109\n", Options{Ambient: 90e3, Reads: &abs}},
		"unit line":      {"Time,Pressure\n(s),(kPa)\n0,200\n0.5,199.5\n1,199\n", Options{Reads: &abs}},
		"title":          {"Hose on the bench\nRun of Monday; warm\ntime_s,p_kPa_abs\n0,200\n0.5,199.5\n1,199\n", Options{}},
		"stated unit":    {"time_s,value\n0,200\n0.5,199.5\n1,199\n", Options{Unit: "kPa abs"}},
		"epoch ms":       {"time,p_kPa_abs\n1700000000000,200\n1700000000500,199.5\n1700000001000,199\n", Options{}},
		"trailing comma": {"time_s,p_kPa_abs\n0,200,\n0.5,199.5,\n1,199,\n", Options{}},
		"JSON":           {"{\"t_ms\":1000,\"p_kpa_abs\":200}\n{\"t_ms\":1500,\"p_kpa_abs\":199.5}\n{\"t_ms\":2000,\"p_kpa_abs\":199}\n", Options{}},
		"JSON, bare t":   {"{\"t\":1000,\"p_kpa_abs\":200}\n{\"t\":1500,\"p_kpa_abs\":199.5}\n{\"t\":2000,\"p_kpa_abs\":199}\n", Options{}},
		"temperature":    {"t_s,T_gas_K,p_bar_abs\n0,293,2\n0.5,293,1.995\n1,293,1.99\n", Options{}},
	} {
		t.Run(name, func(t *testing.T) {
			tr := read(t, c.text, c.opt)
			if got := flat(tr.Samples); got != want {
				t.Errorf("got %s, want %s", got, want)
			}
			if tr.Rows != 3 || tr.BadRows != 0 || len(tr.Flags) != 0 || !tr.ReadsStated {
				t.Errorf("rows %d, bad %d, flags %v, warnings %v, stated %v", tr.Rows, tr.BadRows, tr.Flags, tr.Warnings, tr.ReadsStated)
			}
		})
	}
	u := utf16.Encode([]rune("\ufefftime_s\tp_kPa_abs\r\n0\t200\r\n0,5\t199,5\r\n1\t199\r\n"))
	var b []byte
	for _, x := range u {
		b = append(b, byte(x), byte(x>>8))
	}
	if got := flat(read(t, string(b), Options{}).Samples); got != want {
		t.Errorf("UTF-16: got %s", got)
	}
}

func TestUnits(t *testing.T) {
	for unit, pa := range map[string]float64{"psi": 6894.757293168, "bar": 1e5, "mbar": 100, "hPa": 100, "kPa": 1e3, "Pa": 1, "inHg": 3386.388640341, "kgf/cm2": 98066.5} {
		tr := read(t, "time_s;p ("+unit+") abs\n0;1\n1;3\n", Options{})
		if got := float64(tr.Samples[1].P); math.Abs(got-3*pa) > 1e-9*pa || math.Abs(tr.Quantum-2*pa) > 1e-9*pa {
			t.Errorf("%s: 3 of them are %g Pa, the step %g", unit, got, tr.Quantum)
		}
	}
}

func hasFlag(tr Trace, f decay.Flag) bool {
	for _, x := range tr.Flags {
		if x == f {
			return true
		}
	}
	return false
}

func warned(tr Trace, code string) string {
	for _, w := range tr.Warnings {
		if w.Code == code {
			return w.Text
		}
	}
	return ""
}

func TestFlaws(t *testing.T) {
	const head = "time_s,p_kPa_abs\n"
	for name, c := range map[string]struct {
		rows, want string
		flag       decay.Flag
		code, says string
		bad        int
	}{
		"unsorted": {"0,1\n2,3\n1,2\n", "0:1.0000 1:2.0000 2:3.0000", decay.FlagUnsorted, "unsorted", "backwards", 0},
		"doubled":  {"0,1\n1,2\n1,9\n2,3\n3,3\n4,3\n", "0:1.0000 1:2.0000 2:3.0000 3:3.0000 4:3.0000", decay.FlagDoubled, "doubled", "first", 0},
		"bad": {"0,1\nx,2\n1,NaN\n2\n2,3\n3,inf\n1,2,3\n", "0:1.0000 2:3.0000", decay.FlagBadRows, "bad-rows",
			"line 3, where the time is", 5},
		"coarse": {"0,4\n0,3\n1,2\n1,1\n", "0:4.0000 0.5:3.0000 1:2.0000 1.5:1.0000", decay.FlagDoubled, "coarse-clock", "evenly", 0},
		"far":    {"0,1\n1e12,2\n1,3\n", "0:1.0000 1:3.0000", decay.FlagBadRows, "bad-rows", "too far", 1},
	} {
		tr := read(t, head+c.rows, Options{})
		if got := flat(tr.Samples); got != c.want {
			t.Errorf("%s: got %s, want %s", name, got, c.want)
		}
		if !hasFlag(tr, c.flag) || !strings.Contains(warned(tr, c.code), c.says) || tr.BadRows != c.bad {
			t.Errorf("%s: flags %v, warnings %v, bad %d", name, tr.Flags, tr.Warnings, tr.BadRows)
		}
	}
	tr := read(t, "time_s,p_kPa\n0,1\n1,2\n", Options{})
	if tr.ReadsStated || tr.Reads != decay.ReadsGauge || warned(tr, "reference-assumed") == "" || math.Abs(float64(tr.Samples[0].P)-102325) > 1e-6 {
		t.Errorf("nothing said of gauge or absolute: got %+v", tr)
	}
	if tr := read(t, "time,p_kPa\n0,1\n100,2\n2000,2\n9900,2\n", Options{}); warned(tr, "time-assumed") == "" || tr.Samples[3].At != 9900*time.Millisecond {
		t.Errorf("times without unit: got %+v", tr)
	}
}

func TestErrors(t *testing.T) {
	for name, c := range map[string]struct {
		text      string
		opt       Options
		line      int
		msg, hint string
	}{
		"empty":       {"", Options{}, 0, "empty", ""},
		"comments":    {"# a\n\n# b\n", Options{}, 0, "empty", ""},
		"no pressure": {"# c\ntime_s,T_gas_K\n0,293\n1,293\n", Options{}, 2, `no pressure column; found "time_s", "T_gas_K"`, "name the column"},
		"long form":   {"quantity,t_s,value\np,0,1\np,1,2\n", Options{}, 1, "no pressure column", "name"},
		"no time":     {"p_kPa,x\n1,2\n3,4\n", Options{}, 1, "no time column", "time_s"},
		"no unit":     {"time_s,pressure\n0,1\n", Options{}, 1, "does not name a unit", "--unit"},
		"no names":    {"0,1\n1,2\n", Options{}, 1, "unit of the pressure is not stated", "--unit"},
		"three":       {"\n0,1,2\n1,2,3\n", Options{Unit: "psi"}, 2, "3 columns and no names", "first line"},
		"one column":  {"1\n2\n", Options{Unit: "psi"}, 1, "no time", "time"},
		"odd unit":    {"time_s,p_MPa\n0,1\n", Options{}, 1, "mpa", "known are"},
		"volts":       {"time_s,sensor_V\n0,1\n", Options{}, 1, "no pressure column", "calibrate"},
		"all bad":     {"time_s,p_kPa\n0,x\n1,y\n", Options{}, 2, "none of the 2 rows", "number"},
		"comma twice": {"time_s,p_kPa\n0,0,100,5\n0,1,100,4\n", Options{}, 2, "more cells", "decimal"},
		"no rows":     {"time_s,p_kPa\n", Options{}, 1, "no rows", "end"},
		"text":        {"hello\nthere\n", Options{}, 1, "no column names", "table"},
		"unit option": {"0,1\n", Options{Unit: "furlong"}, 0, "furlong", "psi"},
		"json volts":  {`{"t_s":1,"v":1,"unit":"V"}`, Options{}, 1, "in V", "calibrate"},
	} {
		tr, err := Read(strings.NewReader(c.text), "x.csv", c.opt)
		var e *Error
		if !errors.As(err, &e) {
			t.Errorf("%s: got %v, %v", name, tr, err)
			continue
		}
		if e.Line != c.line || !strings.Contains(e.Msg, c.msg) || !strings.Contains(e.Hint, c.hint) || !strings.HasPrefix(err.Error(), "x.csv:") {
			t.Errorf("%s: got line %d, %v, hint %q", name, e.Line, err, e.Hint)
		}
	}
}

// reference reads a published file with the standard library's reader.
func reference(t *testing.T, path string) (at, v []float64) {
	f, err := os.Open(path)
	if err != nil {
		t.Fatal(err)
	}
	defer f.Close()
	r := csv.NewReader(f)
	r.Comment = '#'
	rows, err := r.ReadAll()
	if err != nil {
		t.Fatal(err)
	}
	for _, row := range rows[1:] {
		a, err1 := strconv.ParseFloat(row[0], 64)
		b, err2 := strconv.ParseFloat(row[1], 64)
		if err1 != nil || err2 != nil {
			t.Fatal(row)
		}
		at, v = append(at, a), append(v, b)
	}
	return at, v
}

func TestPublishedTracesAgreeWithAnIndependentReader(t *testing.T) {
	files, _ := filepath.Glob("../../testdata/published/chamber_decay_*.csv")
	if len(files) != 3 {
		t.Fatalf("found %d chamber files", len(files))
	}
	files = append(files, "../../testdata/published/air_blowdown_16L_790kPa_2p71mm.csv")
	for _, path := range files {
		f, err := os.Open(path)
		if err != nil {
			t.Fatal(err)
		}
		tr, err := Read(f, path, Options{})
		f.Close()
		if err != nil {
			t.Error(err)
			continue
		}
		at, v := reference(t, path)
		shift := 101325.0
		if strings.Contains(path, "blowdown") {
			shift = 0
		}
		if len(tr.Samples) != len(at) || tr.BadRows != 0 || !tr.ReadsStated || (tr.Reads == decay.ReadsGauge) != (shift > 0) {
			t.Errorf("%s: %d samples of %d, %d bad, flags %v", path, len(tr.Samples), len(at), tr.BadRows, tr.Flags)
			continue
		}
		for i, s := range tr.Samples {
			if math.Abs(s.At.Seconds()-(at[i]-at[0])) > 1e-8 || math.Abs(float64(s.P)-(v[i]*1e5+shift)) > 1e-6 {
				t.Fatalf("%s row %d: got %v, %v; want %g s, %g bar", path, i, s.At, s.P, at[i], v[i])
			}
		}
	}
	for _, name := range []string{"orifice_table_air_cfm.csv", "air_blowdown_16L_790kPa_2p71mm_gastemp.csv", "air_charge_16L_from_3p7kPa_2p71mm.csv"} {
		f, err := os.Open("../../testdata/published/" + name)
		if err != nil {
			t.Fatal(err)
		}
		var e *Error
		if _, err := Read(f, name, Options{}); !errors.As(err, &e) || e.Line == 0 {
			t.Errorf("%s holds no trace of pressure over time, yet: %v", name, err)
		}
		f.Close()
	}
}

func TestRecords(t *testing.T) {
	samples := []decay.Sample{{At: 0, P: 200e3}, {At: time.Second / 2, P: 199.5e3}, {At: time.Second, P: 199e3}}
	write := func(set decay.Setup) string {
		var b strings.Builder
		if err := record.Write(&b, record.Record{Label: "hose", When: time.Unix(1e9, 0), Setup: set, Samples: samples}); err != nil {
			t.Fatal(err)
		}
		return b.String()
	}
	text := write(decay.Setup{Volume: 0.01})
	tr := read(t, text, Options{})
	if got := flat(tr.Samples); got != "0:200.0000 0.5:199.5000 1:199.0000" || tr.Setup == nil || tr.Setup.Volume != 0.01 || math.Abs(tr.Quantum-500) > 1e-6 {
		t.Errorf("got %s, %+v", got, tr)
	}
	tr = read(t, text, Options{Ambient: 91325})
	if got := float64(tr.Samples[0].P); math.Abs(got-190e3) > 1e-6 || tr.Setup.Ambient != 91325 {
		t.Errorf("a lower ambient than the record assumed: got %g Pa", got)
	}
	tr = read(t, write(decay.Setup{Ambient: 95e3}), Options{Ambient: 91325})
	if got := float64(tr.Samples[0].P); math.Abs(got-200e3) > 1e-6 || warned(tr, "ambient-from-header") == "" {
		t.Errorf("the record's own ambient: got %g Pa, %v", got, tr.Warnings)
	}
	cut := strings.Index(text, "199.5")
	tr = read(t, text[:cut+3], Options{})
	if len(tr.Samples) != 1 || warned(tr, "torn") == "" {
		t.Errorf("a torn record: got %+v", tr)
	}
	var e *Error
	if _, err := Read(strings.NewReader("ebbline-record of nothing\n"), "x", Options{}); !errors.As(err, &e) {
		t.Errorf("not a record: %v", err)
	}
}

// However a table is written, it reads the same.
func TestStylesAgree(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		n := rapid.IntRange(1, 30).Draw(t, "rows")
		var at, p []int
		now := 0
		for range n {
			at, p = append(at, now), append(p, rapid.IntRange(-5000, 300000).Draw(t, "p"))
			now += rapid.IntRange(1, 5000).Draw(t, "step")
		}
		write := func(delim, mark, end, quote string) string {
			var b strings.Builder
			b.WriteString(quote + "time_s" + quote + delim + quote + "p_kPa_abs" + quote + end)
			for i := range at {
				num := func(v int) string {
					s := strconv.FormatFloat(float64(v)/1000, 'f', 3, 64)
					return quote + strings.Replace(s, ".", mark, 1) + quote
				}
				b.WriteString(num(at[i]) + delim + num(p[i]) + end)
			}
			return b.String()
		}
		want, err := Read(strings.NewReader(write(",", ".", "\n", "")), "a", Options{})
		if err != nil {
			t.Fatal(err)
		}
		if len(want.Samples) != n || want.Samples[n-1].At != time.Duration(at[n-1])*time.Millisecond {
			t.Fatalf("%d samples of %d, the last at %v", len(want.Samples), n, want.Samples[n-1].At)
		}
		delim := rapid.SampledFrom([]string{";", "\t"}).Draw(t, "delim")
		end := rapid.SampledFrom([]string{"\n", "\r\n", "\r"}).Draw(t, "end")
		quote := rapid.SampledFrom([]string{"", `"`}).Draw(t, "quote")
		got, err := Read(strings.NewReader(write(delim, ",", end, quote)), "b", Options{})
		if err != nil {
			t.Fatal(err)
		}
		if flat(got.Samples) != flat(want.Samples) {
			t.Fatalf("got %s, want %s", flat(got.Samples), flat(want.Samples))
		}
	})
}

// The fast way reads a row as the slow way does, or leaves it.
func TestPlainRow(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		row := rapid.StringMatching(`-?[0-9]{0,9}[.,]?[0-9]{0,9}[,;]-?[0-9]{0,9}[.,e ]?[0-9]{0,9}`).Draw(t, "row")
		for _, delim := range []byte{',', ';'} {
			a, b, ok := plainRow([]byte(row), delim)
			if !ok {
				continue
			}
			cells := cut([]byte(row), delim)
			x, ok1 := wire.Number(cells[0], delim != ',')
			y, ok2 := wire.Number(cells[1], delim != ',')
			if len(cells) != 2 || !ok1 || !ok2 || a != x || b != y {
				t.Fatalf("%q: %g, %g; cell by cell %q", row, a, b, cells)
			}
		}
	})
	for row, want := range map[string][2]float64{"1.5,-2.25": {1.5, -2.25}, "0,0": {0, 0}} {
		if a, b, ok := plainRow([]byte(row), ','); !ok || a != want[0] || b != want[1] {
			t.Errorf("%q: %g, %g, %v", row, a, b, ok)
		}
	}
	if a, b, ok := plainRow([]byte("0;1,5"), ';'); !ok || a != 0 || b != 1.5 {
		t.Errorf("decimal comma: %g, %g, %v", a, b, ok)
	}
}

func FuzzTrace(f *testing.F) {
	for _, s := range []string{"time_s,p_kPa\n0,1\n1,2\n", "0;1,5\n1;2\n", "\"t\",\"p bar\"\r0,\"1\r", "{\"t_s\":1,\"p_kpa\":2}", "clock\tpsi\n23:59:59\t1\n0:0:0\t2",
		"ebbline-capture 1\n", "ebbline-record 1\n", "\xff\xfet\x00", "Time,Pressure\ns,psi\n1,2"} {
		f.Add([]byte(s), "psi")
	}
	f.Fuzz(func(t *testing.T, b []byte, unit string) {
		tr, err := Read(strings.NewReader(string(b)), "f", Options{Unit: unit})
		if err != nil {
			var e *Error
			if !errors.As(err, &e) || e.Msg == "" {
				t.Fatalf("error without a message: %v", err)
			}
			return
		}
		if len(tr.Samples) == 0 || tr.Unit == "" {
			t.Fatal("neither samples nor an error")
		}
		for i, s := range tr.Samples {
			if math.IsNaN(float64(s.P)) || math.IsInf(float64(s.P), 0) || s.At < 0 || i > 0 && s.At < tr.Samples[i-1].At {
				t.Fatalf("sample %d is %v", i, s)
			}
		}
	})
}

func bench(b *testing.B, row func(i int) string) {
	var sb strings.Builder
	for i := range 10000 {
		sb.WriteString(row(i))
	}
	text := sb.String()
	b.ReportAllocs()
	b.SetBytes(int64(len(text)))
	for b.Loop() {
		if tr, err := Read(strings.NewReader(text), "x", Options{Unit: "kPa"}); err != nil || len(tr.Samples) != 10000 {
			b.Fatal(err)
		}
	}
}

func BenchmarkPlain(b *testing.B) {
	bench(b, func(i int) string { return fmt.Sprintf("%.3f,%.4f\n", float64(i)/100, 205.3-float64(i)*1e-3) })
}

func BenchmarkClock(b *testing.B) {
	bench(b, func(i int) string {
		return fmt.Sprintf("\"2024-05-01T12:%02d:%02d.%02d\";\"%d,%03d\"\r\n", i/6000, i/100%60, i%100, 200, i%1000)
	})
}
