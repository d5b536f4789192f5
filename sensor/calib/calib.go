// Package calib turns what a transducer's board sends, volts or the counts of
// its converter, into a pressure. It is pure: no port, no file, no clock.
//
// Every transducer here is a straight line from a signal to a pressure. The
// signal is
//
//   - the counts as sent ([Counts]),
//   - the volts of the transducer, worked out from counts, millivolts or volts
//     at a divider ([Volts]), or
//   - the same brought to the nominal supply, for a ratiometric transducer,
//     whose signal is a share of its supply ([Ratiometric]): at a supply U the
//     signal is V·Unominal/U, so a sagging supply that is known does not bend
//     the reading.
//
// A reading outside the transducer's range is given as the line has it and
// flagged ([Range]); it is never clamped.
package calib

import (
	"errors"
	"fmt"
	"math"
	"strings"

	"ebbline/decay"
)

// Kind says what the signal of the line is.
type Kind int

// The kinds.
const (
	Ratiometric Kind = iota + 1
	Volts
	Counts
)

func (k Kind) String() string {
	switch k {
	case Ratiometric:
		return "ratiometric"
	case Volts:
		return "volts"
	case Counts:
		return "counts"
	}
	return "unknown"
}

// ParseKind reads the name of a kind.
func ParseKind(s string) (Kind, error) {
	for _, k := range []Kind{Ratiometric, Volts, Counts} {
		if s == k.String() {
			return k, nil
		}
	}
	return 0, fmt.Errorf("%.40q is not a kind of calibration (known: ratiometric, volts, counts)", s)
}

// SignalUnit is the unit of the line's signal: V or counts.
func (k Kind) SignalUnit() string {
	if k == Counts {
		return "counts"
	}
	return "V"
}

// Raw is what a board sent.
type Raw struct {
	Value     float64
	Unit      string // V, mV or counts
	HasSupply bool
	Supply    float64 // V, of the transducer, measured against a fixed reference
}

// Point is one point of the line.
type Point struct {
	Signal   float64 // V or counts, see [Kind.SignalUnit]
	Pressure float64 // Pa, gauge or absolute as the calibration reads
}

// Calibration is what turns raw values into pressures.
type Calibration struct {
	Kind  Kind
	Reads decay.Reference // of the line's pressures
	Low   Point           // two points of the line, in either order
	High  Point
	Zero  float64 // Pa, what the line shows where the pressure is zero (ambient, for gauge); taken off each reading

	// The transducer's range in pressure, Pa. Equal: not known.
	Bottom, Top float64

	Supply    float64 // V, nominal, of a ratiometric transducer
	Bits      int     // of the converter, 1 to 32; 0: not stated
	Reference float64 // V, at which the converter is full; 0: the supply itself, so that sag cancels
	Divider   float64 // volts of the transducer for one volt at the converter; 0: 1
}

// Range says where a reading lies in the transducer's range.
type Range int

// Where a reading lies. A reading outside is not to be trusted as a pressure.
const (
	Within      Range = iota
	OpenCircuit       // below zero scale: a wire is off, or the supply is
	Saturated         // above full scale: the pressure is higher than the transducer can tell, or the signal wire is on the supply
)

func (r Range) String() string {
	switch r {
	case OpenCircuit:
		return "open-circuit"
	case Saturated:
		return "saturated"
	}
	return "within"
}

// Margins beyond the ends of the range, as shares of its span in signal, in
// which a reading still counts as a zero error and no fault: common practice,
// no source.
const (
	marginBelow = 0.05
	marginAbove = 0.01
	marginRail  = 0.02 // of all counts: a line that has its zero here has no telling rail
)

// Reading is a raw value turned into a pressure.
type Reading struct {
	Value  float64 // Pa, as Reads says; never clamped
	Reads  decay.Reference
	Range  Range
	Signal float64 // as the line takes it, V or counts
}

// Pressure is the absolute pressure of the reading, gauge ones with ambient
// added.
func (r Reading) Pressure(ambient decay.Pressure) decay.Pressure {
	if r.Reads == decay.ReadsAbsolute {
		return decay.Pressure(r.Value)
	}
	return decay.Gauge(r.Value).Absolute(ambient)
}

// IsRaw reports whether a unit is one of a signal and not of a pressure.
func IsRaw(unit string) bool { return unit == "V" || unit == "mV" || unit == "counts" }

// Check reports what keeps c from being a calibration.
func (c *Calibration) Check() error {
	for _, v := range []float64{c.Low.Signal, c.Low.Pressure, c.High.Signal, c.High.Pressure, c.Zero, c.Bottom, c.Top, c.Supply, c.Reference, c.Divider} {
		if math.IsNaN(v) || math.Abs(v) > 1e12 {
			return errors.New("a number is out of range")
		}
	}
	switch {
	case c.Kind < Ratiometric || c.Kind > Counts:
		return errors.New("the kind is not stated (ratiometric, volts or counts)")
	case c.Low.Signal == c.High.Signal:
		return fmt.Errorf("both points of the line have the signal %g %s", c.Low.Signal, c.Kind.SignalUnit())
	case c.Low.Pressure == c.High.Pressure:
		return fmt.Errorf("both points of the line have the same pressure, %g Pa", c.Low.Pressure)
	case c.Kind == Ratiometric && !(c.Supply >= 1 && c.Supply <= 30):
		return fmt.Errorf("the nominal supply of a ratiometric transducer is %g V: 1 to 30 V is wanted", c.Supply)
	case c.Bits < 0 || c.Bits > 32:
		return fmt.Errorf("a converter of %d bits: 1 to 32 is wanted", c.Bits)
	case c.Reference < 0:
		return fmt.Errorf("the converter's reference of %g V is below zero", c.Reference)
	case c.Divider < 0 || c.Divider > 1000 || c.Divider > 0 && c.Divider < 0.001:
		return fmt.Errorf("a divider of %g: write the transducer's volts for one volt at the converter, as 1.5", c.Divider)
	case c.Bottom > c.Top:
		return errors.New("full scale is below zero scale")
	}
	// A line too steep or too flat for float64 gives no pressures.
	if s := c.slope(); math.IsInf(s, 0) || math.IsNaN(s) || s == 0 {
		return errors.New("the two points of the line are too close to give one")
	}
	return nil
}

// slope is in Pa for one unit of signal.
func (c *Calibration) slope() float64 {
	return (c.High.Pressure - c.Low.Pressure) / (c.High.Signal - c.Low.Signal)
}

// line is the pressure at a signal, the zero not yet taken off.
func (c *Calibration) line(signal float64) float64 {
	return c.Low.Pressure + (signal-c.Low.Signal)*c.slope()
}

// At is the pressure at a signal, Pa, with the zero taken off.
func (c *Calibration) At(signal float64) float64 { return c.line(signal) - c.Zero }

// SignalAt is the signal the transducer gives at a pressure in Pa.
func (c *Calibration) SignalAt(pa float64) float64 {
	return c.Low.Signal + (pa+c.Zero-c.Low.Pressure)/c.slope()
}

// Signal brings a raw value to what the line takes, see the package's head. A
// code n of a converter of b bits with reference U is the voltage n·U/2ᵇ.
func (c *Calibration) Signal(r Raw) (float64, error) {
	if math.IsNaN(r.Value) || math.IsInf(r.Value, 0) {
		return 0, errors.New("the value is not a number")
	}
	divider := c.Divider
	if divider == 0 {
		divider = 1
	}
	v := r.Value
	switch {
	case r.Unit == "counts" && c.Kind == Counts:
		return v, nil
	case r.Unit == "counts" && c.Bits == 0:
		return 0, errors.New("the board sends counts, and the calibration does not say of how many bits")
	case r.Unit == "counts" && c.Reference == 0:
		if c.Kind != Ratiometric {
			return 0, errors.New("the board sends counts, and the calibration does not say the converter's reference voltage")
		}
		return v * c.Supply / math.Exp2(float64(c.Bits)) * divider, nil
	case r.Unit == "counts":
		v *= c.Reference / math.Exp2(float64(c.Bits)) * divider
	case r.Unit == "V":
		v *= divider
	case r.Unit == "mV":
		v *= 1e-3 * divider
	default:
		return 0, fmt.Errorf("%.20q is not volts and not counts", r.Unit)
	}
	if c.Kind == Counts {
		return 0, fmt.Errorf("the calibration is for counts, but the board sends %s", r.Unit)
	}
	if c.Kind == Ratiometric && r.HasSupply {
		if !(r.Supply > 0.2*c.Supply && r.Supply < 2*c.Supply) {
			return 0, fmt.Errorf("the board says the supply is %g V, where %g V is nominal: no reading can be made of that", r.Supply, c.Supply)
		}
		v *= c.Supply / r.Supply
	}
	return v, nil
}

// Read turns a raw value into a pressure.
func (c *Calibration) Read(r Raw) (Reading, error) {
	x, err := c.Signal(r)
	if err != nil {
		return Reading{}, err
	}
	return Reading{Value: c.At(x), Reads: c.Reads, Range: c.rangeOf(x, r), Signal: x}, nil
}

// rangeOf says where a signal lies.
func (c *Calibration) rangeOf(x float64, r Raw) Range {
	if c.Top > c.Bottom {
		// The share of the range, by the line alone: a zero error moves the
		// signal and not what a wire can be.
		lo, hi := c.Low.Signal+(c.Bottom-c.Low.Pressure)/c.slope(), c.Low.Signal+(c.Top-c.Low.Pressure)/c.slope()
		switch share := (x - lo) / (hi - lo); {
		case share < -marginBelow:
			return OpenCircuit
		case share > 1+marginAbove:
			return Saturated
		}
	}
	if r.Unit != "counts" || c.Bits == 0 {
		return Within
	}
	// At its ends a converter can only tell that the signal is there or beyond.
	full := math.Exp2(float64(c.Bits))
	zero := c.SignalAt(c.Bottom) / c.perCount(r) / full // where on the converter
	low, high := OpenCircuit, Saturated
	if c.slope() < 0 {
		low, high = Saturated, OpenCircuit
	}
	switch {
	case r.Value <= 0 && !(zero < marginRail && c.slope() > 0):
		return low
	case r.Value >= full-1 && !(zero > 1-marginRail && c.slope() < 0):
		return high
	}
	return Within
}

// perCount is the signal of one count.
func (c *Calibration) perCount(r Raw) float64 {
	if c.Kind == Counts {
		return 1
	}
	one := r
	one.Value = 1
	x, err := c.Signal(one)
	if err != nil || x == 0 {
		return math.NaN()
	}
	return x
}

// SetZero keeps that the transducer sent raw where the true pressure was pa
// (0 for a gauge transducer at ambient). The line stays as it is. It returns
// what the line is off by there, in Pa.
func (c *Calibration) SetZero(signal, pa float64) float64 {
	c.Zero = c.line(signal) - pa
	return c.Zero
}

// FullScale is the pressure at the top of the range, Pa; 0: not known.
func (c *Calibration) FullScale() float64 {
	if c.Top > c.Bottom {
		return c.Top
	}
	return 0
}

// Sense describes the calibration in a few words, for a person who reads
// pressures in a unit; the zero value of it means kPa.
func (c *Calibration) Sense(in decay.PressureUnit) string {
	if in.Pascal == 0 {
		in = decay.PressureUnit{Name: "kPa", Pascal: decay.Kilopascal}
	}
	s := fmt.Sprintf("%s, %.4g %s", c.Kind, c.Low.Signal, c.Kind.SignalUnit())
	pressure := func(pa float64) string { return decay.Gauge(pa).Number(in) + " " + in.Name }
	s += fmt.Sprintf(" at %s to %.4g %s at %s %s", pressure(c.Low.Pressure), c.High.Signal, c.Kind.SignalUnit(), pressure(c.High.Pressure), c.Reads)
	if strings.Trim(decay.Gauge(c.Zero).Number(in), "-0.") != "" {
		s += ", zero " + pressure(c.Zero) + " taken off"
	}
	return s
}

// Preset is the usual transducer: ratiometric, 0.5 V at zero and 4.5 V at full
// scale of a 5 V supply, which is also the converter's reference. fullScale is
// in Pa. Other shares of the supply are had by changing Low and High.
func Preset(reads decay.Reference, fullScale float64) *Calibration {
	return &Calibration{
		Kind: Ratiometric, Reads: reads, Supply: 5,
		Low: Point{0.5, 0}, High: Point{4.5, fullScale}, Top: fullScale,
	}
}
