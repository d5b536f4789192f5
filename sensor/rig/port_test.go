//go:build unix

package rig_test

import (
	"context"
	"errors"
	"io/fs"
	"math"
	"os"
	"strings"
	"testing"
	"time"

	"go.bug.st/serial"

	"ebbline/decay"
	"ebbline/sensor"
	"ebbline/sensor/calib"
	"ebbline/sensor/rig"
	"ebbline/sensor/wire"
)

// still is a board without noise whose transducer reads 100 kPa gauge for ever.
func still(format string) rig.Config {
	c := rig.Default()
	c.Noise, c.Bits, c.ZeroError, c.Rate, c.Format = 0, 0, 100*decay.Kilopascal, 200, format
	return c
}

// serve runs a board until the test ends.
func serve(t *testing.T, c rig.Config) *rig.Board {
	t.Helper()
	if err := c.Validate(); err != nil {
		t.Fatal(err)
	}
	b, err := rig.Open(c, nil)
	if err != nil {
		t.Fatal(err)
	}
	ctx, stop := context.WithCancel(context.Background())
	done := make(chan error, 1)
	go func() { done <- b.Run(ctx) }()
	t.Cleanup(func() {
		stop()
		if err := <-done; err != nil {
			t.Error(err)
		}
	})
	return b
}

// Each format comes through a real port as the pressure that was sent, to what
// its digits resolve.
func TestFormatsThroughAPort(t *testing.T) {
	const want = 201325.0
	for _, f := range rig.Formats() {
		if f.Name == "modbus" {
			continue // polled: a test of its own
		}
		for _, absolute := range []bool{false, true} {
			for _, u := range decay.PressureUnits {
				if u.Name != "psi" && (absolute || strings.HasPrefix(f.Name, "nmea") || f.Name == "volts" || f.Name == "counts" || f.Name == "supply") {
					continue // the unit makes no difference
				}
				name := f.Name + " " + u.Name
				if absolute {
					name += " absolute"
				}
				t.Run(name, func(t *testing.T) {
					t.Parallel()
					c := still(f.Name)
					c.Unit, c.Absolute = u, absolute
					within := 5.01 // half of the last digit
					var opt sensor.PortOptions
					reads := decay.ReadsGauge
					if absolute {
						reads = decay.ReadsAbsolute
					}
					switch f.Name {
					case "number", "millis", "micros":
						opt.Unit, opt.Reads = u.Name, reads
					case "nmea-bar", "nmea-pascal":
						opt.Reads = reads
					case "volts", "supply":
						// 0.05 mV of the 80 mV that one psi makes.
						opt.Calibration, within = calib.Preset(reads, c.FullScale), 4.4
					case "counts":
						c.Bits = 14
						opt.Calibration, within = calib.Preset(reads, c.FullScale), c.FullScale/0.8/(1<<14)
						opt.Calibration.Bits = 14
					}
					checkPort(t, serve(t, c), opt, want, within)
				})
			}
		}
	}
}

// checkPort reads a board's port and holds each reading against the pressure
// that is sent, Pa absolute.
func checkPort(t *testing.T, b *rig.Board, opt sensor.PortOptions, want, within float64) {
	t.Helper()
	opt.Name = b.Name()
	src, err := sensor.Open(opt)
	if err != nil {
		t.Fatal(err)
	}
	defer src.Close()
	ctx, stop := context.WithTimeout(context.Background(), 10*time.Second)
	defer stop()
	for n := 0; n < 20; {
		it, err := src.Next(ctx)
		if err != nil {
			t.Fatalf("%v after %d readings; %s", err, n, src.About().Detail)
		}
		// A duct that stands at 100 kPa gauge from the start might be an absolute sensor at rest.
		if it.Fault != nil && it.Fault.Code == sensor.FaultReference {
			continue
		}
		if it.Fault != nil {
			t.Fatalf("fault %+v", *it.Fault)
		}
		n++
		if math.Abs(float64(it.P)-want) > within {
			t.Fatalf("line %q gives %.1f Pa, want %.1f Pa; %s", it.Raw, float64(it.P), want, src.About().Detail)
		}
	}
}

// The slave's registers, asked with either function, are the pressure that is
// meant. Both ends have their own check of a frame, and so check one another.
func TestModbusThroughAPort(t *testing.T) {
	for _, m := range []struct {
		text   string
		within float64
	}{
		{"register=0 type=int16 unit=hPa", 50.01},
		{"register=0 type=int16 unit=kPa scale=0.1", 50.01},
		{"register=2 type=int32 order=big unit=Pa", 0.51},
		{"register=4 type=int32 order=little unit=Pa", 0.51},
		{"register=6 type=float32 order=big unit=kPa", 0.1},
		{"register=8 type=float32 order=little unit=kPa", 0.1},
	} {
		for _, function := range []string{"3", "4"} {
			t.Run(m.text+" function="+function, func(t *testing.T) {
				t.Parallel()
				at, err := wire.ParseModbusMap("address=9 rate=200 function=" + function + " " + m.text)
				if err != nil {
					t.Fatal(err)
				}
				c := still("modbus")
				c.ModbusUnit = 9
				checkPort(t, serve(t, c), sensor.PortOptions{Modbus: &at}, 201325, m.within)
			})
		}
	}
}

// What a slave has not is refused, and a slave that is silent is noticed.
func TestModbusRefusesAndFails(t *testing.T) {
	for _, c := range []struct {
		text string
		on   rig.Fault
		code string
	}{
		{"register=10 type=float32 unit=kPa", rig.Spikes, sensor.FaultRefused},
		{"register=6 type=float32 unit=kPa timeout=100ms", rig.WrongBaud, sensor.FaultBadFrame},
		{"register=6 type=float32 unit=kPa timeout=100ms", rig.Garbage, sensor.FaultBadFrame},
		{"register=6 type=float32 unit=kPa timeout=100ms", rig.Silence, sensor.FaultSilent},
		{"address=5 register=6 type=float32 unit=kPa timeout=100ms", rig.Spikes, sensor.FaultSilent},
	} {
		t.Run(c.text+" "+c.on.String(), func(t *testing.T) {
			t.Parallel()
			at, err := wire.ParseModbusMap("rate=50 " + c.text)
			if err != nil {
				t.Fatal(err)
			}
			b := serve(t, still("modbus"))
			b.Inject(c.on, 0)
			wantFault(t, b, sensor.PortOptions{Modbus: &at}, c.code)
		})
	}
}

// wantFault reads a board's port until a fault of the code comes.
func wantFault(t *testing.T, b *rig.Board, opt sensor.PortOptions, code string) sensor.Fault {
	t.Helper()
	opt.Name = b.Name()
	src, err := sensor.Open(opt)
	if err != nil {
		t.Fatal(err)
	}
	defer src.Close()
	ctx, stop := context.WithTimeout(context.Background(), 10*time.Second)
	defer stop()
	var other []string
	for {
		it, err := src.Next(ctx)
		if err != nil {
			t.Fatalf("%v, and no fault %q; others were %q", err, code, other)
		}
		if it.Fault == nil {
			continue
		}
		if it.Fault.Code == code {
			return *it.Fault
		}
		other = append(other, it.Fault.Code+": "+it.Fault.Text)
	}
}

// raw is what arrives at the board's port in a time.
func raw(t *testing.T, b *rig.Board, d time.Duration) string {
	t.Helper()
	p, err := serial.Open(b.Name(), &serial.Mode{BaudRate: 115200})
	if err != nil {
		t.Fatal(err)
	}
	defer p.Close()
	if err := p.SetReadTimeout(20 * time.Millisecond); err != nil {
		t.Fatal(err)
	}
	var text []byte
	buf := make([]byte, 4096)
	for end := time.Now().Add(d); time.Now().Before(end); {
		n, err := p.Read(buf)
		if err != nil {
			t.Fatal(err)
		}
		text = append(text, buf[:n]...)
	}
	return string(text)
}

func TestSilenceAndReturn(t *testing.T) {
	t.Parallel()
	b := serve(t, still("unit"))
	b.Inject(rig.Silence, 0)
	raw(t, b, 100*time.Millisecond) // what was under way
	if got := raw(t, b, 200*time.Millisecond); got != "" {
		t.Errorf("in silence came %q", got)
	}
	b.Clear(rig.Silence)
	if got := raw(t, b, 300*time.Millisecond); strings.Count(got, "14.504 psi\r\n") < 10 {
		t.Errorf("%q", got)
	}
}

// A board that is pulled out takes its port away from whoever has it open, and
// comes back under its name, or under the next.
func TestUnplugAndRename(t *testing.T) {
	t.Parallel()
	b := serve(t, still("unit"))
	first := b.Name()
	for _, f := range []rig.Fault{rig.Unplug, rig.Rename} {
		p, err := serial.Open(b.Name(), &serial.Mode{BaudRate: 115200})
		if err != nil {
			t.Fatal(err)
		}
		b.Inject(f, 0)
		buf := make([]byte, 4096)
		for err == nil { // until the port is gone
			_, err = p.Read(buf)
		}
		p.Close()
		if _, err := os.Stat(first); !errors.Is(err, fs.ErrNotExist) {
			t.Errorf("%v: the name is still there: %v", f, err)
		}
		b.Clear(f)
		for i := 0; ; i++ {
			if _, err := os.Stat(b.Name()); err == nil {
				break
			} else if i > 1000 {
				t.Fatal(err)
			}
			time.Sleep(5 * time.Millisecond)
		}
		if (b.Name() == first) != (f == rig.Unplug) {
			t.Errorf("%v: came back as %s", f, b.Name())
		}
		if got := raw(t, b, 200*time.Millisecond); !strings.Contains(got, "14.504 psi\r\n") {
			t.Errorf("%v: back, it prints %q", f, got)
		}
	}
}

// A port named by the caller gets a number only when it comes back under
// another name, and does not take a name that something has.
func TestNamedPort(t *testing.T) {
	name := t.TempDir() + "/duct"
	b, err := rig.OpenAt(name, still(""), nil)
	if err != nil {
		t.Fatal(err)
	}
	if b.Name() != name {
		t.Errorf("named %s", b.Name())
	}
	if _, err := rig.OpenAt(name, still(""), nil); !errors.Is(err, fs.ErrExist) {
		t.Errorf("a second board took the name: %v", err)
	}
	for range 2 {
		if err := b.Close(); err != nil {
			t.Error(err)
		}
	}
	if _, err := os.Lstat(name); !errors.Is(err, fs.ErrNotExist) {
		t.Errorf("the name is still there: %v", err)
	}
}

// Each fault of a board is told from a port by its name.
func TestFaultsAreNamed(t *testing.T) {
	for f, code := range map[rig.Fault]string{
		rig.Unplug: sensor.FaultUnplugged, rig.Reset: sensor.FaultBoardReset,
		rig.WrongBaud: sensor.FaultWrongBaud, rig.HalfLines: sensor.FaultHalfLines, rig.Garbage: sensor.FaultBinaryNoise,
		rig.Stuck: sensor.FaultStuck, rig.RailHigh: sensor.FaultRailHigh, rig.OpenCircuit: sensor.FaultOpenCircuit,
		rig.Sag: sensor.FaultSag, rig.Noisy: sensor.FaultNoisy, rig.TimesTen: sensor.FaultUnitJump, rig.TimesBar: sensor.FaultUnitJump,
	} {
		t.Run(f.String(), func(t *testing.T) {
			t.Parallel()
			c := rig.Default()
			c.ZeroError, c.Rate, c.Hole = 50*decay.Kilopascal, 200, 0
			c.Plans = []rig.Plan{{Fault: f, At: 1500 * time.Millisecond}}
			opt := sensor.PortOptions{FullScale: c.FullScale}
			if code == sensor.FaultUnitJump {
				opt.FullScale = 0 // else what is beyond it is named first
			}
			wantFault(t, serve(t, c), opt, code)
		})
	}
}
