package main

import (
	"bytes"
	"encoding/json"
	"fmt"
	"image/png"
	"math"
	"os"
	"os/exec"
	"os/user"
	"path/filepath"
	"regexp"
	"strings"
	"testing"
	"time"

	"ebbline/decay"
	"ebbline/sensor"
	"ebbline/sensor/profile"

	"golang.org/x/net/html"
)

const records = root + "/testdata/records/"

// wholeJob are the arguments of a sheet with all that a sheet can have.
var wholeJob = []string{"report", records + "after.ebbline", records + "before.ebbline", "--section", records + "upper.ebbline", "--section", records + "cooler.ebbline",
	"--by", "desk 2", "--customer", "blue van (made up)", "--displacement", "1.2L", "--complaint", root + "/testdata/scenario/complaint.csv",
	"--columns", "speed=Drehzahl,requested=p soll,actual=p ist,ambient=Luftdruck,load=Last"}

func TestReportWritesAll(t *testing.T) {
	dir := t.TempDir()
	sheet, picture := filepath.Join(dir, "sheet.html"), filepath.Join(dir, "chart.png")
	status, out, errOut := ebbline(t, "", append(wholeJob, "-o", sheet, "--picture", picture, "--text")...)
	if status != 0 || !strings.Contains(out, "BEFORE the repair") || strings.Count(errOut, "wrote") != 2 {
		t.Fatalf("status %d, %q, %q", status, out, errOut)
	}
	b, err := os.ReadFile(sheet)
	if err != nil {
		t.Fatal(err)
	}
	page := string(b)
	// Records go by their dates, not by the order in which they were named.
	if i, j := strings.Index(page, "leaks</p>"), strings.Index(page, "holds</p>"); i < 0 || j < i {
		t.Errorf("before is at %d, after at %d", i, j)
	}
	for _, w := range []string{"What it means for this engine", "does not explain it", "Where the leak lies", "cooler and lower hose"} {
		if !strings.Contains(page, w) {
			t.Errorf("the sheet lacks %q", w)
		}
	}
	bad := []string{dir, "/tmp/", "/home/", "/root", "../"}
	if u, err := user.Current(); err == nil && len(u.Username) > 2 && u.Username != "root" {
		bad = append(bad, u.Username, u.HomeDir)
	}
	if wd, err := os.Getwd(); err == nil {
		bad = append(bad, wd)
	}
	for _, w := range bad {
		if strings.Contains(page, w) {
			t.Errorf("the sheet holds %q", w)
		}
	}
	pic, err := os.Open(picture)
	if err != nil {
		t.Fatal(err)
	}
	defer pic.Close()
	if _, err := png.Decode(pic); err != nil {
		t.Error(err)
	}
	if left, _ := filepath.Glob(filepath.Join(dir, ".*")); len(left) > 0 {
		t.Errorf("left behind: %v", left)
	}
	for _, c := range []struct{ flag, want string }{{"--csv", "test,label,record,"}, {"--json", `{"simulated":true,`}, {"-o-", "<!DOCTYPE html>"}} {
		if status, out, errOut := ebbline(t, "", append(wholeJob, c.flag)...); status != 0 || !strings.HasPrefix(out, c.want) {
			t.Errorf("%s: status %d, %.80q, %q", c.flag, status, out, errOut)
		}
	}
}

func TestReportRefuses(t *testing.T) {
	dir := t.TempDir()
	b, err := os.ReadFile(records + "before.ebbline")
	if err != nil {
		t.Fatal(err)
	}
	mine := filepath.Join(dir, "mine.ebbline")
	if err := os.WriteFile(mine, b, 0o600); err != nil {
		t.Fatal(err)
	}
	for _, c := range []struct {
		args []string
		want string
	}{
		{nil, "needs the record"},
		{[]string{mine}, "nothing was asked for"},
		{[]string{mine, mine, "--text"}, "the same record"},
		{[]string{mine, mine, mine, "--text"}, "one record or two"},
		{[]string{mine, "--text", "--csv"}, "standard output"},
		{[]string{mine, "-o", mine}, "is not written over"},
		{[]string{mine, "-o", filepath.Join(dir, "no", "x.html")}, "no such file"},
		{[]string{mine, "-o", filepath.Join(dir, "x"), "--picture", filepath.Join(dir, ".", "x")}, "the same file"},
		{[]string{mine, "--text", "--paper", "a5"}, "no paper"},
		{[]string{mine, "--text", "--unit", "furlong"}, "unknown pressure unit"},
		{[]string{mine, "--text", "--speed", "3000rpm"}, "not described"},
		{[]string{mine, "--text", "--displacement", "0L", "--speed", "3000rpm", "--requested", "2450hPa"}, "no engine's displacement"},
		{[]string{root + "/testdata/captures/known_tight_10L.csv", "--text"}, "not a record"},
		{[]string{filepath.Join(dir, "none.ebbline"), "--text"}, "no such file"},
	} {
		status, out, errOut := ebbline(t, "", append([]string{"report"}, c.args...)...)
		if status != exitTrouble || out != "" || !strings.Contains(errOut, c.want) || !strings.Contains(errOut, "hint:") {
			t.Errorf("%q: status %d, %q, %q, want %q", c.args, status, out, errOut, c.want)
		}
	}
	if now, _ := os.ReadFile(mine); !bytes.Equal(now, b) {
		t.Error("a record was written over")
	}
}

// A record that was changed by hand says so on its sheet.
func TestReportTellsOfAChangedRecord(t *testing.T) {
	b, err := os.ReadFile(records + "before.ebbline")
	if err != nil {
		t.Fatal(err)
	}
	name := put(t, "changed.ebbline", strings.Replace(string(b), "volume_m3: 0.01\n", "volume_m3: 0.001\n", 1))
	if _, out, _ := ebbline(t, "", "report", name, "-o", "-"); !strings.Contains(out, "changed.ebbline was changed after it was written") {
		t.Errorf("%.3000s", out)
	}
}

// No form of a report of a changed or torn record looks like that of a whole
// one, and none of them says that a repair mended it.
func TestEveryFormOwnsUpFirst(t *testing.T) {
	b, err := os.ReadFile(records + "before.ebbline")
	if err != nil {
		t.Fatal(err)
	}
	whole := strings.Replace(string(b), "simulated: yes", "simulated: no", 1)
	changed, torn := put(t, "changed.ebbline", whole), put(t, "torn.ebbline", string(b)[:len(b)*9/10])
	for _, c := range []struct{ file, text, json, csv string }{
		{changed, "RECORD CHANGED AFTER IT WAS WRITTEN, NO PROOF. ", `{"doubts":["The record changed.ebbline was changed after it was written: it proves nothing."]`, ",changed"},
		{torn, "END OF A RECORD IS MISSING, A CHANGE CANNOT BE TOLD. ", `{"doubts":["The record torn.ebbline has lost its end: it was read up to line `, ",torn"},
	} {
		if status, out, errOut := ebbline(t, "", "report", c.file, "--text"); status != 0 || !strings.HasPrefix(out, c.text) {
			t.Errorf("text: status %d, %q%s", status, out, errOut)
		}
		if _, out, errOut := ebbline(t, "", "report", c.file, "--json"); !strings.HasPrefix(out, c.json) {
			t.Errorf("json: %.300q%s", out, errOut)
		}
		_, out, errOut := ebbline(t, "", "report", c.file, "--csv")
		if rows := strings.Split(out, "\n"); len(rows) < 2 || !strings.HasSuffix(rows[0], ",record_state") || !strings.HasSuffix(rows[1], c.csv) {
			t.Errorf("csv: %.300q%s", out, errOut)
		}
	}
	for _, args := range [][]string{{"--text"}, {"--json"}, {"-o", "-"}} {
		_, out, _ := ebbline(t, "", append([]string{"report", changed, records + "after.ebbline"}, args...)...)
		if strings.Contains(out, "is left") || strings.Contains(out, "mended") || strings.Contains(out, "share_left") || !strings.Contains(strings.ToLower(out), "nothing is said of ") {
			t.Errorf("%q: a changed record proves a repair: %.500s", args, out)
		}
	}
	for _, args := range [][]string{
		{changed, "--displacement", "2.0L", "--speed", "3000rpm", "--requested", "2450hPa"},
		{records + "before.ebbline", "--section", changed},
	} {
		if status, out, errOut := ebbline(t, "", append([]string{"report", "--text"}, args...)...); status != exitTrouble || out != "" || !strings.Contains(errOut, "was changed after it was written") {
			t.Errorf("%q: status %d, %q, %q", args, status, out, errOut)
		}
	}
}

// What a profile says of its transducer comes into the record, and onto the
// sheet.
func TestSheetNamesTheSensor(t *testing.T) {
	dir := t.TempDir()
	c := &chosen{Profile: &profile.Profile{Name: "bench", Sensor: "30 psi, blue cable", Calibrated: time.Date(2026, 1, 2, 0, 0, 0, 0, time.UTC)}}
	p, err := openPageHead(dir, "left hose", time.Date(2026, 3, 4, 5, 6, 7, 0, time.UTC), sensor.About{Name: "/dev/ttyUSB0"}, decay.Setup{Volume: 0.01}, c.head(sensor.PortOptions{}, decay.PressureUnit{Name: "psi", Pascal: decay.PSI}))
	if err != nil {
		t.Fatal(err)
	}
	if err := p.close(decay.Result{}); err != nil {
		t.Fatal(err)
	}
	status, out, errOut := ebbline(t, "", "report", p.recordPath, "-o", "-")
	if status != 0 || !strings.Contains(out, "30 psi, blue cable; 2026-01-02") || !strings.Contains(out, "ttyUSB0") || strings.Contains(out, "/dev/") {
		t.Errorf("status %d, %s, %.6000s", status, errOut, out)
	}
	if strings.Contains(out, "SIMULATED") {
		t.Error("a real test is called simulated")
	}
}

// tool finds a program of Debian's, or skips; in CI, where .ci/run installs it,
// it must be there.
func tool(t *testing.T, names ...string) string {
	t.Helper()
	if testing.Short() {
		t.Skip("short")
	}
	for _, n := range names {
		if p, err := exec.LookPath(n); err == nil {
			return p
		}
	}
	if os.Getenv("CI") != "" {
		t.Fatalf("%s is missing", names[0])
	}
	t.Skipf("%s is missing: apt-get install %s", names[0], names[0])
	return ""
}

// browser runs Chromium without a window and without a network.
func browser(t *testing.T, args ...string) []byte {
	t.Helper()
	home := t.TempDir()
	cmd := exec.Command(tool(t, "chromium", "chromium-browser", "google-chrome"), append([]string{"--headless", "--no-sandbox", "--disable-gpu", "--no-first-run",
		"--disable-background-networking", "--disable-component-update", "--disable-sync", "--disable-dev-shm-usage", "--proxy-server=127.0.0.1:9",
		"--user-data-dir=" + home}, args...)...)
	cmd.Env = append(os.Environ(), "HOME="+home, "XDG_CONFIG_HOME="+home, "XDG_CACHE_HOME="+home)
	var errOut bytes.Buffer
	cmd.Stderr = &errOut
	out, err := cmd.Output()
	if err != nil {
		t.Fatalf("chromium: %v: %.2000s", err, errOut.String())
	}
	return out
}

// TestSheetInABrowser: Chromium shows the numbers of the record, on two pages of
// either paper.
func TestSheetInABrowser(t *testing.T) {
	tool(t, "chromium", "chromium-browser", "google-chrome")
	dir := t.TempDir()
	for _, paper := range []string{"a4", "letter"} {
		file := filepath.Join(dir, paper+".html")
		if status, _, errOut := ebbline(t, "", append(wholeJob, "-o", file, "--paper", paper)...); status != 0 {
			t.Fatal(errOut)
		}
		pdf := filepath.Join(dir, paper+".pdf")
		browser(t, "--no-pdf-header-footer", "--print-to-pdf="+pdf, "file://"+file)
		b, err := os.ReadFile(pdf)
		if err != nil {
			t.Fatal(err)
		}
		// A page object of a PDF says so; the tree of pages has another word.
		if n := len(regexp.MustCompile(`/Type\s*/Page\b[^s]`).FindAll(b, -1)); n != 2 {
			t.Errorf("%s: %d pages, want 2", paper, n)
		}
	}

	doc, err := html.Parse(bytes.NewReader(browser(t, "--dump-dom", "file://"+filepath.Join(dir, "a4.html"))))
	if err != nil {
		t.Fatal(err)
	}
	shown := map[string]string{}
	var walk func(n *html.Node) string
	walk = func(n *html.Node) string {
		if n.Type == html.TextNode {
			return n.Data
		}
		var own strings.Builder
		for c := n.FirstChild; c != nil; c = c.NextSibling {
			own.WriteString(walk(c))
		}
		for _, a := range n.Attr {
			if a.Key == "id" {
				shown[a.Val] = own.String()
			}
		}
		return own.String()
	}
	walk(doc)
	for i, name := range []string{"before", "after"} {
		_, out, errOut := ebbline(t, "", "measure", "--json", records+name+".ebbline")
		var r struct {
			Outcome string
			Hole    struct{ Value, Low, High float64 } `json:"hole_mm"`
			Area    struct{ Value, Low, High float64 } `json:"area_mm2"`
			Limit   float64                            `json:"limit_mm"`
			Samples int
		}
		if err := json.Unmarshal([]byte(out), &r); err != nil {
			t.Fatalf("%v: %s", err, errOut)
		}
		id := func(key string) string { return shown[fmt.Sprintf("%s-%d", key, i+1)] }
		if id("word") != r.Outcome {
			t.Errorf("%s: the browser shows %q, the record says %q", name, id("word"), r.Outcome)
		}
		for _, c := range []struct {
			key  string
			want []float64
		}{{"hole", []float64{r.Hole.Value, r.Hole.Low, r.Hole.High}}, {"area", []float64{r.Area.Value, r.Area.Low, r.Area.High}}, {"limit", []float64{r.Limit}}} {
			var got [3]float64
			if n, _ := fmt.Sscanf(strings.NewReplacer("(", " ", ")", " ", "to", " ", ",", " ", ";", " ").Replace(id(c.key)), "%g %g %g", &got[0], &got[1], &got[2]); n < len(c.want) {
				t.Errorf("%s: %s is shown as %q", name, c.key, id(c.key))
				continue
			}
			for k, w := range c.want {
				if math.Abs(got[k]-w) > 0.006*math.Abs(w)+1e-9 { // three digits are shown
					t.Errorf("%s: %s: the browser shows %q, the record says %v", name, c.key, id(c.key), c.want)
				}
			}
		}
		if !strings.HasSuffix(id("held"), fmt.Sprintf("; %d", r.Samples)) {
			t.Errorf("%s: readings are shown as %q, the record has %d", name, id("held"), r.Samples)
		}
	}
	if shown["label"] != "Job 12, blue van (made up): duct from compressor to manifold" {
		t.Errorf("the label is shown as %q", shown["label"])
	}
}

// TestSheetIsValid: a validator has nothing to say of the page.
func TestSheetIsValid(t *testing.T) {
	tidy := tool(t, "tidy")
	for _, args := range [][]string{wholeJob, {"report", records + "undecided.ebbline", "--note", `<b>&"'`}} {
		status, page, errOut := ebbline(t, "", append(args[:len(args):len(args)], "-o", "-")...)
		if status != 0 {
			t.Fatal(errOut)
		}
		cmd := exec.Command(tidy, "-quiet", "-errors", "-utf8")
		cmd.Stdin = strings.NewReader(page)
		if out, err := cmd.CombinedOutput(); err != nil || len(bytes.TrimSpace(out)) > 0 {
			t.Errorf("%v: %s", err, out)
		}
	}
}
