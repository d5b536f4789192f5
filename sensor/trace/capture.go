package trace

import (
	"bytes"
	"errors"
	"slices"
	"time"

	"ebbline/decay"
	"ebbline/sensor"
	"ebbline/sensor/calib"
	"ebbline/sensor/replay"
	"ebbline/sensor/wire"
)

// capture decodes the bytes of a port as they were written down.
func (f *file) capture() (Trace, error) {
	c, err := replay.ReadCapture(bytes.NewReader(f.data))
	if err != nil {
		return Trace{}, f.fail(0, "captures can be copied anew from where they are kept", "%v", err)
	}
	if err := f.captureHeader(c.Header); err != nil {
		return Trace{}, err
	}
	if slices.ContainsFunc(c.Notes, func(n replay.Note) bool { return n.Code == sensor.FaultUncalibrated }) && !f.unitStated && !calib.IsRaw(f.opt.Unit) {
		f.opt.Unit = "counts" // of lines that name none, as was seen when they came
	}
	if c.Torn {
		f.warning("torn", "the end of the capture is missing; what is whole was read")
	}
	t, err := f.chunks(c.Chunks)
	t.Shown, t.Simulated = knownUnit(c.Header[shownKey]), c.Header["simulated"] == "yes"
	if err == nil && len(c.Notes) > 0 {
		noted, order := judge(c.Notes, time.Duration(t.Start*float64(time.Second))), t.Judge
		t.Judge = func(r decay.Result) decay.Result {
			if order != nil {
				r = order(r)
			}
			return noted(r)
		}
	}
	return t, err
}

// judge says of a result what was noted while it was recorded; the trace
// begins at start.
func judge(notes []replay.Note, start time.Duration) func(decay.Result) decay.Result {
	var faults sensor.Faults
	for _, n := range notes {
		f := sensor.Fault{At: max(0, n.At-start), Code: n.Code, Text: n.Text}
		switch n.State {
		case sensor.Begins.String():
			f.State = sensor.Begins
		case sensor.Ends.String():
			f.State = sensor.Ends
		}
		faults.Take(f)
	}
	return func(r decay.Result) decay.Result { return faults.Judge(r, 0) }
}

// captureHeader takes from the header what the options do not state.
func (f *file) captureHeader(h map[string]string) error {
	if h["unit"] == "" {
		f.fallBack()
	}
	if s, ok := wire.Number(h["cut_before_s"], false); ok && s >= 0 && s < maxStamp {
		f.cutBefore = time.Duration(s * float64(time.Second))
	}
	if f.opt.Unit == "" && h["unit"] != "" {
		u, ref, ok := wire.ParseUnit(h["unit"])
		if !ok {
			return f.fail(0, f.noUnitHint(), "the capture's unit %.30q is not known here", h["unit"])
		}
		f.opt.Unit, f.unitRef = u, ref
	}
	if f.opt.Reads == nil {
		switch reads := decay.ReadsGauge; h["reads"] {
		case "absolute":
			reads = decay.ReadsAbsolute
			f.opt.Reads = &reads
		case "gauge":
			f.opt.Reads = &reads
		}
	}
	if text := h["ambient_pa"]; f.opt.Ambient == 0 && text != "" {
		pa, ok := wire.Number(text, false)
		if !ok || pa <= 0 || pa > 1e6 {
			return f.fail(0, "state the ambient with --ambient", "the capture's ambient %.30q is not a pressure in Pa", text)
		}
		f.opt.Ambient = decay.Pressure(pa)
	}
	if text := h["calibration"]; text != "" && (f.opt.Calibration == nil || f.opt.Yields) {
		c, err := calib.Parse(text)
		if err != nil {
			return f.fail(0, uncalibratedHint, "the capture's calibration cannot be read: %v", err)
		}
		f.opt.Calibration = c
		f.warning("calibration", "volts and counts are read by the calibration that the capture carries: %s", c.Sense(decay.PressureUnit{}))
	}
	if carried := FormOf(h); carried != (wire.Options{}) && (f.opt.Lines == (wire.Options{}) || f.opt.Yields) {
		if err := carried.Validate(); err != nil {
			return f.fail(0, "", "what the capture says of its lines cannot be: %v", err)
		}
		f.opt.Lines = carried
	}
	return nil
}

// Keys of a capture's head that say what was stated about the lines.
var formKeys = []struct {
	key string
	of  func(*wire.Options) *string
}{
	{"columns", func(o *wire.Options) *string { return &o.Header }},
	{"value", func(o *wire.Options) *string { return &o.Value }},
	{"time_unit", func(o *wire.Options) *string { return &o.TimeUnit }},
}

// delimiters are the words for what parts cells, since a head trims blanks.
var delimiters = map[string]string{"comma": ",", "semicolon": ";", "tab": "\t", "blank": " "}

// PutForm writes what was stated about a board's lines into the head of a
// capture, for [FormOf] to read.
func PutForm(h map[string]string, o wire.Options) {
	for _, k := range formKeys {
		if v := *k.of(&o); v != "" {
			h[k.key] = v
		}
	}
	for word, d := range delimiters {
		if o.Delim == d {
			h["delimiter"] = word
		}
	}
	switch {
	case o.DecimalComma:
		h["decimal"] = "comma"
	case o.DecimalPoint:
		h["decimal"] = "point"
	}
}

// FormOf reads what [PutForm] wrote.
func FormOf(h map[string]string) (o wire.Options) {
	for _, k := range formKeys {
		*k.of(&o) = h[k.key]
	}
	o.Delim = delimiters[h["delimiter"]]
	o.DecimalComma, o.DecimalPoint = h["decimal"] == "comma", h["decimal"] == "point"
	return o
}

// chunks decodes what arrived.
func (f *file) chunks(in []replay.Chunk) (Trace, error) {
	form := f.lineOptions()
	form.Unit = ""
	s := wire.NewStream(form)
	var stamps sensor.Stamper // as when the lines came, so that the times are the same
	var slots []sensor.Slot
	var values []float64
	var batch time.Duration // the lines in slots arrived then
	stamp := func() {
		i := 0
		for j, st := range stamps.Batch(batch, slots) {
			if !slots[j].Lost {
				f.stamps = append(f.stamps, int64(st.At))
				f.values = append(f.values, values[i])
				i++
			}
		}
		slots, values = slots[:0], values[:0]
	}
	var unit, ref string
	named := wire.Fields{Unit: f.opt.Unit} // the first line that names a unit
	var early []calib.Raw                  // of the first lines, as long as none has named a unit
	var failed error
	n := 0
	line := func(l wire.Line) {
		n++
		if failed != nil || l.Partial && l.At < f.cutBefore {
			return
		}
		if l.At != batch { // lines held back until they were understood
			stamp()
			batch = l.At
		}
		got, err := l.Fields, l.Err
		switch {
		case errors.Is(err, wire.ErrSkip):
		case err != nil:
			f.badRow(n, err.Error())
			if len(f.values)+len(values) > 0 {
				slots = append(slots, sensor.Slot{Lost: true})
			}
		default:
			if got.Unit == "" && unit == "" {
				early = append(early, calib.Raw{Value: got.Value, HasSupply: got.HasSupply, Supply: got.Supply})
			} else {
				if got.Unit == "" {
					got.Unit = f.opt.Unit
				}
				if unit == "" {
					named = got
				}
				failed = f.sameUnit(&unit, &ref, &got, 0)
			}
			if failed == nil {
				slots = append(slots, sensor.Slot{HasTime: got.HasTime, Board: got.Time})
				values = append(values, got.Value)
			}
		}
	}
	for _, c := range in {
		s.Feed(c.At, c.Data, line)
		stamp()
	}
	s.Flush(false, line)
	stamp()
	// A heading may come again and again, and the first lines before it are what
	// it says as well.
	for i, raw := range early {
		got := wire.Fields{Value: raw.Value, Unit: named.Unit, Reference: named.Reference, HasSupply: raw.HasSupply, Supply: raw.Supply}
		if failed != nil {
			break
		}
		if failed = f.sameUnit(&unit, &ref, &got, 0); failed == nil {
			f.values[i] = got.Value
		}
	}
	// A last line without its end may be cut in the middle of a number, so it is left.
	switch {
	case failed != nil:
		return Trace{}, failed
	case len(f.values) == 0 && f.bad == 0:
		return Trace{}, f.fail(0, "check the cable and the board's program", "the capture holds no readings")
	case len(f.values) == 0:
		return Trace{}, f.fail(0, "check the speed of the port and what the board prints", "none of the %d lines in the capture could be read; in line %d of what arrived, %s", f.bad, f.badLine, f.badWhy)
	}
	f.shared = true
	return f.finish(unit, ref, 1)
}
