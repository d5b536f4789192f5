package rig

import (
	"math"
	"strings"
	"testing"
	"testing/synctest"
	"time"

	"ebbline/decay"
)

func TestFaultTable(t *testing.T) {
	keys := map[byte]string{}
	for i, f := range Faults() {
		if int(f.Fault) != i || f.Name == "" || f.About == "" || strings.ContainsAny(f.Name, " @") {
			t.Errorf("%d: %+v", i, f)
		}
		if other, twice := keys[f.Key]; twice || strings.ContainsRune("firqc[]{} ", rune(f.Key)) {
			t.Errorf("%s has the key %q of %s", f.Name, f.Key, other)
		}
		keys[f.Key] = f.Name
		if got, err := ParseFault(f.Name); err != nil || got != f.Fault || got.String() != f.Name {
			t.Errorf("%s: %v, %v", f.Name, got, err)
		}
	}
}

func TestParsePlan(t *testing.T) {
	for text, want := range map[string]Plan{
		"silence@5+3":      {Silence, 5 * time.Second, 3 * time.Second},
		"unplug@1m+10s":    {Unplug, time.Minute, 10 * time.Second},
		"unit-x14.5@0.5":   {TimesBar, 500 * time.Millisecond, 0},
		" reset@0 ":        {Reset, 0, 0},
		"RAIL-HIGH@2s+1.5": {RailHigh, 2 * time.Second, 1500 * time.Millisecond},
	} {
		if got, err := ParsePlan(text); err != nil || got != want {
			t.Errorf("%q: %+v, %v", text, got, err)
		}
	}
	for text, want := range map[string]string{
		"":             "NAME@SECONDS",
		"silence":      "names no time",
		"flood@3":      "no fault",
		"silence@":     "is no time",
		"silence@-1":   "before the start",
		"silence@1+":   "is no time",
		"silence@1+-2": "before the start",
		"silence@1+0":  "lasts no time",
		"silence@x+1":  "is no time",
		"silence@NaN":  "is no time",
		"silence@1e99": "is no time",
	} {
		if _, err := ParsePlan(text); err == nil || !strings.Contains(err.Error(), want) {
			t.Errorf("%q: %v", text, err)
		}
	}
}

// value is what a board of Default prints with a fault on, at 100 kPa gauge,
// after a second of it.
func value(t *testing.T, f Fault, edit func(*Config)) printed {
	t.Helper()
	c := Default()
	c.Noise, c.Bits, c.ZeroError = 0, 0, 100*decay.Kilopascal
	if edit != nil {
		edit(&c)
	}
	if err := c.Validate(); err != nil {
		t.Fatal(err)
	}
	b := newBoard(c, nil)
	b.inject(f, 0)
	var p printed
	for range 50 {
		p, _, _ = b.step(20 * time.Millisecond)
	}
	return p
}

// What each fault makes of 100 kPa on a transducer of 0 to 50 psi, 0.5 to
// 4.5 V: 0.5 V + 4 V·100/344.738 = 1.6603 V.
func TestValueFaults(t *testing.T) {
	full := 50 * decay.PSI
	for _, c := range []struct {
		f           Fault
		pa, volts   float64
		near, vnear float64
	}{
		{Silence, 100e3, 1.66030, 1, 1e-4},
		{RailHigh, full * 17 / 16, 4.75, 1, 1e-9},
		{RailLow, -full / 16, 0.25, 1, 1e-9},
		{OpenCircuit, -full / 8, 0, 1, 1e-9},
		{TimesTen, 1000e3, 1.66030, 10, 1e-4},
		{TimesBar, 1450.38e3, 1.66030, 20, 1e-4},
		// 1.6603 V at 4.3 instead of 5 V of supply are 1.4279 V, 79.97 kPa.
		{Sag, 79.97e3, 1.42786, 500, 0.005},
	} {
		p := value(t, c.f, nil)
		if math.Abs(p.value*p.scale-c.pa) > c.near || math.Abs(p.volts()-c.volts) > c.vnear {
			t.Errorf("%v: %.1f Pa, %.4f V; want %.1f Pa, %.4f V", c.f, p.value*p.scale, p.volts(), c.pa, c.volts)
		}
	}
	// Counts against the supply do not show its sag: 1.6603/5 of 1023.
	ten := func(c *Config) { c.Bits = 10 }
	if got := value(t, Sag, ten).counts(10); got != 340 {
		t.Errorf("%d counts", got)
	}
	if got := value(t, OpenCircuit, ten).counts(10); got != 0 {
		t.Errorf("open circuit: %d counts", got)
	}
	// 201.325 kPa absolute of an absolute transducer.
	if p := value(t, Silence, func(c *Config) { c.Absolute = true }); math.Abs(p.value-201325) > 1 {
		t.Errorf("absolute: %.1f Pa", p.value)
	}
}

func TestNoiseAndSpikes(t *testing.T) {
	spread := func(f Fault) (rms float64, far int) {
		b := newBoard(Default(), nil)
		b.inject(f, 0)
		sum, n := 0.0, 5000
		for range n {
			p, _, _ := b.step(20 * time.Millisecond)
			sum += p.value * p.value
			if math.Abs(p.value) > 5*decay.Kilopascal {
				far++
			}
		}
		return math.Sqrt(sum / float64(n)), far
	}
	if rms, _ := spread(Silence); rms < 50 || rms > 75 {
		t.Errorf("noise of %g Pa, want 60", rms)
	}
	if rms, _ := spread(Noisy); rms < 1100 || rms > 1300 {
		t.Errorf("noise of %g Pa, want 1200", rms)
	}
	// One in fifty; a spike below 5 kPa of 172 does not count.
	if _, far := spread(Spikes); far < 70 || far > 130 {
		t.Errorf("%d spikes of 5000 readings", far)
	}
}

func TestStuckRepeatsOneValue(t *testing.T) {
	b := newBoard(Default(), nil)
	b.rig.Fill()
	b.step(time.Second)
	b.inject(Stuck, time.Second)
	first, _, _ := b.step(20 * time.Millisecond)
	for range 48 {
		if p, _, _ := b.step(20 * time.Millisecond); p.pressure() != first.pressure() || p.millis == first.millis {
			t.Fatalf("%+v after %+v", p, first)
		}
	}
	b.step(time.Second)
	if p, _, _ := b.step(20 * time.Millisecond); p.pressure() == first.pressure() {
		t.Error("stuck for ever")
	}
}

// A board that starts anew breaks off, is silent, prints garbage, a banner and
// its heading, and its clock is at zero. A clock rolls over.
func TestResetAndRollOver(t *testing.T) {
	c := Default()
	c.Format, c.ClockStart = "csv", math.MaxUint32-50
	b := newBoard(c, nil)
	run := func(d time.Duration) (text string) {
		for end := b.now + d; b.now < end; {
			out, _ := b.bytes(20 * time.Millisecond)
			text += string(out)
		}
		return text
	}
	before := run(100 * time.Millisecond)
	if !strings.HasPrefix(before, "time_ms,pressure_psi\r\n4294967265,") || !strings.Contains(before, "\r\n9,") {
		t.Errorf("%q", before)
	}
	b.inject(Reset, 0)
	if got := run(bootTime - 20*time.Millisecond); got == "" || strings.Contains(got, "\n") {
		t.Errorf("while it starts it prints %q", got)
	}
	after := run(100 * time.Millisecond)
	at := strings.Index(after, "\r\n"+banner+"\r\ntime_ms,pressure_psi\r\n0,")
	if at < 16 {
		t.Errorf("%q", after)
	}
}

func TestPlansComeAndGo(t *testing.T) {
	c := Default()
	c.Plans = []Plan{{Silence, time.Second, 500 * time.Millisecond}, {Stuck, 2 * time.Second, 0}}
	b := newBoard(c, nil)
	var silent, stuck time.Duration
	for b.now < 3*time.Second {
		_, sends, _ := b.step(10 * time.Millisecond)
		if !sends {
			silent += 10 * time.Millisecond
		}
		if b.faults.on.has(Stuck) {
			stuck += 10 * time.Millisecond
		}
	}
	if silent != 500*time.Millisecond || stuck != 1010*time.Millisecond {
		t.Errorf("silent for %v, stuck for %v", silent, stuck)
	}
}

// A rig inside a program has the faults of a board, not those of a port.
func TestSourceFaults(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		src := NewSource(Default(), nil)
		defer src.Close()
		for _, f := range Faults() {
			if err := src.Inject(f.Fault, time.Millisecond); (err != nil) != f.Fault.OfPort() {
				t.Errorf("%s: %v", f.Name, err)
			}
		}
		time.Sleep(2 * time.Second)
		for range 3 { // the reset's boot time goes by
			if _, err := src.Next(t.Context()); err != nil {
				t.Fatal(err)
			}
		}
		if err := src.Inject(Silence, 3*time.Second); err != nil {
			t.Fatal(err)
		}
		began := time.Now()
		it, err := src.Next(t.Context())
		if quiet := time.Since(began); err != nil || quiet < 2900*time.Millisecond || quiet > 3100*time.Millisecond {
			t.Errorf("%v of silence, %v", quiet, err)
		}
		if err := src.Inject(RailHigh, 0); err != nil {
			t.Fatal(err)
		}
		if it, err = src.Next(t.Context()); err != nil || it.P.Gauge(decay.DefaultAmbient) < 53*decay.PSI || len(src.State().Faults) != 1 {
			t.Errorf("%+v %v %v", it, err, src.State().Faults)
		}
		src.Clear(RailHigh)
		if it, err = src.Next(t.Context()); err != nil || it.P.Gauge(decay.DefaultAmbient) > decay.PSI {
			t.Errorf("%+v %v", it, err)
		}
	})
}
