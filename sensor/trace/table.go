package trace

import (
	"bytes"
	"fmt"
	"math"
	"strings"
	"unicode/utf8"

	"ebbline/sensor/calib"
	"ebbline/sensor/wire"
)

// layout is what the head of a table says of its rows.
type layout struct {
	delim   byte // ',' ';' tab, or ' ' for runs of blanks
	columns int
	time    int // index of the column
	value   int
	scale   float64 // seconds in one unit of time; 0: not said
	unit    string
	ref     string
	line    int // of the header; of the first row when there is none

	raw         string // unit of a signal that a calibration makes a pressure of; "": a pressure
	supply      int    // column of the transducer's supply, when hasSupply
	hasSupply   bool
	supplyScale float64 // volts in one unit of it
}

// noUnitHint is what to do about a unit that is not stated.
func (f *file) noUnitHint() string {
	hint := "say it with --unit, for example --unit psi, or in the header: pressure_psi"
	if calib.IsRaw(f.profiled.Unit) {
		hint += "; if the numbers are in " + f.profiled.Unit + " as those of the default profile, name it with --profile"
	}
	return hint
}

// table reads rows of cells.
func (f *file) table() (Trace, error) {
	lay, err := f.head()
	if err != nil {
		return Trace{}, err
	}
	f.rows(lay)
	if len(f.values) == 0 {
		if f.bad == 0 {
			return Trace{}, f.fail(lay.line, "check that the file was written to its end", "there are column names but no rows under them")
		}
		hint := "each row needs a number in the time and in the pressure column"
		if lay.delim == ',' && f.badWhy == tooManyCells {
			hint = "if commas are decimal marks here, part the cells with ; or a tab, or put them in quotes"
		}
		return Trace{}, f.fail(f.badLine, hint, "none of the %d rows could be read; in the first, %s", f.bad, f.badWhy)
	}
	return f.finish(lay.unit, lay.ref, lay.scale)
}

// head finds the column names, or that there are none, and leaves the next
// row to be read.
func (f *file) head() (layout, error) {
	type candidate struct {
		cells []string
		line  int
	}
	var cand candidate
	first := 0 // the first line that is neither
	unread := []int(nil)
	for {
		at := f.lines
		line, ok := f.content()
		if !ok || len(unread) > 100 {
			break
		}
		if first == 0 {
			first = f.no
		}
		if len(line) > maxLine {
			return layout{}, f.fail(f.no, "a trace has a line for each reading", "the line is longer than %d bytes", maxLine)
		}
		delim := delimiter(line)
		cells := cut(line, delim)
		numbers := 0
		for _, c := range cells {
			if isNumber(c, delim != ',') {
				numbers++
			}
		}
		if numbers >= min(2, len(cells)) {
			lay := layout{delim: delim, columns: len(cells), line: f.no}
			row := f.no
			f.lines = at // the row is still to be read
			if len(cand.cells) != len(cells) {
				for _, n := range unread {
					f.badRow(n, "there is text where numbers should be")
				}
				return f.headless(lay, row)
			}
			lay.line = cand.line
			return f.named(lay, cand.cells)
		}
		cand = candidate{cells, f.no}
		unread = append(unread, f.no)
		if cols := columns(cells); len(cells) > 1 && pick(cols, wire.Pressure) >= 0 && pick(cols, wire.Time) >= 0 && numbers == 0 {
			lay := layout{delim: delim, columns: len(cells), line: f.no}
			return f.named(lay, f.unitsRow(cells, delim))
		}
	}
	if first == 0 {
		return layout{}, f.fail(0, "record the trace anew", "the file is empty or holds only comments")
	}
	if len(cand.cells) > 1 && len(unread) == 1 {
		if _, err := f.named(layout{line: cand.line, columns: len(cand.cells)}, cand.cells); err != nil {
			return layout{}, err
		}
	}
	line := f.text(first)
	return layout{}, f.fail(first, "a trace is a table with column names such as time_s,pressure_psi and a row for each reading",
		"no column names and no rows of numbers were found; the first line is %.60q", line)
}

// text returns line number n, for a message.
func (f *file) text(n int) string {
	l := lines{data: f.data}
	for {
		line, ok := l.next()
		if !ok || l.no == n {
			return string(line)
		}
	}
}

// unitsRow looks whether the next line holds only units, as some loggers
// write under the names, and joins it to the names.
func (f *file) unitsRow(cells []string, delim byte) []string {
	at := f.lines
	line, ok := f.content()
	if ok {
		units := cut(line, delim)
		joined := make([]string, len(cells))
		any := len(units) == len(cells)
		for i := 0; any && i < len(units); i++ {
			c := wire.ParseColumn(units[i])
			if isNumber(units[i], true) || units[i] != "" && !(c.Exact && (c.Unit != "" || c.Scale != 0)) && !strings.HasPrefix(units[i], "(") && !strings.HasPrefix(units[i], "[") {
				any = false
			}
			joined[i] = cells[i] + " " + units[i]
		}
		if any {
			return joined
		}
	}
	f.lines = at
	return cells
}

// headless lays out a table without column names.
func (f *file) headless(lay layout, row int) (layout, error) {
	switch {
	case lay.columns == 1:
		return lay, f.fail(row, "each row needs a time beside the pressure, as in 0.1,29.8", "there is one number in a row and no time")
	case lay.columns > 2:
		return lay, f.fail(row, "write a first line that names them, for example time_s,pressure_psi,...",
			"there are %d columns and no names, so which is the pressure cannot be told", lay.columns)
	case f.opt.Unit == "":
		return lay, f.fail(row, f.noUnitHint(), "the columns have no names and the unit of the pressure is not stated")
	}
	lay.value, lay.unit = 1, f.opt.Unit
	return f.signal(lay, row)
}

// signal settles a layout whose value is a signal and no pressure.
func (f *file) signal(lay layout, line int) (layout, error) {
	if !calib.IsRaw(lay.unit) {
		return lay, nil
	}
	if f.opt.Calibration == nil {
		return lay, f.fail(line, uncalibratedHint, "the values are in %s and no calibration is at hand", lay.unit)
	}
	lay.raw, lay.unit, lay.ref = lay.unit, calibratedUnit, f.opt.Calibration.Reads.String()
	return lay, nil
}

// named lays out a table by its column names.
func (f *file) named(lay layout, cells []string) (layout, error) {
	cols := columns(cells)
	found := "found " + strings.Join(quoted(cells), ", ")
	lay.time, lay.value = pick(cols, wire.Time), pick(cols, wire.Pressure)
	if lay.value < 0 && len(cells) == 2 && f.opt.Unit != "" && lay.time >= 0 && cols[1-lay.time].Quantity == wire.Other {
		lay.value = 1 - lay.time // the unit is stated, and there is only one column it can be of
	}
	for _, q := range [...]wire.Quantity{wire.Voltage, wire.Counts} {
		if lay.value < 0 && f.opt.Calibration != nil {
			lay.value = pick(cols, q)
		}
	}
	if lay.value < 0 {
		hint := "name the column with its unit, for example pressure_psi or p_bar_abs"
		if pick(cols, wire.Voltage) >= 0 || pick(cols, wire.Counts) >= 0 {
			hint = "volts and counts are turned into a pressure by a calibration: " + uncalibratedHint
		}
		return lay, f.fail(lay.line, hint, "there is no pressure column; %s", found)
	}
	if lay.time < 0 {
		return lay, f.fail(lay.line, "name the column with its unit, for example time_s or time_ms", "there is no time column; %s", found)
	}
	col := cols[lay.value]
	if col.Unknown != "" {
		return lay, f.fail(lay.line, "known are psi, bar, mbar, hPa, kPa, Pa, inHg and kgf/cm2",
			"column %.40q is in %s, which is not a unit known here", cells[lay.value], col.Unknown)
	}
	lay.scale, lay.unit, lay.ref = cols[lay.time].Scale, col.Unit, col.Reference
	if lay.supply = pick(cols, wire.Supply); lay.supply >= 0 {
		lay.hasSupply, lay.supplyScale = true, 1
		if cols[lay.supply].Unit == "mV" {
			lay.supplyScale = 1e-3
		}
	}
	switch {
	case lay.unit == "" && col.Quantity == wire.Voltage && !calib.IsRaw(f.opt.Unit):
		lay.unit = "V"
	case lay.unit == "" && f.opt.Unit == "":
		return lay, f.fail(lay.line, f.noUnitHint(), "column %.40q does not name a unit; %s", cells[lay.value], found)
	case lay.unit == "":
		lay.unit = f.opt.Unit
	case f.opt.Unit != "" && f.opt.Unit != lay.unit && !calib.IsRaw(f.opt.Unit):
		f.warning("unit-from-header", "the header says %s, so %s as stated is not used", lay.unit, f.opt.Unit)
	}
	same := 0
	for _, c := range cols {
		if c.Quantity == wire.Pressure && c.Rank == col.Rank {
			same++
		}
	}
	if same > 1 {
		f.warning("several-pressures", "%d columns hold pressures; %q was used", same, cells[lay.value])
	}
	return f.signal(lay, lay.line)
}

func quoted(cells []string) []string {
	out := make([]string, 0, len(cells))
	for _, c := range cells {
		if len(out) == 12 {
			return append(out, "…")
		}
		out = append(out, fmt.Sprintf("%.30q", c))
	}
	return out
}

func columns(cells []string) []wire.Column {
	out := make([]wire.Column, len(cells))
	for i, c := range cells {
		out[i] = wire.ParseColumn(c)
	}
	return out
}

// pick returns the column meant for q, or -1.
func pick(cols []wire.Column, q wire.Quantity) int {
	b := -1
	for i, c := range cols {
		if c.Quantity == q && (b < 0 || c.Rank < cols[b].Rank) {
			b = i
		}
	}
	return b
}

func isNumber(cell string, comma bool) bool {
	if cell == "" {
		return false
	}
	if _, ok := wire.Number(cell, comma); ok {
		return true
	}
	_, _, ok := wire.Clock(cell)
	return ok
}

// delimiter finds what parts the cells: a tab, else a semicolon, else a comma,
// else blanks.
func delimiter(line []byte) byte {
	quoted := false
	best := byte(' ')
	for _, c := range line {
		switch {
		case c == '"':
			quoted = !quoted
		case quoted:
		case c == '\t':
			return '\t'
		case c == ';':
			best = ';'
		case c == ',' && best == ' ':
			best = ','
		}
	}
	if best == ',' {
		// "0,1 29,8": blanks part the cells and the commas are decimal.
		cells := bytes.Fields(line)
		for _, c := range cells {
			if _, ok := wire.Number(c, true); !ok {
				return best
			}
		}
		if len(cells) > 1 {
			return ' '
		}
	}
	return best
}

// cut returns the cells of a line as text.
func cut(line []byte, delim byte) []string {
	var out []string
	for pos := 0; pos >= 0; {
		var cell []byte
		cell, _, pos = nextCell(line, pos, delim)
		if cell == nil && delim == ' ' {
			break
		}
		s := string(cell)
		if !utf8.ValidString(s) {
			s = strings.ToValidUTF8(s, " ")
		}
		out = append(out, s)
	}
	return out
}

// nextCell returns the cell that starts at pos, whether it was in quotes, and
// where the next starts, -1 at the end of the line.
func nextCell(line []byte, pos int, delim byte) (cell []byte, quoted bool, next int) {
	if delim == ' ' {
		for pos < len(line) && (line[pos] == ' ' || line[pos] == '\t') {
			pos++
		}
		if pos == len(line) {
			return nil, false, -1
		}
	}
	start := pos
	for pos < len(line) && line[pos] == ' ' {
		pos++
	}
	if pos < len(line) && line[pos] == '"' {
		pos++
		from := pos
		doubled := false
		for pos < len(line) {
			if line[pos] == '"' {
				if pos+1 < len(line) && line[pos+1] == '"' {
					doubled = true
					pos += 2
					continue
				}
				break
			}
			pos++
		}
		cell = line[from:pos]
		if doubled {
			cell = bytes.ReplaceAll(cell, []byte(`""`), []byte(`"`))
		}
		cell = bytes.TrimSpace(cell)
		for pos < len(line) && line[pos] != delim {
			pos++
		}
		quoted = true
	} else {
		for pos < len(line) && line[pos] != delim {
			pos++
		}
		cell = bytes.TrimSpace(line[start:pos])
	}
	if pos >= len(line) {
		return cell, quoted, -1
	}
	return cell, quoted, pos + 1
}

const tooManyCells = "there are more cells than columns"

var tooLongRow = fmt.Sprintf("the row is longer than %d bytes", maxLine)

// rows reads what is left of the file.
func (f *file) rows(lay layout) {
	n := min(bytes.Count(f.data, []byte{'\n'})+1, maxRows)
	f.values = make([]float64, 0, n)
	clock := 0 // 0 not known, 1 numbers, 2 clock times, 3 dates and times
	var day, last int64
	pair := lay.columns == 2 && lay.delim != ' ' && lay.raw == ""
	for {
		line, ok := f.content()
		if !ok || len(f.values) > maxRows { // which is told by finish
			return
		}
		if len(line) > maxLine {
			f.badRow(f.no, tooLongRow)
			continue
		}
		if pair && clock < 2 {
			a, b, ok := plainRow(line, lay.delim)
			if lay.time == 1 {
				a, b = b, a
			}
			if ok && math.Abs(a*lay.scale) <= maxStamp {
				if clock == 0 {
					clock = 1
					f.raw = make([]float64, 0, n)
				}
				f.raw, f.values = append(f.raw, a), append(f.values, b)
				continue
			}
		}
		var t, v, supply []byte
		var tq, vq bool
		count := 0
		for pos := 0; pos >= 0; count++ {
			var cell []byte
			var q bool
			cell, q, pos = nextCell(line, pos, lay.delim)
			if pos < 0 && len(cell) == 0 && count >= lay.columns {
				break // a delimiter at the end of the row
			}
			switch count {
			case lay.time:
				t, tq = cell, q
			case lay.value:
				v, vq = cell, q
			}
			if lay.hasSupply && count == lay.supply {
				supply = cell
			}
		}
		if count > lay.columns {
			f.badRow(f.no, tooManyCells)
			continue
		}
		value, ok := wire.Number(v, vq || lay.delim != ',')
		if !ok || math.Abs(value) > 1e290 {
			f.badRow(f.no, fmt.Sprintf("the pressure is %.30q", v))
			continue
		}
		if lay.raw != "" {
			raw := calib.Raw{Value: value, Unit: lay.raw}
			if u, ok := wire.Number(supply, true); ok && lay.hasSupply {
				raw.HasSupply, raw.Supply = true, u*lay.supplyScale
			}
			var err error
			if value, err = f.calibrated(raw); err != nil {
				f.badRow(f.no, err.Error())
				continue
			}
		}
		if clock < 2 {
			if at, ok := wire.Number(t, tq || lay.delim != ','); ok {
				if math.Abs(at*lay.scale) > maxStamp {
					f.badRow(f.no, tooFar)
					continue
				}
				if clock == 0 {
					clock = 1
					f.raw = make([]float64, 0, n)
				}
				f.raw, f.values = append(f.raw, at), append(f.values, value)
				continue
			}
		}
		at, dated, ok := wire.Clock(string(t))
		kind := 2
		if dated {
			kind = 3
		}
		if ok && clock == 0 {
			clock = kind
			f.stamps = make([]int64, 0, n)
		}
		if !ok || kind != clock {
			f.badRow(f.no, fmt.Sprintf("the time is %.30q", t))
			continue
		}
		ns := int64(at)
		if !dated {
			// A clock without a date that falls by half a day has passed midnight.
			const half = 12 * 3600 * 1e9
			if len(f.stamps) > 0 {
				if ns+day < last-half {
					day += 2 * half
				} else if day > 0 && ns+day > last+half {
					day -= 2 * half
				}
			}
			ns += day
			last = ns
		}
		f.stamps, f.values = append(f.stamps, ns), append(f.values, value)
	}
}
