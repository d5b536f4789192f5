// Package sensor is where readings come from: it joins a port, a wire format
// and a calibration into a [Source], and knows every way in which that can
// fail.
package sensor

import (
	"context"
	"errors"

	"ebbline/decay"
)

// Reading is one value from a transducer.
type Reading struct {
	decay.Sample        // stamped since the source was opened, absolute pressure
	Raw          string // as received, without the line end
}

// Item is what a source delivers: a reading, or a fault when Fault is set.
type Item struct {
	Reading
	Fault *Fault
	Shut  bool // the supply valve was shut just before the reading: a simulated rig alone knows
}

// ErrClosed is returned by Next after Close.
var ErrClosed = errors.New("sensor: source closed")

// About describes a source to a person.
type About struct {
	Name      string          // port or file or "simulated rig"
	Detail    string          // in plain words: what was detected, and why
	Reads     decay.Reference // gauge or absolute
	FullScale float64         // Pa in its own reference; 0 unknown
	Simulated bool            // the screen says so in plain sight

	Rate  float64 // readings a second, as they come; 0 not known yet
	Clock string  // in plain words: where the times of the readings come from; "" not told
}

// Source delivers readings one at a time. Next blocks until there is an item,
// the context ends, the stream ends (io.EOF) or the source is closed
// (ErrClosed). Close may be called while Next blocks, and more than once.
type Source interface {
	Next(ctx context.Context) (Item, error)
	About() About
	Close() error
}

// Controls are the valves of a simulated rig, for screens that offer them.
type Controls interface {
	Fill()    // open the supply valve
	Isolate() // shut the supply valve
	Release() // open the vent
}
