package report

import (
	"encoding/json"
	"math"
	"strings"
	"testing"
	"time"

	"ebbline/decay"
)

func full() decay.Result {
	return decay.Result{
		Outcome: decay.Leaks, Flags: []decay.Flag{decay.FlagNoZero},
		Hold:      decay.Hold{Span: decay.Span{Start: 8 * time.Second, End: 30 * time.Second}, StartAbs: 301325, StartGauge: 200000},
		HasVolume: true, HasFit: true,
		Area: decay.Interval{Value: 4.8e-7, Low: 4.5e-7, High: math.Inf(1), Level: 0.95}, AreaSD: 1e-9,
		Hole: decay.Interval{Value: 0.99e-3, Low: 0.96e-3, High: math.Inf(1), Level: 0.95}, Cd: 0.62,
		Rate: decay.Interval{Value: 0.0139, Low: 0.0132, High: 0.0145, Level: 0.95},
		Law:  decay.LawOrifice, LossRate: 2000, Flow: 0.0123, Limit: 0.5e-3, Peak: 210000,
		Volume: 0.01, Ambient: 101325, Samples: 3000,
		Warnings: []decay.Warning{{Code: "compliance", Text: "Rubber is taken to swell by up to 2 %."}},
	}
}

func decode(t *testing.T, r decay.Result) map[string]any {
	t.Helper()
	var b strings.Builder
	if err := JSON(&b, Input{File: "a.csv", Result: r, Elapsed: 1500 * time.Microsecond}); err != nil {
		t.Fatal(err)
	}
	if strings.Count(b.String(), "\n") != 1 || !strings.HasSuffix(b.String(), "\n") {
		t.Fatalf("not one line: %q", b.String())
	}
	var m map[string]any
	if err := json.Unmarshal([]byte(b.String()), &m); err != nil {
		t.Fatal(err)
	}
	return m
}

func TestJSONGivesTheContract(t *testing.T) {
	m := decode(t, full())
	for _, k := range []string{"file", "simulated", "outcome", "flags", "hold", "area_mm2", "hole_mm", "decay_per_s", "leak_law", "loss_kpa_per_min",
		"flow_sccm_0c", "settling", "limit_mm", "smallest_hole_mm", "seconds_to_decide", "peak_kpa_gauge", "volume_l", "ambient_kpa",
		"samples", "elapsed_ms", "warnings"} {
		if _, ok := m[k]; !ok {
			t.Errorf("key %s is missing", k)
		}
	}
	area := m["area_mm2"].(map[string]any)
	if got := area["value"].(float64); math.Abs(got-0.48) > 1e-12 {
		t.Errorf("area %v mm², want 0.48", got)
	}
	if area["high"] != nil {
		t.Errorf("unbounded high end printed as %v", area["high"])
	}
	if got := m["loss_kpa_per_min"].(float64); math.Abs(got-120) > 1e-9 {
		t.Errorf("loss %v kPa/min, want 120", got)
	}
	if got := m["flow_sccm_0c"].(float64); math.Abs(got-0.0123/7.435839e-7) > 1e-6 {
		t.Errorf("flow %v sccm", got)
	}
	if hold := m["hold"].(map[string]any); hold["start_kpa_abs"] != 301.325 || hold["start_kpa_gauge"] != 200.0 || hold["end_s"] != 30.0 {
		t.Errorf("hold %v", hold)
	}
}

func TestJSONSaysNullForTheUnknown(t *testing.T) {
	r := full()
	r.HasVolume, r.Volume = false, 0
	m := decode(t, r)
	if m["area_mm2"] != nil || m["hole_mm"] != nil || m["flow_sccm_0c"] != nil || m["volume_l"] != nil {
		t.Errorf("sizes without a volume: %v", m)
	}
	if m["decay_per_s"] == nil {
		t.Error("no decay rate without a volume")
	}
	m = decode(t, decay.Result{Outcome: decay.NoHold, LossRate: math.NaN(), Smallest: decay.Length(math.Inf(1))})
	for _, k := range []string{"hold", "area_mm2", "hole_mm", "decay_per_s", "loss_kpa_per_min", "settling", "seconds_to_decide", "smallest_hole_mm", "peak_kpa_gauge"} {
		if m[k] != nil {
			t.Errorf("%s is %v for a trace without a hold", k, m[k])
		}
	}
	if f, ok := m["flags"].([]any); !ok || len(f) != 0 {
		t.Errorf("flags %v, want an empty list", m["flags"])
	}
}

func TestTextSaysVerdictFirstAndNamesReferences(t *testing.T) {
	u, _ := decay.ParsePressureUnit("psi")
	var b strings.Builder
	if err := Text(&b, Input{File: "a.csv", Result: full()}, u); err != nil {
		t.Fatal(err)
	}
	got := b.String()
	if !strings.HasPrefix(got, "a.csv: leaks") {
		t.Errorf("verdict is not first:\n%s", got)
	}
	for _, want := range []string{"Cd 0.62", "0 °C", "29.01 psi gauge", "psi absolute", "no upper bound", "95 %", "Rubber is taken"} {
		if !strings.Contains(got, want) {
			t.Errorf("no %q in\n%s", want, got)
		}
	}
}

func TestEveryAdviceHasItsOwnSentence(t *testing.T) {
	u, _ := decay.ParsePressureUnit("psi")
	seen := map[string]decay.Advice{}
	for _, a := range []decay.Advice{decay.AdviseWaitReading, decay.AdviseFill, decay.AdviseFillSlowly, decay.AdviseKeepFilling,
		decay.AdviseIsolate, decay.AdviseSayShut, decay.AdviseListen, decay.AdviseHandsOff, decay.AdviseHoldOn, decay.AdviseRelease, decay.AdviseMoreHelp,
		decay.AdviseReleasing, decay.AdviseDone, decay.AdviseShut, decay.AdviseSensor} {
		s := Advice(decay.State{Advice: a}, decay.Setup{}, u)
		if other, ok := seen[s]; ok || !strings.HasSuffix(s, ".") {
			t.Errorf("%s: %q (also %s)", a, s, other)
		}
		seen[s] = a
	}
}

// A ceiling at the end of the sensor's range cannot be watched, and is said so.
func TestUnseenCeiling(t *testing.T) {
	psi := decay.Gauge(decay.PSI)
	u, _ := decay.ParsePressureUnit("psi")
	for _, c := range []struct {
		set  decay.Setup
		want string
	}{
		{decay.Setup{}, ""},
		{decay.Setup{FullScale: 50 * decay.PSI}, ""},
		{decay.Setup{FullScale: 30 * decay.PSI, Ceiling: 28 * psi}, ""},
		{decay.Setup{FullScale: 30 * decay.PSI, Ceiling: 30 * psi}, "lower the ceiling to 28.50 psi,"},
		{decay.Setup{FullScale: 30 * decay.PSI, Ceiling: 29 * psi}, "the sensor ends at 30.00 psi gauge"},
		{decay.Setup{FullScale: 300 * decay.Kilopascal, Reads: decay.ReadsAbsolute, Ambient: 100 * decay.Kilopascal, Ceiling: 199 * decay.Kilopascal}, "ends at 29.01 psi gauge"},
		{decay.Setup{FullScale: 300 * decay.Kilopascal, Reads: decay.ReadsAbsolute, Ambient: 100 * decay.Kilopascal, Ceiling: 180 * decay.Kilopascal}, ""},
	} {
		if got := Unseen(c.set, u); got != c.want && (c.want == "" || !strings.Contains(got, c.want)) {
			t.Errorf("%+v: %q, want %q", c.set, got, c.want)
		}
	}
}

// A ceiling that nobody stated is one that can be watched, and never higher than
// the usual one.
func TestLoweredCeiling(t *testing.T) {
	psi := decay.Gauge(decay.PSI)
	u, _ := decay.ParsePressureUnit("psi")
	for _, c := range []struct {
		set  decay.Setup // of which no ceiling is stated
		want decay.Gauge
		says string
	}{
		{decay.Setup{}, 30 * psi, ""},
		{decay.Setup{FullScale: 300 * decay.PSI}, 30 * psi, ""},
		{decay.Setup{FullScale: 30 * decay.PSI}, 28.5 * psi, "the ceiling is 28.50 psi gauge, not the usual 30.00 psi gauge: the sensor ends at 30.00 psi gauge"},
		{decay.Setup{FullScale: 15 * decay.PSI}, 14.25 * psi, "the ceiling is 14.25 psi gauge"},
		{decay.Setup{FullScale: 200 * decay.Kilopascal, Reads: decay.ReadsAbsolute, Ambient: 100 * decay.Kilopascal}, 95 * decay.Kilopascal, "the sensor ends at 14.50 psi gauge"},
		{decay.Setup{FullScale: 100 * decay.Kilopascal, Reads: decay.ReadsAbsolute, Ambient: 100 * decay.Kilopascal}, 30 * psi, ""}, // sees no pressure at all
	} {
		got := c.set.SeenCeiling()
		if math.Abs(float64(got-c.want)) > 1 {
			t.Errorf("%+v: %s, want %s", c.set, got.Format(u), c.want.Format(u))
		}
		c.set.Ceiling = got
		if got := Lowered(c.set, u); got != c.says && (c.says == "" || !strings.Contains(got, c.says)) {
			t.Errorf("%+v: %q, want %q", c.set, got, c.says)
		}
		if got := Unseen(c.set, u); got != "" && c.want < 30*psi {
			t.Errorf("%+v: %s", c.set, got)
		}
	}
}

// What to do first is said first: one hunts under pressure.
func TestAdviceAfterALeak(t *testing.T) {
	u, _ := decay.ParsePressureUnit("psi")
	st := decay.State{Phase: decay.PhaseHold, Verdict: decay.Leaks, Advice: decay.AdviseRelease}
	if got := Advice(st, decay.Setup{Of: decay.PartManifold}, u); !strings.Contains(got, "First hunt joint by joint, while there is pressure; then let the air out") {
		t.Error(got)
	}
	st.Verdict = decay.Unusable
	if got := Advice(st, decay.Setup{}, u); !strings.Contains(got, "unusable") || !strings.Contains(got, "test again") {
		t.Error(got)
	}
	st = decay.State{Phase: decay.PhaseEmpty, Advice: decay.AdviseDone, Result: decay.Result{Outcome: decay.Leaks}}
	if got := Advice(st, decay.Setup{}, u); !strings.Contains(got, "ran empty through its leak") {
		t.Error(got)
	}
}

// The two bounds of a tight trace stand beside each other: what would be told
// from none lies above the interval's end, and is said to be another thing.
func TestTextSaysWhatAHoldTellsFromNone(t *testing.T) {
	for code, want := range map[string]string{
		"compliance": "a hole of 0.252 mm or more is told from none; a smaller one looks like rubber that creeps, or noise",
		"no-zero":    "a hole of 0.252 mm or more is told from none; a smaller one looks like noise",
	} {
		r := full()
		r.Smallest, r.Warnings = 0.252*decay.Millimetre, []decay.Warning{{Code: code, Text: "made up"}}
		var b strings.Builder
		if err := Text(&b, Input{Result: r}, decay.PressureUnits[0]); err != nil || !strings.Contains(b.String(), want+"\n") {
			t.Errorf("%s: %v\n%s", code, err, b.String())
		}
	}
}
