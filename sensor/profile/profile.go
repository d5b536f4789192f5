// Package profile keeps what is known of a shop's transducers: which port and
// line format, which calibration, which ceiling, volume and limit. All profiles
// live in one TOML file that a person can read and edit; the program changes
// only the profile it was asked to and leaves every other byte alone.
package profile

import (
	"fmt"
	"time"

	"ebbline/decay"
	"ebbline/sensor/calib"
	"ebbline/sensor/wire"
)

// Profile is one transducer and how it is used. Zero values mean "not stated".
type Profile struct {
	Name   string
	Sensor string // what it is, in the owner's words

	Port   string
	Baud   int
	Unit   string          // of values whose line names none: psi, kPa, V, mV, counts, …
	Lines  wire.Options    // the form of the board's lines; its Unit and Reference stay empty
	Modbus *wire.ModbusMap // of a transmitter that is polled; nil: a board that prints lines

	Reads         decay.Reference
	ReadsStated   bool
	FullScale     float64 // Pa, in the transducer's own reference
	ZeroTolerance float64 // share of full scale
	SpanTolerance float64 // relative
	Noise         float64 // Pa, standard deviation of one reading

	Ceiling         decay.Gauge
	Volume          decay.Volume
	VolumeTolerance float64
	Limit           decay.Length

	Calibration *calib.Calibration // nil: the board sends pressures
	Calibrated  time.Time          // day of the calibration
	Points      []calib.Point      // the calibration was made from, as measured

	In decay.PressureUnit // pressures are written in; zero: kPa
}

// Set is the content of a profile file.
type Set struct {
	Default  string // name of the profile used when none is named; "" none
	Profiles []*Profile

	text []byte
}

// Get returns a profile by name, nil when there is none.
func (s *Set) Get(name string) *Profile {
	for _, p := range s.Profiles {
		if p.Name == name {
			return p
		}
	}
	return nil
}

// Names are the names of the profiles, in the order of the file.
func (s *Set) Names() []string {
	var out []string
	for _, p := range s.Profiles {
		out = append(out, p.Name)
	}
	return out
}

// Nearest is the name among known that is most like word; "" when none is.
func Nearest(word string, known []string) string {
	best, at := "", 1+max(2, len(word)/3)
	for _, k := range known {
		if d := distance(word, k); d < at {
			best, at = k, d
		}
	}
	return best
}

// distance is how many letters have to be changed, added or left out to make
// a of b (Levenshtein 1966).
func distance(a, b string) int {
	x, y := []rune(a), []rune(b)
	if len(x) > 100 || len(y) > 100 {
		return 100
	}
	row := make([]int, len(y)+1)
	for j := range row {
		row[j] = j
	}
	for i := range x {
		diagonal := row[0]
		row[0] = i + 1
		for j := range y {
			change := diagonal
			if x[i] != y[j] {
				change++
			}
			diagonal = row[j+1]
			row[j+1] = min(change, row[j]+1, row[j+1]+1)
		}
	}
	return row[len(y)]
}

// Error says where a profile file is wrong, and what to do.
type Error struct {
	File         string
	Line, Column int // from 1; 0: the file as a whole
	Msg, Hint    string
}

func (e *Error) Error() string {
	if e.Line > 0 {
		return fmt.Sprintf("%s:%d:%d: %s", e.File, e.Line, e.Column, e.Msg)
	}
	return e.File + ": " + e.Msg
}

// Setup lays what the profile says over base.
func (p *Profile) Setup(base decay.Setup) decay.Setup {
	s := base
	if p.ReadsStated {
		s.Reads = p.Reads
	}
	if p.FullScale > 0 {
		s.FullScale = p.FullScale
	}
	if p.ZeroTolerance > 0 {
		s.ZeroTolerance = p.ZeroTolerance
	}
	if p.SpanTolerance > 0 {
		s.SpanTolerance = p.SpanTolerance
	}
	if p.Ceiling > 0 {
		s.Ceiling = p.Ceiling
	}
	if p.Volume > 0 {
		s.Volume, s.VolumeTolerance = p.Volume, p.VolumeTolerance
	}
	if p.Limit > 0 {
		s.Limit = p.Limit
	}
	return s
}
