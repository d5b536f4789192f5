package main

import (
	"bufio"
	"encoding/csv"
	"errors"
	"fmt"
	"io"
	"math"
	"slices"
	"strconv"
	"strings"
	"unicode"
	"unicode/utf8"

	"ebbline/decay"
	"ebbline/sensor/wire"
)

// badRow is a row of a table that could not be read.
type badRow struct {
	line int
	why  string
}

// chargeColumns are the columns of a table of charge pressures; the first three
// must be there.
var chargeColumns = [...]string{"speed", "requested", "actual", "ambient", "load"}

const neededColumns = 3

// What a table may hold, so that none fills the memory. A million rows are more
// than a day at ten a second.
const (
	longestRow   = 1 << 20  // bytes
	longestTable = 64 << 20 // bytes
	mostRows     = 1000000
)

// headLines is how far down a table's heading is looked for.
const headLines = 40

// parseColumns reads "speed=n,requested=p soll,actual=p ist". A name with a
// comma in it is quoted.
func parseColumns(text string) (map[string]string, error) {
	out := map[string]string{}
	if strings.TrimSpace(text) == "" {
		return out, nil
	}
	bad := func(format string, a ...any) error {
		return wrong("for example --columns \"speed=n,requested=p soll,actual=p ist\", perhaps with ambient= and load=", "--columns: %w", fmt.Errorf(format, a...))
	}
	cells, err := cutRow(text, ',')
	if err != nil {
		return nil, bad("%.60q cannot be cut at its commas", text)
	}
	for _, c := range cells {
		key, name, ok := strings.Cut(c, "=")
		key, name = strings.ToLower(strings.TrimSpace(key)), strings.TrimSpace(name)
		switch {
		case !ok || name == "":
			return nil, bad("%.60q names no column", c)
		case !slices.Contains(chargeColumns[:], key):
			return nil, bad("%.60q is not one of speed, requested, actual, ambient, load", key)
		case out[key] != "":
			return nil, bad("%s is named twice", key)
		}
		out[key] = name
	}
	return out, nil
}

// cutRow cuts one line into cells.
func cutRow(line string, delim rune) ([]string, error) {
	if !strings.Contains(line, `"`) { // the ordinary case, ten times as fast
		cells := strings.Split(line, string(delim))
		for i := range cells {
			cells[i] = strings.TrimSpace(cells[i])
		}
		return cells, nil
	}
	r := csv.NewReader(strings.NewReader(line))
	r.Comma, r.LazyQuotes, r.FieldsPerRecord = delim, true, -1
	cells, err := r.Read()
	for i := range cells {
		cells[i] = strings.TrimSpace(cells[i])
	}
	return cells, err
}

// nameWords are the words of a column's name in lower case, its unit the last.
func nameWords(name string) []string {
	return strings.FieldsFunc(strings.ToLower(name), func(r rune) bool {
		return r == '_' || r == '(' || r == ')' || r == '[' || r == ']' || r == '{' || r == '}' || unicode.IsSpace(r)
	})
}

// bareName is a column's name in lower case without its unit, and the unit.
func bareName(name string) (bare, unit string) {
	words := nameWords(name)
	n := len(words)
	for n > 1 {
		tail := strings.Join(words[n-1:], " ")
		if _, _, ok := wire.ParseUnit(tail); !ok && tail != "%" && tail != "abs" && tail != "absolute" && tail != "gauge" {
			if _, err := decay.ParseSpeedUnit(tail); err != nil && wire.ParseColumn(tail).Unknown == "" {
				break
			}
		}
		n--
	}
	return strings.Join(words[:n], " "), strings.Join(words[n:], " ")
}

// findColumn is the place of a column in a heading; −1 when it is not there.
func findColumn(head []string, want string) (int, error) {
	if num, ok := strings.CutPrefix(want, "#"); ok {
		if k, err := strconv.Atoi(num); err == nil && k >= 1 && k <= len(head) {
			return k - 1, nil
		}
		return -1, nil
	}
	for _, same := range []func(string) bool{
		func(h string) bool { return strings.EqualFold(h, want) },
		func(h string) bool { b, _ := bareName(h); return b == strings.ToLower(strings.TrimSpace(want)) },
	} {
		at := -1
		for i, h := range head {
			if !same(h) {
				continue
			}
			if at >= 0 {
				return -1, fmt.Errorf("two columns are called %.60q: name one by its place, as #%d", want, at+1)
			}
			at = i
		}
		if at >= 0 {
			return at, nil
		}
	}
	return -1, nil
}

// chargeTable is a table whose heading was understood.
type chargeTable struct {
	delim rune
	width int
	at    [len(chargeColumns)]int // −1: not there
	unit  [len(chargeColumns)]string
	name  [len(chargeColumns)]string
	heads []string // all names

	guessed bool // the ambient column was found by its words
}

// ambientWords begin words by which a column of pressures is taken for the air
// around where none is called ambient. Ladeluftdruck and the like do not: it is
// the charge.
var ambientWords = []string{
	"ambien", "barom", "atmosph", "atmosf", "luftdruck", "umgebung", "außendruck", "aussendruck", "außenluft", "aussenluft",
	"luchtdruk", "omgeving", "lufttryck", "lufttrykk", "lufttryk", "omgivning", "omgivelse", "ilmanpaine", "légnyomás",
	"атмосфер", "барометр", "大気", "大气", "気圧", "气压", "기압",
}

// isAmbientWord tells such a word, or one of the usual short ones.
func isAmbientWord(w string) bool {
	return w == "amb" || w == "atm" || w == "baro" || slices.ContainsFunc(ambientWords, func(a string) bool { return strings.HasPrefix(w, a) })
}

// pressureStems are parts of words that speak of pressure, in a name without a unit.
var pressureStems = []string{"druk", "druck", "press", "presi", "pressã", "pressa", "tryk", "tryck", "paine", "nyomás", "давлен", "barom", "барометр", "気圧", "气压", "기압"}

// ambientColumn is the place of the one column whose name speaks of the air
// around and of pressure, by its unit or, where that may stand in the row below, by
// a word; −1 when there is none or more than one. Columns in used are another.
func ambientColumn(heads []string, used []int) (at int, unit string) {
	at = -1
	for i, h := range heads {
		words, in := nameWords(h), ""
		if len(words) > 1 {
			if _, _, ok := wire.ParseUnit(words[len(words)-1]); ok {
				words, in = words[:len(words)-1], words[len(words)-1]
			}
		}
		bare := strings.Join(words, " ")
		if slices.Contains(used, i) || !slices.ContainsFunc(words, isAmbientWord) ||
			in == "" && !slices.ContainsFunc(pressureStems, func(p string) bool { return strings.Contains(bare, p) }) {
			continue
		}
		if at >= 0 {
			return -1, ""
		}
		at, unit = i, in
	}
	return at, unit
}

// likelyWords are words in the names of columns that are not called as they
// should be, for the example of a hint.
var likelyWords = [neededColumns][]string{
	{"speed", "rpm", "drehzahl", "régime", "regime", "giri", "toerental", "varvtal", "obrot", "otáčky", "оборот"},
	{"request", "soll", "target", "setpoint", "desired", "demand", "specified", "consigne", "gewenst", "börvärde", "richiest", "objetivo"},
	{"actual", "ist", "measured", "gemessen", "mesur", "effettiv", "gemeten", "ärvärde", "medid", "map"},
}

// likelyColumn is the place of the column that may be the needed one with number
// i, by its words or, of the speed, by its unit; −1 when none is.
func likelyColumn(heads []string, i int) int {
	for k, h := range heads {
		bare, unit := bareName(h)
		if _, err := decay.ParseSpeedUnit(unit); i == 0 && unit != "" && err == nil {
			return k
		}
		for _, w := range strings.Fields(bare) {
			for _, part := range likelyWords[i] {
				if w == part || len(part) > 3 && strings.Contains(w, part) {
					return k
				}
			}
		}
	}
	return -1
}

// unused are the names of the columns that nothing was read from.
func (t *chargeTable) unused() []string {
	var out []string
	for i, h := range t.heads {
		if h != "" && !slices.Contains(t.at[:], i) {
			out = append(out, h)
		}
	}
	return out
}

// heading looks for the named columns in a line.
func heading(line string, delim rune, names map[string]string) (t chargeTable, missing []string, err error) {
	cells, err := cutRow(line, delim)
	if err != nil {
		return t, nil, nil
	}
	t.delim, t.width, t.heads = delim, len(cells), cells
	for i, key := range chargeColumns {
		want, named := names[key]
		if !named {
			want = key
		}
		k, err := findColumn(cells, want)
		if err != nil {
			return t, nil, err
		}
		around, guessed := "", false
		if k < 0 && key == "ambient" && !named {
			k, around = ambientColumn(cells, t.at[:neededColumns])
			guessed = k >= 0
		}
		t.at[i] = k
		if k < 0 {
			if i < neededColumns || named {
				missing = append(missing, want)
			}
			continue
		}
		t.name[i] = cells[k]
		t.guessed = t.guessed || guessed
		if _, t.unit[i] = bareName(cells[k]); around != "" {
			t.unit[i] = around
		}
		if t.unit[i] == "" {
			if c := wire.ParseColumn(cells[k]); c.Unit != "" && c.Quantity == wire.Pressure {
				t.unit[i] = c.Unit + " " + c.Reference
			}
		}
	}
	return t, missing, nil
}

var tableDelims = []rune{';', '\t', ','}

// readChargeTable reads the table of that name; - is standard input.
func (a *app) readChargeTable(name string, f *shortfallFlags, in *complaint) error {
	var r io.Reader = a.in
	shown := "standard input"
	if name != "-" {
		file, err := openFile(name)
		if err != nil {
			return err
		}
		defer file.Close()
		r, shown = file, name
	}
	names, err := parseColumns(f.columns)
	if err != nil {
		return err
	}
	lines, err := readLines(r, shown)
	if err != nil {
		return err
	}
	t, from, err := findHeading(lines, names, shown)
	if err != nil {
		return err
	}
	return t.read(lines, from, shown, f, in)
}

// readLines reads a text of lines that end in any of the usual ways.
func readLines(r io.Reader, name string) ([]string, error) {
	sc := bufio.NewScanner(r)
	sc.Buffer(nil, longestRow)
	var out []string
	size := 0
	for sc.Scan() {
		if size += len(sc.Bytes()); size > longestTable || len(out) == mostRows+headLines {
			return nil, wrong("cut the table to the drive, or leave columns out", "%s: has more than %d rows or %d MiB", name, mostRows, longestTable>>20)
		}
		line := strings.TrimSuffix(sc.Text(), "\r")
		if len(out) == 0 {
			line = strings.TrimPrefix(line, "\ufeff")
		}
		if strings.ContainsFunc(line, func(r rune) bool { return r < ' ' && r != '\t' && r != '\f' }) {
			return nil, wrong("save the table as plain text (CSV, UTF-8)", "%s, line %d: is no plain text", name, len(out)+1)
		}
		if !utf8.ValidString(line) { // an old spreadsheet's ISO 8859-1, whose bytes are the code points
			runes := make([]rune, len(line))
			for i := range len(line) {
				runes[i] = rune(line[i])
			}
			line = string(runes)
		}
		out = append(out, line)
	}
	if errors.Is(sc.Err(), bufio.ErrTooLong) {
		return nil, wrong("save the table as plain text (CSV)", "%s, line %d: is longer than a row can be", name, len(out)+1)
	}
	if sc.Err() != nil {
		return nil, wrong("check the file", "%s: %w", name, sc.Err())
	}
	for len(out) > 0 && strings.TrimSpace(out[len(out)-1]) == "" {
		out = out[:len(out)-1]
	}
	if len(out) == 0 {
		return nil, wrong("name a table with a heading and at least one row", "%s: is empty", name)
	}
	return out, nil
}

// findHeading finds the line that names the columns; from is the first row.
func findHeading(lines []string, names map[string]string, name string) (t chargeTable, from int, err error) {
	var found []string
	var missing []string
	at := 0
	for i, line := range lines[:min(len(lines), headLines)] {
		if strings.HasPrefix(strings.TrimSpace(line), "#") || strings.TrimSpace(line) == "" {
			continue
		}
		for _, d := range tableDelims {
			t, miss, err := heading(line, d, names)
			if err != nil {
				return t, 0, wrong("see the heading of the table", "%s, line %d: %w", name, i+1, err)
			}
			if t.width > 1 && len(miss) == 0 {
				return t, i + 1, nil
			}
			if cells, _ := cutRow(line, d); len(cells) > len(found) {
				found, missing, at = cells, miss, i
			}
		}
	}
	if len(found) == 0 {
		return t, 0, wrong("the first line names the columns, for example speed_rpm,requested_hPa,actual_hPa", "%s: has no heading", name)
	}
	// The example has the table's own columns: the likely ones, else the next.
	places := make([]int, len(missing))
	for i, m := range missing {
		places[i] = -1
		if n := slices.Index(chargeColumns[:neededColumns], m); n >= 0 {
			places[i] = likelyColumn(found, n)
		}
	}
	var example, called []string
	for i, m := range missing {
		k := places[i]
		for next := 0; k < 0; next++ {
			if !slices.Contains(places, next) {
				k, places[i] = next, next
			}
		}
		example = append(example, fmt.Sprintf("%s=#%d", m, k+1))
		if k < len(found) {
			called = append(called, shortName(found[k]))
		}
		missing[i] = strconv.Quote(m)
	}
	for i, m := range found {
		found[i] = strconv.Quote(shortName(m))
	}
	if len(found) > 30 {
		found = append(found[:30], "…")
	}
	hint := fmt.Sprintf("say which column is which by place or by name, for example --columns %q, if %s", strings.Join(example, ","), strings.Join(called, ", "))
	if len(called) == 1 {
		hint += " is that one"
	} else {
		hint += " are those"
	}
	return t, 0, wrong(hint, "%s, line %d: no column called %s; the columns found are %s", name, at+1, strings.Join(missing, ", "), strings.Join(found, ", "))
}

// shortName is a column's name as far as a message has room for it.
func shortName(name string) string {
	if r := []rune(name); len(r) > 40 {
		return string(r[:40]) + "…"
	}
	return name
}

// pressureColumn says how a column of pressures is read.
type pressureColumn struct {
	unit  decay.PressureUnit
	gauge bool
	how   string
}

// pressures settles unit and reference of a column.
func (t *chargeTable) pressures(i int, f *shortfallFlags, name string) (pressureColumn, error) {
	p := pressureColumn{gauge: f.reads == "gauge" && chargeColumns[i] != "ambient"}
	text := strings.TrimSpace(t.unit[i])
	if c := wire.ParseColumn(t.name[i]); c.Unknown != "" {
		return p, wrong("write the column's values in hPa, kPa, bar or psi", "%s: column %.60q has a unit that is not understood: %s", name, t.name[i], c.Unknown)
	} else if c.Reference != "" {
		p.gauge = c.Reference == "gauge"
	}
	if text == "" {
		text = f.unit
	}
	unit, ref, ok := wire.ParseUnit(text)
	if !ok {
		if text == "" || text == "abs" || text == "absolute" || text == "gauge" {
			if unit, _, ok = wire.ParseUnit(f.unit); !ok {
				return p, wrong("state it, for example --unit hPa", "%s: column %.60q does not name its unit", name, t.name[i])
			}
		} else {
			return p, wrong("state a unit of pressure, for example --unit hPa", "%s: column %.60q has the unit %.60q, which is none of pressure", name, t.name[i], text)
		}
	}
	var err error
	if p.unit, err = decay.ParsePressureUnit(unit); err != nil {
		return p, wrong("pressures are wanted, not the volts or counts of a sensor", "%s: column %.60q: %w", name, t.name[i], err)
	}
	if ref != "" {
		p.gauge = ref == "gauge"
	}
	p.how = fmt.Sprintf("%s from %.60q in %s ", chargeColumns[i], t.name[i], p.unit.Name)
	if p.gauge {
		p.how += "gauge"
	} else {
		p.how += "absolute"
	}
	return p, nil
}

// speedUnit is the unit of the speeds, in revolutions per second.
func (t *chargeTable) speedUnit(f *shortfallFlags, name string) (float64, error) {
	text := t.unit[0]
	if text == "" && strings.Contains(strings.ToLower(t.name[0]), "rpm") {
		text = "rpm"
	}
	unit := decay.RPM
	var err error
	if text != "" {
		if unit, err = decay.ParseSpeedUnit(text); err != nil {
			return 0, wrong("name the column of the engine's speed; rpm, Hz and rad/s are understood", "%s: column %.60q: %w", name, t.name[0], err)
		}
	}
	if f.speedUnit == "" {
		return unit, nil
	}
	flag, err := decay.ParseSpeedUnit(f.speedUnit)
	switch {
	case err != nil:
		return 0, wrong("write --speed-unit rpm, Hz or rad/s", "--speed-unit: %w", err)
	case text != "" && flag != unit:
		return 0, wrong("leave the flag out, or correct the heading", "%s: column %.60q is in %s, and --speed-unit says %s", name, t.name[0], text, f.speedUnit)
	}
	return flag, nil
}

// read reads the rows below the heading.
func (t *chargeTable) read(lines []string, from int, name string, f *shortfallFlags, in *complaint) error {
	// A row of units below the heading.
	if from < len(lines) {
		cells, err := cutRow(lines[from], t.delim)
		units := 0
		for i := 1; err == nil && i <= 2; i++ {
			if k := t.at[i]; k < len(cells) {
				if _, _, ok := wire.ParseUnit(strings.Trim(cells[k], "[]()")); ok {
					units++
				}
			}
		}
		if units == 2 {
			for i, k := range t.at {
				if k >= 0 && k < len(cells) {
					t.unit[i] = strings.Trim(cells[k], "[]() ")
				}
			}
			from++
		}
	}
	if t.guessed && t.unit[3] == "" && f.unit == "" {
		t.at[3] = -1 // of no unit: told as not used
	}
	var cols [len(chargeColumns)]pressureColumn
	gauge := false
	for i := 1; i <= 3; i++ {
		if t.at[i] < 0 {
			continue
		}
		var err error
		if cols[i], err = t.pressures(i, f, name); err != nil {
			return err
		}
		if i == 3 && cols[i].gauge {
			return wrong("name an absolute column, or state --ambient", "%s: column %.60q is gauge, and so is always zero", name, t.name[i])
		}
		in.remark = append(in.remark, cols[i].how)
		gauge = gauge || cols[i].gauge
	}
	if gauge && in.set.Ambient == 0 && t.at[3] < 0 {
		return wrong("state the air around, for example --ambient 1005hPa", "%s: gauge pressures become absolute only with the ambient, which is not stated", name)
	}
	in.unused = t.unused()
	in.set.RequestedUnit, in.set.ActualUnit = cols[1].unit, cols[2].unit

	perUnit, err := t.speedUnit(f, name)
	if err != nil {
		return err
	}

	var speeds []float64
	rows := 0
	tooMany := 0
	for n := from; n < len(lines); n++ {
		line := lines[n]
		if strings.HasPrefix(strings.TrimSpace(line), "#") {
			continue
		}
		cells, err := cutRow(line, t.delim)
		if strings.Trim(line, " \t,;\"") == "" {
			in.blank++
			continue
		}
		rows++
		bad := func(format string, a ...any) {
			in.bad = append(in.bad, badRow{n + 1, fmt.Sprintf(format, a...)})
		}
		if err != nil {
			bad("the quotes do not match")
			continue
		}
		if len(cells) > t.width && strings.Join(cells[t.width:], "") != "" {
			tooMany++
			bad("%d cells under a heading of %d", len(cells), t.width)
			continue
		}
		v := [len(chargeColumns)]float64{}
		whole := true
		for i, k := range t.at {
			v[i] = math.NaN()
			if k < 0 {
				continue
			}
			text := ""
			if k < len(cells) {
				text = strings.TrimSuffix(cells[k], "%")
			}
			if text == "" {
				if i < neededColumns {
					bad("%s is blank", chargeColumns[i])
					whole = false
					break
				}
				continue
			}
			x, ok := wire.Number(text, true)
			if !ok {
				bad("%s is %.30q, which is no number", chargeColumns[i], text)
				whole = false
				break
			}
			v[i] = x
		}
		if !whole {
			continue
		}
		amb := in.set.Ambient
		r := decay.ChargeRow{Speed: decay.Speed(v[0] * perUnit), Load: v[4]}
		if !math.IsNaN(v[3]) {
			r.Ambient = decay.Pressure(v[3] * cols[3].unit.Pascal)
			if r.Ambient < 40*decay.Kilopascal || r.Ambient > 120*decay.Kilopascal {
				bad("ambient is %s, which no air around has", r.Ambient.Format(cols[3].unit))
				continue
			}
			amb = r.Ambient
		}
		if gauge && amb == 0 {
			bad("a gauge pressure without its ambient")
			continue
		}
		abs := func(i int) decay.Pressure {
			p := v[i] * cols[i].unit.Pascal
			if cols[i].gauge {
				return decay.Gauge(p).Absolute(amb)
			}
			return decay.Pressure(p)
		}
		r.Requested, r.Actual = abs(1), abs(2)
		if r.Speed < 0 || r.Load < 0 {
			bad("a speed or load below zero")
			continue
		}
		speeds = append(speeds, v[0])
		in.rows = append(in.rows, r)
		in.lines = append(in.lines, n+1)
	}
	if len(in.rows) == 0 {
		if tooMany > 0 {
			return wrong("numbers with a decimal comma need ; or a tab between the cells, or quotes around them", "%s: no row can be read: line %d has %s", name, in.bad[0].line, in.bad[0].why)
		}
		if rows == 0 {
			return wrong("name a table with at least one row", "%s: has no row below its heading", name)
		}
		return wrong("see that line", "%s: none of %d rows can be read: line %d: %s", name, rows, in.bad[0].line, in.bad[0].why)
	}
	return plausibleSpeeds(speeds, perUnit, f.speedUnit != "", t.name[0], name)
}

// plausibleSpeeds asks about a column of speeds that no engine has under load:
// below 700 rpm, where radians a second may be meant, or, when a flag said the
// unit, below what any engine has.
func plausibleSpeeds(speeds []float64, perUnit float64, said bool, column, name string) error {
	slices.Sort(speeds)
	top := speeds[len(speeds)*9/10]
	if max := speeds[len(speeds)-1]; max == 0 {
		return nil // engine off throughout: told later
	}
	n := decay.Speed(top * perUnit)
	least := 700 * decay.RPM
	if said {
		least = float64(decay.SlowestEngine)
	}
	if float64(n) >= least && n <= decay.FastestEngine {
		return nil
	}
	how := "state which is meant: --speed-unit rpm, Hz or rad/s"
	return wrong(speedHint(top, how), "%s: column %.60q reaches %s, which as %.0f rpm is no speed of an engine under load", name, column, strconv.FormatFloat(top, 'g', 5, 64), n.RPM())
}
