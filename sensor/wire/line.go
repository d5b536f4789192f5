package wire

import (
	"encoding/json"
	"errors"
	"fmt"
	"math"
	"sort"
	"strings"
	"time"
	"unicode"
	"unicode/utf8"
)

// Fields is what one line tells.
type Fields struct {
	HasTime   bool
	Time      float64 // seconds on the board's own clock; goes on growing when the clock rolls over
	Reset     bool    // the board's clock went back, and that is no roll-over: the board was reset, and Time counts from there
	Value     float64 // in Unit
	Unit      string  // "" not known; psi, bar, mbar, hPa, kPa, Pa, inHg, kgf/cm², or V, mV, counts
	Reference string  // "", "gauge" or "absolute"
	HasTemp   bool
	Temp      float64 // °C
	HasSupply bool
	Supply    float64 // V, of the transducer: by it a ratiometric signal is corrected
}

// Options are what a profile or a flag states about the lines; a line that
// says otherwise of its unit or reference wins.
type Options struct {
	Unit         string // of a value that names none: of pressure, or V, mV, counts
	Reference    string // "gauge" or "absolute", of a pressure that names none
	Header       string // column names, for boards that print none: "time_ms,pressure_psi"
	Value        string // name of the column, key or NMEA transducer that is meant
	Delim        string // what parts the cells: "," ";" "\t" or " "; "": what the lines show
	TimeUnit     string // "s", "ms" or "us": of a clock whose name does not tell it
	DecimalComma bool   // "29,8" is always one number
	DecimalPoint bool   // "29,8" is always two numbers
}

// Validate reports options that cannot be meant.
func (o Options) Validate() error {
	if o.Unit != "" {
		if _, _, ok := ParseUnit(o.Unit); !ok {
			return fmt.Errorf("%.40q is not a unit known here: psi, bar, mbar, hPa, kPa, Pa, inHg, V, mV and counts are", o.Unit)
		}
	}
	switch o.Reference {
	case "", "gauge", "absolute":
	default:
		return fmt.Errorf("reference %.40q is neither gauge nor absolute", o.Reference)
	}
	switch o.Delim {
	case "", ",", ";", "\t", " ":
	default:
		return fmt.Errorf("cells parted by %.10q: only a comma, a semicolon, a tab or a blank part them", o.Delim)
	}
	if _, ok := timeScales[o.TimeUnit]; !ok && o.TimeUnit != "" {
		return fmt.Errorf("time unit %.40q is neither s, ms nor us", o.TimeUnit)
	}
	if o.DecimalComma && (o.DecimalPoint || o.Delim == ",") {
		return errors.New("a comma cannot be the decimal mark and also part the cells, or a point be it too")
	}
	if o.Header != "" {
		d := NewLineDecoder(o)
		if d.valueErr != nil {
			return fmt.Errorf("header %.80q: %w", o.Header, d.valueErr)
		}
	}
	return nil
}

// ErrSkip is returned, perhaps wrapped, for lines that hold no reading and are
// not wrong either: blank lines, comments, headers, and a first line that only
// the next one can explain. Use errors.Is.
var ErrSkip = errors.New("no reading on this line")

// LineDecoder reads lines and learns their format from them.
type LineDecoder struct {
	opt    Options
	header []Column // nil: none seen
	names  []string
	value  int  // the column of the reading, -1 for none
	fixed  bool // the header is the caller's
	fits   bool // a row has matched the header

	valueErr error // why there is no such column
	delim    byte
	said     said
	sentry   sentences

	time  stepClock // of clocks whose name does not tell their unit
	board boardClock
	comma commaGuess

	at      time.Duration // of arrival of the line
	hasAt   bool
	pending bool // the line's meaning hangs on the next ones

	cols map[string]Column // by name, so that no name is read twice
}

// said is what Detected tells, in parts, so that no line pays for the words.
type said struct {
	how, why            string
	value, temp, supply string // names of the columns
	delim               byte
	clock, note         string
	unit, ref           string
}

// NewLineDecoder returns a decoder that has seen nothing yet. It takes what it
// can from options that are not valid.
func NewLineDecoder(opt Options) *LineDecoder {
	d := &LineDecoder{opt: opt, cols: map[string]Column{}}
	if u, ref, ok := ParseUnit(opt.Unit); ok {
		d.opt.Unit = u
		if d.opt.Reference == "" {
			d.opt.Reference = ref
		}
	}
	d.time.state(opt.TimeUnit)
	if opt.Header != "" {
		d.takeHeader(opt.Header, true)
	}
	return d
}

// Detected says in plain words what format the lines have and why it is
// thought so; before the first reading it says that none came.
func (d *LineDecoder) Detected() string {
	s := &d.said
	if s.how == "" {
		return "nothing detected yet: no line with a reading came"
	}
	var b strings.Builder
	b.WriteString(s.how)
	switch s.delim {
	case ',':
		b.WriteString(" parted by commas")
	case ';':
		b.WriteString(" parted by semicolons")
	case '\t':
		b.WriteString(" parted by tabs")
	case ' ':
		b.WriteString(" parted by blanks")
	}
	if s.value != "" {
		fmt.Fprintf(&b, ", the value from %.40q", s.value)
	}
	b.WriteString(", " + s.why)
	if s.clock != "" {
		b.WriteString("; the time is the board's own" + s.clock)
	}
	b.WriteString(d.board.says())
	if s.temp != "" {
		fmt.Fprintf(&b, "; temperature from %.40q", s.temp)
	}
	if s.supply != "" {
		fmt.Fprintf(&b, "; supply voltage from %.40q", s.supply)
	}
	b.WriteString(s.note)
	switch {
	case s.unit == "":
		b.WriteString("; unit not stated")
	case s.ref == "":
		b.WriteString("; in " + s.unit)
		if !raw(s.unit) {
			b.WriteString(", gauge or absolute not stated")
		}
	default:
		b.WriteString("; in " + s.unit + " " + s.ref)
	}
	return b.String()
}

// raw reports a unit of the transducer's signal.
func raw(unit string) bool { return unit == "V" || unit == "mV" || unit == "counts" }

// DecodeAt is [LineDecoder.Decode] for a line whose time of arrival is known,
// since any moment that stays the same: it tells the unit of a clock that does
// not name it.
func (d *LineDecoder) DecodeAt(at time.Duration, line string) (Fields, error) {
	d.at, d.hasAt = at, true
	f, err := d.Decode(line)
	d.hasAt = false
	return f, err
}

// Decode reads one line without its end. Errors other than [ErrSkip] say what
// is wrong with the line; the decoder goes on with the next.
func (d *LineDecoder) Decode(line string) (Fields, error) {
	d.pending = false
	line = strings.TrimPrefix(line, "\ufeff")
	// Tabs at the ends part empty cells, if tabs part the cells.
	wide := strings.TrimFunc(line, func(r rune) bool { return r != '\t' && (unicode.IsSpace(r) || r == 0) })
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
	switch line[0] {
	case '{':
		return d.object(line)
	case '$', '!':
		return d.sentence(line)
	}
	if f, ok, err := d.pairs(line); ok {
		return f, err
	}
	var cells []string
	if d.header != nil {
		if d.delim == '\t' {
			cells = split(wide, d.delim)
		} else {
			cells = split(line, d.delim)
		}
		if d.isRow(cells) {
			return d.row(cells)
		}
	}
	digit := line[0] >= '0' && line[0] <= '9' || line[0] == '-' || line[0] == '+' || line[0] == '.'
	if !d.fixed && !digit && d.takeHeader(wide, false) {
		return Fields{}, errHeader
	}
	if d.header != nil {
		if len(cells) == len(d.header) || d.fits || d.fixed {
			return d.row(cells)
		}
		d.header, d.names = nil, nil // words that looked like a header, but the rows are otherwise
	}
	return d.bare(line)
}

var errHeader = fmt.Errorf("header: %w", ErrSkip)

// isRow reports cells that fit the header and hold a number where the value is,
// whatever words the others hold.
func (d *LineDecoder) isRow(cells []string) bool {
	if len(cells) != len(d.header) || d.value < 0 {
		return false
	}
	_, _, err := leadingNumber(cells[d.value], true)
	return err == nil
}

// Rewind makes the decoder ready for the same lines from their start: what it
// learned of the format stays, so that the first lines, too, get their times.
func (d *LineDecoder) Rewind() {
	d.time.rewind()
	d.board = boardClock{}
	d.comma.last = math.Inf(-1)
	d.comma.seen = d.comma.decided
}

// clock is a time as printed.
type clock struct {
	has   bool
	raw   float64
	scale float64
	turns []float64
	how   string
}

// counter is a clock that prints a number, each scale seconds.
func counter(v, scale float64, how string) clock {
	turns := counterTurns
	if scale == 1 {
		turns = secondsTurns
	} else if scale > 1 {
		turns = nil
	}
	return clock{true, v, scale, turns, how}
}

// ofDay is a clock time, or a date and time.
func ofDay(at time.Duration, dated bool) clock {
	if dated {
		return clock{true, at.Seconds(), 1, nil, " (a date and time)"}
	}
	return clock{true, at.Seconds(), 1, clockTurns, " (a clock time)"}
}

// unnamed is a number of a clock whose unit has to be found.
func (d *LineDecoder) unnamed(v float64) clock {
	_, ok := d.time.seconds(v, d.at, d.hasAt)
	if !ok {
		d.pending = true
		return clock{}
	}
	return counter(v, d.time.scale, d.time.how)
}

// finish fills in what the options state and refuses what cannot be a reading.
func (d *LineDecoder) finish(f Fields, t clock, s said) (Fields, error) {
	if f.Unit == "" {
		f.Unit = d.opt.Unit
	}
	if raw(f.Unit) {
		f.Reference = ""
	} else if f.Reference == "" {
		f.Reference = d.opt.Reference
	}
	if !finite(f.Value) || !finite(t.raw*t.scale) || !finite(f.Temp) || !finite(f.Supply) {
		d.pending = false
		return Fields{}, errors.New("a number on the line is out of range")
	}
	if t.has {
		f.HasTime = true
		f.Time, f.Reset = d.board.next(t.raw, t.scale, t.turns)
		s.clock = t.how
	}
	s.unit, s.ref = f.Unit, f.Reference
	d.said = s
	return f, nil
}

func finite(v float64) bool { return !math.IsInf(v, 0) && !math.IsNaN(v) }

// column is [ParseColumn], remembered.
func (d *LineDecoder) column(name string) Column {
	if c, ok := d.cols[name]; ok {
		return c
	}
	c := ParseColumn(name)
	if len(d.cols) >= 64 { // names that keep changing are not worth keeping
		clear(d.cols)
	}
	d.cols[strings.Clone(name)] = c
	return c
}

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

// parted is what parts the cells of a line, 0 for nothing.
func (d *LineDecoder) parted(line string) byte {
	if d.opt.Delim != "" {
		return d.opt.Delim[0]
	}
	return delimiter(line)
}

// takeHeader keeps the column names if the line is a header.
func (d *LineDecoder) takeHeader(line string, fixed bool) bool {
	delim := d.parted(line)
	if delim == 0 {
		delim = ','
	}
	cells := split(line, delim)
	for _, c := range cells {
		if c != "" && (c[0] >= '0' && c[0] <= '9' || c[0] == '-' || c[0] == '+' || c[0] == '.') && !fixed {
			return false
		}
	}
	cols := make([]Column, len(cells))
	wanted := false
	for i, c := range cells {
		cols[i] = d.column(c)
		switch cols[i].Quantity {
		case Pressure, Voltage, Counts:
			// A banner such as "pressure sensor ready" names no unit and has words of its own.
			if (cols[i].Exact || cols[i].Unit != "" && len(words(c)) <= 4) && (len(cells) > 1 || cols[i].Exact) {
				wanted = true
			}
		}
		wanted = wanted || len(cells) > 1 && d.isValue(c)
	}
	if !wanted && !fixed {
		return false
	}
	d.header, d.names, d.delim, d.fixed, d.fits = cols, cells, delim, fixed, false
	d.value, d.valueErr = d.valueColumn(cols, cells)
	return true
}

// isValue reports the name that the options state as that of the value.
func (d *LineDecoder) isValue(name string) bool {
	return d.opt.Value != "" && strings.EqualFold(strings.TrimSpace(name), strings.TrimSpace(d.opt.Value))
}

// valueColumn finds the column that holds the reading.
func (d *LineDecoder) valueColumn(cols []Column, names []string) (int, error) {
	if d.opt.Value != "" {
		for i, n := range names {
			if d.isValue(n) {
				return i, nil
			}
		}
		return -1, fmt.Errorf("none of %.80q is %.40q, which was stated as the value", strings.Join(names, ", "), d.opt.Value)
	}
	for _, q := range [...]Quantity{Pressure, Voltage, Counts} {
		if at := best(cols, q); at >= 0 {
			return at, nil
		}
	}
	return -1, fmt.Errorf("none of %.80q is a pressure, volts or counts", strings.Join(names, ", "))
}

// rivals says when another column is as good as the one taken.
func rivals(cols []Column, at int) string {
	n := 0
	for _, c := range cols {
		if c.Quantity == cols[at].Quantity && c.Rank == cols[at].Rank && c.Quantity != Other {
			n++
		}
	}
	if n < 2 {
		return ""
	}
	return fmt.Sprintf("; it is the first of %d that may be meant", n)
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
func (d *LineDecoder) row(cells []string) (Fields, error) {
	if len(cells) != len(d.header) {
		return Fields{}, fmt.Errorf("%d cells where the header names %d", len(cells), len(d.header))
	}
	if d.valueErr != nil {
		return Fields{}, d.valueErr
	}
	at := d.value
	var err error
	col := d.header[at]
	if col.Unknown != "" {
		return Fields{}, fmt.Errorf("column %.40q is in %s, which is not a unit known here", d.names[at], col.Unknown)
	}
	f := Fields{Unit: col.signal(), Reference: col.Reference}
	if f, err = d.cell(f, cells[at]); err != nil {
		return Fields{}, fmt.Errorf("column %.40q: %w", d.names[at], err)
	}
	s := said{how: "columns", why: "because a header names them", value: d.names[at], delim: d.delim, note: rivals(d.header, at)}
	var t clock
	if i := best(d.header, Time); i >= 0 && i != at {
		if v, ok := Number(cells[i], true); ok {
			switch scale := d.header[i].Scale; {
			case scale != 0:
				t = counter(v, scale, " (its column names the unit)")
			case d.hasAt || d.time.numberSet:
				t = d.unnamed(v)
			default:
				t = counter(v, 1, " (taken for seconds, since its column names no unit)")
			}
		} else if c, dated, ok := Clock(cells[i]); ok {
			t = ofDay(c, dated)
		} else {
			return Fields{}, fmt.Errorf("column %.40q: %.40q is no time", d.names[i], cells[i])
		}
	}
	if i := best(d.header, Temperature); i >= 0 && i != at {
		if v, ok := Number(cells[i], true); ok {
			f.Temp, f.HasTemp = celsius(v, d.header[i].Unit), true
			s.temp = d.names[i]
		}
	}
	if i := best(d.header, Supply); i >= 0 && i != at {
		if v, ok := Number(cells[i], true); ok {
			f.Supply, f.HasSupply = volts(v, d.header[i].Unit), true
			s.supply = d.names[i]
		}
	}
	d.fits = true
	return d.finish(f, t, s)
}

// signal is the unit of the column: that of a voltage whose name tells none is
// the volt, whatever unit pressures are in.
func (c Column) signal() string {
	if c.Quantity == Voltage && c.Unit == "" {
		return "V"
	}
	return c.Unit
}

func volts(v float64, unit string) float64 {
	if unit == "mV" {
		return v / 1000
	}
	return v
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
	return d.named(names, values, unit, ref, "JSON", "because the lines are in braces")
}

// named reads values that come with their names.
func (d *LineDecoder) named(names, values []string, unit, ref, how, why string) (Fields, error) {
	cols := make([]Column, len(names))
	for i, n := range names {
		cols[i] = d.withUnit(d.column(n), values[i])
	}
	at, err := d.valueColumn(cols, names)
	if err != nil && d.opt.Value == "" {
		// A lone "value" or "reading" with its unit beside it.
		for i, n := range names {
			if l := strings.ToLower(n); l == "value" || l == "val" || l == "reading" {
				at, err = i, nil
			}
		}
	}
	if err != nil {
		return Fields{}, err
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
	if f.Unit == "" {
		f.Unit = cols[at].signal()
	}
	if f.Reference == "" {
		f.Reference = ref
	}
	if f, err = d.cell(f, values[at]); err != nil {
		return Fields{}, fmt.Errorf("%.40q: %w", names[at], err)
	}
	s := said{how: how, why: why, value: names[at], note: rivals(cols, at)}
	var t clock
	if i := best(cols, Time); i >= 0 && i != at {
		v, rest, err := leadingNumber(values[i], true)
		scale := cols[i].Scale
		if s, ok := timeUnits[strings.ToLower(rest)]; ok {
			scale, rest = s, ""
		}
		switch c, dated, ok := Clock(values[i]); {
		case ok:
			t = ofDay(c, dated)
		case err != nil || rest != "":
			return Fields{}, fmt.Errorf("%.40q: %.40q is no time", names[i], values[i])
		case scale != 0:
			t = counter(v, scale, " (its name or value tells the unit)")
		default:
			t = d.unnamed(v)
		}
	}
	if i := best(cols, Temperature); i >= 0 && i != at {
		if v, rest, err := leadingNumber(values[i], true); err == nil {
			u := cols[i].Unit
			if rest != "" {
				if c := d.column("temp " + rest); c.Unit != "" {
					u = c.Unit
				}
			}
			f.Temp, f.HasTemp = celsius(v, u), true
			s.temp = names[i]
		}
	}
	if i := best(cols, Supply); i >= 0 && i != at {
		if v, rest, err := leadingNumber(values[i], true); err == nil {
			u := cols[i].Unit
			if c := d.column(rest); rest != "" && c.Quantity == Voltage {
				u = c.Unit
			}
			f.Supply, f.HasSupply = volts(v, u), true
			s.supply = names[i]
		}
	}
	return d.finish(f, t, s)
}

// withUnit lets the unit after a value say what a bare name leaves open:
// T=21 C is no time, and A0: 2.5 V is a voltage.
func (d *LineDecoder) withUnit(c Column, value string) Column {
	if c.Quantity != Other && c.Quantity != Time && c.Quantity != Supply || c.Scale != 0 {
		return c
	}
	_, rest, err := leadingNumber(value, true)
	if err != nil || rest == "" {
		return c
	}
	if c.Quantity == Supply {
		if u := d.column(rest); u.Exact && u.Quantity == Pressure {
			return Column{Quantity: Pressure, Unit: u.Unit, Reference: u.Reference, Rank: u.Rank + 2, Exact: true} // of the air's supply
		}
		return c
	}
	if t := d.column("temp " + rest); t.Unit != "" && t.Exact && t.Quantity == Temperature {
		return t
	}
	if u := d.column(rest); u.Exact && c.Quantity == Other && (u.Quantity == Pressure || u.Quantity == Voltage) {
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
	f, err = d.named(names, values, "", "", "name and value pairs", "because of the = or : after each name")
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
