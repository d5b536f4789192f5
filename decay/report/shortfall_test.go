package report

import (
	"bytes"
	"math"
	"strings"
	"testing"

	"ebbline/decay"
)

var hPa = decay.PressureUnit{Name: "hPa", Pascal: decay.Hectopascal}

// Every finding has words of its own, with its figures in the unit asked for.
func TestFindingWords(t *testing.T) {
	seen := map[string]string{}
	for _, code := range []string{
		decay.FoundOffAgrees, decay.FoundOffAmbient, decay.FoundOffUnknown, decay.FoundOffDiffers, decay.FoundOffGauge, decay.FoundIdleBelow,
		decay.FoundLoadBelow, decay.FoundNoCharge, decay.FoundGaugeActual, decay.FoundGaugeAsked, decay.FoundGaugeBoth, decay.FoundUnitActual,
		decay.FoundUnitAsked, decay.FoundAltitude, decay.FoundAltDiffers, decay.FoundOver, decay.FoundPartLoad, decay.FoundNoAsk, decay.FoundGrows, decay.FoundImpossible,
	} {
		f := decay.Finding{Code: code, Speed: 50, Value: 195000, Ref: 101300, Far: 12, Other: 1}
		text := FindingText(f, hPa)
		if text == code || len(text) < 40 {
			t.Errorf("%s has no words: %q", code, text)
		}
		if other, twice := seen[text]; twice {
			t.Errorf("%s and %s have the same words", code, other)
		}
		seen[text] = code
		if strings.Contains(text, "NaN") || strings.Contains(text, "%!") {
			t.Errorf("%s: %q", code, text)
		}
	}
	text := FindingText(decay.Finding{Code: decay.FoundUnitActual, Value: 19500, Ref: 245000, Other: 10, Units: []decay.PressureUnit{{Name: "kPa", Pascal: 1000}}}, hPa)
	if !strings.Contains(text, "195 hPa") || !strings.Contains(text, "in kPa or ten times as much") {
		t.Errorf("%q", text)
	}
}

func meaningOf(hole decay.Interval) (decay.Complaint, decay.Engine, decay.Meaning) {
	c := decay.Complaint{Worst: 0, Begins: 0, Ambient: 101325, Points: []decay.ChargePoint{
		{Speed: 25, Requested: 215000, Actual: 185000, Ambient: 101325, Rows: 1},
		{Speed: 50, Requested: 215000, Actual: 200000, Ambient: 101325, Rows: 1},
		{Speed: 70, Requested: 215000, Actual: 214000, Ambient: 101325, Rows: 1},
		{Speed: 75, Requested: 215000, Actual: 100000, Ambient: 101325, Rows: 1},
	}}
	e := decay.Engine{Displacement: 0.0012}
	return c, e, e.Explain(c, decay.HoleEscape(hole, 0.62), 0.62)
}

// The chart sets holes on one ruler: a larger one further right, the measured
// one at the same place in every row, and what no hole does is said.
func TestMeaningChart(t *testing.T) {
	hole := decay.Interval{Value: 3e-3, Low: 2.6e-3, High: 3.3e-3, Level: 0.95}
	c, _, m := meaningOf(hole)
	lines := MeaningChart(c, m, hole, 60)
	if len(lines) != 2+len(c.Points)+1 {
		t.Fatalf("%d lines", len(lines))
	}
	rows := lines[2 : 2+len(c.Points)]
	at := strings.IndexRune(rows[0], '#')
	for i, r := range rows {
		if strings.IndexRune(r, '#') != at {
			t.Errorf("row %d: the measured hole moves: %q", i, r)
		}
	}
	first, second := strings.IndexRune(rows[0], 'o'), strings.IndexRune(rows[1], 'o')
	if !(m.At[0].Hole > m.At[1].Hole && first > second && second > at) {
		t.Errorf("holes of %.2f and %.2f mm at columns %d and %d, measured at %d", m.At[0].Hole*1e3, m.At[1].Hole*1e3, first, second, at)
	}
	// The bar is as wide as the interval is on the ruler, which the two holes show.
	perFactor := float64(first-second) / math.Log(float64(m.At[0].Hole/m.At[1].Hole))
	if n := float64(strings.Count(rows[0], "=") + 1); math.Abs(n-perFactor*math.Log(hole.High/hole.Low)) > 2 {
		t.Errorf("an interval of %.0f columns in %q", n, rows[0])
	}
	if !strings.HasSuffix(rows[2], "nothing is missing") || !strings.HasSuffix(rows[3], "no hole does that") {
		t.Errorf("%q", rows[2:])
	}
	// Where the ruler's mark of 3 mm is, there is the hole of 3 mm.
	marks := []rune(lines[0])
	if i := at; marks[i] != '3' {
		t.Errorf("the hole of 3 mm stands under %q of %q", marks[i], lines[0])
	}
}

func TestMeaningText(t *testing.T) {
	hole := decay.Interval{Value: 3e-3, Low: 2.6e-3, High: 3.3e-3, Level: 0.95}
	c, e, m := meaningOf(hole)
	var b bytes.Buffer
	if err := Meaning(&b, c, m, e, hole, 0.62, hPa); err != nil {
		t.Fatal(err)
	}
	for _, want := range []string{"3.00 mm, 2.60 to 3.30 mm at 95 % (Cd 0.62)", "an estimate: displacement 1.20 L, 4 strokes", "volumetric efficiency", "no more:"} {
		if !strings.Contains(b.String(), want) {
			t.Errorf("no %q in\n%s", want, b.String())
		}
	}
	for _, l := range strings.Split(b.String(), "\n") {
		if len([]rune(l)) > 80 || strings.TrimRight(l, " ") != l {
			t.Errorf("line of %d columns or with blanks at its end: %q", len([]rune(l)), l)
		}
	}
}

func TestMeaningWords(t *testing.T) {
	part := func(v, lo, hi float64) decay.Meaning {
		return decay.Meaning{Part: decay.Interval{Value: v, Low: lo, High: hi, Level: 0.95}}
	}
	for _, c := range []struct {
		m    decay.Meaning
		want string
	}{
		{part(1, 1, 1), "this leak explains it: 100 % of the shortfall"},
		{part(0.7, 0.6, 0.8), "this leak explains most of it: 70 % (60 % to 80 %) of the shortfall"},
		{part(0.45, 0.3, 0.6), "this leak explains a part: 45 % (30 % to 60 %) of the shortfall; the interval of the hole leaves open whether it explains a part or explains most of it"},
		{part(0.01, 0, 0.02), "this leak does not explain it: 1 % (0 % to 2 %) of the shortfall"},
		{part(math.NaN(), math.NaN(), math.NaN()), "there is no shortfall to explain"},
	} {
		if got := MeaningVerdict(c.m); got != c.want {
			t.Errorf("%q, want %q", got, c.want)
		}
	}
}

func TestLineBreaksBetweenWords(t *testing.T) {
	var b bytes.Buffer
	Line(&b, "name", strings.Repeat("four ", 40)+strings.Repeat("x", 90))
	for i, l := range strings.Split(strings.TrimSuffix(b.String(), "\n"), "\n") {
		if len(l) > 80 && !strings.Contains(l, "xx") || i > 0 && !strings.HasPrefix(l, strings.Repeat(" ", 11)) {
			t.Errorf("line %d: %q", i, l)
		}
	}
	if strings.Join(strings.Fields(b.String()), " ") != "name "+strings.Repeat("four ", 40)+strings.Repeat("x", 90) {
		t.Errorf("words were lost: %q", b.String())
	}
}
