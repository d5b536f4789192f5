package tui

import (
	"math"
	"strings"
	"time"

	"ebbline/decay"
	"ebbline/decay/record"
	"ebbline/decay/report"
)

// BookEntry is a file in a folder of records: the head of a record, or why it
// cannot be read.
type BookEntry struct {
	Path string // of the file, for the functions of [BookOptions]
	Name string // below the folder, without its extension
	Head record.Head
	Err  error
}

// When is the start of the test, by the record or else by the file's name; the
// zero time when neither tells it.
func (e BookEntry) When() time.Time {
	if !e.Head.When.IsZero() {
		return e.Head.When
	}
	base := e.Name[strings.LastIndexByte(e.Name, '/')+1:]
	t, _ := record.NameTime(base)
	return t
}

// State says what the file turned out to be.
func (e BookEntry) State() record.State { return record.StateOf(e.Head.Record, e.Err) }

// Date is the start of the test where it was done, to the minute; "" when it is
// not known.
func (e BookEntry) Date() string {
	t := e.When()
	if t.IsZero() {
		return ""
	}
	return t.Format("2006-01-02 15:04")
}

// Verdict is the verdict as written, "" when there is none.
func (e BookEntry) Verdict() string {
	if e.Err != nil || e.Head.Torn {
		return ""
	}
	return report.Word(e.Head.Result.Outcome)
}

// Hole is the equivalent hole as written, with its interval, "" when there is
// none.
func (e BookEntry) Hole() string {
	r := e.Head.Result
	if e.Verdict() == "" || !r.HasFit || !r.HasVolume {
		return ""
	}
	high := "∞"
	if !math.IsInf(r.Hole.High, 0) {
		high = mm(r.Hole.High)
	}
	return mm(r.Hole.Value) + " (" + mm(r.Hole.Low) + " to " + high + ")"
}

// Part is what was under test, "" when it was not stated.
func (e BookEntry) Part() string {
	if e.Head.Setup.Of == decay.PartUnstated {
		return ""
	}
	return e.Head.Setup.Of.String()
}

// Title is the label, or what is wrong with the file.
func (e BookEntry) Title() string {
	switch s := e.State(); {
	case e.Err != nil && s == record.StateForeign:
		return "this file is no record"
	case e.Err != nil && s == record.StateNewer:
		return "a newer ebbline wrote it: use a newer program"
	case e.Err != nil:
		return strings.TrimPrefix(e.Err.Error(), "record: ")
	}
	return e.Head.Label
}

// ID is the shortest part of the name that is the record's own: the eight
// digits at its end, or all of a name that has none.
func (e BookEntry) ID() string {
	base := e.Name[strings.LastIndexByte(e.Name, '/')+1:]
	if i := strings.LastIndexByte(base, '-'); i >= 0 && len(base)-i == 9 && strings.Trim(base[i+1:], "0123456789abcdef") == "" {
		return base[i+1:]
	}
	return base
}

// JobAndSection parts a label: the test of a section is called after its job, a
// colon, and the section's name.
func JobAndSection(label string) (job, section string) {
	if i := strings.LastIndex(label, ": "); i >= 0 {
		return label[:i], label[i+2:]
	}
	return label, ""
}
