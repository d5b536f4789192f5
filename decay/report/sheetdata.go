package report

import (
	"encoding/csv"
	"encoding/json"
	"fmt"
	"io"
	"math"
	"strconv"
	"strings"
	"time"
	"unicode/utf8"

	"ebbline/decay"
	"ebbline/decay/record"
)

// cell makes a typed text safe for a table: what a spreadsheet would take for a
// formula starts with an apostrophe, which it shows as text.
func cell(s string) string {
	s = typed(s)
	if s != "" && strings.ContainsRune("=+-@|%\t\r＝＋－＠", []rune(s)[0]) {
		return "'" + s
	}
	return s
}

// si prints a number with the digits that matter and no more.
func si(v float64) string {
	if !finite(v) {
		return ""
	}
	return strconv.FormatFloat(v+0, 'g', 9, 64)
}

// CSV writes the readings of all tests and sections as a table, with what the
// fit expects beside each reading of a hold. Times count from isolation.
func (s *Sheet) CSV(w io.Writer) error {
	c := csv.NewWriter(w)
	head := []string{"test", "label", "record", "time_s", "since_isolation_s", "pressure_kpa_abs", "pressure_kpa_gauge", "fit_kpa_gauge"}
	if s.Simulated() {
		head = append(head, "simulated")
	}
	doubtful := len(s.doubts()) > 0
	if doubtful {
		head = append(head, "record_state")
	}
	_ = c.Write(head) // an error stays and shows at the end
	for _, t := range s.files() {
		at, p := t.Curve.Gauge(t.Curve.Rate(), 400)
		for _, x := range t.Record.Samples {
			fit := ""
			if v, ok := between(at, p, x.At); ok {
				fit = strconv.FormatFloat(v/decay.Kilopascal, 'f', 4, 64)
			}
			row := []string{t.role(), cell(t.Record.Label), cell(t.Name), si(x.At.Seconds()), si(t.since(x.At)),
				si(float64(x.P) / decay.Kilopascal), si(float64(t.gauge(x)) / decay.Kilopascal), fit}
			if s.Simulated() {
				row = append(row, map[bool]string{true: "yes", false: "no"}[t.Record.Simulated])
			}
			if doubtful {
				row = append(row, record.StateOf(t.Record, nil).String())
			}
			_ = c.Write(row)
		}
	}
	c.Flush()
	if err := c.Error(); err != nil {
		return fmt.Errorf("table: %w", err)
	}
	return nil
}

// between is a curve's value at an instant within it.
func between(at []time.Duration, p []decay.Gauge, x time.Duration) (float64, bool) {
	n := len(at)
	if n < 2 || x < at[0] || x > at[n-1] {
		return 0, false
	}
	f := float64(x-at[0]) / float64(at[n-1]-at[0]) * float64(n-1)
	i := min(int(f), n-2)
	f -= float64(i)
	return float64(p[i])*(1-f) + float64(p[i+1])*f, true
}

// files are all records of the sheet.
func (s *Sheet) files() []*Test { return append(append([]*Test{}, s.Tests...), s.Sections...) }

func (t *Test) role() string {
	if t.Role == "" {
		return "test"
	}
	return t.Role
}

type jsonTest struct {
	Role       string     `json:"role"`
	Label      string     `json:"label"`
	When       *time.Time `json:"when"`
	Simulated  bool       `json:"simulated"`
	By         string     `json:"by,omitempty"`
	Sensor     string     `json:"sensor,omitempty"`
	Calibrated string     `json:"calibrated,omitempty"`
	Digest     string     `json:"record_digest,omitempty"` // see Mark
	Whole      string     `json:"record_state"`
	Result     jsonResult `json:"result"`
	Time       []number   `json:"time_s"`
	Pressure   []number   `json:"pressure_kpa_abs"`
}

type jsonShare struct {
	Name  string       `json:"name"`
	Area  jsonInterval `json:"area_mm2"`
	Share jsonInterval `json:"share"`
}

type jsonSheet struct {
	Doubts    []string      `json:"doubts,omitempty"` // on records that are not as they were written
	Simulated bool          `json:"simulated"`
	Customer  string        `json:"customer,omitempty"`
	Note      string        `json:"note,omitempty"`
	Tests     []jsonTest    `json:"tests"`
	Repair    string        `json:"repair,omitempty"`
	NoRepair  string        `json:"repair_not_told,omitempty"` // why
	Left      *jsonInterval `json:"share_left,omitempty"`
	Sections  []jsonShare   `json:"sections,omitempty"`
	Meaning   []string      `json:"engine,omitempty"`
}

// JSON writes the sheet as one object on one line: for each test its result as
// `measure` prints it, and its readings.
func (s *Sheet) JSON(w io.Writer) error {
	out := jsonSheet{Doubts: s.doubts(), NoRepair: s.noRepair(), Simulated: s.Simulated(), Customer: s.Customer, Note: s.Note}
	if s.Engine != nil {
		out.Meaning = append(s.Engine.Sentences(), s.Engine.Assumed())
	}
	for _, t := range s.files() {
		j := jsonTest{
			Role: t.role(), Label: t.Record.Label, Simulated: t.Record.Simulated, Digest: t.Mark(), Whole: record.StateOf(t.Record, nil).String(),
			By: or(s.By, t.extra("by")), Sensor: or(s.Sensor, t.extra("sensor")), Calibrated: or(s.Calibrated, t.extra("calibrated")),
			Result: newJSON(Input{File: t.Name, Result: t.Result, Of: t.Record.Setup.Of, Simulated: t.Record.Simulated}),
			Time:   []number{}, Pressure: []number{},
		}
		if !t.Record.When.IsZero() {
			j.When = &t.Record.When
		}
		for _, x := range t.Record.Samples {
			j.Time = append(j.Time, number(x.At.Seconds()))
			j.Pressure = append(j.Pressure, number(round9(float64(x.P)/decay.Kilopascal)))
		}
		out.Tests = append(out.Tests, j)
	}
	if ch, ok := s.change(); ok {
		left := scaled(ch.Left, 1)
		out.Repair, out.Left = ch.Repair.String(), &left
	}
	if sp, ok := s.split(); ok {
		for _, r := range sp.Rows {
			out.Sections = append(out.Sections, jsonShare{r.Name, scaled(r.Area, decay.SquareMM), scaled(r.Share, 1)})
		}
	}
	b, err := json.Marshal(out)
	if err != nil {
		return fmt.Errorf("json: %w", err)
	}
	_, err = fmt.Fprintf(w, "%s\n", b)
	return err
}

// round9 takes the digits away that only the division made.
func round9(v float64) float64 {
	r, err := strconv.ParseFloat(strconv.FormatFloat(v, 'g', 12, 64), 64)
	if err != nil {
		return v
	}
	return r
}

func or(a, b string) string {
	if a != "" {
		return a
	}
	return b
}

// MessageMost is how many letters a message to the customer has at most.
const MessageMost = 600

// Message is the sheet as a text that fits a message to the customer: fewer
// than [MessageMost] letters. A long label is cut first.
func (s *Sheet) Message() string {
	label := s.label()
	for {
		m := s.message(label)
		over := utf8.RuneCountInString(m) - MessageMost + 1
		r := []rune(label)
		if over <= 0 || len(r) == 0 {
			return m
		}
		label = strings.TrimSpace(string(r[:max(0, len(r)-over-1)]))
		if label != "" {
			label += "…"
		}
	}
}

func (s *Sheet) message(label string) string {
	var b strings.Builder
	for _, doubt := range s.shortDoubts() {
		b.WriteString(doubt + ". ")
	}
	if s.Simulated() {
		b.WriteString("SIMULATED, NO PROOF. ")
	}
	b.WriteString("Leak test")
	if label != "" && !s.notSame() { // of two things one label would name the wrong one
		b.WriteString(": " + label) // whatever it says, as "before the repair"
	}
	b.WriteString(". ")
	if set := s.Tests[len(s.Tests)-1].Record.Setup; set.Of != decay.PartUnstated && !s.notSame() {
		b.WriteString("Part: " + PartWords(set.Of) + ". ")
	}
	for _, t := range s.Tests {
		if t.Role != "" {
			b.WriteString(strings.ToUpper(t.Role) + strings.TrimPrefix(roleWords(t.Role), t.Role))
			if s.notSame() {
				b.WriteString(OfWhat(t.Record.Setup))
			}
		} else {
			b.WriteString("Tested")
		}
		if !t.Record.When.IsZero() {
			b.WriteString(", " + t.Record.When.Format("2006-01-02"))
		}
		b.WriteString(": " + VerdictSentence(t.Result))
		told := t.Result.Hole.Low > 0 && t.Result.Hole.Value >= float64(t.Result.Smallest)
		if under, ok := Under(t.Result); ok {
			b.WriteString(" Hole " + under + ".")
		} else if t.hasHole() && (t.Result.Outcome != decay.Holds || told) {
			b.WriteString(" Hole " + Hundredths(t.Result.Hole.Value) + " (95 % sure: " + slipSpan(t.Result.Hole) + ").")
		}
		b.WriteString(" ")
	}
	if c, ok := s.change(); ok && c.Repair == decay.RepairMended && !math.IsNaN(c.Left.Value) {
		left := percent(c.Left.Value)
		if c.Left.High < 0.01 {
			left = "less than 1 %"
		}
		b.WriteString("Of the leak " + left + " is left. ")
	}
	if s.noRepair() != "" && !s.notSame() {
		b.WriteString("Nothing is said of the repair. ")
	}
	last := s.Tests[len(s.Tests)-1]
	if last.Result.Hold.StartAbs != 0 {
		b.WriteString("Tested at " + last.Result.Hold.StartGauge.Format(s.unit()) + ". ")
	}
	if t := last.Mark(); len(t) >= 12 {
		b.WriteString("Record " + t[:12] + ".")
	}
	return strings.TrimSpace(b.String())
}

// Picture writes the chart of the sheet as PNG.
func (s *Sheet) Picture(w io.Writer) error { return s.picture().png(w) }

func (s *Sheet) picture() *drawing {
	c := newChart(s.Tests, s.unit())
	// Alone, the chart has to say itself what it is of.
	const margin, title = 4.0, 84
	top := margin
	d := &drawing{w: c.w + 2*margin}
	line := func(text string, size float64, bold bool) {
		top += size + 1.6
		d.add(shape{paths: [][]point{{{margin, top - 1.6}}}, text: text, ink: inkText, size: size, bold: bold})
	}
	for _, doubt := range s.shortDoubts() {
		line(doubt, 4.6, true)
	}
	if s.Simulated() {
		line("SIMULATED, NO PROOF", 4.6, true)
	}
	label := s.label()
	if r := []rune(label); len(r) > title {
		label = string(r[:title-1]) + "…"
	}
	line(label, 4, true)
	for _, t := range s.Tests {
		line(t.chartWords()+", "+when(t), 3.4, false)
	}
	top += 2
	for _, x := range c.shapes {
		moved := x
		moved.paths = make([][]point, len(x.paths))
		for i, path := range x.paths {
			for _, p := range path {
				moved.paths[i] = append(moved.paths[i], point{p.x + margin, p.y + top})
			}
		}
		d.add(moved)
	}
	d.h = top + c.h + margin
	return d
}
