package sensor

import "time"

// FaultState says whether a fault lasts.
type FaultState int

// The states. The zero value is Moment.
const (
	Moment FaultState = iota // it happened, and is told once
	Begins                   // it lasts until a Fault of the same code Ends
	Ends
)

func (s FaultState) String() string {
	switch s {
	case Begins:
		return "begins"
	case Ends:
		return "ends"
	}
	return "once"
}

// A Fault is something wrong with the stream of readings that did not end it.
type Fault struct {
	At    time.Duration
	Code  string // steady, for programs: one of the Fault constants
	State FaultState
	Text  string // what is wrong, where
	Hint  string // what to do
}

// Codes of faults.
const (
	FaultSilent       = "silent"            // no reading comes
	FaultUnplugged    = "unplugged"         // the port went away
	FaultReplugged    = "replugged"         // and is back, perhaps under another name
	FaultReaderFailed = "reader-failed"     // a defect of this program: no readings
	FaultBadLine      = "bad-line"          // a line that makes no reading
	FaultHalfLines    = "half-lines"        // many lines with parts missing
	FaultBinaryNoise  = "binary-noise"      // bytes that are no text among good lines
	FaultWrongBaud    = "wrong-baud"        // nothing but bytes that are no text
	FaultBadFrame     = "bad-frame"         // an answer of a Modbus transmitter that makes no reading
	FaultRefused      = "refused"           // a Modbus transmitter answers with an exception
	FaultBoardReset   = "board-reset"       // the board started anew
	FaultStuck        = "stuck"             // one value, where noise was seen before
	FaultRailHigh     = "rail-high"         // far above full scale: the signal touches the supply
	FaultRailLow      = "rail-low"          // one value at or below zero scale: the signal touches ground
	FaultSag          = "supply-sag"        // all values fell by a share at one moment
	FaultSupplyLow    = "supply-low"        // the supply fell, and readings are corrected by it
	FaultNoisy        = "noisy"             // far more noise than stated or than earlier
	FaultUnitJump     = "unit-jump"         // values changed by the ratio of two units
	FaultReference    = "gauge-or-absolute" // a gauge sensor where an absolute one was stated, or the reverse
)

// faultKind is what a code means to a person and to a test.
type faultKind struct {
	name  string
	lost  bool // no readings come
	doubt bool // readings come, and are no pressure of the duct
}

var faultKinds = map[string]faultKind{
	FaultSilent:       {name: "silent", lost: true},
	FaultUnplugged:    {name: "unplugged", lost: true},
	FaultReplugged:    {name: "plugged in again"},
	FaultReaderFailed: {name: "reader failed", lost: true},
	FaultBadLine:      {name: "unreadable line"},
	FaultHalfLines:    {name: "half lines"},
	FaultBinaryNoise:  {name: "noise on the line"},
	FaultWrongBaud:    {name: "wrong baud rate", lost: true},
	FaultBadFrame:     {name: "damaged answer"},
	FaultRefused:      {name: "transmitter refuses", lost: true},
	FaultBoardReset:   {name: "board reset"},
	FaultStuck:        {name: "stuck value", doubt: true},
	FaultSaturated:    {name: "top of the range", doubt: true},
	FaultOpenCircuit:  {name: "open circuit", doubt: true},
	FaultUncalibrated: {name: "no calibration", lost: true},
	FaultRailHigh:     {name: "signal at supply", doubt: true},
	FaultRailLow:      {name: "signal at ground", doubt: true},
	FaultSag:          {name: "supply sag", doubt: true},
	FaultSupplyLow:    {name: "low supply"},
	FaultNoisy:        {name: "noisy signal"},
	FaultUnitJump:     {name: "unit changed", doubt: true},
	FaultReference:    {name: "gauge or absolute", doubt: true},
}

// Name is the fault's name in plain words, for a screen.
func (f Fault) Name() string {
	if k, ok := faultKinds[f.Code]; ok {
		return k.name
	}
	return f.Code
}

// Lost reports whether no readings come while the fault lasts.
func (f Fault) Lost() bool { return faultKinds[f.Code].lost }

// Doubt reports whether readings that come while the fault lasts are not to be
// taken for the duct's pressure.
func (f Fault) Doubt() bool { return faultKinds[f.Code].doubt }
