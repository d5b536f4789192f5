//go:build unix

package main

import (
	"bytes"
	"fmt"
	"io"
	"math"
	"os"
	"path/filepath"
	"reflect"
	"strings"
	"testing"
	"time"

	"ebbline/decay"
	"ebbline/sensor/rig"

	"github.com/spf13/pflag"
)

func TestRigRefuses(t *testing.T) {
	for _, c := range []struct {
		args        []string
		fault, hint string
	}{
		{[]string{"--format", "morse"}, "nmea-bar", "--help"},
		{[]string{"--fault", "flood@3"}, "silence, unplug", "silence@20+5"},
		{[]string{"--fault", "silence"}, "names no time", "silence@20+5"},
		{[]string{"--unit", "furlong"}, "unknown pressure unit", "kPa"},
		{[]string{"--ambient", "85kPa", "--altitude", "1600m"}, "both given", "either"},
		{[]string{"--altitude", "30km"}, "no height", "1600m"},
		{[]string{"--ambient", "1psi"}, "ambient", "--help"},
		{[]string{"--seep", "much"}, "--seep", "0.5mm"},
		{[]string{"--hole", "-1mm"}, "--hole", "1mm"},
		{[]string{"--feed-bore", "0"}, "--feed-bore", "4mm"},
		{[]string{"--rate", "9000"}, "readings a second", "--help"},
		{[]string{"--bits", "40"}, "24 bits", "--help"},
		{[]string{"--full-scale", "x"}, "--full-scale", "50psi"},
		{[]string{"--zero-error", "1kPa absolute"}, "--zero-error", "0.5psi"},
		{[]string{"--modbus-unit", "250"}, "Modbus", "--help"},
		{[]string{"--name", "/nowhere/at/all"}, "cannot name", "hold"},
	} {
		status, out, errOut := ebbline(t, "quit\n", append([]string{"rig"}, c.args...)...)
		fault, hint, _ := strings.Cut(errOut, "\n")
		if status != 2 || out != "" || !strings.Contains(fault, c.fault) || !strings.Contains(hint, c.hint) {
			t.Errorf("%q: %d %q", c.args, status, errOut)
		}
	}
}

// The flags make the rig that they describe.
func TestRigFlags(t *testing.T) {
	var f boardFlags
	fs := pflag.NewFlagSet("rig", pflag.ContinueOnError)
	f.addBoard(fs)
	if err := fs.Parse(strings.Fields(`--hole 0 --seep 0.4mm --feed-bore 8mm --supply 20psi --volume 6L --altitude 1600m --noise 0Pa
		--format json --unit kPa --absolute --full-scale 3bar --zero-error -300Pa --bits 10 --clock-start 4294960000 --rate 1000
		--modbus-unit 9 --fault silence@20+5 --fault unplug@40`)); err != nil {
		t.Fatal(err)
	}
	c, err := f.board()
	if err != nil {
		t.Fatal(err)
	}
	// US Standard Atmosphere 1976 at 1600 m: 83 524 Pa.
	if math.Abs(float64(c.Ambient)-83524) > 10 {
		t.Errorf("ambient %.0f Pa", float64(c.Ambient))
	}
	if math.Abs(float64(c.HoleLike())-0.4e-3) > 1e-9 {
		t.Errorf("seep like %g m", float64(c.HoleLike()))
	}
	want := rig.Default()
	want.Hole, want.Seep, want.FeedBore, want.Supply, want.Volume = 0, c.Seep, 8e-3, 20*decay.PSI, 6e-3
	want.Ambient, want.Noise, want.Format, want.Unit, want.Absolute = c.Ambient, 0, "json", decay.PressureUnit{Name: "kPa", Pascal: 1e3}, true
	want.FullScale, want.ZeroError, want.Bits, want.ClockStart, want.Rate, want.ModbusUnit = 3e5, -300, 10, 4294960000, 1000, 9
	want.Plans = []rig.Plan{{Fault: rig.Silence, At: 20 * time.Second, For: 5 * time.Second}, {Fault: rig.Unplug, At: 40 * time.Second}}
	for _, v := range []*decay.Length{&c.FeedBore, &want.FeedBore} {
		*v = decay.Length(math.Round(float64(*v)*1e9) / 1e9)
	}
	for _, v := range []*decay.Volume{&c.Volume, &want.Volume} {
		*v = decay.Volume(math.Round(float64(*v)*1e9) / 1e9)
	}
	if !reflect.DeepEqual(c, want) {
		t.Errorf("%+v, want %+v", c, want)
	}
}

// Every order, word or key, does what it says to the rig.
func TestRigOrders(t *testing.T) {
	c := rig.Default()
	b, err := rig.Open(c, nil)
	if err != nil {
		t.Fatal(err)
	}
	defer b.Close()
	var said bytes.Buffer
	d := &rigDesk{board: b, say: console{out: &said}}
	do := func(order string) rig.State {
		t.Helper()
		text, err := d.order(order)
		if err != nil || text == "" {
			t.Errorf("%s: %q, %v", order, text, err)
		}
		return b.State()
	}
	for _, name := range [][2]string{{"fill", "f"}, {"isolate", "i"}, {"release", "r"}} {
		for _, order := range name {
			if s := do(order); s.Supply != (name[0] == "fill") || s.Vent != (name[0] == "release") {
				t.Errorf("%s: %+v", order, s)
			}
		}
	}
	for _, f := range rig.Faults() {
		for _, order := range []string{f.Name, string(f.Key)} {
			if s := do(order); len(s.Faults) != 1 || s.Faults[0] != f.Fault {
				t.Errorf("%s: %v", order, s.Faults)
			}
			if s := do(order); len(s.Faults) != 0 {
				t.Errorf("%s again: %v", order, s.Faults)
			}
		}
	}
	do("silence 3s")
	do("stuck")
	if s := do("clear"); len(s.Faults) != 0 {
		t.Errorf("clear: %v", s.Faults)
	}
	mm := func(l decay.Length) float64 { return math.Round(float64(l)/decay.Millimetre*1e4) / 1e4 }
	for _, o := range []struct {
		order      string
		hole, seep float64
	}{
		{"hole 0.4mm", 0.4, 0}, {"seep 0.3mm", 0.4, 0.3}, {"]", 0.5, 0.3}, {"}", 0.5, 0.375}, {"[", 0.4, 0.375}, {"{", 0.4, 0.3},
		{"0", 0, 0}, {"]", 0.1, 0}, {"}", 0.1, 0.1}, {"hole 0.06mm", 0.06, 0.1}, {"[", 0, 0.1}, {"seep 0", 0, 0},
	} {
		if s := do(o.order); mm(s.Config.Hole) != o.hole || mm(s.Config.HoleLike()) != o.seep {
			t.Errorf("%s: hole %g mm, seep %g mm", o.order, mm(s.Config.Hole), mm(s.Config.HoleLike()))
		}
	}
	if s := do("volume 8L"); s.Config.Volume != 8*decay.Litre {
		t.Errorf("volume %v", s.Config.Volume)
	}
	for _, bad := range []string{"z", "hole", "hole 3", "hole 80mm", "seep x", "volume 0L", "volume", "silence soon", "fills"} {
		if text, err := d.order(bad); err == nil {
			t.Errorf("%q: %q", bad, text)
		}
	}
}

// What a person is told to type exists, and says what the board's lines do not.
func TestRigSaysHowToReadIt(t *testing.T) {
	top := (&app{in: strings.NewReader(""), out: io.Discard, err: io.Discard}).rootCommand()
	for _, f := range rig.Formats() {
		c := rig.Default()
		c.Format, c.Absolute, c.ModbusUnit, c.Unit = f.Name, true, 3, decay.PressureUnit{Name: "kPa", Pascal: 1e3}
		text := readWith("/tmp/x", c)
		for _, line := range text {
			words := strings.Fields(line)
			cmd, _, err := top.Find(words[1:])
			if err != nil || cmd == top {
				t.Errorf("%s: %q: %v", f.Name, line, err)
				continue
			}
			for _, w := range words {
				if name, flag := strings.CutPrefix(w, "--"); flag && !has(cmd, name) {
					t.Errorf("%s: %q: there is no --%s", f.Name, line, name)
				}
			}
		}
		names := f.Name == "unit" || f.Name == "pairs" || f.Name == "json" || f.Name == "temperature" || strings.HasSuffix(f.Name, "sv") || f.Name == "semicolon"
		if strings.Contains(strings.Join(text, " "), "--reads absolute") == names {
			t.Errorf("%s: %q", f.Name, text)
		}
	}
}

func TestRigStateLine(t *testing.T) {
	c := rig.Default()
	s := rig.State{At: 12300 * time.Millisecond, Supply: true, Pressure: 20 * decay.PSI, Config: c}
	if got, want := stateLine(s), "  12.3 s  supply open  20.00 psi gauge  hole 1.00 mm  no fault"; got != want {
		t.Errorf("%q", got)
	}
	c.Seep, c.Hole, c.Unit = c.SeepLike(0.5*decay.Millimetre), 0, decay.PressureUnit{Name: "kPa", Pascal: 1e3}
	s = rig.State{Vent: true, Pressure: 1e5, Config: c, Faults: []rig.Fault{rig.Silence, rig.Noisy}}
	if got, want := stateLine(s), "   0.0 s  vent open  100.0 kPa gauge  no hole, seep like 0.50 mm  FAULT silence noisy"; got != want {
		t.Errorf("%q", got)
	}
}

// On a terminal the state is written over and cut to the width, and a line
// that is to stay does not run into it.
func TestRigConsole(t *testing.T) {
	var out bytes.Buffer
	c := console{out: &out, end: "\r\n", width: func() int { return 10 }}
	c.state("abcdefghijklm")
	c.state("abc")
	c.line("x\ny")
	c.state("de")
	if got, want := out.String(), "\rabcdefgh…\rabc      \r   \rx\r\ny\r\n\rde"; got != want {
		t.Errorf("%q, want %q", got, want)
	}
	out.Reset()
	c = console{out: &out}
	c.state("abcdefghijklm")
	c.line("x")
	if got, want := out.String(), "abcdefghijklm\nx\n"; got != want {
		t.Errorf("%q, want %q", got, want)
	}
}

// The README lists each format and fault, and a fault as the help words it.
func TestReadmeListsTheRig(t *testing.T) {
	b, err := os.ReadFile(filepath.Join(root, "README.md"))
	if err != nil {
		t.Fatal(err)
	}
	for _, f := range rig.Formats() {
		if !strings.Contains(string(b), "`"+f.Name+"`") {
			t.Errorf("the README does not list the format %s", f.Name)
		}
	}
	for _, f := range rig.Faults() {
		if row := fmt.Sprintf("\n| %c | `%s` | %s |\n", f.Key, f.Name, f.About); !strings.Contains(string(b), row) {
			t.Errorf("the README has no row %q", row)
		}
	}
}
