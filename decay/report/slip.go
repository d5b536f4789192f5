package report

import (
	"bufio"
	"fmt"
	"io"
	"math"
	"strings"
	"time"
	"unicode"

	"ebbline/decay"
)

// SlipWidth is how many columns a slip is wide: what the rolls of small
// printers hold.
const SlipWidth = 42

// Slip is what a customer at a parts counter is handed: one test of one part.
// The zero value of a field that is text says "not stated", or leaves its line
// out where there is nothing to miss.
type Slip struct {
	Part       string             // label, or size, of what was tested
	Size       string             // its dimensions in words, when Part does not give them
	When       time.Time          // start of the test; its own zone is printed
	Setup      decay.Setup        // of the test
	Result     decay.Result       // what it found
	Unit       decay.PressureUnit // of pressures; zero: psi
	Sensor     string             // port or name
	Calibrated string             // when the sensor was last calibrated
	By         string             // who tested
	Record     string             // file name of the record
	Simulated  bool               // no real part was tested
	Stopped    bool               // by hand, before its end
}

// Write writes the slip as plain text, no line wider than [SlipWidth]. All but
// what people named themselves is plain ASCII, for printers.
func (s Slip) Write(w io.Writer) error {
	b := bufio.NewWriter(w)
	for _, l := range s.Lines() {
		fmt.Fprintln(b, l)
	}
	return b.Flush()
}

// Lines are the lines of the slip without their ends.
func (s Slip) Lines() []string {
	p := slipPaper{}
	r, set := s.Result, s.Setup.WithDefaults()
	u := s.Unit
	if u.Pascal <= 0 {
		u = decay.PressureUnits[0]
	}
	if s.Simulated {
		p.rule('*')
		p.centre("SIMULATED, NO PROOF")
		p.centre("No real part was tested.")
		p.rule('*')
	}
	p.centre("LEAK TEST OF ONE PART")
	p.blank()
	p.pair("part", s.Part)
	if s.Size != "" {
		p.pair("", s.Size)
	}
	if s.When.IsZero() {
		p.pair("when", "")
	} else {
		p.pair("when", s.When.Format("2006-01-02 15:04 -07:00"))
	}
	p.pair("by", s.By)
	p.blank()

	wall := Wall(r.Outcome, SlipWidth)
	p.line(wall)
	p.centre(spread(Word(r.Outcome)))
	p.line(wall)
	p.blank()
	p.text(VerdictSentence(r))
	if s.Stopped {
		p.text("The test was stopped by hand before its end.")
	}
	p.blank()

	under, small := Under(r)
	switch {
	case small:
		p.pair("hole", under+", 95 % sure")
		p.pair("", fmt.Sprintf("(discharge coefficient %.2f)", r.Cd))
	case r.HasFit && r.HasVolume:
		p.pair("hole", tenth(r.Hole.Value)+" mm round, sharp edge")
		p.pair("", "95 % sure: "+slipSpan(r.Hole))
		p.pair("", fmt.Sprintf("(discharge coefficient %.2f)", r.Cd))
	case r.HasFit:
		p.pair("hole", "not known without a volume")
	default:
		p.pair("hole", "not measured")
	}
	p.pair("limit", tenth(float64(set.Limit))+" mm hole")
	unseen := r.Warned("isolation-unseen")
	if r.Hold.StartAbs != 0 {
		p.pair("pressure", plainASCII(r.Hold.StartGauge.Format(u)))
		when := "when the air was shut in"
		if unseen {
			when = "while the supply may have been on"
		}
		p.pair("", when)
	}
	if r.Peak > set.Ceiling {
		p.pair("", "OVER THE CEILING before: "+plainASCII(r.Peak.Format(u)))
	}
	if held := r.Hold.End - r.Hold.Start; held > 0 && !unseen && r.Outcome != decay.NeverBuilt { // its supply held it up
		p.pair("held for", seconds(held))
	}
	if set.Volume > 0 {
		v := digits3(float64(set.Volume)/decay.Litre) + " L of air"
		if set.VolumeTolerance > 0 {
			v += fmt.Sprintf(", +-%.3g %%", 100*set.VolumeTolerance)
		}
		p.pair("volume", v)
	}
	p.pair("sensor", s.Sensor)
	p.pair("calibrated", s.Calibrated)
	p.pair("record", s.Record)
	p.blank()

	p.line("About this test")
	told := false // how much longer it would have needed
	for _, x := range r.Warnings {
		told = told || x.Code == "hold-longer"
		text, _, _ := strings.Cut(x.Text, "; say --") // flags mean nothing to a customer
		if x.Code == "unsettled" {
			text, _, _ = strings.Cut(text, "; hold for") // nor is a longer hold the customer's to make
		}
		if x.Code == "isolation-unseen" {
			text = "the supply was not seen to be shut, so it may have held the pressure up: shut it and test again"
		}
		p.item(plainASCII(sentence(text)))
	}
	if r.Outcome == decay.Undecided && r.HasDecide && r.ToDecide > 0 && !told {
		p.item("About " + seconds(r.ToDecide) + " more of hold would have decided it.")
	}
	// A part that holds against a smaller limit holds: only that a hole is there at
	// all would need one that large.
	if r.Smallest > 0 && r.Outcome != decay.Leaks && !(r.Outcome == decay.Holds && r.Smallest > r.Limit) {
		p.item("It could see a hole of " + tenth(float64(r.Smallest)) + " mm and more.")
	}
	for _, t := range slipLimits {
		p.item(t)
	}
	p.blank()
	p.line("Before you fill a part")
	for _, t := range slipCautions {
		p.item(t)
	}
	if s.Simulated {
		p.rule('*')
		p.centre("SIMULATED, NO PROOF")
		p.rule('*')
	}
	return p.lines
}

// slipLimits are what the method cannot show.
var slipLimits = []string{
	"Air, at the pressure and temperature of the test only. A part that holds here may leak when hot, bent or shaken.",
	"The hole is an equivalent: many small leaks count as one. It does not say where they are.",
	"The plugs are tested with the part.",
	"It is no test of strength.",
}

// slipCautions are for whoever repeats the test.
var slipCautions = []string{
	"Eye protection. Stand clear of the plugs' axis.",
	"Regulator down before you connect. Stay below the ceiling and the maker's limit.",
	"Let the air out before you loosen a clamp.",
	"The program is no safety device: a relief valve is.",
}

// Word is the outcome as a word for a person.
func Word(o decay.Outcome) string { return strings.ReplaceAll(o.String(), "-", " ") }

// Wall draws the wall of a duct n columns long in plain characters: whole when
// it holds, torn when it leaks, dashed when that is not known. So the verdict
// has a shape beside its word.
func Wall(o decay.Outcome, n int) string {
	b := []byte(strings.Repeat("=", max(0, n)))
	switch o {
	case decay.Holds:
	case decay.Leaks, decay.NeverBuilt:
		gap := min(len(b), max(4, n/6))
		from := (len(b) - gap) / 2
		for i := range gap {
			b[from+i] = ' '
		}
		if gap >= 2 {
			b[from], b[from+gap-1] = '\\', '/'
		}
	default:
		for i := range b {
			if i%4 >= 2 {
				b[i] = ' '
			}
		}
	}
	return string(b)
}

// VerdictSentence is the outcome in one or two sentences.
func VerdictSentence(r decay.Result) string {
	limit := tenth(float64(r.Limit)) + " mm"
	switch r.Outcome {
	case decay.Holds:
		return "It holds: any leak is smaller than a " + limit + " hole."
	case decay.Leaks:
		return "It leaks: more than a " + limit + " hole would."
	case decay.NeverBuilt:
		if r.Warned("gone-at-once") {
			return "Without the supply the pressure was gone at once: a large leak, or a plug that is not tight."
		}
		return "The pressure would not come up: a large leak, or a plug that is not tight."
	case decay.NoHold:
		return "There was no time in which the air was shut in. Nothing can be said of the part."
	case decay.Unusable:
		return "The sensor's readings cannot be trusted. Nothing can be said of the part."
	}
	return "Undecided: this test cannot say whether it leaks more than a " + limit + " hole."
}

func slipSpan(iv decay.Interval) string {
	if math.IsInf(iv.High, 0) || math.IsNaN(iv.High) {
		return tenth(iv.Low) + " mm or more"
	}
	return tenth(iv.Low) + " to " + tenth(iv.High) + " mm"
}

// tenth prints metres as millimetres to a hundredth, which is as fine as a
// hole's size means something to a customer.
func tenth(m float64) string {
	if math.IsNaN(m) || math.IsInf(m, 0) {
		return "?"
	}
	return fmt.Sprintf("%.2f", m/decay.Millimetre)
}

// sentence starts with a large letter and ends with a stop.
func sentence(s string) string {
	if s == "" {
		return s
	}
	r := []rune(s)
	r[0] = unicode.ToUpper(r[0])
	s = string(r)
	if !strings.HasSuffix(s, ".") {
		s += "."
	}
	return s
}

// spread sets a word in capitals with blanks between the letters.
func spread(w string) string {
	return strings.Join(strings.Split(strings.ToUpper(w), ""), " ")
}

// plainASCII spells what our own texts have beyond ASCII.
var plainASCII = strings.NewReplacer("²", "2", "³", "3", "±", "+-", "–", "-", "−", "-", "°", "", "…", "...").Replace

// slipPaper collects lines.
type slipPaper struct{ lines []string }

const slipIndent = 11 // of the values

func (p *slipPaper) line(s string) { p.lines = append(p.lines, strings.TrimRight(s, " ")) }
func (p *slipPaper) blank()        { p.line("") }
func (p *slipPaper) rule(r rune)   { p.line(strings.Repeat(string(r), SlipWidth)) }

func (p *slipPaper) centre(s string) {
	p.line(strings.Repeat(" ", max(0, (SlipWidth-columns(s))/2)) + s)
}

func (p *slipPaper) text(s string) {
	for _, l := range folded(s, SlipWidth) {
		p.line(l)
	}
}

func (p *slipPaper) item(s string) {
	for i, l := range folded(s, SlipWidth-2) {
		p.line(map[bool]string{true: "- ", false: "  "}[i == 0] + l)
	}
}

// pair writes a name and its value; a value that nobody stated says so.
func (p *slipPaper) pair(name, value string) {
	if strings.TrimSpace(value) == "" {
		value = "not stated"
	}
	for i, l := range folded(value, SlipWidth-slipIndent) {
		if i > 0 {
			name = ""
		}
		p.line(name + strings.Repeat(" ", max(0, slipIndent-len(name))) + l)
	}
}

// columns is how many columns s takes on paper: two for the wide letters of
// East Asia, none for a mark that joins the letter before it.
func columns(s string) int {
	n := 0
	for _, r := range s {
		n += letterWidth(r)
	}
	return n
}

func letterWidth(r rune) int {
	switch {
	case unicode.In(r, unicode.M, unicode.Cf):
		return 0
	case unicode.In(r, unicode.Han, unicode.Hangul, unicode.Hiragana, unicode.Katakana) || r >= 0xff01 && r <= 0xff60 || r >= 0x1f300 && r <= 0x1faff:
		return 2
	}
	return 1
}

// folded breaks s into lines of at most w columns, between words where it can
// and inside a word that is longer. Control characters become a dot, so that
// a label cannot steer a printer.
func folded(s string, w int) []string {
	var out []string
	line, used := "", 0
	push := func() { out = append(out, line); line, used = "", 0 }
	for _, word := range strings.Fields(s) {
		word = strings.NewReplacer("·", ".", "\ufffd", ".").Replace(Printable(word))
		n := columns(word)
		if used > 0 && used+1+n > w {
			push()
		}
		if used > 0 {
			line += " "
			used++
		}
		for _, r := range word {
			k := letterWidth(r)
			if used+k > w {
				push()
			}
			line += string(r)
			used += k
		}
	}
	if used > 0 || line != "" {
		push()
	}
	return out
}
