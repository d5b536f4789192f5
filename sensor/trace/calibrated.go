package trace

import (
	"ebbline/decay"
	"ebbline/sensor/calib"
	"ebbline/sensor/wire"
)

// calibratedUnit is the unit of pressures made of volts or counts.
const calibratedUnit = "kPa"

const uncalibratedHint = "name the profile of the transducer with --profile; `ebbline calibrate` makes one"

// calibrated makes a pressure of a signal, and counts those outside the range.
func (f *file) calibrated(raw calib.Raw) (float64, error) {
	r, err := f.opt.Calibration.Read(raw)
	if err != nil {
		return 0, err
	}
	f.made = true
	if r.Range != calib.Within {
		if f.rails == nil {
			f.rails = map[calib.Range]int{}
		}
		f.rails[r.Range]++
	}
	return r.Value / decay.Kilopascal, nil
}

// flagRails tells that readings were made of a signal, and which of them are
// outside the transducer's range.
func (f *file) flagRails(tr *Trace) {
	tr.Calibrated = f.made
	if n := f.rails[calib.OpenCircuit]; n > 0 {
		tr.Flags = append(tr.Flags, decay.FlagOpenCircuit)
		f.warning("open-circuit", "in %d of %d readings the signal is below the transducer's zero: a wire or its supply was off", n, len(f.values))
	}
	if n := f.rails[calib.Saturated]; n > 0 {
		tr.Flags = append(tr.Flags, decay.FlagSaturated)
		f.warning("saturated", "in %d of %d readings the signal is above the transducer's full scale: the pressure was higher than can be told", n, len(f.values))
	}
}

// lineOptions are what is stated about a board's lines.
func (f *file) lineOptions() wire.Options {
	opt := f.opt.Lines
	opt.Unit, opt.Reference = f.opt.Unit, ""
	return opt
}
