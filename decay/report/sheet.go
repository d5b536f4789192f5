package report

import (
	"bytes"
	_ "embed"
	"fmt"
	"html/template"
	"io"
	"math"
	"strings"

	"ebbline/decay"
	"ebbline/decay/record"
)

// Test is a record on a sheet.
type Test struct {
	Role   string // "before" or "after" a repair, "first" or "second" of what is not one part; "" for a test by itself
	Record record.Record
	Result decay.Result // computed again from the record's readings, without the fittings' leak
	Curve  decay.Curve  // of the fit, fittings included
	Name   string       // of the record's file, without its folder
	Digest string       // SHA-256 of the record's file, in hexadecimal

	hasWedge bool
}

// NewTest judges the readings of a record again.
func NewTest(rec record.Record, name, digest string) *Test {
	r, c := decay.AnalyseCurve(rec.Setup, rec.Judged())
	return &Test{Record: rec, Result: rec.AsTold(decay.Net(r, rec.Setup.RigLeak, rec.Setup.WithDefaults().Limit)), Curve: c, Name: name, Digest: digest}
}

func (t *Test) set() decay.Setup { return t.Record.Setup.WithDefaults() }

// Whole says in words what the record's own digest says of it, and what kind
// of digest [Test.Mark] is.
func (t *Test) Whole() string {
	const file = "; SHA-256 of the file"
	switch {
	case t.Record.Torn:
		return "its end is missing" + file
	case t.Record.Sum != "":
		return "unchanged since it was written; digest"
	case t.Record.Digest == record.DigestDiffers:
		return "CHANGED after it was written" + file
	}
	return "without a digest of its own" + file
}

// Mark names this record and no other: its own digest where it has one that
// fits, else that of its file.
func (t *Test) Mark() string {
	if t.Record.Sum != "" {
		return t.Record.Sum
	}
	return t.Digest
}

// extra is a line of the record that this package only prints.
func (t *Test) extra(key string) string {
	for _, kv := range t.Record.Extra {
		if kv.Key == key {
			return kv.Value
		}
	}
	return ""
}

// Sheet is what a customer is handed: one test, or two of one duct before and
// after a repair, with what else is known. Texts may be left empty.
type Sheet struct {
	Tests      []*Test     // one or two, the earlier first
	Sections   []*Test     // parts of the duct of the first test, tested by themselves
	Engine     *EngineView // what the leak means for an engine; nil: none was described
	Customer   string      // for whom, or which vehicle
	By         string      // who tested
	Sensor     string      // name of the transducer
	Calibrated string      // when it was
	Note       string      // in the words of who tested
	Unit       decay.PressureUnit
	Paper      string // "a4" or "letter"; "": what the printer has
}

// Simulated reports whether any of the tests was of no real duct.
func (s *Sheet) Simulated() bool {
	for _, t := range s.files() {
		if t.Record.Simulated {
			return true
		}
	}
	return false
}

func (s *Sheet) unit() decay.PressureUnit {
	if s.Unit.Pascal > 0 {
		return s.Unit
	}
	return decay.PressureUnits[0]
}

// label is what was tested, in the words of who did.
func (s *Sheet) label() string {
	for _, t := range s.Tests {
		if l := typed(t.Record.Label); l != "" {
			return l
		}
	}
	return "not stated"
}

// mostTyped is how many letters of a typed text a page shows.
const mostTyped = 240

// typed is a text that a person typed, made fit for a page: no control
// characters and none that turn the direction of what follows, and cut, with a
// mark, when it is longer than a page can bear. Escaping is done by what writes
// it.
func typed(s string) string {
	s = strings.Join(strings.Fields(strings.ToValidUTF8(s, "·")), " ") // line ends and tabs are blanks
	s = strings.ReplaceAll(Printable(s), "\ufffd", "·")
	if r := []rune(s); len(r) > mostTyped {
		return string(r[:mostTyped]) + "…"
	}
	return s
}

// source is the port or file of a record without its folder, which is the
// machine's own business.
func source(s string) string {
	if i := strings.LastIndexAny(s, `/\`); i >= 0 {
		s = s[i+1:]
	}
	return typed(s)
}

// split divides the leak of the first test among the sections.
func (s *Sheet) split() (decay.Split, bool) {
	if len(s.Sections) == 0 || len(s.Tests) == 0 || !s.Tests[0].hasHole() {
		return decay.Split{}, false
	}
	var all []decay.Section
	for _, t := range s.Sections {
		name := typed(t.Record.Label)
		if name == "" {
			name = t.Name
		}
		all = append(all, decay.Section{Name: name, Area: t.Result.Area})
	}
	return decay.NewSplit(s.Tests[0].Result.Area, all), true
}

// change is what the repair did, false when nothing can be said of it.
func (s *Sheet) change() (decay.Change, bool) {
	if len(s.Tests) < 2 || s.noRepair() != "" {
		return decay.Change{}, false
	}
	return decay.Compare(s.Tests[0].Result, s.Tests[1].Result)
}

// noRepair is why the sheet says nothing of a repair though it has two tests.
func (s *Sheet) noRepair() string {
	if len(s.Tests) < 2 {
		return ""
	}
	return NoRepair(s.Tests[0].Record, s.Tests[1].Record)
}

// notSame tells that the two tests are not of one part.
func (s *Sheet) notSame() bool { return strings.HasPrefix(s.noRepair(), notSame) }

// NamePair names the two tests of a sheet: before and after a repair, or, where they
// are not of one part, first and second.
func (s *Sheet) NamePair() {
	if len(s.Tests) != 2 {
		return
	}
	s.Tests[0].Role, s.Tests[1].Role = "before", "after"
	if s.notSame() {
		s.Tests[0].Role, s.Tests[1].Role = "first", "second"
	}
}

// roleWords name a test of a pair in a sentence.
func roleWords(role string) string {
	switch role {
	case "before", "after":
		return role + " the repair"
	case "first", "second":
		return role + " test"
	}
	return role
}

// RepairSentence says what a repair did, for a customer.
func RepairSentence(c decay.Change) string {
	left := percents(c.Left)
	if c.Left.High < 0.01 {
		left = "less than 1 %"
	}
	switch c.Repair {
	case decay.RepairMended:
		return "The repair mended it: " + left + " of the leak is left, which is within the limit."
	case decay.RepairSmaller:
		return "The leak is smaller than before, but the test after the repair does not say that it holds: " + left + " of it is left."
	case decay.RepairLarger:
		return "The leak is larger than before the repair."
	}
	return "The two tests do not differ by more than their uncertainty: whether the repair changed the leak cannot be told."
}

// Under says "under 0.11 mm" of a hole that lies below what its hold resolves,
// rounded up: a smaller size would be told finer than it was seen. It is false of
// any other.
func Under(r decay.Result) (string, bool) {
	if !r.HasFit || !r.HasVolume || r.Smallest <= 0 || !(r.Hole.High < float64(r.Smallest)) {
		return "", false
	}
	up := math.Ceil(float64(r.Smallest)/decay.Millimetre*100-1e-6) / 100
	return "under " + Hundredths(up*decay.Millimetre), true
}

// HoleSentence says how large the hole is, for a customer.
func HoleSentence(t *Test) string {
	r := t.Result
	under, small := Under(r)
	switch {
	case small:
		return "If air escapes at all, then as through a round hole " + under + " (95 % sure): this test tells no smaller one from none."
	case !r.HasFit:
		return "No hole size was measured."
	case !r.HasVolume:
		return "How large the hole is cannot be said, because the volume of the duct was not stated."
	case r.Hole.Low <= 0 && finite(r.Hole.High):
		return "If air escapes at all, then no more than through a round hole of " + Hundredths(r.Hole.High) + " (95 % sure)."
	}
	return "Air escapes as through one round hole of " + Hundredths(r.Hole.Value) + " (95 % sure: " + slipSpan(r.Hole) + ")."
}

// How says in plain words how the tests were done.
func (s *Sheet) How() string {
	last := s.Tests[len(s.Tests)-1]
	set, u := last.set(), s.unit()
	var b strings.Builder
	if what := PartWords(set.Of); what != "" {
		b.WriteString("Tested: " + what + ". ")
	}
	b.WriteString("It was closed with plugs and filled with air")
	var held []string
	for _, t := range s.Tests {
		who, r := "", t.Result
		if t.Role != "" {
			who = roleWords(t.Role) + " "
		}
		switch {
		case r.Hold.StartAbs != 0:
			held = append(held, fmt.Sprintf("%sfrom %s for %s", who, r.Hold.StartGauge.Format(u), seconds(r.Hold.End-r.Hold.Start)))
		case r.Samples > 0:
			held = append(held, fmt.Sprintf("%swithout a hold, at most %s", who, r.Peak.Format(u)))
		}
	}
	if len(held) > 0 {
		b.WriteString("; then the supply was shut and the pressure was watched: " + strings.Join(held, ", "))
	}
	b.WriteString(". In a tight duct the pressure stays once the air has cooled; through a leak it falls on. How fast, and the volume")
	if set.Volume > 0 {
		b.WriteString(" of " + volumeWords(set))
	}
	b.WriteString(", give the size of the hole.")
	if set.Division > 0 {
		b.WriteString(" The pressure was read from a dial by eye.")
	}
	return b.String()
}

func volumeWords(set decay.Setup) string {
	v := digits3(float64(set.Volume)/decay.Litre) + " L"
	if set.VolumeTolerance > 0 {
		v += fmt.Sprintf(" ± %.3g %%", 100*set.VolumeTolerance)
	}
	return v
}

// verdictView is the verdict of a test as the page shows it.
type verdictView struct {
	Role, Word, Sentence, Hole, Next, When string
	Class                                  string
	Wall                                   template.HTML
}

// row is a line of the table of figures.
type row struct {
	Key, Name string
	Values    []string
}

// ID names a value of the row for whoever reads the page by program.
func (r row) ID(i int) string { return fmt.Sprintf("%s-%d", r.Key, i+1) }

// page is what the template is given.
type page struct {
	*Sheet
	Label       string
	Verdicts    []verdictView
	Repair      string
	Chart, Hole template.HTML
	Cropped     bool
	Heads       []string
	Rows        []row
	Split       []SplitLine
	SplitNext   string
	Cautions    []string
	Limits      []string
	Notes       []string
	Files       []*Test
	Written     string // by which versions
	Doubts      []string
}

//go:embed sheet.html.tmpl
var sheetText string

var sheetTemplate = template.Must(template.New("sheet").Funcs(template.FuncMap{
	"typed": typed, "role": roleWords, "upper": strings.ToUpper, "add": func(a, b int) int { return a + b },
}).Parse(sheetText))

// HTML writes the sheet as one page that needs nothing else: no script, no
// network, no other file.
func (s *Sheet) HTML(w io.Writer) error {
	if len(s.Tests) == 0 || len(s.Tests) > 2 {
		return fmt.Errorf("a sheet is of one test, or of one before and one after a repair, not of %d", len(s.Tests))
	}
	u := s.unit()
	p := page{Sheet: s, Label: s.label(), Cautions: sheetCautions, Limits: sheetLimits}
	c := newChart(s.Tests, u)
	var err error
	if p.Chart, err = inline(&c.drawing, "chart"); err != nil {
		return err
	}
	p.Cropped = c.cropped
	if d := holePicture(s.Tests); d != nil {
		if p.Hole, err = inline(d, "holes"); err != nil {
			return err
		}
	}
	for _, t := range s.Tests {
		v := verdictView{
			Role: t.Role, Word: Word(t.Result.Outcome), Sentence: VerdictSentence(t.Result), Hole: HoleSentence(t),
			Class: t.Result.Outcome.String(), When: "an unstated date",
		}
		if !t.Record.When.IsZero() {
			v.When = t.Record.When.Format("2006-01-02 15:04")
		}
		if t == s.Tests[len(s.Tests)-1] { // what was to be done before a repair was done
			v.Next = PartAdvice(t.set().Of, t.Result.Outcome)
		}
		if v.Wall, err = inline(wallPicture(t.Result.Outcome), "wall"); err != nil {
			return err
		}
		p.Verdicts = append(p.Verdicts, v)
		head := t.Role
		if head == "" {
			head = "value"
		}
		p.Heads = append(p.Heads, head)
	}
	if ch, ok := s.change(); ok {
		p.Repair = RepairSentence(ch)
	} else if why := s.noRepair(); why != "" {
		p.Repair = sentence(why)
	} else if len(s.Tests) == 2 {
		p.Repair = "The two tests cannot be compared: one of them has no hold that could be measured."
	}
	if sp, ok := s.split(); ok {
		p.Split, p.SplitNext = SplitLines(sp, s.Tests[0].Result.Cd), SplitAdvice(sp)
	}
	p.Rows = s.rows()
	p.Notes = s.notes()
	p.Files, p.Doubts = s.files(), s.doubts()
	for _, t := range p.Files {
		if w := typed(t.Record.Program); w != "" && !strings.Contains(p.Written, w) {
			p.Written = strings.TrimPrefix(p.Written+", "+w, ", ")
		}
	}
	return sheetTemplate.Execute(w, p)
}

// inline makes a drawing part of a page. What people typed was escaped as it
// was written.
func inline(d *drawing, class string) (template.HTML, error) {
	var b bytes.Buffer
	err := d.svg(&b, class)
	return template.HTML(b.String()), err
}

// wallPicture is the wall of a duct: whole when it holds, torn when it leaks,
// dashed when that is not known.
func wallPicture(o decay.Outcome) *drawing {
	d := &drawing{w: 80, h: 3, words: "a wall, dashed"}
	switch o {
	case decay.Holds:
		d.words = "a whole wall"
		d.line(inkText, 1.6, nil, point{0, 1.5}, point{80, 1.5})
	case decay.Leaks, decay.NeverBuilt:
		d.words = "a torn wall"
		d.line(inkText, 1.6, nil, point{0, 1.5}, point{33, 1.5}, point{35, 0.4})
		d.line(inkText, 1.6, nil, point{80, 1.5}, point{47, 1.5}, point{45, 2.6})
	default:
		d.line(inkText, 1.6, []float64{4, 4}, point{0, 1.5}, point{80, 1.5})
	}
	return d
}

func when(t *Test) string {
	if t.Record.When.IsZero() {
		return "not stated"
	}
	return t.Record.When.Format("2006-01-02 15:04 -07:00")
}

// sheetLimits are what the method cannot show.
var sheetLimits = []string{
	"Where the leak is. The hole is an equivalent one, round and sharp-edged: many small leaks count as one.",
	"How it is when hot, bent, shaken, or at another pressure: air, at the state of the test only.",
	"Slow stretching of rubber from a very small leak, in one short hold: the interval covers both.",
	"Plugs and fittings apart from the duct, unless their own leak was measured and subtracted.",
	"Strength, or anything but the leak.",
}

// sheetCautions are for whoever fills a duct again.
var sheetCautions = []string{
	"Eye protection. Vehicle on stands, engine off, key out.",
	"Regulator turned down before connecting; never above the ceiling, the maker's limit or the lowest-rated part.",
	"Plugs and hoses can be thrown: stand clear of their axis; let the air out before a clamp is loosened.",
	"Never feed the crankcase side. Clean dry air only, no oxygen, no fuel gas.",
	"A mechanical relief valve is the protection; the program is no safety device. Maker's procedure, local codes and licensed practice come first.",
}
