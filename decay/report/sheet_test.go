package report

import (
	"bytes"
	"encoding/csv"
	"encoding/json"
	"flag"
	"image/png"
	"math"
	"os"
	"path/filepath"
	"strconv"
	"strings"
	"testing"
	"time"
	"unicode/utf8"

	"ebbline/decay"
	"ebbline/decay/record"

	"golang.org/x/net/html"
	"pgregory.net/rapid"
)

var update = flag.Bool("update", false, "write the goldens anew")

const samples = "../../testdata/records"

// read are the sample records, judged once.
var read = map[string]*Test{}

// testOf is one of the sample records.
func testOf(t testing.TB, name, role string) *Test {
	t.Helper()
	if read[name] == nil {
		f, err := os.Open(filepath.Join(samples, name+".ebbline"))
		if err != nil {
			t.Fatal(err)
		}
		defer f.Close()
		rec, err := record.Read(f)
		if err != nil {
			t.Fatal(err)
		}
		read[name] = NewTest(rec, name+".ebbline", strings.Repeat("0", 64))
	}
	x := *read[name]
	x.Role = role
	return &x
}

// repaired is a whole job: before, after and two sections.
func repaired(t testing.TB) *Sheet {
	return &Sheet{Tests: []*Test{testOf(t, "before", "before"), testOf(t, "after", "after")},
		Sections: []*Test{testOf(t, "upper", "section"), testOf(t, "cooler", "section")},
		By:       "desk 2", Customer: "blue van (made up)", Sensor: "grey transducer", Calibrated: "2026-01-02"}
}

func sheetPage(t testing.TB, s *Sheet) string {
	t.Helper()
	var b strings.Builder
	if err := s.HTML(&b); err != nil {
		t.Fatal(err)
	}
	return b.String()
}

// texts are the words of a page as a reader sees them, and those of each id.
func texts(t testing.TB, page string) (all string, byID map[string]string) {
	t.Helper()
	doc, err := html.Parse(strings.NewReader(page))
	if err != nil {
		t.Fatal(err)
	}
	byID = map[string]string{}
	var b strings.Builder
	var walk func(n *html.Node) string
	walk = func(n *html.Node) string {
		if n.Type == html.TextNode {
			b.WriteString(n.Data + " ")
			return n.Data
		}
		if n.Type == html.ElementNode && n.Data == "style" {
			return ""
		}
		var own strings.Builder
		for c := n.FirstChild; c != nil; c = c.NextSibling {
			own.WriteString(walk(c))
		}
		for _, a := range n.Attr {
			if a.Key == "id" {
				byID[a.Val] = own.String()
			}
		}
		return own.String()
	}
	walk(doc)
	return strings.Join(strings.Fields(b.String()), " "), byID
}

func TestSheetGolden(t *testing.T) {
	for name, s := range map[string]*Sheet{"sheet-repair": repaired(t), "sheet-undecided": {Tests: []*Test{testOf(t, "undecided", "")}}} {
		got := sheetPage(t, s)
		file := filepath.Join("testdata", name+".html")
		if *update {
			if err := os.WriteFile(file, []byte(got), 0o644); err != nil {
				t.Fatal(err)
			}
		}
		want, err := os.ReadFile(file)
		if err != nil {
			t.Fatal(err)
		}
		if got != string(want) {
			t.Errorf("%s differs from its golden: look at it and run go test ./decay/report -update", name)
		}
	}
}

// TestSheetSaysAll: somebody who was not there finds what was tested, how,
// when, by whom, what it says, and what it cannot say.
func TestSheetSaysAll(t *testing.T) {
	s := repaired(t)
	all, id := texts(t, sheetPage(t, s))
	for _, w := range []string{"SIMULATED, NO PROOF", "Job 12, blue van (made up)", "blue van (made up)", "desk 2", "grey transducer", "2026-01-02",
		"It leaks: more than a 0.50 mm hole would.", "It holds", "The repair mended it", "ceiling 30.00 psi gauge", "warning band", "the fitted curve",
		"true size", "psi absolute", "relief valve", "no safety device", "Eye protection", "cannot show", "unchanged since it was written", "cooler and lower hose",
		s.Tests[0].Record.Sum, "before.ebbline", "10.0 L ± 3 %", "blocked off at the manifold"} {
		if !strings.Contains(all, w) {
			t.Errorf("the sheet does not say %q", w)
		}
	}
	for i, x := range s.Tests {
		n := "-" + strconv.Itoa(i+1)
		if got := id["word"+n]; got != Word(x.Result.Outcome) {
			t.Errorf("the verdict is %q", got)
		}
		if got, want := id["hole"+n], digits3(x.Result.Hole.Value*1e3)+" ("; !strings.HasPrefix(got, want) {
			t.Errorf("the hole is %q, want %q", got, want)
		}
	}
}

// No hold begins above the highest pressure of its test: the curve of this one
// ends 0.02 psi above every reading when it is carried back to the corner.
func TestNoHoldBeginsAboveThePeak(t *testing.T) {
	for _, name := range []string{"before", "after", "upper", "cooler", "undecided"} {
		r := testOf(t, name, "").Result
		if r.Hold.StartAbs == 0 || r.Hold.StartGauge > r.Peak || math.Abs(float64(r.Hold.StartGauge.Absolute(r.Ambient)-r.Hold.StartAbs)) > 1e-6 {
			t.Errorf("%s: from %v gauge, %v absolute; the peak is %v", name, r.Hold.StartGauge, r.Hold.StartAbs, r.Peak)
		}
	}
}

func TestSheetOwnsUp(t *testing.T) {
	x := testOf(t, "before", "")
	x.Record.Simulated, x.Record.Digest, x.Record.Sum = false, record.DigestDiffers, ""
	x.Record.Torn, x.Record.Setup.Volume = false, 0.02
	s := &Sheet{Tests: []*Test{x}}
	all, _ := texts(t, sheetPage(t, s))
	if strings.Contains(all, "SIMULATED") || !strings.Contains(all, "before.ebbline was changed after it was written: it proves nothing") {
		t.Errorf("%s", all)
	}
	x.Result.Peak = decay.Gauge(31 * decay.PSI)
	x.Record.Digest, x.Record.Torn, x.Record.TornLine, x.Record.Unended = record.NoDigest, true, 77, true
	all, _ = texts(t, sheetPage(t, s))
	for _, w := range []string{"read up to line 77", "its end is missing", "still pressure", "above the ceiling: 31.00 psi gauge"} {
		if !strings.Contains(all, w) {
			t.Errorf("the sheet does not say %q: %s", w, all)
		}
	}
	after := testOf(t, "after", "after")
	after.Record.Label = "another duct"
	all, _ = texts(t, sheetPage(t, &Sheet{Tests: []*Test{testOf(t, "before", "before"), after}}))
	if !strings.Contains(all, "different labels") {
		t.Error("two ducts pass for one")
	}
	if err := (&Sheet{}).HTML(&bytes.Buffer{}); err == nil {
		t.Error("a sheet of nothing")
	}
}

// TestSheetOfEveryOutcome: a page is made of whatever a record holds.
func TestSheetOfEveryOutcome(t *testing.T) {
	base := time.Date(2026, 2, 3, 4, 5, 6, 0, time.FixedZone("", 3600))
	flat := func(n int, p float64) (out []decay.Sample) {
		for i := range n {
			out = append(out, decay.Sample{At: time.Duration(i) * 100 * time.Millisecond, P: decay.Pressure(p)})
		}
		return out
	}
	for name, rec := range map[string]record.Record{
		"empty":    {},
		"one":      {When: base, Samples: flat(1, 101325)},
		"flat":     {When: base, Samples: flat(300, 101325)},
		"vacuum":   {Samples: flat(50, -3e5)},
		"infinite": {Samples: []decay.Sample{{At: 0, P: 101325}, {At: time.Second, P: decay.Pressure(math.Inf(1))}, {At: 2 * time.Second, P: decay.Pressure(math.NaN())}}},
	} {
		s := &Sheet{Tests: []*Test{NewTest(rec, name, "")}}
		all, _ := texts(t, sheetPage(t, s))
		if strings.Contains(all, "NaN") || strings.Contains(all, "Inf") || strings.Contains(sheetPage(t, s), "NaN") {
			t.Errorf("%s: a number that is none: %s", name, all)
		}
		var b bytes.Buffer
		if err := s.Picture(&b); err != nil {
			t.Errorf("%s: %v", name, err)
		}
		if m := s.Message(); m == "" || utf8.RuneCountInString(m) >= MessageMost {
			t.Errorf("%s: message %q", name, m)
		}
		if err := s.JSON(&b); err != nil {
			t.Errorf("%s: %v", name, err)
		}
	}
	for o := decay.Undecided; o <= decay.Unusable; o++ {
		x := testOf(t, "before", "")
		x.Result.Outcome = o
		_, id := texts(t, sheetPage(t, &Sheet{Tests: []*Test{x}}))
		if id["word-1"] != Word(o) {
			t.Errorf("%v: %q", o, id["word-1"])
		}
	}
	x := testOf(t, "before", "")
	x.Result.Hole.High = math.Inf(1)
	x.Result.Rate.High = math.Inf(1)
	if all, _ := texts(t, sheetPage(t, &Sheet{Tests: []*Test{x}})); !strings.Contains(all, "no upper bound") || strings.Contains(all, "Inf") {
		t.Error("an open interval is not said")
	}
}

// attacks are texts that people might type to make a page do something.
var attacks = []string{
	`<script>alert(1)</script>`, `"><img src=x onerror=alert(1)>`, `</title><script>alert(1)</script>`, `</style><script>1</script>`,
	`</svg><script>alert(1)</script>`, `javascript:alert(1)`, `{{.}}`, `<!--`, `]]>`, `&lt;b&gt;`, "'onload='alert(1)", "\x00\x1b[2J", "\u202eevil", `<iframe src="https://example.org">`,
	`=HYPERLINK("http://example.org")`, `+1+cmd|' /C calc'!A0`, `@SUM(1)`, "\t=1+1", `-2+3`, "＝1+1", strings.Repeat("<b>", 5000),
}

// TestTypedTextStaysText: nothing that a person typed becomes markup, whatever
// field it stands in.
func TestTypedTextStaysText(t *testing.T) {
	clean := skeleton(t, sheetPage(t, poisoned(t, "x")))
	for _, a := range attacks {
		page := sheetPage(t, poisoned(t, a))
		if got := skeleton(t, page); got != clean {
			t.Errorf("%.40q changes the page's elements", a)
		}
		if strings.ContainsAny(page, "\x00\x1b\u202e") {
			t.Errorf("%.40q leaves a control character", a)
		}
	}
}

func FuzzTypedText(f *testing.F) {
	for _, a := range attacks {
		f.Add(a)
	}
	base := poisoned(f, "x")
	clean := skeleton(f, sheetPage(f, base))
	f.Fuzz(func(t *testing.T, a string) {
		s := *base
		s.Customer, s.By, s.Note, s.Sensor, s.Calibrated = "x"+a, "x"+a, "x"+a, "x"+a, "x"+a
		if got := skeleton(t, sheetPage(t, &s)); got != clean {
			t.Errorf("%q changes the page's elements", a)
		}
		var b bytes.Buffer
		if err := s.JSON(&b); err != nil || !json.Valid(b.Bytes()) {
			t.Errorf("%q: json: %v", a, err)
		}
	})
}

// poisoned has the text in every field that a person types.
func poisoned(t testing.TB, a string) *Sheet {
	s := repaired(t)
	for _, x := range s.files() {
		x.Record.Label, x.Record.Program, x.Record.Source, x.Name = "x"+a, "x"+a, "x"+a, "x"+a
		x.Record.Extra = []record.KeyValue{{Key: "by", Value: "x" + a}}
	}
	s.Customer, s.By, s.Note, s.Sensor, s.Calibrated = "x"+a, "x"+a, "x"+a, "x"+a, "x"+a
	return s
}

// skeleton is the page's elements and the names of their attributes.
func skeleton(t testing.TB, page string) string {
	t.Helper()
	z := html.NewTokenizer(strings.NewReader(page))
	var b strings.Builder
	for {
		switch z.Next() {
		case html.ErrorToken:
			return b.String()
		case html.StartTagToken, html.EndTagToken, html.SelfClosingTagToken:
			tok := z.Token()
			b.WriteString(tok.Data)
			for _, a := range tok.Attr {
				b.WriteString(" " + a.Key)
			}
			b.WriteByte('\n')
		case html.CommentToken:
			b.WriteString("comment\n")
		}
	}
}

// TestSheetKeepsToItself: no script, nothing loaded, and no path or name of the
// machine that made it.
func TestSheetKeepsToItself(t *testing.T) {
	s := repaired(t)
	for _, x := range s.files() {
		x.Record.Source = "/home/somebody/traces/left.csv"
		x.Name = "left.ebbline"
	}
	s.Tests[1].Record.Source = `C:\Users\Somebody\left.csv`
	page := sheetPage(t, s)
	for _, bad := range []string{"<script", "http://", "https://", "src=", "href=", "url(", "@import", "/home", "somebody", "Somebody", `C:\`, "javascript:", " on"} {
		text := strings.ReplaceAll(page, `xmlns="http://www.w3.org/2000/svg"`, "")
		if bad == " on" { // as an attribute
			if strings.Contains(text, " onload") || strings.Contains(text, " onerror") || strings.Contains(text, " onclick") {
				t.Error("a handler")
			}
			continue
		}
		if strings.Contains(text, bad) {
			t.Errorf("the page holds %q", bad)
		}
	}
	host, _ := os.Hostname()
	dir, _ := os.Getwd()
	home, _ := os.UserHomeDir()
	for _, bad := range []string{host, dir, home} {
		if len(bad) > 3 && strings.Contains(page, bad) {
			t.Errorf("the page holds %q", bad)
		}
	}
	if !strings.Contains(page, "left.csv") {
		t.Error("the source's own name is lost")
	}
}

// TestPageIsWellFormed: a strict reading finds each element closed where it was
// opened, and no id twice. Elements that never close are HTML's own.
func TestPageIsWellFormed(t *testing.T) {
	for _, s := range []*Sheet{repaired(t), {Tests: []*Test{testOf(t, "undecided", "")}}, {Tests: []*Test{NewTest(record.Record{}, "", "")}}} {
		z := html.NewTokenizer(strings.NewReader(sheetPage(t, s)))
		var open []string
		ids := map[string]bool{}
		void := map[string]bool{"meta": true, "br": true}
		for done := false; !done; {
			switch z.Next() {
			case html.ErrorToken:
				done = true
			case html.StartTagToken:
				tok := z.Token()
				if !void[tok.Data] {
					open = append(open, tok.Data)
				}
				for _, a := range tok.Attr {
					if a.Key == "id" && ids[a.Val] {
						t.Errorf("id %q twice", a.Val)
					}
					ids[a.Val] = ids[a.Val] || a.Key == "id"
				}
			case html.EndTagToken:
				tok := z.Token()
				if len(open) == 0 || open[len(open)-1] != tok.Data {
					t.Fatalf("</%s> closes %v", tok.Data, open)
				}
				open = open[:len(open)-1]
			}
		}
		if len(open) > 0 {
			t.Errorf("left open: %v", open)
		}
	}
}

func TestTableIsSafeAndRight(t *testing.T) {
	s := repaired(t)
	for _, a := range attacks {
		s.Tests[0].Record.Label, s.Tests[0].Name = a, a
		var b bytes.Buffer
		if err := s.CSV(&b); err != nil {
			t.Fatal(err)
		}
		rows, err := csv.NewReader(&b).ReadAll()
		if err != nil {
			t.Fatal(err)
		}
		if n := 1 + len(s.Tests[0].Record.Samples) + len(s.Tests[1].Record.Samples) + len(s.Sections[0].Record.Samples) + len(s.Sections[1].Record.Samples); len(rows) != n {
			t.Fatalf("%d rows, want %d", len(rows), n)
		}
		for _, c := range rows[1][:3] {
			if c != "" && strings.ContainsAny(c[:1], "=+-@\t\r|%") || strings.HasPrefix(c, "＝") {
				t.Errorf("a spreadsheet takes %q for a formula", c)
			}
		}
	}
	var b bytes.Buffer
	s = repaired(t)
	if err := s.CSV(&b); err != nil {
		t.Fatal(err)
	}
	rows, _ := csv.NewReader(&b).ReadAll()
	fits := 0
	for i, x := range s.Tests[0].Record.Samples {
		r := rows[i+1]
		p, err := strconv.ParseFloat(r[5], 64)
		if err != nil || math.Abs(p*1e3-float64(x.P)) > 1e-3 || r[0] != "before" || r[8] != "yes" {
			t.Fatalf("row %d is %q, the reading %v", i+1, r, x)
		}
		if r[7] != "" {
			g, _ := strconv.ParseFloat(r[6], 64)
			f, _ := strconv.ParseFloat(r[7], 64)
			if fits++; math.Abs(g-f) > 3 {
				t.Fatalf("row %d: %q lies off the fit", i+1, r)
			}
		}
	}
	if fits < 500 {
		t.Errorf("%d readings beside the fit", fits)
	}
}

func TestSheetJSON(t *testing.T) {
	var b bytes.Buffer
	s := repaired(t)
	if err := s.JSON(&b); err != nil {
		t.Fatal(err)
	}
	var out struct {
		Simulated bool
		Repair    string
		Tests     []struct {
			Role     string
			Label    string
			Result   struct{ Hole_mm struct{ Value float64 } }
			Time_s   []float64
			Pressure []float64 `json:"pressure_kpa_abs"`
		}
		Sections []struct{ Name string }
	}
	if err := json.Unmarshal(b.Bytes(), &out); err != nil {
		t.Fatal(err)
	}
	if !out.Simulated || out.Repair != "mended" || len(out.Tests) != 4 || len(out.Sections) != 2 || out.Tests[0].Role != "before" ||
		math.Abs(out.Tests[0].Result.Hole_mm.Value-s.Tests[0].Result.Hole.Value*1e3) > 1e-9 || len(out.Tests[0].Time_s) != len(s.Tests[0].Record.Samples) ||
		math.Abs(out.Tests[0].Pressure[100]*1e3-float64(s.Tests[0].Record.Samples[100].P)) > 1e-4 {
		t.Errorf("%.600s", b.String())
	}
}

func TestMessageFits(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		x := slipOf(decay.Outcome(rapid.IntRange(0, 5).Draw(t, "outcome")))
		one := &Test{Record: record.Record{Label: rapid.String().Draw(t, "label") + strings.Repeat("w ", rapid.IntRange(0, 400).Draw(t, "more")),
			When: x.When, Setup: x.Setup, Simulated: rapid.Bool().Draw(t, "simulated")}, Result: x.Result, Digest: strings.Repeat("a", 64)}
		s := &Sheet{Tests: []*Test{one}}
		if rapid.Bool().Draw(t, "two") {
			two := *one
			one.Role, two.Role = "before", "after"
			s.Tests = append(s.Tests, &two)
		}
		m := s.Message()
		if n := utf8.RuneCountInString(m); n >= MessageMost {
			t.Fatalf("%d letters: %q", n, m)
		}
		if one.Record.Simulated != strings.Contains(m, "SIMULATED, NO PROOF") || strings.ContainsAny(m, "\n\r\x1b") {
			t.Fatalf("%q", m)
		}
	})
	torn, changed := testOf(t, "before", "before"), testOf(t, "after", "after")
	torn.Record.Torn, changed.Record.Digest = true, record.DigestDiffers
	torn.Record.Label = strings.Repeat("long ", 200)
	m := (&Sheet{Tests: []*Test{torn, changed}}).Message()
	if n := utf8.RuneCountInString(m); n >= MessageMost || !strings.HasPrefix(m, "RECORD CHANGED AFTER IT WAS WRITTEN, NO PROOF. END OF A RECORD IS MISSING, A CHANGE CANNOT BE TOLD. SIMULATED, NO PROOF. Leak test: long") {
		t.Errorf("%d letters: %s", n, m)
	}
	m = repaired(t).Message()
	for _, w := range []string{"BEFORE the repair", "It leaks", "0.90 mm (95 % sure: 0.87 to 0.93 mm)", "AFTER the repair", "It holds", "2 % is left", "Job 12"} {
		if !strings.Contains(m, w) {
			t.Errorf("the message lacks %q: %s", w, m)
		}
	}
}

// A label may read like anything, as one does that says when the test was made.
func TestMessageReadsWithAnyLabel(t *testing.T) {
	s := repaired(t)
	for _, label := range []string{"before the repair", "left hose", "Leak test of Monday"} {
		for _, x := range s.Tests {
			x.Record.Label = label
		}
		if m := s.Message(); !strings.Contains(m, "Leak test: "+label+". ") {
			t.Errorf("%q: %s", label, m)
		}
	}
}

// TestPictureIsTheChart: the picture has its size, and the traces, the ceiling
// and paper on it.
func TestPictureIsTheChart(t *testing.T) {
	var b bytes.Buffer
	if err := repaired(t).Picture(&b); err != nil {
		t.Fatal(err)
	}
	img, err := png.Decode(&b)
	if err != nil {
		t.Fatal(err)
	}
	count := map[[3]uint32]int{}
	for y := range img.Bounds().Dy() {
		for x := range img.Bounds().Dx() {
			r, g, bl, _ := img.At(x, y).RGBA()
			count[[3]uint32{r >> 8, g >> 8, bl >> 8}]++
		}
	}
	if img.Bounds().Dx() != (chartW+8)*pixels {
		t.Errorf("%v", img.Bounds())
	}
	for _, ink := range []string{inkPaper, inkText, inkAfter, inkBefore, inkLimit, inkBandOld} {
		c := colour(ink)
		if n := count[[3]uint32{uint32(c.R), uint32(c.G), uint32(c.B)}]; n < 200 {
			t.Errorf("%d pixels of %s", n, ink)
		}
	}
}

// A picture says above all else that its record was changed, or lost its end.
func TestPictureOwnsUpFirst(t *testing.T) {
	x := testOf(t, "before", "")
	s := &Sheet{Tests: []*Test{x}}
	for _, c := range []struct {
		digest record.Digest
		torn   bool
		want   string
	}{
		{record.DigestFits, false, "SIMULATED, NO PROOF"},
		{record.DigestDiffers, false, "RECORD CHANGED AFTER IT WAS WRITTEN, NO PROOF"},
		{record.NoDigest, true, "END OF A RECORD IS MISSING, A CHANGE CANNOT BE TOLD"},
	} {
		x.Record.Digest, x.Record.Torn = c.digest, c.torn
		if got := s.picture().shapes[0].text; got != c.want {
			t.Errorf("%q comes first, not %q", got, c.want)
		}
	}
}

// TestGreyKeepsItsMeaning: what lies beside each other in colour can be told
// apart by lightness, dash or width too.
func TestGreyKeepsItsMeaning(t *testing.T) {
	grey := func(ink string) float64 {
		c := colour(ink)
		return 0.299*float64(c.R) + 0.587*float64(c.G) + 0.114*float64(c.B)
	}
	if d := math.Abs(grey(inkAfter) - grey(inkBefore)); d < 30 {
		t.Errorf("the traces differ by %.0f of 255 in grey", d)
	}
	_, _, _, old := style(true)
	_, _, _, now := style(false)
	if len(old) == 0 || len(now) != 0 || len(limitDash) == len(old) {
		t.Error("the lines have the same dash")
	}
}

// TestHoleIsDrawnToScale: what is drawn measures what was found, at true size
// and enlarged.
func TestHoleIsDrawnToScale(t *testing.T) {
	x := testOf(t, "before", "")
	for _, d := range []float64{0.05, 0.3, 0.9, 2, 7, 30} {
		x.Result.Hole = decay.Interval{Value: d / 1e3, Low: 0.9 * d / 1e3, High: 1.2 * d / 1e3, Level: 0.95}
		pic := holePicture([]*Test{x})
		if pic == nil {
			t.Fatalf("%v mm is not drawn", d)
		}
		scales := map[float64]bool{}
		for _, s := range pic.shapes {
			if len(s.ring) == 1 && s.ink == inkAfter {
				scales[math.Round(s.ring[0]/(d/2)*100)/100] = true
			}
			for _, path := range s.paths {
				for _, p := range path {
					if p.x < -0.01 || p.x > pic.w+0.01 || p.y < -0.01 || p.y > pic.h+0.01 {
						t.Errorf("%v mm: a point at %v, off the paper of %v x %v", d, p, pic.w, pic.h)
					}
				}
			}
		}
		if !scales[1] {
			t.Errorf("%v mm: scales %v, true size is missing", d, scales)
		}
	}
	x.Result.Hole = decay.Interval{Value: 0.3, Low: 0.2, High: 0.5}
	if holePicture([]*Test{x}) != nil {
		t.Error("a hole wider than the page is drawn")
	}
}

func BenchmarkSheet(b *testing.B) {
	s := repaired(b)
	for b.Loop() {
		var out bytes.Buffer
		if err := s.HTML(&out); err != nil {
			b.Fatal(err)
		}
		b.ReportMetric(float64(out.Len()), "bytes")
	}
}

func BenchmarkPicture(b *testing.B) {
	s := repaired(b)
	for b.Loop() {
		var out bytes.Buffer
		if err := s.Picture(&out); err != nil {
			b.Fatal(err)
		}
	}
}
