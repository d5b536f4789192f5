package report

import (
	"cmp"
	"fmt"
	"math"
	"strings"

	"ebbline/decay"
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

// volumeSlack is by how much each of two volumes may be off where nothing is
// stated; our own choice.
const volumeSlack = 0.05

// NotSame says why two tests are not of one part before and after a repair, as
// far as their set-ups tell; "" when they may be. What was not stated tells
// nothing.
func NotSame(before, after decay.Setup, beforeSimulated, afterSimulated bool) string {
	var differs []string
	if a, b := before.Of, after.Of; a != b && a != decay.PartUnstated && b != decay.PartUnstated {
		differs = append(differs, "one is of "+PartWords(a)+", the other of "+PartWords(b))
	}
	slack := func(s decay.Setup) float64 { return float64(s.Volume) * cmp.Or(s.VolumeTolerance, volumeSlack) }
	if a, b := before.Volume, after.Volume; a > 0 && b > 0 && math.Abs(float64(a-b)) > slack(before)+slack(after) {
		differs = append(differs, "the volumes differ, "+volumeWords(before)+" and "+volumeWords(after))
	}
	if beforeSimulated != afterSimulated {
		differs = append(differs, "one of the two tests is simulated")
	}
	if len(differs) == 0 {
		return ""
	}
	return notSame + ": nothing is said of a repair (" + strings.Join(differs, "; ") + ")"
}

const notSame = "not the same part"

// NoRepair says why two records prove nothing of a repair; "" when they may: they
// are of different parts, or one was changed and would prove whatever its changer
// liked.
func NoRepair(before, after record.Record) string {
	if why := NotSame(before.Setup, after.Setup, before.Simulated, after.Simulated); why != "" {
		return why
	}
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
	if s.notSame() {
		out = append(out, sentence(s.noRepair()))
	}
	for _, t := range s.files() {
		if d := Doubt(t.Record); d != "" {
			out = append(out, "The record "+t.Name+" "+d+".")
		}
	}
	return out
}

// shortDoubts are the same in the few words that a message has room for.
func (s *Sheet) shortDoubts() (out []string) {
	if s.notSame() {
		out = append(out, "NOT THE SAME PART: NOTHING IS SAID OF A REPAIR")
	}
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
