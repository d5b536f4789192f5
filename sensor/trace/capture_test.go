package trace

import (
	"math"
	"strings"
	"testing"
	"time"

	"ebbline/decay"
	"ebbline/sensor/replay"
	"ebbline/sensor/wire"
)

func chunked(text string, opt Options) (Trace, error) {
	f := &file{name: "c", opt: opt}
	var in []replay.Chunk
	for i, part := range strings.Split(text, "|") {
		in = append(in, replay.Chunk{At: time.Duration(i) * 100 * time.Millisecond, Data: []byte(part)})
	}
	return f.chunks(in)
}

func TestChunks(t *testing.T) {
	abs := decay.ReadsAbsolute
	for name, c := range map[string]struct{ text, want string }{
		"arrival":        {"200\r\n|199.|5\n|199\n", "0:200.0000 0.2:199.5000 0.3:199.0000"},
		"together":       {"200\n199.5\n|199\n", "0:200.0000 0.001:199.5000 0.1:199.0000"}, // the period is not known yet
		"board's clock":  {"t_ms,p_kPa\n|5000,200\n|5500,199.5\n|6000,199\n", "0:200.0000 0.5:199.5000 1:199.0000"},
		"board restarts": {"t_ms=5000 p=200\n|t_ms=5100 p=199.5\n|\x00?booting\n|t_ms=10 p=199\n", "0:200.0000 0.1:199.5000 0.3:199.0000"},
		"learned late":   {"1000,200\n|1500,199\n|2000,198\n", "0:200.0000 0.5:199.0000 1:198.0000"},
		"comma":          {"200,5\n|199,5\n|199,0\n", "0:200.5000 0.1:199.5000 0.2:199.0000"},
		"cut end":        {"200\n|199.5\n|199\n|19", "0:200.0000 0.1:199.5000 0.2:199.0000"},
	} {
		tr, err := chunked(c.text, Options{Unit: "kPa", Reads: &abs})
		if err != nil {
			t.Errorf("%s: %v", name, err)
			continue
		}
		if got := flat(tr.Samples); got != c.want {
			t.Errorf("%s: got %s, want %s", name, got, c.want)
		}
	}
	for name, c := range map[string]struct{ text, says string }{
		"volts":   {"2.5 V\n", "calibration"},
		"nothing": {"", "no readings"},
		"garbage": {"\xff\xfe\n|\xff\n", "none of the 2 lines"},
		"no unit": {"2.5\n", "unit"},
	} {
		if _, err := chunked(c.text, Options{}); err == nil || !strings.Contains(err.Error(), c.says) {
			t.Errorf("%s: got %v", name, err)
		}
	}
}

// Lines before a heading are what the heading says, and not what was assumed.
func TestLinesBeforeAHeading(t *testing.T) {
	want := "0:101.3250 0.5:111.3250 1:121.3250"
	for name, opt := range map[string]Options{"counts": {Unit: "counts", Calibration: tenBits()}, "psi": {Unit: "psi"}, "none": {}} {
		tr, err := chunked("1000,0\n|1500,10\ntime_ms,pressure_kPa\n|2000,20\n", opt)
		if err != nil {
			t.Errorf("%s assumed: %v", name, err)
		} else if got := flat(tr.Samples); got != want || tr.Unit != "kPa" || len(tr.Flags) > 0 {
			t.Errorf("%s assumed: got %s in %s, %v, want %s", name, got, tr.Unit, tr.Flags, want)
		}
	}
}

// captured is a capture of lines with a head.
func captured(t *testing.T, head map[string]string, fault string, lines ...string) string {
	t.Helper()
	var b strings.Builder
	w, err := replay.NewWriter(&b, head)
	if err != nil {
		t.Fatal(err)
	}
	for i, text := range lines {
		if err := w.Chunk(time.Duration(10+500*i)*time.Millisecond, []byte(text+"\n")); err != nil {
			t.Fatal(err)
		}
	}
	if fault != "" {
		if err := w.Note(replay.Note{Code: fault, State: "begins", Text: "x"}); err != nil {
			t.Fatal(err)
		}
	}
	if err := w.Flush(); err != nil {
		t.Fatal(err)
	}
	return b.String()
}

// A profile that nobody named does not overrule what a capture says of itself.
func TestACaptureWinsOverTheDefaultProfile(t *testing.T) {
	raw := Options{Calibration: tenBits(), Yields: true, Lines: wire.Options{Unit: "counts", Reference: "gauge"}}
	bar := Options{Yields: true, Lines: wire.Options{Unit: "bar", Reference: "absolute"}}
	kpa := captured(t, map[string]string{"unit": "kPa", "shown": "psi"}, "", "10.5", "11.5", "12.5")
	for name, opt := range map[string]Options{"none": {}, "counts": raw, "bar": bar} {
		tr := read(t, kpa, opt)
		if got := flat(tr.Samples); got != "0:111.8250 0.5:112.8250 1:113.8250" || tr.Shown != "psi" {
			t.Errorf("%s: got %s, shown in %q", name, got, tr.Shown)
		}
	}
	bar.Yields = false
	if got := flat(read(t, kpa, bar).Samples); got != "0:1050.0000 0.5:1150.0000 1:1250.0000" {
		t.Errorf("a profile that was asked for: got %s", got)
	}
	bar.Yields = true
	if got := flat(read(t, captured(t, nil, "", "1.5", "1.25"), bar).Samples); got != "0:150.0000 0.5:125.0000" {
		t.Errorf("a capture that says nothing: got %s", got)
	}

	// What looked like counts while it was recorded is no psi later.
	counts := captured(t, map[string]string{"unit": "psi"}, "uncalibrated", "102", "512")
	if _, err := Read(strings.NewReader(counts), "c", Options{}); err == nil || !strings.Contains(err.Error(), "counts and no calibration") {
		t.Errorf("counts without a calibration: got %v", err)
	}
	if got := flat(read(t, counts, raw).Samples); !strings.HasSuffix(got, "0.5:201.3250") {
		t.Errorf("counts with one: got %s", got)
	}
	if got := flat(read(t, counts, Options{Unit: "kPa"}).Samples); got != "0:203.3250 0.5:613.3250" {
		t.Errorf("counts that were stated to be kPa: got %s", got)
	}
}

// A first line that came as the port was opened may have lost its beginning.
func TestFirstLineOfACapture(t *testing.T) {
	for cut, want := range map[string]string{"0.05": "0:131.1250", "0.005": "0:111.1250 0.5:131.1250"} {
		tr := read(t, captured(t, map[string]string{"unit": "kPa", "cut_before_s": cut}, "", "9.8", "29.8"), Options{})
		if got := flat(tr.Samples); got != want {
			t.Errorf("cut before %s s: got %s, want %s", cut, got, want)
		}
	}
}

func TestCaptureFile(t *testing.T) {
	var b strings.Builder
	w, err := replay.NewWriter(&b, map[string]string{"unit": "kPa", "reads": "gauge", "ambient_pa": "90000"})
	if err != nil {
		t.Fatal(err)
	}
	for i, text := range []string{"\x00\xffboot", "ing\n1000,110.0", "\n1500,109.5\n", "2000,109.0\n250"} {
		if err := w.Chunk(time.Duration(i)*500*time.Millisecond, []byte(text)); err != nil {
			t.Fatal(err)
		}
	}
	if err := w.Flush(); err != nil {
		t.Fatal(err)
	}
	tr := read(t, b.String(), Options{})
	if got := flat(tr.Samples); got != "0:200.0000 0.5:199.5000 1:199.0000" {
		t.Errorf("got %s", got)
	}
	if tr.Ambient != 90e3 || tr.BadRows != 1 || !hasFlag(tr, decay.FlagBadRows) || !tr.ReadsStated || tr.Unit != "kPa" {
		t.Errorf("got %+v", tr)
	}
	torn := read(t, b.String()[:b.Len()-4], Options{})
	if warned(torn, "torn") == "" || len(torn.Samples) != 2 {
		t.Errorf("a torn capture: got %+v", torn)
	}
	if _, err := Read(strings.NewReader("ebbline-capture 99\n\n"), "c", Options{}); err == nil || !strings.Contains(err.Error(), "version") {
		t.Errorf("a later version: got %v", err)
	}
}

func TestCaptureHeader(t *testing.T) {
	f := &file{name: "c"}
	if err := f.captureHeader(map[string]string{"unit": "psi", "reads": "absolute", "ambient_pa": "95000"}); err != nil {
		t.Fatal(err)
	}
	if f.opt.Unit != "psi" || f.opt.Reads == nil || *f.opt.Reads != decay.ReadsAbsolute || math.Abs(float64(f.opt.Ambient)-95e3) > 0 {
		t.Errorf("got %+v", f.opt)
	}
	gauge := decay.ReadsGauge
	f = &file{name: "c", opt: Options{Unit: "bar", Reads: &gauge, Ambient: 1e5}}
	if err := f.captureHeader(map[string]string{"unit": "psi", "reads": "absolute", "ambient_pa": "95000"}); err != nil || f.opt.Unit != "bar" || f.opt.Ambient != 1e5 || *f.opt.Reads != gauge {
		t.Errorf("what is stated must win: got %+v, %v", f.opt, err)
	}
	for _, h := range []map[string]string{{"unit": "furlong"}, {"ambient_pa": "x"}, {"ambient_pa": "-1"}} {
		if err := (&file{name: "c"}).captureHeader(h); err == nil {
			t.Errorf("%v: no error", h)
		}
	}
}
