package sensor

import (
	"math"
	"strings"
	"testing"
	"time"

	"ebbline/decay"
	"ebbline/sensor/calib"
	"ebbline/sensor/wire"
)

// feed gives lines to a reader, one every 100 ms.
func feed(l *lineReader, lines ...string) (out []Item) {
	for i, s := range lines {
		out = append(out, l.feed(time.Duration(i)*100*time.Millisecond, []byte(s+"\n"))...)
	}
	return out
}

// told is what became of items, as "psi" or the code of a fault.
func told(items []Item) string {
	var s []string
	for _, it := range items {
		if it.Fault != nil {
			s = append(s, it.Fault.Code+map[FaultState]string{Ends: " over"}[it.Fault.State])
			continue
		}
		psi := float64(it.P.Gauge(decay.DefaultAmbient)) / decay.PSI
		s = append(s, strings.TrimRight(strings.TrimRight(decay.Gauge(psi*decay.PSI).Number(decay.PressureUnit{Name: "psi", Pascal: decay.PSI}), "0"), "."))
	}
	return strings.Join(s, " ")
}

func TestSignals(t *testing.T) {
	preset := calib.Preset(decay.ReadsGauge, 30*decay.PSI)
	ten := *preset
	ten.Bits = 10
	for name, c := range map[string]struct {
		cal         *calib.Calibration
		unit, lines string
		want, says  string
	}{
		"volts":         {preset, "", "2.5 V|4.5 V", "15 30", "ratiometric, 0.5 V"},
		"bare numbers":  {preset, "", "2.5|4.5", "15 30", "V was assumed"},
		"millivolts":    {preset, "mV", "2500|4500", "15 30", "ratiometric"},
		"counts":        {&ten, "", "512|t", "15 bad-line", "counts was assumed"},
		"open circuit":  {preset, "", "2.5 V|0.01 V|0.01 V|2.5 V|0 V", "15 open-circuit -3.68 -3.68 15 -3.75", ""},
		"sag":           {preset, "", "signal_V=2.3 supply_V=4.6", "15", ""},
		"saturated":     {preset, "", "4.9 V", "saturated 33", ""},
		"ends":          {preset, "", "0 V" + strings.Repeat("|2.5 V", 11), "open-circuit -3.75 15 15 15 15 15 15 15 15 15 open-circuit over 15 15", ""},
		"the other end": {preset, "", "0 V|5 V", "open-circuit -3.75 open-circuit over saturated 33.75", ""},
		"a pressure":    {preset, "", "15 psi", "15", "so the calibration is not used"},
		"none":          {nil, "", "2.5 V|2.5 V", "uncalibrated", "no calibration"},
		"wrong kind":    {preset, "", "2.5 V|512 counts", "15 bad-line", ""},
		"none, counts":  {nil, "counts", "512|512", "uncalibrated", "no calibration"},
		"none, then ok": {nil, "", "2.5 V|15 psi", "uncalibrated uncalibrated over 15", ""},
	} {
		opt := PortOptions{Name: "p", Unit: c.unit, Ambient: decay.DefaultAmbient, Calibration: c.cal}
		l := newLineReader(opt, opt.LineUnit())
		items := feed(l, strings.Split(c.lines, "|")...)
		if got := told(items); got != c.want {
			t.Errorf("%s: got %q, want %q", name, got, c.want)
		}
		for _, it := range items {
			if it.Fault != nil && (it.Fault.Text == "" || it.Fault.Hint == "") {
				t.Errorf("%s: a fault without words: %+v", name, *it.Fault)
			}
		}
		if d := l.detail(); !strings.Contains(d, c.says) {
			t.Errorf("%s: detail %q lacks %q", name, d, c.says)
		}
	}
}

func TestAbsoluteSignal(t *testing.T) {
	c := &calib.Calibration{Kind: calib.Volts, Reads: decay.ReadsAbsolute, Low: calib.Point{Signal: 0, Pressure: 0}, High: calib.Point{Signal: 5, Pressure: 500e3}}
	l := newLineReader(PortOptions{Name: "p", Ambient: 90e3, Calibration: c}, "V")
	items := feed(l, "1.5 V")
	if len(items) != 1 || items[0].Fault != nil || math.Abs(float64(items[0].P)-150e3) > 1e-6 {
		t.Errorf("got %+v", items)
	}
}

func TestUncalibratedBoardIsAsked(t *testing.T) {
	var seen []wire.Fields
	l := newLineReader(PortOptions{Name: "/dev/x", Seen: func(_ time.Duration, _ string, f wire.Fields) { seen = append(seen, f) }}, "psi")
	items := feed(l, "2.5 V")
	if len(items) != 1 || items[0].Fault == nil || !strings.Contains(items[0].Fault.Hint, "ebbline calibrate --port /dev/x") {
		t.Errorf("got %+v", items)
	}
	// It is not silent: no other fault may tell the person to look at the cable.
	if !l.signal.waits(0) || l.signal.waits(time.Second) {
		t.Error("a line that only lacks a calibration counts as silence")
	}
	if l.feed(time.Second, []byte("2.5 V\n")); !l.signal.waits(time.Second) {
		t.Error("the second line that only lacks a calibration counts as silence")
	}
	if len(seen) != 2 || seen[0].Value != 2.5 || seen[0].Unit != "V" {
		t.Errorf("seen %+v", seen)
	}
}

// TestWholeNumbersThatNoDuctHasAreNoPressure feeds what boards print at rest
// without naming a unit: a converter's counts must not pass for psi.
func TestWholeNumbersThatNoDuctHasAreNoPressure(t *testing.T) {
	for _, c := range []struct {
		lines, unit string
		counts      bool
	}{
		{"102\n103\n102\n", "", true},           // ten bits, 0.5 V of 5 V
		{"410\n409\n12\n411\n", "", true},       // twelve; and one that could be psi
		{"0\n1\n0\n", "", false},                // psi, whole
		{"14.7\n14.7\n14.7\n", "", false},       // psi
		{"101\n101\n101\n", "kPa", false},       // said
		{"101.3 kPa\n101.3 kPa\n", "", false},   // named
		{"0.0\n0.1\n20.1\n80\n90\n", "", false}, // a pressure that came up
		{"20,410\n40,411\n60,410\n", "", true},  // after the board's clock
		{"20,0.1\n40,0.2\n60,0.1\n", "", false},
	} {
		l := newLineReader(PortOptions{Name: "p", Unit: c.unit, Ambient: decay.DefaultAmbient}, or(c.unit, "psi"))
		l.early.done = true // no heading is waited for
		readings, told := 0, false
		for i, line := range strings.SplitAfter(c.lines, "\n") {
			for _, it := range l.feed(time.Duration(i)*20*time.Millisecond, []byte(line)) {
				if it.Fault == nil {
					readings++
				} else if it.Fault.Code == FaultUncalibrated {
					told = true
				}
			}
		}
		if told != c.counts || c.counts && readings > 0 {
			t.Errorf("%q with unit %q: %d readings, counts told %v, want %v", c.lines, c.unit, readings, told, c.counts)
		}
	}
}

func or(a, b string) string {
	if a != "" {
		return a
	}
	return b
}
