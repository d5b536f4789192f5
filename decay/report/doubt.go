package report

import (
	"fmt"

	"ebbline/decay/record"
)

// Doubt says what speaks against taking a record as it is, as the end of a
// sentence that the record begins; "" when nothing does.
func Doubt(rec record.Record) string {
	switch {
	case rec.Torn:
		return fmt.Sprintf("has lost its end: it was read up to line %d, and a change cannot be told", rec.TornLine)
	case rec.Digest == record.DigestDiffers:
		return "was changed after it was written: it proves nothing"
	}
	return ""
}

// NoRepair says why two records prove nothing of a repair; "" when they may. A
// record that was changed would prove whatever its changer liked.
func NoRepair(before, after record.Record) string {
	var which []string
	for _, x := range []struct {
		name string
		rec  record.Record
	}{{"before", before}, {"after", after}} {
		if x.rec.Digest == record.DigestDiffers {
			which = append(which, "the one "+x.name)
		}
	}
	switch len(which) {
	case 0:
		return ""
	case 1:
		return "nothing is said of the repair, for of the two records " + which[0] + " was changed after it was written"
	}
	return "nothing is said of the repair, for both records were changed after they were written"
}

// doubts are sentences on the records of the sheet that are not as they were
// written. They stand above all else.
func (s *Sheet) doubts() []string {
	var out []string
	for _, t := range s.files() {
		if d := Doubt(t.Record); d != "" {
			out = append(out, "The record "+t.Name+" "+d+".")
		}
	}
	return out
}

// shortDoubts are the same in the few words that a message has room for.
func (s *Sheet) shortDoubts() (out []string) {
	changed, torn := false, false
	for _, t := range s.files() {
		torn = torn || t.Record.Torn
		changed = changed || !t.Record.Torn && t.Record.Digest == record.DigestDiffers
	}
	if changed {
		out = append(out, "RECORD CHANGED AFTER IT WAS WRITTEN, NO PROOF")
	}
	if torn {
		out = append(out, "END OF A RECORD IS MISSING, A CHANGE CANNOT BE TOLD")
	}
	return out
}
