package trace

import (
	"fmt"
	"math"
	"strings"
	"testing"
	"time"

	"ebbline/decay"
	"ebbline/sensor/calib"
	"ebbline/sensor/replay"
	"ebbline/sensor/wire"
)

// twoBar is 0.5 to 4.5 V of 5 V for 0 to 200 kPa gauge: 2.5 V is 100 kPa.
func twoBar() *calib.Calibration { return calib.Preset(decay.ReadsGauge, 200e3) }

func tenBits() *calib.Calibration {
	c := twoBar()
	c.Bits = 10
	return c
}

func TestSignalsAreMeasured(t *testing.T) {
	counts := &calib.Calibration{Kind: calib.Counts, Reads: decay.ReadsAbsolute, Low: calib.Point{Signal: 0, Pressure: 0}, High: calib.Point{Signal: 1000, Pressure: 500e3}}
	for name, c := range map[string]struct {
		text string
		opt  Options
		want string // kPa absolute, at seconds
	}{
		"volts":          {"time_s,sensor_V\n0,0.5\n1,2.5\n", Options{Calibration: twoBar()}, "0:101.3250 1:201.3250"},
		"millivolts":     {"time_s;sensor_mV\n0;500,0\n1;2500,0\n", Options{Calibration: twoBar()}, "0:101.3250 1:201.3250"},
		"counts":         {"time_ms,counts\n0,512\n1000,512\n", Options{Calibration: tenBits()}, "0:201.3250 1:201.3250"},
		"absolute":       {"time_s,adc\n0,200\n1,400\n", Options{Calibration: counts}, "0:100.0000 1:200.0000"},
		"supply":         {"time_s,sensor_V,supply_mV\n0,2.5,5000\n1,2.3,4600\n", Options{Calibration: twoBar()}, "0:201.3250 1:201.3250"},
		"stated unit":    {"time_s,value\n0,0.5\n1,2.5\n", Options{Calibration: twoBar(), Unit: "V"}, "0:101.3250 1:201.3250"},
		"no heading":     {"0.0,0.5\n0.5,2.5\n", Options{Calibration: twoBar(), Unit: "V"}, "0:101.3250 0.5:201.3250"},
		"printed":        {`{"t_s":0,"v":2.5,"unit":"V"}` + "\n" + `{"t_s":1,"v":2.3,"unit":"V","supply_V":4.6}` + "\n", Options{Calibration: twoBar()}, "0:201.3250 1:201.3250"},
		"pressure wins":  {"time_s,pressure_kpa,sensor_V\n0,50,4\n1,60,4\n", Options{Calibration: twoBar()}, "0:151.3250 1:161.3250"},
		"unit of others": {"time_s,pressure_kpa\n0,50\n1,60\n", Options{Calibration: twoBar(), Unit: "V"}, "0:151.3250 1:161.3250"},
	} {
		gauge := decay.ReadsGauge
		if c.opt.Calibration == counts {
			gauge = decay.ReadsAbsolute
		}
		c.opt.Reads = &gauge
		tr := read(t, c.text, c.opt)
		if got := flat(tr.Samples); got != c.want {
			t.Errorf("%s: got %s, want %s", name, got, c.want)
		}
		if len(tr.Warnings) > 0 || tr.Reads != gauge {
			t.Errorf("%s: reads %v, %+v", name, tr.Reads, tr.Warnings)
		}
	}
}

func TestSignalsOutsideTheRangeAreFlaggedAndKept(t *testing.T) {
	tr := read(t, "time_s,sensor_V\n0,2.5\n1,0\n2,4.9\n3,2.5\n", Options{Calibration: twoBar()})
	if !hasFlag(tr, decay.FlagOpenCircuit) || !hasFlag(tr, decay.FlagSaturated) || warned(tr, "open-circuit") == "" || warned(tr, "saturated") == "" {
		t.Errorf("got %+v %+v", tr.Flags, tr.Warnings)
	}
	if got := flat(tr.Samples); got != "0:201.3250 1:76.3250 2:321.3250 3:201.3250" { // −25 and 220 kPa gauge, as the line has them
		t.Errorf("got %s", got)
	}
}

func TestSignalsWithoutACalibration(t *testing.T) {
	for name, c := range map[string]struct {
		text, says string
		opt        Options
	}{
		"volts":         {"time_s,sensor_V\n0,1\n", "no pressure column", Options{}},
		"stated":        {"0.0,0.5\n1.0,2.5\n", "in V and no calibration", Options{Unit: "V"}},
		"printed":       {`{"t_s":1,"adc":1}`, "in counts and no calibration", Options{}},
		"of other kind": {`{"t_s":1,"adc":1}`, "does not say of how many bits", Options{Calibration: twoBar()}},
	} {
		_, err := Read(strings.NewReader(c.text), "f", c.opt)
		te, ok := err.(*Error)
		if !ok || !strings.Contains(te.Msg, c.says) || !strings.Contains(te.Hint, "--profile") {
			t.Errorf("%s: got %v", name, err)
		}
	}
}

// A capture carries what its bytes need to be read where the profile is not.
func TestCaptureCarriesItsCalibration(t *testing.T) {
	head := map[string]string{"unit": "V", "calibration": twoBar().String()}
	form := wire.Options{Header: "supply,counts,t", TimeUnit: "ms", Delim: "\t", DecimalComma: true}
	for _, o := range []wire.Options{form, {}, {Value: "A1", Delim: " ", DecimalPoint: true}, {Delim: ","}} {
		h := map[string]string{}
		PutForm(h, o)
		if got := FormOf(h); got != o {
			t.Errorf("%+v came back as %+v", o, got)
		}
	}
	capture := func(head map[string]string, lines ...string) string {
		var b strings.Builder
		w, err := replay.NewWriter(&b, head)
		if err != nil {
			t.Fatal(err)
		}
		for i, l := range lines {
			if err := w.Chunk(time.Duration(i)*time.Second, []byte(l+"\n")); err != nil {
				t.Fatal(err)
			}
		}
		if err := w.Flush(); err != nil {
			t.Fatal(err)
		}
		return b.String()
	}
	text := capture(head, "0.5", "2.5", "2.5")
	tr := read(t, text, Options{})
	if got := flat(tr.Samples); got != "0:101.3250 1:201.3250 2:201.3250" || warned(tr, "calibration") == "" {
		t.Errorf("got %s, %+v", got, tr.Warnings)
	}
	// A calibration that was asked for wins; one that nobody named does not.
	other := twoBar()
	other.High.Pressure, other.Top = 100e3, 100e3
	if got := flat(read(t, text, Options{Calibration: other}).Samples); got != "0:101.3250 1:151.3250 2:151.3250" {
		t.Errorf("stated: got %s", got)
	}
	if got := flat(read(t, text, Options{Calibration: other, Yields: true}).Samples); got != "0:101.3250 1:201.3250 2:201.3250" {
		t.Errorf("default: got %s", got)
	}
	// The form of the lines, where they have no heading.
	head = map[string]string{"calibration": tenBits().String()}
	PutForm(head, wire.Options{Header: "x,counts,time_ms"})
	if got := flat(read(t, capture(head, "7,512,0", "8,512,1000"), Options{}).Samples); got != "0:201.3250 1:201.3250" {
		t.Errorf("form: got %s", got)
	}
	if _, err := Read(strings.NewReader(capture(map[string]string{"calibration": "volts"}, "1")), "c", Options{}); err == nil || !strings.Contains(err.Error(), "calibration") {
		t.Errorf("a calibration that is none: got %v", err)
	}
}

// A calibrated table costs little more than one of pressures.
func BenchmarkSignals(b *testing.B) {
	var text strings.Builder
	text.WriteString("time_ms,counts\n")
	for i := range 10000 {
		fmt.Fprintf(&text, "%d,%.2f\n", 20*i, 512+100*math.Sin(float64(i)))
	}
	for b.Loop() {
		if _, err := Read(strings.NewReader(text.String()), "f", Options{Calibration: tenBits()}); err != nil {
			b.Fatal(err)
		}
	}
}
