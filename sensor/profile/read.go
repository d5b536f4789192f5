package profile

import (
	"bytes"
	"errors"
	"fmt"
	"reflect"
	"strings"
	"time"

	"github.com/pelletier/go-toml/v2"
	"github.com/pelletier/go-toml/v2/unstable"

	"ebbline/decay"
	"ebbline/sensor/calib"
	"ebbline/sensor/wire"
)

// What a file of profiles may hold: the library's work grows with the square of
// the parts of a key and of the number of tables.
const (
	maxSize  = 256 << 10 // bytes
	maxParts = 64        // of the keys in one line
	maxDepth = 64        // of brackets in each other
)

// document, entry, curve and spot are the file as written.
type document struct {
	Default string           `toml:"default,omitempty"`
	Profile map[string]entry `toml:"profile,omitempty"`
}

type entry struct {
	Sensor        string `toml:"sensor,omitempty"`
	Port          string `toml:"port,omitempty"`
	Baud          int64  `toml:"baud,omitempty"`
	Unit          string `toml:"unit,omitempty"`
	Columns       string `toml:"columns,omitempty"`
	Value         string `toml:"value,omitempty"`
	Delimiter     string `toml:"delimiter,omitempty"`
	TimeUnit      string `toml:"time_unit,omitempty"`
	Decimal       string `toml:"decimal,omitempty"`
	Modbus        string `toml:"modbus,omitempty"`
	Reads         string `toml:"reads,omitempty"`
	FullScale     string `toml:"full_scale,omitempty"`
	ZeroTolerance string `toml:"zero_tolerance,omitempty"`
	SpanTolerance string `toml:"span_tolerance,omitempty"`
	Noise         string `toml:"noise,omitempty"`
	Ceiling       string `toml:"ceiling,omitempty"`
	Volume        string `toml:"volume,omitempty"`
	Limit         string `toml:"limit,omitempty"`
	Calibration   *curve `toml:"calibration,omitempty"`
}

type curve struct {
	Kind      string `toml:"kind"`
	Low       spot   `toml:"low,inline"`
	High      spot   `toml:"high,inline"`
	ZeroScale string `toml:"zero_scale,omitempty"`
	Zero      string `toml:"zero,omitempty"`
	Supply    string `toml:"supply,omitempty"`
	Bits      int64  `toml:"bits,omitempty"`
	// Reference is a voltage, or "supply", which is also meant when it is left out.
	Reference string  `toml:"reference,omitempty"`
	Divider   float64 `toml:"divider,omitempty"`
	Date      string  `toml:"date,omitempty"`
	Points    []spot  `toml:"points,omitempty,multiline,inline"`
}

type spot struct {
	Signal   string `toml:"signal"`
	Pressure string `toml:"pressure"`
}

// delimiters are the words for what parts the cells of a line.
var delimiters = map[string]string{"": "", "comma": ",", "semicolon": ";", "tab": "\t", "blank": " "}

// keysOf are the keys of one of the types above.
func keysOf(v any) (keys []string) {
	t := reflect.TypeOf(v)
	for i := range t.NumField() {
		name, _, _ := strings.Cut(t.Field(i).Tag.Get("toml"), ",")
		keys = append(keys, name)
	}
	return keys
}

// knownAt are the keys that may stand beside the last one of a path.
func knownAt(path []string) (keys []string, where string) {
	switch {
	case len(path) <= 1:
		return keysOf(document{}), "at the top of the file"
	case path[0] != "profile" || len(path) == 2:
		return nil, ""
	case len(path) == 3:
		return keysOf(entry{}), "in a profile"
	case path[2] == "calibration" && len(path) == 4:
		return keysOf(curve{}), "in a calibration"
	case path[2] == "calibration":
		return keysOf(spot{}), "in a point"
	}
	return nil, ""
}

// reader finds where in the file a key stands.
type reader struct {
	file  string
	where map[string][2]int // path, parted by NUL, to line and column
	paths [][]string        // in the order of the file
}

func key(path ...string) string { return strings.Join(path, "\x00") }

// locate notes where each key stands.
func (r *reader) locate(data []byte) error {
	r.where = map[string][2]int{}
	var p unstable.Parser
	p.Reset(data)
	var table []string
	// names are the parts of a key under from; each is noted where it stands.
	names := func(n *unstable.Node, from []string) []string {
		path := append([]string(nil), from...)
		for it := n.Key(); it.Next(); {
			path = append(path, string(it.Node().Data))
			if k := key(path...); r.where[k] == [2]int{} {
				at := p.Shape(it.Node().Raw).Start
				r.where[k] = [2]int{at.Line, at.Column}
				r.paths = append(r.paths, path[:len(path):len(path)])
			}
		}
		return path
	}
	var values func(n *unstable.Node, from []string, depth int)
	values = func(n *unstable.Node, from []string, depth int) {
		if depth > 50 {
			return // deeper than any key of ours
		}
		path := names(n, from)
		switch v := n.Value(); {
		case v == nil:
		case v.Kind == unstable.InlineTable:
			for it := v.Children(); it.Next(); {
				values(it.Node(), path, depth+1)
			}
		case v.Kind == unstable.Array:
			for el := v.Children(); el.Next(); {
				if el.Node().Kind == unstable.InlineTable {
					for it := el.Node().Children(); it.Next(); {
						values(it.Node(), path, depth+1)
					}
				}
			}
		}
	}
	for p.NextExpression() {
		switch n := p.Expression(); n.Kind {
		case unstable.Table, unstable.ArrayTable:
			table = names(n, nil)
		case unstable.KeyValue:
			values(n, table, 0)
		}
	}
	return p.Error()
}

// fail makes an error at a key, or at the nearest key above it that is there.
func (r *reader) fail(hint, msg string, path ...string) error {
	e := &Error{File: r.file, Msg: msg, Hint: hint}
	for i := len(path); i > 0; i-- {
		if at, ok := r.where[key(path[:i]...)]; ok {
			e.Line, e.Column = at[0], at[1]
			break
		}
	}
	return e
}

// Parse reads a profile file; file stands for it in messages. Errors are of
// type *[Error].
func Parse(file string, data []byte) (*Set, error) {
	r := &reader{file: file}
	if len(data) > maxSize {
		return nil, &Error{File: file, Msg: fmt.Sprintf("longer than %d KiB, which no file of profiles is", maxSize>>10), Hint: "look what it is, and move it away"}
	}
	if err := r.shallow(data); err != nil {
		return nil, err
	}
	var doc document
	if err := toml.NewDecoder(bytes.NewReader(data)).DisallowUnknownFields().Decode(&doc); err != nil {
		return nil, r.explain(err, data)
	}
	if err := r.locate(data); err != nil {
		return nil, &Error{File: file, Msg: err.Error()}
	}
	s := &Set{Default: doc.Default, text: bytes.Clone(data)}
	for _, path := range r.paths {
		if len(path) != 2 || path[0] != "profile" {
			continue
		}
		name := path[1]
		p, err := r.profile(name, doc.Profile[name])
		if err != nil {
			return nil, err
		}
		s.Profiles = append(s.Profiles, p)
	}
	if s.Default != "" && s.Get(s.Default) == nil {
		hint := "name one of: " + strings.Join(s.Names(), ", ")
		if len(s.Profiles) == 0 {
			hint = "there are no profiles: take the line out, or make one with `ebbline calibrate`"
		}
		return nil, r.fail(hint, fmt.Sprintf("default: there is no profile %q", s.Default), "default")
	}
	return s, nil
}

// shallow refuses keys and brackets that go deeper than any file of profiles,
// before the library spends its time and memory on them.
func (r *reader) shallow(data []byte) error {
	depth := 0
	for n, line := range bytes.Split(data, []byte("\n")) {
		dots, quote := 0, byte(0)
		for i := 0; i < len(line) && (quote != 0 || line[i] != '#'); i++ {
			switch c := line[i]; {
			case quote == '"' && c == '\\':
				i++
			case quote != 0:
				if c == quote {
					quote = 0
				}
			case c == '"' || c == '\'':
				quote = c
			case c == '.':
				dots++
			case c == '[' || c == '{':
				depth++
			case c == ']' || c == '}':
				depth--
			}
			if dots > maxParts || depth > maxDepth {
				return &Error{File: r.file, Line: n + 1, Column: i + 1, Msg: "keys or brackets go deeper here than in any file of profiles", Hint: "look what it is, and move it away"}
			}
		}
	}
	return nil
}

// explain puts an error of the TOML library into our words.
func (r *reader) explain(err error, data []byte) error {
	var strict *toml.StrictMissingError
	if errors.As(err, &strict) && len(strict.Errors) > 0 {
		first := strict.Errors[0]
		path := []string(first.Key())
		e := &Error{File: r.file, Msg: fmt.Sprintf("unknown key %q", strings.Join(path, "."))}
		e.Line, e.Column = first.Position()
		if r.locate(data) == nil { // the library leaves out some parts of the path
			for _, full := range r.paths {
				if r.where[key(full...)] == [2]int{e.Line, e.Column} {
					path = full
				}
			}
		}
		if len(path) > 0 {
			word := path[len(path)-1]
			known, where := knownAt(path)
			if near := Nearest(word, known); near != "" {
				e.Msg, e.Hint = fmt.Sprintf("unknown key %q", word), fmt.Sprintf("did you mean %s?", near)
			} else if len(known) > 0 {
				e.Msg, e.Hint = fmt.Sprintf("unknown key %q", word), "known "+where+": "+strings.Join(known, ", ")
			}
		}
		return e
	}
	e := &Error{File: r.file, Msg: strings.TrimPrefix(err.Error(), "toml: "), Hint: "text stands in quotes, numbers do not; one key = value on each line"}
	var de *toml.DecodeError
	if errors.As(err, &de) {
		e.Line, e.Column = de.Position()
		// The library names the types of the program, which tell a person nothing.
		if k := de.Key(); len(k) > 0 && (strings.Contains(e.Msg, "cannot decode") || strings.Contains(e.Msg, "cannot store") || strings.Contains(e.Msg, "incompatible")) {
			e.Msg = fmt.Sprintf("%s: this kind of value does not belong here", k[len(k)-1])
			e.Hint = "quantities are text with a unit, in quotes: full_scale = \"30psi\"; baud and bits are whole numbers without quotes"
		}
	}
	return e
}

// profile turns an entry into a Profile.
func (r *reader) profile(name string, e entry) (*Profile, error) {
	p := &Profile{Name: name, Sensor: e.Sensor, Port: e.Port, Unit: e.Unit}
	p.Lines = wire.Options{Header: e.Columns, Value: e.Value, TimeUnit: e.TimeUnit}
	bad := func(hint, k string, err error) error {
		return r.fail(hint, k+": "+err.Error(), "profile", name, k)
	}
	if err := checkName(name); err != nil {
		return nil, r.fail("letters, digits, spaces and - _ . make a name", err.Error(), "profile", name)
	}
	for k, text := range map[string]string{"sensor": e.Sensor, "port": e.Port, "columns": e.Columns, "value": e.Value} {
		if strings.ContainsAny(text, "\r\n\x00") {
			return nil, r.fail("write it on one line", k+": the text has a line end in it", "profile", name, k)
		}
	}
	if e.Baud != 0 {
		if e.Baud < 50 || e.Baud > 20e6 {
			return nil, r.fail("usual are 9600 and 115200", fmt.Sprintf("baud: %d is no baud rate", e.Baud), "profile", name, "baud")
		}
		p.Baud = int(e.Baud)
	}
	if e.Unit != "" {
		u, ref, ok := wire.ParseUnit(e.Unit)
		if !ok {
			return nil, r.fail("known are psi, bar, mbar, hPa, kPa, Pa, inHg, kgf/cm2, V, mV and counts", fmt.Sprintf("unit: %.30q is not a unit known here", e.Unit), "profile", name, "unit")
		}
		if ref != "" && ref != e.Reads {
			return nil, r.fail(fmt.Sprintf("add reads = %q, or leave the word out of the unit", ref), fmt.Sprintf("unit: %.30q says %s, and reads does not", e.Unit, ref), "profile", name, "unit")
		}
		p.Unit = u
		if pu, err := decay.ParsePressureUnit(u); err == nil {
			p.In = pu
		}
	}
	var ok bool
	if p.Lines.Delim, ok = delimiters[e.Delimiter]; !ok {
		return nil, r.fail(`write delimiter = "comma", "semicolon", "tab" or "blank"`, fmt.Sprintf("delimiter: %.30q parts no cells", e.Delimiter), "profile", name, "delimiter")
	}
	switch e.Decimal {
	case "":
	case "comma":
		p.Lines.DecimalComma = true
	case "point":
		p.Lines.DecimalPoint = true
	default:
		return nil, r.fail(`write decimal = "comma" or decimal = "point"`, fmt.Sprintf("decimal: %.30q is no decimal mark", e.Decimal), "profile", name, "decimal")
	}
	for _, x := range []struct {
		key string
		opt wire.Options
	}{{"columns", wire.Options{Header: e.Columns}}, {"value", wire.Options{Value: e.Value}}, {"time_unit", wire.Options{TimeUnit: e.TimeUnit}}} {
		if err := x.opt.Validate(); err != nil {
			return nil, bad(`for example columns = "time_ms,counts", time_unit = "ms"`, x.key, err)
		}
	}
	if err := p.Lines.Validate(); err != nil {
		return nil, r.fail("see the README for what can be said of a board's lines", err.Error(), "profile", name)
	}
	if e.Modbus != "" {
		m, err := wire.ParseModbusMap(e.Modbus)
		if err != nil {
			return nil, bad(`for example modbus = "address=1 function=4 register=0 type=float32 unit=bar"`, "modbus", err)
		}
		p.Modbus = &m
	}
	switch e.Reads {
	case "":
	case "gauge", "absolute":
		p.ReadsStated = true
		if e.Reads == "absolute" {
			p.Reads = decay.ReadsAbsolute
		}
	default:
		return nil, r.fail(`write reads = "gauge" or reads = "absolute"`, fmt.Sprintf("reads: %.30q is neither gauge nor absolute", e.Reads), "profile", name, "reads")
	}
	if p.Modbus != nil && p.Modbus.Reference != "" {
		if p.Modbus.Reference != e.Reads {
			return nil, r.fail(fmt.Sprintf("write reads = %q, or leave reference out of the map", p.Modbus.Reference), fmt.Sprintf("modbus: the map says %s, and reads does not", p.Modbus.Reference), "profile", name, "modbus")
		}
	}
	var err error
	if e.FullScale != "" {
		if p.FullScale, err = pascals(e.FullScale, p.Reads); err == nil && !(p.FullScale > 0) {
			err = fmt.Errorf("%q is not above zero", e.FullScale)
		}
		if err != nil {
			return nil, bad(`for example full_scale = "30psi"`, "full_scale", err)
		}
		if p.In.Pascal == 0 {
			p.In = unitIn(e.FullScale)
		}
	}
	for _, x := range []struct {
		key, text string
		to        *float64
	}{{"zero_tolerance", e.ZeroTolerance, &p.ZeroTolerance}, {"span_tolerance", e.SpanTolerance, &p.SpanTolerance}} {
		if x.text == "" {
			continue
		}
		if *x.to, err = decay.ParseRelative(x.text); err != nil {
			return nil, bad("write a percentage: "+x.key+` = "1%"`, x.key, err)
		}
	}
	if p.ZeroTolerance > 0 && p.FullScale == 0 {
		return nil, r.fail(`add full_scale = "30psi"`, "zero_tolerance: it is a share of the full scale, which is not stated", "profile", name, "zero_tolerance")
	}
	if e.Noise != "" {
		var g decay.Gauge
		if g, err = decay.ParseGauge(e.Noise); err == nil && !(g >= 0) {
			err = fmt.Errorf("%q is below zero", e.Noise)
		}
		if p.Noise = float64(g); err != nil {
			return nil, bad(`for example noise = "0.02psi"`, "noise", err)
		}
	}
	if e.Ceiling != "" {
		if p.Ceiling, err = decay.ParseGauge(e.Ceiling); err == nil && (p.Ceiling < 1*decay.Kilopascal || p.Ceiling > 10*decay.Bar) {
			err = fmt.Errorf("%s is no charge pressure", e.Ceiling)
		}
		if err != nil {
			return nil, bad(`for example ceiling = "30psi"`, "ceiling", err)
		}
	}
	if e.Volume != "" {
		if p.Volume, p.VolumeTolerance, err = decay.ParseVolume(e.Volume); err != nil {
			return nil, bad(`for example volume = "10L±3%"`, "volume", err)
		}
	}
	if e.Limit != "" {
		if p.Limit, err = decay.ParseLength(e.Limit); err == nil && (p.Limit < 0.001*decay.Millimetre || p.Limit > 100*decay.Millimetre) {
			err = fmt.Errorf("%s is no leak's size", e.Limit)
		}
		if err != nil {
			return nil, bad(`for example limit = "0.5mm"`, "limit", err)
		}
	}
	if e.Calibration != nil {
		if err := r.calibration(p, *e.Calibration); err != nil {
			return nil, err
		}
	}
	return p, nil
}

// calibration reads the curve of a profile.
func (r *reader) calibration(p *Profile, k curve) error {
	c := &calib.Calibration{Reads: p.Reads, Bits: int(k.Bits), Divider: k.Divider}
	bad := func(hint, msg string, path ...string) error {
		return r.fail(hint, "calibration: "+msg, append([]string{"profile", p.Name, "calibration"}, path...)...)
	}
	var err error
	if c.Kind, err = calib.ParseKind(k.Kind); err != nil {
		return bad(`write kind = "ratiometric", "volts" or "counts"`, "kind: "+err.Error(), "kind")
	}
	if k.Bits < 0 || k.Bits > 32 {
		return bad("usual are 10 and 12", fmt.Sprintf("bits: %d is no number of bits of a converter", k.Bits), "bits")
	}
	point := func(s spot, what string) (q calib.Point, err error) {
		hint := fmt.Sprintf(`for example %s = { signal = "%s", pressure = "0psi" }`, what, map[bool]string{true: "102 counts", false: "0.5V"}[c.Kind == calib.Counts])
		if q.Signal, err = c.Kind.ParseSignal(s.Signal); err != nil {
			return q, bad(hint, what+": "+err.Error(), what, "signal")
		}
		if q.Pressure, err = pascals(s.Pressure, p.Reads); err != nil {
			return q, bad(hint, what+": "+err.Error(), what, "pressure")
		}
		if p.In.Pascal == 0 {
			p.In = unitIn(s.Pressure)
		}
		return q, nil
	}
	if c.Low, err = point(k.Low, "low"); err != nil {
		return err
	}
	if c.High, err = point(k.High, "high"); err != nil {
		return err
	}
	for _, s := range k.Points {
		q, err := point(s, "points")
		if err != nil {
			return err
		}
		p.Points = append(p.Points, q)
	}
	for _, x := range []struct {
		key, text string
		to        *float64
	}{{"zero", k.Zero, &c.Zero}, {"zero_scale", k.ZeroScale, &c.Bottom}} {
		if x.text == "" {
			continue
		}
		reads := p.Reads
		if x.key == "zero" {
			reads = decay.ReadsGauge // a difference
		}
		if *x.to, err = pascals(x.text, reads); err != nil {
			return bad("for example "+x.key+` = "0.1psi"`, x.key+": "+err.Error(), x.key)
		}
	}
	if k.Supply != "" {
		if c.Supply, err = calib.ParseVolts(k.Supply); err != nil {
			return bad(`for example supply = "5V"`, "supply: "+err.Error(), "supply")
		}
	} else if c.Kind == calib.Ratiometric {
		c.Supply = 5
	}
	if k.Reference != "" && k.Reference != "supply" {
		if c.Reference, err = calib.ParseVolts(k.Reference); err == nil && !(c.Reference > 0) {
			err = fmt.Errorf("%q is not above zero", k.Reference)
		}
		if err != nil {
			return bad(`for example reference = "3.3V", or "supply" when the converter measures against the transducer's supply`, "reference: "+err.Error(), "reference")
		}
	}
	switch {
	case p.FullScale > c.Bottom:
		c.Top = p.FullScale
	case p.FullScale > 0:
		return bad("zero_scale is the pressure at the lower end of the range", "zero_scale is not below full_scale", "zero_scale")
	default:
		c.Bottom = 0
	}
	if k.Date != "" {
		if p.Calibrated, err = time.Parse(time.DateOnly, k.Date); err != nil {
			return bad(`write year, month, day: date = "2026-11-25"`, fmt.Sprintf("date: %.30q is no date", k.Date), "date")
		}
	}
	if err := c.Check(); err != nil {
		return bad("make it anew with `ebbline calibrate --profile "+p.Name+"`", err.Error())
	}
	p.Calibration = c
	return nil
}

// pascals reads a pressure of a transducer that reads as said. A text that
// says the other reference is refused.
func pascals(text string, reads decay.Reference) (float64, error) {
	g, err := decay.ParseGauge(text)
	if reads == decay.ReadsGauge {
		return float64(g), err
	}
	p, absErr := decay.ParsePressure(text)
	if absErr == nil {
		return float64(p), nil
	}
	// Zero and below are no ambient but may end a transducer's line.
	unit := strings.TrimLeft(strings.TrimSpace(text), "+-0123456789., ")
	if _, unitErr := decay.ParsePressure("1" + unit); err == nil && unitErr == nil {
		return float64(g), nil
	}
	return 0, absErr
}

// unitIn is the unit a pressure was written in.
func unitIn(text string) decay.PressureUnit {
	word, _, _ := strings.Cut(strings.TrimLeft(strings.TrimSpace(text), "+-0123456789.,eE "), " ")
	u, _, _ := wire.ParseUnit(word)
	pu, _ := decay.ParsePressureUnit(u)
	return pu
}
