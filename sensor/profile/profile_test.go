package profile

import (
	"errors"
	"math"
	"os"
	"path/filepath"
	"reflect"
	"runtime"
	"strings"
	"testing"
	"time"

	"pgregory.net/rapid"

	"ebbline/decay"
	"ebbline/sensor/calib"
	"ebbline/sensor/wire"
)

const sample = `# my notes
default = "bench"

# the blue one
[profile.bench]
sensor = "30 psi, blue cable"   # bought used
port = "/dev/ttyUSB0"
baud = 115200
unit = "counts"
columns = "time_ms,counts"
decimal = "comma"
reads = "gauge"
full_scale = "30psi"
zero_tolerance = "0.5%"
span_tolerance = "1%"
noise = "0.02psi"
ceiling = "25psi"
volume = "10L±3%"
limit = "0.5mm"

[profile.bench.calibration]
kind = "ratiometric"
low = { signal = "0.5V", pressure = "0psi" }
high = { signal = "4.5V", pressure = "30psi" }
supply = "5V"
bits = 10
zero = "0.1psi"
date = "2026-11-25"
points = [
  { signal = "0.51V", pressure = "0psi" },
  { signal = "4.49V", pressure = "30psi" },
]

# an old one
[profile."old absolute"]
reads = "absolute"

[profile."old absolute".calibration]
kind = "counts"
low = { signal = "40 counts", pressure = "20kPa" }
high = { signal = "980 counts", pressure = "2.5 bar abs" }
`

func parse(t *testing.T, text string) *Set {
	t.Helper()
	s, err := Parse("f.toml", []byte(text))
	if err != nil {
		t.Fatal(err)
	}
	return s
}

func TestParse(t *testing.T) {
	psi := decay.PSI // a variable: the constant would be multiplied exactly
	s := parse(t, sample)
	if s.Default != "bench" || strings.Join(s.Names(), "|") != "bench|old absolute" {
		t.Fatalf("got %q, %q", s.Default, s.Names())
	}
	b := s.Get("bench")
	want := &Profile{
		Name: "bench", Sensor: "30 psi, blue cable", Port: "/dev/ttyUSB0", Baud: 115200, Unit: "counts", Lines: wire.Options{Header: "time_ms,counts", DecimalComma: true},
		ReadsStated: true, FullScale: 30 * psi, ZeroTolerance: 0.005, SpanTolerance: 0.01, Noise: 0.02 * psi,
		Ceiling: decay.Gauge(25 * psi), Volume: 10 * decay.Litre, VolumeTolerance: 0.03, Limit: 0.5 * decay.Millimetre,
		Calibrated: time.Date(2026, 11, 25, 0, 0, 0, 0, time.UTC), In: decay.PressureUnit{Name: "psi", Pascal: decay.PSI},
		Calibration: &calib.Calibration{Kind: calib.Ratiometric, Low: calib.Point{Signal: 0.5}, High: calib.Point{Signal: 4.5, Pressure: 30 * psi},
			Zero: 0.1 * psi, Top: 30 * psi, Supply: 5, Bits: 10},
		Points: []calib.Point{{Signal: 0.51}, {Signal: 4.49, Pressure: 30 * psi}},
	}
	if !reflect.DeepEqual(b, want) {
		t.Errorf("got  %+v\nwant %+v\n%+v\n%+v", b, want, b.Calibration, want.Calibration)
	}
	o := s.Get("old absolute")
	if c := o.Calibration; c.Reads != decay.ReadsAbsolute || c.High.Pressure != 2.5*decay.Bar || c.Low.Pressure != 20e3 || c.Top != 0 {
		t.Errorf("got %+v", c)
	}
	set := b.Setup(decay.Setup{Cd: 0.7})
	if set.Cd != 0.7 || set.Ceiling != decay.Gauge(25*psi) || set.FullScale != 30*psi || set.VolumeTolerance != 0.03 {
		t.Errorf("got %+v", set)
	}
}

func TestErrorsSayWhereAndWhat(t *testing.T) {
	const p = "[profile.a]\n"
	const cal = p + "[profile.a.calibration]\nkind = \"volts\"\nlow = { signal = \"0V\", pressure = \"0psi\" }\n"
	for name, c := range map[string]struct{ text, where, msg, hint string }{
		"unknown key":     {p + "celing = \"30psi\"\n", "f.toml:2:1", `unknown key "celing"`, "did you mean ceiling?"},
		"in a list":       {cal + "points = [ { signal = \"1V\", presure = \"1psi\" } ]\n", "f.toml:5:29", `"presure"`, "did you mean pressure?"},
		"at the top":      {"\n  defualt = \"a\"\n", "f.toml:2:3", `"defualt"`, "did you mean default?"},
		"in calibration":  {cal + "sigma = 3\n", "f.toml:5:1", `"sigma"`, "known in a calibration: kind, low"},
		"in a point":      {cal + "high = { signl = \"1V\", pressure = \"1psi\" }\n", "f.toml:5:10", `"signl"`, "signal"},
		"no unit":         {p + "baud = 9600\nceiling = \"30\"\n", "f.toml:3:1", "no unit", "ceiling ="},
		"no quotes":       {p + "ceiling = 30\n", "f.toml:2:", "ceiling", "in quotes"},
		"baud in quotes":  {p + "baud = \"9600\"\n", "f.toml:2:", "baud", "without quotes"},
		"baud":            {p + "baud = 3\n", "f.toml:2:1", "no baud rate", "115200"},
		"not TOML":        {p + "ceiling = \n", "f.toml:2:", "", "one key"},
		"twice":           {p + "baud = 9600\nbaud = 9600\n", "f.toml:3:", "", ""},
		"reads":           {p + "reads = \"abs\"\n", "f.toml:2:1", "neither", "absolute"},
		"absolute 30psig": {p + "reads = \"absolute\"\nfull_scale = \"30psig\"\n", "f.toml:3:1", "absolute", ""},
		"gauge 30psia":    {p + "full_scale = \"30psia\"\n", "f.toml:2:1", "absolute", ""},
		"zero tolerance":  {p + "zero_tolerance = \"1%\"\n", "f.toml:2:1", "full scale", "full_scale"},
		"unit":            {p + "unit = \"furlong\"\n", "f.toml:2:1", "furlong", "psi"},
		"line end":        {p + "port = \"a\\nb\"\n", "f.toml:2:1", "line end", ""},
		"modbus":          {p + "modbus = \"address=1\"\n", "f.toml:2:1", "unit", "function=4"},
		"delimiter":       {p + "delimiter = \";\"\n", "f.toml:2:1", "delimiter", "semicolon"},
		"decimal":         {p + "decimal = \",\"\n", "f.toml:2:1", "decimal", "comma"},
		"time unit":       {p + "time_unit = \"h\"\n", "f.toml:2:1", "time_unit", "ms"},
		"volume":          {p + "volume = \"10\"\n", "f.toml:2:1", "volume", "10L"},
		"limit":           {p + "limit = \"3m\"\n", "f.toml:2:1", "no leak", "0.5mm"},
		"ceiling":         {p + "ceiling = \"300bar\"\n", "f.toml:2:1", "no charge pressure", ""},
		"default":         {"default = \"b\"\n" + p, "f.toml:1:1", `no profile "b"`, "name one of: a"},
		"no profiles":     {"default = \"b\"\n", "f.toml:1:1", `no profile "b"`, "ebbline calibrate"},
		"one point":       {cal, "f.toml:2:12", "high", "high ="},
		"same signal":     {cal + "high = { signal = \"0V\", pressure = \"1psi\" }\n", "f.toml:2:12", "both points", "ebbline calibrate --profile a"},
		"counts as volts": {cal + "high = { signal = \"900 counts\", pressure = \"1psi\" }\n", "f.toml:5:10", "not in volts", "0.5V"},
		"kind":            {p + "[profile.a.calibration]\nkind = \"log\"\n", "f.toml:3:1", "kind", "ratiometric"},
		"date":            {cal + "high = { signal = \"1V\", pressure = \"1psi\" }\ndate = \"25.11.\"\n", "f.toml:6:1", "no date", "2026-11-25"},
		"reference":       {cal + "high = { signal = \"1V\", pressure = \"1psi\" }\nreference = \"own\"\n", "f.toml:6:1", "reference", "supply"},
		"bits":            {cal + "high = { signal = \"1V\", pressure = \"1psi\" }\nbits = 99999999999\n", "f.toml:6:1", "bits", ""},
		"infinite":        {cal + "high = { signal = \"1V\", pressure = \"1psi\" }\ndivider = inf\n", "f.toml:2:12", "out of range", ""},
		"name":            {"[profile.\"a/b\"]\n", "f.toml:1:10", "not the name", "letters"},
		"inside out":      {"profile = { a = { baud = 1 } }\n", "f.toml:1:19", "baud", ""},
		"too long":        {strings.Repeat("#\n", maxSize), "f.toml: ", "KiB", ""},
	} {
		_, err := Parse("f.toml", []byte(c.text))
		var e *Error
		if !errors.As(err, &e) {
			t.Errorf("%s: got %v", name, err)
			continue
		}
		if s := e.Error(); !strings.HasPrefix(s, c.where) || !strings.Contains(s, c.msg) || !strings.Contains(e.Hint, c.hint) {
			t.Errorf("%s: got %q, hint %q; want %q, %q, hint %q", name, s, e.Hint, c.where, c.msg, c.hint)
		}
	}
}

func TestPutKeepsEveryOtherByte(t *testing.T) {
	s := parse(t, sample)
	b := *s.Get("bench")
	b.Ceiling = 20 * decay.PSI
	if err := s.Put(&b, false); err != nil {
		t.Fatal(err)
	}
	got := string(s.Bytes())
	for _, keep := range []string{"# my notes\ndefault = \"bench\"\n\n# the blue one\n[profile.bench]\n", sample[strings.Index(sample, `[profile."old absolute"]`):]} {
		if !strings.Contains(got, keep) {
			t.Errorf("lost %q:\n%s", keep, got)
		}
	}
	if !strings.Contains(got, `ceiling = '20psi'`) && !strings.Contains(got, `ceiling = "20psi"`) || strings.Contains(got, "25psi") {
		t.Errorf("not changed:\n%s", got)
	}
	again := parse(t, got).Get("bench")
	if !sameProfile(again, &b) {
		t.Errorf("read back %+v %+v\nwant %+v %+v", again, again.Calibration, b, b.Calibration)
	}
	// A third, made the default.
	n := &Profile{Name: "née Ü", Baud: 9600}
	if err := s.Put(n, true); err != nil {
		t.Fatal(err)
	}
	if s.Default != n.Name || strings.Join(s.Names(), "|") != "bench|old absolute|née Ü" || strings.Count(string(s.Bytes()), "default") != 1 {
		t.Errorf("got %q %q\n%s", s.Default, s.Names(), s.Bytes())
	}
	if err := s.Put(&Profile{Name: "a]"}, false); err == nil {
		t.Error("a name that would break the file was taken")
	}
	// The first profile is the default.
	var empty Set
	if err := empty.Put(&Profile{Name: "x"}, false); err != nil || empty.Default != "x" || !strings.HasPrefix(string(empty.Bytes()), head+"default = \"x\"\n") {
		t.Errorf("got %v\n%s", err, empty.Bytes())
	}
	// A file written in one line can still be added to, anew.
	odd := parse(t, `profile = { a = { baud = 9600 }, b = { unit = "psi" } }`)
	if err := odd.Put(&Profile{Name: "a", Baud: 115200}, false); err != nil {
		t.Fatal(err)
	}
	if odd.Get("a").Baud != 115200 || odd.Get("b").Unit != "psi" {
		t.Errorf("got\n%s", odd.Bytes())
	}
}

// sameProfile compares to the nine digits that are written.
func sameProfile(a, b *Profile) bool {
	x, y := *a, *b
	near := func(p, q float64) bool { return math.Abs(p-q) <= 1e-7*(math.Abs(p)+math.Abs(q)+1e-9) }
	ok := near(x.FullScale, y.FullScale) && near(x.Noise, y.Noise) && near(float64(x.Ceiling), float64(y.Ceiling)) &&
		near(float64(x.Volume), float64(y.Volume)) && near(float64(x.Limit), float64(y.Limit)) &&
		near(x.ZeroTolerance, y.ZeroTolerance) && near(x.SpanTolerance, y.SpanTolerance) && near(x.VolumeTolerance, y.VolumeTolerance) &&
		len(x.Points) == len(y.Points) && (x.Calibration == nil) == (y.Calibration == nil)
	if c, d := x.Calibration, y.Calibration; ok && c != nil {
		ok = c.Kind == d.Kind && c.Reads == d.Reads && c.Bits == d.Bits && near(c.Supply, d.Supply) && near(c.Reference, d.Reference) && near(c.Divider, d.Divider) &&
			near(c.Low.Signal, d.Low.Signal) && near(c.High.Signal, d.High.Signal) && near(c.Low.Pressure, d.Low.Pressure) && near(c.High.Pressure, d.High.Pressure) &&
			near(c.Zero, d.Zero) && near(c.Bottom, d.Bottom) && near(c.Top, d.Top)
	}
	return ok && x.Name == y.Name && x.Sensor == y.Sensor && x.Port == y.Port && x.Baud == y.Baud && x.Unit == y.Unit &&
		x.Lines == y.Lines && reflect.DeepEqual(x.Modbus, y.Modbus) && x.Reads == y.Reads && x.ReadsStated == y.ReadsStated && x.Calibrated.Equal(y.Calibrated)
}

func anyProfile(t *rapid.T) *Profile {
	num := func(lo, hi float64, name string) float64 { return rapid.Float64Range(lo, hi).Draw(t, name) }
	maybe := func(v float64, name string) float64 {
		if rapid.Bool().Draw(t, "has "+name) {
			return v
		}
		return 0
	}
	p := &Profile{
		Name:   rapid.SampledFrom([]string{"a", "b", "left rig", "Prüfstand 2", "x.y", "1"}).Draw(t, "name"),
		Sensor: rapid.StringMatching(`[ -~äöü"']{0,20}`).Draw(t, "sensor"), Port: rapid.SampledFrom([]string{"", "COM5", `C:\x`, "/dev/ttyUSB0"}).Draw(t, "port"),
		Baud: rapid.SampledFrom([]int{0, 9600, 115200}).Draw(t, "baud"), Lines: wire.Options{DecimalComma: rapid.Bool().Draw(t, "comma"), Delim: rapid.SampledFrom([]string{"", ";", "\t", " "}).Draw(t, "delim")},
		ReadsStated: rapid.Bool().Draw(t, "stated"),
		FullScale:   num(1e4, 1e6, "full"), SpanTolerance: maybe(num(1e-4, 0.5, "span"), "span"), Noise: maybe(num(1, 1e3, "noise"), "noise"),
		Ceiling: decay.Gauge(maybe(num(2e3, 9e5, "ceiling"), "ceiling")), Limit: decay.Length(maybe(num(1e-5, 0.01, "limit"), "limit")),
		In: rapid.SampledFrom(append([]decay.PressureUnit{{}}, decay.PressureUnits...)).Draw(t, "in"),
	}
	if p.ReadsStated {
		p.Reads = decay.Reference(rapid.IntRange(0, 1).Draw(t, "reads"))
	}
	if v := maybe(num(1e-5, 0.1, "volume"), "volume"); v > 0 {
		p.Volume, p.VolumeTolerance = decay.Volume(v), maybe(num(1e-3, 0.5, "tolerance"), "tolerance")
	}
	if rapid.Bool().Draw(t, "polled") {
		m, err := wire.ParseModbusMap("address=3 unit=counts type=uint16 scale=0.5")
		if err != nil {
			t.Fatal(err)
		}
		p.Modbus = &m
	}
	if rapid.Bool().Draw(t, "calibrated") {
		c := calib.Preset(p.Reads, p.FullScale)
		c.Kind = calib.Kind(rapid.IntRange(1, 3).Draw(t, "kind"))
		c.Low = calib.Point{Signal: num(-1, 1, "x"), Pressure: num(-1e4, 1e4, "p")}
		c.High = calib.Point{Signal: num(2, 1000, "X"), Pressure: num(2e4, 1e6, "P")}
		c.Zero, c.Bits, c.Divider = maybe(num(1, 1e4, "zero"), "zero"), rapid.IntRange(0, 24).Draw(t, "bits"), maybe(num(0.5, 4, "divider"), "divider")
		c.Reference = maybe(num(1, 5, "reference"), "reference")
		p.Calibration, p.Points = c, []calib.Point{c.Low}
		p.Calibrated = time.Date(2026, 1, rapid.IntRange(1, 31).Draw(t, "day"), 0, 0, 0, 0, time.UTC)
	}
	return p
}

// What is put is read back, and nothing else changes, in any order.
func TestPutReadsBack(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		s := &Set{}
		last := map[string]*Profile{}
		for range rapid.IntRange(1, 5).Draw(t, "n") {
			p := anyProfile(t)
			if err := s.Put(p, rapid.Bool().Draw(t, "default")); err != nil {
				t.Fatalf("%v\n%+v\n%s", err, p, s.Bytes())
			}
			last[p.Name] = p
		}
		again, err := Parse("f", s.Bytes())
		if err != nil || len(again.Profiles) != len(last) || again.Get(again.Default) == nil {
			t.Fatalf("%v\n%s", err, s.Bytes())
		}
		for name, p := range last {
			if got := again.Get(name); !sameProfile(got, p) {
				t.Fatalf("got  %+v %+v\nwant %+v %+v\n%s", got, got.Calibration, p, p.Calibration, s.Bytes())
			}
		}
	})
}

func TestFile(t *testing.T) {
	path := filepath.Join(t.TempDir(), "sub", "profiles.toml")
	if s, err := Load(path); err != nil || len(s.Profiles) != 0 {
		t.Fatalf("a file that is not there: %+v, %v", s, err)
	}
	for _, name := range []string{"a", "b"} {
		if _, err := Update(path, &Profile{Name: name, Baud: 9600}, false); err != nil {
			t.Fatal(err)
		}
	}
	s, err := Load(path)
	if err != nil || s.Default != "a" || len(s.Profiles) != 2 {
		t.Fatalf("got %+v, %v", s, err)
	}
	st, err := os.Stat(path)
	if err != nil || runtime.GOOS != "windows" && st.Mode().Perm() != 0o600 {
		t.Errorf("mode %v, %v", st.Mode(), err)
	}
	left, _ := filepath.Glob(filepath.Join(filepath.Dir(path), ".profiles-*"))
	if len(left) > 0 {
		t.Errorf("left behind: %v", left)
	}
	// A broken file is told of and not written over.
	broken := []byte("[profile.a\n")
	if err := os.WriteFile(path, broken, 0o600); err != nil {
		t.Fatal(err)
	}
	var e *Error
	if _, err := Update(path, &Profile{Name: "c"}, false); !errors.As(err, &e) || e.Line != 1 {
		t.Errorf("got %v", err)
	}
	if got, _ := os.ReadFile(path); string(got) != string(broken) {
		t.Errorf("a broken file was changed to %q", got)
	}
}

func TestPath(t *testing.T) {
	t.Setenv("EBBLINE_PROFILES", "/x/p.toml")
	if p, err := Path(); p != "/x/p.toml" || err != nil {
		t.Errorf("got %q, %v", p, err)
	}
	t.Setenv("EBBLINE_PROFILES", "")
	t.Setenv("XDG_CONFIG_HOME", "/cfg")
	if p, err := Path(); runtime.GOOS == "linux" && (p != "/cfg/ebbline/profiles.toml" || err != nil) {
		t.Errorf("got %q, %v", p, err)
	}
}

func TestNearest(t *testing.T) {
	for word, want := range map[string]string{"bauds": "baud", "fullscale": "full_scale", "zzz": "", "prot": "port"} {
		if got := Nearest(word, keysOf(entry{})); got != want {
			t.Errorf("%s: got %q, want %q", word, got, want)
		}
	}
}

func FuzzParse(f *testing.F) {
	f.Add(sample)
	f.Add("default = \"a\"\n[profile.a]\nceiling = \"30psi\"\n")
	f.Add(`profile = { a = { calibration = { kind = "counts" } } }`)
	f.Add("[[profile]]\n")
	f.Fuzz(func(t *testing.T, text string) {
		s, err := Parse("f", []byte(text))
		if err != nil {
			var e *Error
			if !errors.As(err, &e) || e.Msg == "" {
				t.Fatalf("%q: an error without words: %v", text, err)
			}
			return
		}
		for _, p := range s.Profiles {
			if p.Calibration != nil && p.Calibration.Check() != nil {
				t.Fatalf("%q: gave a calibration that is none", text)
			}
		}
		// What was read can be added to, and keeps what it held.
		names := len(s.Profiles)
		if s.Get("new one") == nil {
			names++
		}
		if err := s.Put(&Profile{Name: "new one", Baud: 9600}, true); err != nil {
			t.Skip() // a layout that cannot be added to is refused, not spoilt
		}
		if len(s.Profiles) != names || s.Default != "new one" {
			t.Fatalf("%q became %q", text, s.Bytes())
		}
	})
}
