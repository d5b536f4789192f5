package wire

import (
	"encoding/json"
	"errors"
	"fmt"
	"math"
	"sort"
	"strings"
	"unicode"
	"unicode/utf8"
)

// Fields is what one line tells.
type Fields struct {
	HasTime   bool
	Time      float64 // seconds on the board's own clock
	Value     float64 // in Unit
	Unit      string  // "" not known; psi, bar, mbar, hPa, kPa, Pa, inHg, kgf/cm², or V, mV, counts
	Reference string  // "", "gauge" or "absolute"
	HasTemp   bool
	Temp      float64 // °C
}

// Options are what a profile or a flag states about the lines; a line that
// says otherwise of its unit or reference wins.
type Options struct {
	Unit         string // of a value that names none
	Reference    string // "gauge" or "absolute", of a value that names none
	Header       string // column names, for boards that print none: "time_ms,pressure_psi"
	DecimalComma bool   // "29,8" is always one number
}

// ErrSkip is returned, perhaps wrapped, for lines that hold no reading and are
// not wrong either: blank lines, comments, headers, and a first line that only
// the next one can explain. Use errors.Is.
var ErrSkip = errors.New("no reading on this line")

// LineDecoder reads lines and learns their format from them.
type LineDecoder struct {
	opt      Options
	header   []Column // nil: none seen
	names    []string
	fixed    bool // the header is the caller's
	fits     bool // a row has matched the header
	delim    byte
	detected string

	time  stepClock // of headerless "time,value" lines
	comma commaGuess
}

// NewLineDecoder returns a decoder that has seen nothing yet.
func NewLineDecoder(opt Options) *LineDecoder {
	d := &LineDecoder{opt: opt}
	if u, ref, ok := ParseUnit(opt.Unit); ok {
		d.opt.Unit = u
		if d.opt.Reference == "" {
			d.opt.Reference = ref
		}
	}
	if opt.Header != "" {
		d.takeHeader(opt.Header, true)
	}
	return d
}

// Detected says in plain words what format the lines have and why it is
// thought so; before the first reading it says that none came.
func (d *LineDecoder) Detected() string {
	if d.detected == "" {
		return "nothing detected yet: no line with a reading came"
	}
	return d.detected
}

// Decode reads one line without its end. Errors other than [ErrSkip] say what
// is wrong with the line; the decoder goes on with the next.
func (d *LineDecoder) Decode(line string) (Fields, error) {
	line = strings.TrimPrefix(line, "\ufeff")
	line = strings.TrimFunc(line, func(r rune) bool { return unicode.IsSpace(r) || r == 0 })
	if line == "" || line[0] == '#' || strings.HasPrefix(line, "//") {
		return Fields{}, ErrSkip
	}
	if len(line) > MaxLine {
		return Fields{}, fmt.Errorf("line of %d bytes is longer than %d", len(line), MaxLine)
	}
	if !utf8.ValidString(line) || strings.IndexFunc(line, func(r rune) bool { return unicode.IsControl(r) && r != '\t' }) >= 0 {
		return Fields{}, fmt.Errorf("%.40q is not text: wrong baud rate, or noise on the line", line)
	}
	if line[0] == '{' {
		return d.object(line)
	}
	if f, ok, err := d.pairs(line); ok {
		return f, err
	}
	if !d.fixed && d.takeHeader(line, false) {
		return Fields{}, fmt.Errorf("header: %w", ErrSkip)
	}
	if d.header != nil {
		cells := split(line, d.delim)
		if len(cells) == len(d.header) || d.fits || d.fixed {
			return d.row(line, cells)
		}
		d.header, d.names = nil, nil // words that looked like a header, but the rows are otherwise
	}
	return d.bare(line)
}

// Rewind makes the decoder ready for the same lines from their start: what it
// learned of the format stays, so that the first lines, too, get their times.
func (d *LineDecoder) Rewind() {
	d.time.still = 0
	d.comma.last = math.Inf(-1)
	d.comma.seen = d.comma.decided
}

// finish fills in what the options state and refuses what cannot be a reading.
func (d *LineDecoder) finish(f Fields, how string) (Fields, error) {
	if f.Unit == "" {
		f.Unit = d.opt.Unit
	}
	if f.Reference == "" && f.Unit != "V" && f.Unit != "mV" && f.Unit != "counts" {
		f.Reference = d.opt.Reference
	}
	if !finite(f.Value) || !finite(f.Time) || !finite(f.Temp) {
		return Fields{}, errors.New("a number on the line is out of range")
	}
	what := "unit not stated"
	if f.Unit != "" {
		what = "in " + f.Unit
		if f.Reference != "" {
			what += " " + f.Reference
		}
	}
	d.detected = how + "; " + what
	return f, nil
}

func finite(v float64) bool { return !math.IsInf(v, 0) && !math.IsNaN(v) }

// split cuts a line at delim, which is ' ' for any run of blanks; quotes
// protect the delimiter.
func split(line string, delim byte) []string {
	if delim == ' ' {
		return strings.Fields(line)
	}
	var out []string
	start, quoted := 0, false
	for i := 0; i <= len(line); i++ {
		if i < len(line) && line[i] == '"' {
			quoted = !quoted
		}
		if i == len(line) || line[i] == delim && !quoted {
			out = append(out, unquote(line[start:i]))
			start = i + 1
		}
	}
	return out
}

func unquote(s string) string {
	s = strings.TrimSpace(s)
	if len(s) >= 2 && s[0] == '"' && s[len(s)-1] == '"' {
		s = strings.TrimSpace(strings.ReplaceAll(s[1:len(s)-1], `""`, `"`))
	}
	return s
}

// delimiter finds what parts the cells of a line.
func delimiter(line string) byte {
	quoted := false
	best := byte(0)
	for i := 0; i < len(line); i++ {
		switch c := line[i]; {
		case c == '"':
			quoted = !quoted
		case quoted:
		case c == '\t':
			return '\t'
		case c == ';':
			best = ';'
		case c == ',' && best == 0:
			best = ','
		}
	}
	return best
}

// takeHeader keeps the column names if the line is a header.
func (d *LineDecoder) takeHeader(line string, fixed bool) bool {
	delim := delimiter(line)
	if delim == 0 {
		delim = ','
	}
	cells := split(line, delim)
	cols := make([]Column, len(cells))
	wanted := false
	for i, c := range cells {
		if c != "" && (c[0] >= '0' && c[0] <= '9' || c[0] == '-' || c[0] == '+' || c[0] == '.') && !fixed {
			return false
		}
		cols[i] = ParseColumn(c)
		switch cols[i].Quantity {
		case Pressure, Voltage, Counts:
			// A banner such as "pressure sensor ready" names no unit and has words of its own.
			if (cols[i].Exact || cols[i].Unit != "" && len(words(c)) <= 4) && (len(cells) > 1 || cols[i].Exact) {
				wanted = true
			}
		}
	}
	if !wanted && !fixed {
		return false
	}
	d.header, d.names, d.delim, d.fixed, d.fits = cols, cells, delim, fixed, false
	return true
}

// best returns the index of the column that is meant for q, or -1.
func best(cols []Column, q Quantity) int {
	b := -1
	for i, c := range cols {
		if c.Quantity == q && (b < 0 || c.Rank < cols[b].Rank) {
			b = i
		}
	}
	return b
}

// row reads a row under a header.
func (d *LineDecoder) row(line string, cells []string) (Fields, error) {
	if len(cells) != len(d.header) {
		return Fields{}, fmt.Errorf("%d cells where the header names %d", len(cells), len(d.header))
	}
	at := best(d.header, Pressure)
	if at < 0 {
		at = best(d.header, Voltage)
	}
	if at < 0 {
		at = best(d.header, Counts)
	}
	if at < 0 {
		return Fields{}, fmt.Errorf("no column of %.60q is a pressure, volts or counts", strings.Join(d.names, ", "))
	}
	col := d.header[at]
	if col.Unknown != "" {
		return Fields{}, fmt.Errorf("column %.40q is in %s, which is not a unit known here", d.names[at], col.Unknown)
	}
	f := Fields{Unit: col.Unit, Reference: col.Reference}
	var err error
	if f, err = d.cell(f, cells[at]); err != nil {
		return Fields{}, fmt.Errorf("column %.40q: %w", d.names[at], err)
	}
	if t := best(d.header, Time); t >= 0 {
		scale := d.header[t].Scale
		if scale == 0 {
			scale = 1
		}
		if v, ok := Number(cells[t], true); ok {
			f.Time, f.HasTime = v*scale, true
		} else if c, _, ok := Clock(cells[t]); ok {
			f.Time, f.HasTime = c.Seconds(), true
		} else {
			return Fields{}, fmt.Errorf("column %.40q: %.40q is no time", d.names[t], cells[t])
		}
	}
	if t := best(d.header, Temperature); t >= 0 {
		if v, ok := Number(cells[t], true); ok {
			f.Temp, f.HasTemp = celsius(v, d.header[t].Unit), true
		}
	}
	d.fits = true
	return d.finish(f, fmt.Sprintf("columns, the value from %q, because a header names them", d.names[at]))
}

// cell reads a value that may carry its own unit.
func (d *LineDecoder) cell(f Fields, text string) (Fields, error) {
	v, rest, err := leadingNumber(text, true)
	if err != nil {
		return f, err
	}
	f.Value = v
	if rest != "" {
		u, ref, ok := ParseUnit(rest)
		if !ok {
			return f, fmt.Errorf("%.40q is not a unit known here", rest)
		}
		f.Unit = u
		if ref != "" {
			f.Reference = ref
		}
	}
	return f, nil
}

func celsius(v float64, unit string) float64 {
	switch unit {
	case "K":
		return v - 273.15
	case "°F":
		return (v - 32) / 1.8
	}
	return v
}

// object reads a line of JSON.
func (d *LineDecoder) object(line string) (Fields, error) {
	var m map[string]any
	if err := json.Unmarshal([]byte(line), &m); err != nil {
		return Fields{}, fmt.Errorf("line starts like JSON but is not: %w", err)
	}
	keys := make([]string, 0, len(m))
	for k := range m {
		keys = append(keys, k)
	}
	sort.Strings(keys)
	var names, values []string
	unit, ref := "", ""
	for _, k := range keys {
		switch v := m[k].(type) {
		case float64:
			names, values = append(names, k), append(values, fmt.Sprintf("%v", v))
		case string:
			switch strings.ToLower(k) {
			case "unit", "units":
				unit = v
			case "reads", "reference", "ref":
				ref = ParseColumn("p bar " + v).Reference
			default:
				names, values = append(names, k), append(values, v)
			}
		}
	}
	return d.named(names, values, unit, ref, "JSON, because the lines are in braces")
}

// named reads values that come with their names.
func (d *LineDecoder) named(names, values []string, unit, ref, how string) (Fields, error) {
	cols := make([]Column, len(names))
	for i, n := range names {
		cols[i] = withUnit(ParseColumn(n), values[i])
	}
	at := best(cols, Pressure)
	if at < 0 {
		at = best(cols, Voltage)
	}
	if at < 0 {
		at = best(cols, Counts)
	}
	if at < 0 {
		// A lone "value" or "reading" with its unit beside it.
		for i, n := range names {
			if l := strings.ToLower(n); l == "value" || l == "val" || l == "reading" || l == "v" {
				at = i
			}
		}
	}
	if at < 0 {
		return Fields{}, fmt.Errorf("none of %.80q is a pressure, volts or counts", strings.Join(names, ", "))
	}
	if cols[at].Unknown != "" {
		return Fields{}, fmt.Errorf("%.40q is in %s, which is not a unit known here", names[at], cols[at].Unknown)
	}
	f := Fields{Unit: cols[at].Unit, Reference: cols[at].Reference}
	if f.Unit == "" && unit != "" {
		u, r, ok := ParseUnit(unit)
		if !ok {
			return Fields{}, fmt.Errorf("%.40q is not a unit known here", unit)
		}
		f.Unit = u
		if f.Reference == "" {
			f.Reference = r
		}
	}
	if f.Reference == "" {
		f.Reference = ref
	}
	var err error
	if f, err = d.cell(f, values[at]); err != nil {
		return Fields{}, fmt.Errorf("%.40q: %w", names[at], err)
	}
	if t := best(cols, Time); t >= 0 {
		v, rest, err := leadingNumber(values[t], true)
		scale := cols[t].Scale
		if s, ok := timeUnits[strings.ToLower(rest)]; ok {
			scale, rest = s, ""
		}
		switch c, _, ok := Clock(values[t]); {
		case ok:
			f.Time, f.HasTime = c.Seconds(), true
		case err != nil || rest != "":
			return Fields{}, fmt.Errorf("%.40q: %.40q is no time", names[t], values[t])
		case scale != 0:
			f.Time, f.HasTime = v*scale, true
		default:
			f.Time, f.HasTime = d.time.seconds(v)
		}
	}
	if t := best(cols, Temperature); t >= 0 {
		if v, rest, err := leadingNumber(values[t], true); err == nil {
			u := cols[t].Unit
			if c := ParseColumn("temp " + rest); rest != "" && c.Unit != "" {
				u = c.Unit
			}
			f.Temp, f.HasTemp = celsius(v, u), true
		}
	}
	return d.finish(f, fmt.Sprintf("%s, the value from %q", how, names[at]))
}

// withUnit lets the unit after a value say what a bare name leaves open:
// T=21 C is no time, and A0: 2.5 V is a voltage.
func withUnit(c Column, value string) Column {
	if c.Quantity != Other && c.Quantity != Time || c.Scale != 0 {
		return c
	}
	_, rest, err := leadingNumber(value, true)
	if err != nil || rest == "" {
		return c
	}
	if t := ParseColumn("temp " + rest); t.Unit != "" && t.Exact && t.Quantity == Temperature {
		return t
	}
	if u := ParseColumn(rest); u.Exact && c.Quantity == Other && (u.Quantity == Pressure || u.Quantity == Voltage) {
		u.Rank += 3
		return u
	}
	return c
}

// pairs reads "p=29.8 psi t=1234" and "pressure: 29.8, temp: 21". ok is false
// when the line is not of that form.
func (d *LineDecoder) pairs(line string) (f Fields, ok bool, err error) {
	i := strings.IndexAny(line, "=:")
	if i <= 0 || !isName(line[:i]) {
		return f, false, nil
	}
	var names, values []string
	rest := line
	for rest != "" {
		i := strings.IndexAny(rest, "=:")
		if i < 0 {
			break
		}
		name := strings.Trim(rest[:i], " \t,;|")
		if !isName(name) {
			return f, false, nil
		}
		rest = strings.TrimLeft(rest[i+1:], " \t")
		// The value runs to where the next name starts, or to a delimiter.
		end := len(rest)
		if j := strings.IndexAny(rest, "=:"); j >= 0 && !digitsAround(rest, j) {
			end = strings.LastIndexAny(strings.TrimRight(rest[:j], " \t"), " \t,;|")
			if end < 0 {
				return f, true, fmt.Errorf("%.40q has a name where a value should be", line)
			}
		}
		value := strings.Trim(rest[:end], " \t,;|\"")
		names, values = append(names, name), append(values, value)
		rest = rest[end:]
	}
	// Text such as "firmware: 2, ready" is a banner, not a reading.
	f, err = d.named(names, values, "", "", "name and value pairs, because of the = or : after each name")
	return f, true, err
}

// digitsAround reports whether the mark at j is part of a clock time.
func digitsAround(s string, j int) bool {
	return j > 0 && j+1 < len(s) && s[j-1] >= '0' && s[j-1] <= '9' && s[j+1] >= '0' && s[j+1] <= '9'
}

func isName(s string) bool {
	s = strings.TrimSpace(s)
	if s == "" || len(s) > 40 {
		return false
	}
	r, _ := utf8.DecodeRuneInString(s)
	return (unicode.IsLetter(r) || r == '"') && !strings.ContainsAny(s, ",;\t{}")
}
