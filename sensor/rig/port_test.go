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
	"ebbline/sensor/rig"
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

// Each format that says all there is to know comes through a real port as the
// pressure that was sent, to what its digits resolve.
func TestFormatsThroughAPort(t *testing.T) {
	for _, f := range rig.Formats() {
		switch f.Name {
		case "volts", "counts", "supply", "nmea-bar", "nmea-pascal", "modbus":
			continue // need a calibration or a decoder of their own
		}
		for _, absolute := range []bool{false, true} {
			for _, u := range decay.PressureUnits {
				if absolute && u.Name != "psi" {
					continue // the reference is written the same way with each
				}
				name := f.Name + " " + u.Name
				if absolute {
					name += " absolute"
				}
				t.Run(name, func(t *testing.T) {
					t.Parallel()
					c := still(f.Name)
					c.Unit, c.Absolute = u, absolute
					opt := sensor.PortOptions{}
					switch f.Name {
					case "number", "millis", "micros":
						opt.Unit = u.Name
						if absolute {
							opt.Reads = decay.ReadsAbsolute
						}
					}
					b := serve(t, c)
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
						if it.Fault != nil {
							t.Fatalf("fault %+v", *it.Fault)
						}
						n++
						if want := 201325.0; math.Abs(float64(it.P)-want) > 5.01 {
							t.Fatalf("line %q gives %.1f Pa, want %.1f Pa; %s", it.Raw, float64(it.P), want, src.About().Detail)
						}
					}
				})
			}
		}
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
