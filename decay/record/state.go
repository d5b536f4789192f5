package record

import (
	"errors"
	"io/fs"
)

// State is what a file in a folder of records turned out to be. The zero value
// is StateWhole.
type State int

// The states, from the best to the worst.
const (
	StateWhole      State = iota // as it was written
	StateNoDigest                // of version 1: whether it was changed cannot be told
	StateRunning                 // its end is still to come: the test runs, for the file was written a moment ago
	StateTorn                    // its end is missing: the test was cut short
	StateChanged                 // its digest differs: it was changed after it was written
	StateDamaged                 // a line makes no sense
	StateNewer                   // a later program wrote it
	StateForeign                 // no record at all
	StateUnreadable              // the file could not be read
)

func (s State) String() string {
	return [...]string{"whole", "no digest", "running", "torn", "changed", "damaged", "newer", "foreign", "unreadable"}[s]
}

// StateOf names what was read of a file, or the error in its place.
func StateOf(r Record, err error) State {
	var path *fs.PathError
	switch {
	case errors.Is(err, ErrForeign):
		return StateForeign
	case errors.Is(err, ErrNewer):
		return StateNewer
	case errors.As(err, &path):
		return StateUnreadable
	case err != nil:
		return StateDamaged
	case r.Torn && r.Growing:
		return StateRunning
	case r.Torn:
		return StateTorn
	case r.Digest == DigestDiffers:
		return StateChanged
	case r.Digest == NoDigest:
		return StateNoDigest
	}
	return StateWhole
}
