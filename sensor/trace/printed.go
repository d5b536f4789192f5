package trace

import (
	"errors"
	"strings"

	"ebbline/sensor/calib"
	"ebbline/sensor/wire"
)

// printed reads lines as a board prints them, each with the board's own time.
func (f *file) printed() (Trace, error) {
	d := wire.NewLineDecoder(f.lineOptions())
	learn(d, func(line func(string, bool)) {
		for l, n := f.lines, 0; n < learnLines; n++ {
			text, ok := l.next()
			if !ok {
				return
			}
			line(string(text[:min(len(text), maxLine)]), len(text) > maxLine)
		}
	})
	unit, ref := "", ""
	for {
		line, ok := f.next()
		if !ok || len(f.values) > maxRows {
			break
		}
		if len(line) > maxLine {
			f.badRow(f.no, tooLongRow)
			continue
		}
		got, err := d.Decode(string(line))
		switch {
		case errors.Is(err, wire.ErrSkip):
			continue
		case err != nil:
			f.badRow(f.no, err.Error())
			continue
		case !got.HasTime:
			f.badRow(f.no, "there is no time")
			continue
		}
		if err := f.sameUnit(&unit, &ref, &got, f.no); err != nil {
			return Trace{}, err
		}
		f.raw, f.values = append(f.raw, got.Time), append(f.values, got.Value)
	}
	if len(f.values) == 0 {
		return Trace{}, f.fail(f.badLine, "each line needs a time and a pressure with their names", "none of the %d lines could be read; in the first, %s", f.bad, f.badWhy)
	}
	return f.finish(unit, ref, 1)
}

// learnLines is how many lines are looked at, at most, to learn the format.
const learnLines = 64

// learn shows the first lines to the decoder up to one with a time, so that
// no reading is lost to guessing.
func learn(d *wire.LineDecoder, each func(line func(text string, tooLong bool))) {
	n, done := 0, false
	each(func(text string, tooLong bool) {
		if n++; done || tooLong || n > learnLines {
			return
		}
		got, err := d.Decode(text)
		done = err == nil && got.HasTime
	})
	d.Rewind()
}

// sameUnit holds the readings of one file to one unit, and makes pressures of
// volts and counts.
func (f *file) sameUnit(unit, ref *string, got *wire.Fields, line int) error {
	switch {
	case got.Unit == "":
		return f.fail(line, f.noUnitHint(), "the unit of the reading is not stated")
	case calib.IsRaw(got.Unit) && f.opt.Calibration == nil:
		return f.fail(line, uncalibratedHint, "the reading is in %s and no calibration is at hand", got.Unit)
	case calib.IsRaw(got.Unit):
		v, err := f.calibrated(calib.Raw{Value: got.Value, Unit: got.Unit, HasSupply: got.HasSupply, Supply: got.Supply})
		if err != nil {
			return f.fail(line, uncalibratedHint, "%v", err)
		}
		got.Value, got.Unit, got.Reference = v, calibratedUnit, f.opt.Calibration.Reads.String()
	}
	if *unit == "" {
		*unit, *ref = got.Unit, got.Reference
	}
	if got.Unit != *unit || got.Reference != *ref {
		return f.fail(line, "cut the file where the unit changes", "the reading is in %s, the ones before in %s", strings.TrimSpace(got.Unit+" "+got.Reference), strings.TrimSpace(*unit+" "+*ref))
	}
	return nil
}
