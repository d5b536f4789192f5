package profile

import (
	"bytes"
	"errors"
	"fmt"
	"reflect"
	"strconv"
	"strings"
	"time"
	"unicode"

	"github.com/pelletier/go-toml/v2"

	"ebbline/decay"
	"ebbline/sensor/calib"
)

// head begins a new file.
const head = `# Profiles of ebbline: one transducer each. Change what you like; ebbline
# calibrate rewrites only the profile it is asked to.
`

// checkName reports what keeps a text from being the name of a profile.
func checkName(name string) error {
	if name == "" || len(name) > 60 || strings.TrimSpace(name) != name {
		return fmt.Errorf("%.70q is not the name of a profile", name)
	}
	for _, r := range name {
		if !unicode.IsLetter(r) && !unicode.IsDigit(r) && !strings.ContainsRune(" -_.", r) {
			return fmt.Errorf("%.70q is not the name of a profile: it has %q in it", name, r)
		}
	}
	return nil
}

// header is the name of a table of a profile.
func header(name string, more ...string) string {
	for _, r := range name {
		if r > 'z' || !unicode.IsLetter(r) && !unicode.IsDigit(r) && r != '-' && r != '_' {
			name = `"` + name + `"` // checkName lets nothing through that needs an escape
			break
		}
	}
	return "[" + strings.Join(append([]string{"profile", name}, more...), ".") + "]"
}

// Put adds a profile or replaces the one of the same name, and with
// makeDefault, or when it is the first, makes it the default. Comments and
// the other profiles stay as they are.
func (s *Set) Put(p *Profile, makeDefault bool) error {
	if err := checkName(p.Name); err != nil {
		return err
	}
	block, err := p.text()
	if err != nil {
		return err
	}
	def := s.Default
	if makeDefault || len(s.Profiles) == 0 {
		def = p.Name
	}
	for _, whole := range []bool{false, true} {
		text := s.spliced(p.Name, block, def)
		if whole { // the file is written in a way that cannot be cut
			if text, err = s.rewritten(p, def); err != nil {
				return err
			}
		}
		next, err := Parse("profiles", text)
		if err == nil && s.kept(next, p, def) {
			*s = *next
			return nil
		}
		if whole && err != nil {
			return fmt.Errorf("profile %s cannot be written: %w", p.Name, err)
		}
	}
	return fmt.Errorf("profile %s cannot be written into the file without changing the others", p.Name)
}

// kept reports whether next holds p and all other profiles of s unchanged.
func (s *Set) kept(next *Set, p *Profile, def string) bool {
	if next.Default != def || next.Get(p.Name) == nil {
		return false
	}
	for _, old := range s.Profiles {
		if old.Name != p.Name && !reflect.DeepEqual(old, next.Get(old.Name)) {
			return false
		}
	}
	return true
}

// Bytes is the file.
func (s *Set) Bytes() []byte { return bytes.Clone(s.text) }

// spliced is the file with the tables of one profile replaced.
func (s *Set) spliced(name, block, def string) []byte {
	var out []string
	lines := strings.SplitAfter(string(s.text), "\n")
	if len(s.text) == 0 {
		lines = []string{head}
	}
	inside, placed, top, defaulted := false, false, true, false
	quoted := "default = " + strconv.Quote(def) + "\n"
	for _, line := range lines {
		t := strings.TrimSpace(line)
		if strings.HasPrefix(t, "[") && !strings.HasPrefix(t, "[[") {
			top = false
			was := inside
			inside = tableOf(t, name)
			if inside && !placed {
				out, placed = append(out, block), true
			}
			if was && !inside {
				out = append(out, "\n")
			}
		}
		switch {
		case inside:
			// Comments of the profile are rewritten with it.
		case top && strings.HasPrefix(t, "default") && strings.HasPrefix(strings.TrimSpace(strings.TrimPrefix(t, "default")), "="):
			out, defaulted = append(out, quoted), true
		default:
			out = append(out, line)
		}
	}
	text := strings.Join(out, "")
	if !placed {
		text = strings.TrimRight(text, "\n") + "\n\n" + block
	}
	if def != "" && !defaulted {
		at := 0
		for strings.HasPrefix(text[at:], "#") { // after the comment at the top
			end := strings.IndexByte(text[at:], '\n')
			if end < 0 {
				break
			}
			at += end + 1
		}
		text = text[:at] + quoted + text[at:]
	}
	return []byte(text)
}

// tableOf reports whether a line is the head of a table of the profile.
func tableOf(line, name string) bool {
	h := strings.TrimSuffix(header(name), "]")
	line = strings.ReplaceAll(line, " . ", ".")
	return strings.HasPrefix(line, h+"]") || strings.HasPrefix(line, h+".") ||
		strings.HasPrefix(line, `[profile."`+name+`"]`) || strings.HasPrefix(line, `[profile."`+name+`".`)
}

// rewritten is the whole file anew.
func (s *Set) rewritten(p *Profile, def string) ([]byte, error) {
	var b strings.Builder
	b.WriteString(head)
	if def != "" {
		b.WriteString("default = " + strconv.Quote(def) + "\n")
	}
	done := false
	for _, q := range s.Profiles {
		if q.Name == p.Name {
			q, done = p, true
		}
		text, err := q.text()
		if err != nil {
			return nil, err
		}
		b.WriteString("\n" + text)
	}
	if !done {
		text, err := p.text()
		if err != nil {
			return nil, err
		}
		b.WriteString("\n" + text)
	}
	return []byte(b.String()), nil
}

// text is the profile as tables.
func (p *Profile) text() (string, error) {
	in := p.In
	if in.Pascal == 0 {
		in = decay.PressureUnit{Name: "kPa", Pascal: decay.Kilopascal}
	}
	num := func(v float64) string {
		v, _ = strconv.ParseFloat(strconv.FormatFloat(v, 'g', 9, 64), 64)
		return strconv.FormatFloat(v, 'f', -1, 64)
	}
	unit := strings.ReplaceAll(in.Name, "²", "2")
	pressure := func(pa float64) string { return num(pa/in.Pascal) + unit }
	positive := func(pa float64) string {
		if pa == 0 {
			return ""
		}
		return pressure(pa)
	}
	percent := func(v float64) string {
		if v == 0 {
			return ""
		}
		return num(v*100) + "%"
	}
	e := entry{
		Sensor: p.Sensor, Port: p.Port, Baud: int64(p.Baud), Unit: p.Unit,
		Columns: p.Lines.Header, Value: p.Lines.Value, TimeUnit: p.Lines.TimeUnit,
		FullScale: positive(p.FullScale), ZeroTolerance: percent(p.ZeroTolerance), SpanTolerance: percent(p.SpanTolerance),
		Noise: positive(p.Noise), Ceiling: positive(float64(p.Ceiling)),
	}
	for word, d := range delimiters {
		if d == p.Lines.Delim {
			e.Delimiter = word
		}
	}
	switch {
	case p.Lines.DecimalComma:
		e.Decimal = "comma"
	case p.Lines.DecimalPoint:
		e.Decimal = "point"
	}
	if p.Modbus != nil {
		e.Modbus = p.Modbus.String()
	}
	if p.ReadsStated {
		e.Reads = p.Reads.String()
	}
	if p.Volume > 0 {
		e.Volume = num(float64(p.Volume)/decay.Litre) + "L"
		if p.VolumeTolerance > 0 {
			e.Volume += "±" + percent(p.VolumeTolerance)
		}
	}
	if p.Limit > 0 {
		e.Limit = num(float64(p.Limit)/decay.Millimetre) + "mm"
	}
	body, err := toml.Marshal(e)
	if err != nil {
		return "", err
	}
	text := header(p.Name) + "\n" + string(body)
	c := p.Calibration
	if c == nil {
		return text, nil
	}
	if p.ReadsStated && c.Reads != p.Reads || !p.ReadsStated && c.Reads != decay.ReadsGauge {
		return "", errors.New("the calibration and the profile differ about gauge and absolute")
	}
	spotOf := func(q calib.Point) spot { return spot{c.Kind.FormatSignal(q.Signal), pressure(q.Pressure)} }
	k := curve{Kind: c.Kind.String(), Low: spotOf(c.Low), High: spotOf(c.High), Zero: positive(c.Zero), ZeroScale: positive(c.Bottom), Bits: int64(c.Bits), Divider: c.Divider}
	if c.Supply != 0 {
		k.Supply = num(c.Supply) + "V"
	}
	switch {
	case c.Reference != 0:
		k.Reference = num(c.Reference) + "V"
	case c.Bits != 0 && c.Kind == calib.Ratiometric:
		k.Reference = "supply"
	}
	if !p.Calibrated.IsZero() {
		k.Date = p.Calibrated.Format(time.DateOnly)
	}
	for _, q := range p.Points {
		k.Points = append(k.Points, spotOf(q))
	}
	if body, err = toml.Marshal(k); err != nil {
		return "", err
	}
	return text + "\n" + header(p.Name, "calibration") + "\n" + string(body), nil
}
