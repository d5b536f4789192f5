package sensor

import (
	"errors"
	"fmt"
	"math"
	"time"

	"ebbline/decay"
	"ebbline/sensor/calib"
	"ebbline/sensor/wire"
)

// Codes of the faults that a calibration tells of.
const (
	FaultUncalibrated = "uncalibrated" // volts or counts came, and no calibration is at hand: no readings
	FaultOpenCircuit  = "open-circuit" // the signal is below the transducer's zero scale
	FaultSaturated    = "saturated"    // the signal is above the transducer's full scale
)

// errUncalibrated is why a line of volts or counts makes no reading.
var errUncalibrated = errors.New("no calibration is at hand")

// LineUnit is the unit of values whose line names none: the one stated, else
// the one a calibration is for, else psi.
func (o PortOptions) LineUnit() string {
	if o.Unit != "" {
		return o.Unit
	}
	return assumedUnit(o.Calibration)
}

// assumedUnit is the unit of values whose line names none and nobody said.
func assumedUnit(c *calib.Calibration) string {
	switch {
	case c == nil:
		return "psi"
	case c.Kind == calib.Counts || c.Bits > 0:
		return "counts"
	}
	return "V"
}

// signalState is what is known of a transducer's volts or counts.
type signalState struct {
	raw  bool   // the latest line had volts or counts
	unit string // of the latest line
	rng  calib.Range
	seen bool // a line has come
	like bool // the first value named no unit and looked like counts

	lasts string        // code of the fault that lasts
	since time.Duration // when it was last seen
}

// fineFor is how long a signal has to be well before its fault ends, so that
// one at the edge does not begin and end with each reading.
const fineFor = time.Second

// note takes the unit of a line, and reports whether it is one of a signal.
func (s *signalState) note(unit string) bool {
	s.seen, s.unit, s.raw = true, unit, calib.IsRaw(unit)
	return s.raw
}

// noDuct is more psi than any duct of ours stands at when a port is opened; ten
// bits of the usual transducer read 102 there, and twelve 410.
const noDuct = 60

// likeCounts reports whether values that name no unit look like a converter's
// counts: the first of them was a whole number that as psi would burst the
// hose.
func (s *signalState) likeCounts(v float64) bool {
	if !s.seen {
		s.like = v >= noDuct && v == math.Trunc(v)
	}
	return s.like
}

// pressure turns the volts or counts of a line into an absolute pressure.
func (s *signalState) pressure(opt PortOptions, f wire.Fields, unit string) (decay.Pressure, error) {
	if opt.Calibration == nil {
		return 0, errUncalibrated
	}
	r, err := opt.Calibration.Read(rawOf(f, unit))
	if err != nil {
		return 0, err
	}
	s.rng = r.Range
	return r.Pressure(opt.Ambient), nil
}

// rawOf is what a calibration takes from a line.
func rawOf(f wire.Fields, unit string) calib.Raw {
	return calib.Raw{Value: f.Value, Unit: unit, HasSupply: f.HasSupply, Supply: f.Supply}
}

// faults returns what began or ended with a line that made a reading, or err.
func (s *signalState) faults(at time.Duration, port string, err error) (out []Item) {
	f := Fault{At: at, State: Begins}
	switch {
	case errors.Is(err, errUncalibrated):
		f.Code = FaultUncalibrated
		f.Text = fmt.Sprintf("%s sends %s, and no calibration says what pressure that is", port, s.unit)
		f.Hint = "run `ebbline calibrate --port " + port + "`, or name a profile that has a calibration with --profile"
		if s.like {
			f.Text = port + " sends whole numbers without a unit that look like a converter's counts, and no calibration says what pressure they are"
			f.Hint += "; if they are a pressure, say its unit with --unit"
		}
	case err != nil:
		return nil
	case s.raw && s.rng == calib.OpenCircuit:
		f.Code = FaultOpenCircuit
		f.Text = port + ": the signal is below the transducer's zero: a wire is off, or its supply is"
		f.Hint = "check the transducer's three wires: supply, ground, signal"
	case s.raw && s.rng == calib.Saturated:
		f.Code = FaultSaturated
		f.Text = port + ": the signal is above the transducer's full scale: the pressure may be higher than is shown"
		f.Hint = "let air out; if the duct is empty, the signal wire touches the supply"
	}
	over := s.lasts != "" && f.Code != s.lasts && (f.Code != "" || s.lasts == FaultUncalibrated || at-s.since >= fineFor)
	if over {
		out = append(out, Item{Fault: &Fault{At: at, State: Ends, Code: s.lasts, Text: port + ": the signal is in its range again", Hint: "the test goes on"}})
		s.lasts = ""
	}
	if f.Code != "" {
		s.since = at
		if s.lasts == "" {
			s.lasts = f.Code
			out = append(out, Item{Fault: &f})
		}
	}
	return out
}

// waits reports whether a signal came just now that only lacks a calibration:
// the port is not silent then.
func (s *signalState) waits(at time.Duration) bool {
	return s.lasts == FaultUncalibrated && s.since == at
}

// detail says in plain words which calibration is in use.
func (s *signalState) detail(c *calib.Calibration) string {
	switch {
	case !s.seen || c == nil && !s.raw:
		return ""
	case c == nil:
		return "; no calibration"
	case s.raw:
		return "; calibration " + c.Sense(decay.PressureUnit{})
	}
	return "; the board sends a pressure, so the calibration is not used"
}
