// Package record reads and writes the record of one finished test: a text
// file with a version line, "key: value" lines, the readings under a line that
// names their units, and the results marked as derived from them.
package record

import (
	"strings"
	"time"
	"unicode"

	"ebbline/decay"
)

// version is the number on the first line of a record this package writes.
// Version 2 has digests; version 1, which has none, stays readable.
const version = 2

// Magic begins the first line of every record; the version follows it.
const Magic = "ebbline-record "

const (
	samplesLine = "time_s,pressure_kpa_abs"
)

// KeyValue is a line whose key this version does not know.
type KeyValue struct{ Key, Value string }

// Record is one finished test.
type Record struct {
	Label     string    // what was tested, in the words of the person who did
	Source    string    // port, file or simulated rig the readings came from
	When      time.Time // start of the test
	Program   string    // program and version that wrote the record
	Simulated bool      // the readings are a simulation's
	Setup     decay.Setup
	Samples   []decay.Sample
	MeanOf    int          // readings that each of the samples is the mean of, as read of a test of more than ten million; 0: each is a reading
	Marks     []Mark       // made while the test ran
	Result    decay.Result // summary as written; it can be computed again from Setup and Samples
	Extra     []KeyValue   // lines of other versions, kept when the record is written again
	Unended   bool         // the test was ended while there was still pressure: it can be gone on with
	Torn      bool         // the end of the file was missing: what was whole was read
	TornLine  int          // line at which reading stopped, when Torn
	Growing   bool         // said by whoever opened the file: it was written a moment ago
	Digest    Digest       // what its digests said when it was read
	Sum       string       // its SHA-256 when they fit: 64 digits that name this record and no other
}

// Extension ends the name of every record.
const Extension = ".ebbline"

// stamp is the layout of the time a name begins with.
const stamp = "20060102T150405.000000Z"

// Stem is the name of a record of a test begun at when, without the extension,
// for files that belong to the same test. Names sort by time. They are unique to
// the microsecond and label; a caller who writes where other machines do adds
// something of its own.
func Stem(when time.Time, label string) string {
	var b strings.Builder
	b.WriteString(when.UTC().Format(stamp))
	dash := true
	for _, r := range strings.ToLower(label) {
		switch {
		case b.Len() > 80:
			return strings.TrimRight(b.String(), "-")
		case unicode.IsLetter(r) || unicode.IsDigit(r):
			if dash {
				b.WriteByte('-')
			}
			b.WriteRune(r)
			dash = false
		default:
			dash = true
		}
	}
	return b.String()
}

// NameTime is the time a name made by [Stem] begins with.
func NameTime(name string) (time.Time, bool) {
	if len(name) < len(stamp) {
		return time.Time{}, false
	}
	t, err := time.Parse(stamp, name[:len(stamp)])
	return t, err == nil
}
