package tui

import (
	"fmt"
	"math"
	"slices"
	"strings"

	"ebbline/decay"
	"ebbline/decay/record"
	"ebbline/decay/report"
)

// BookChange is a fact that a second look at a record sees otherwise.
type BookChange struct{ Name, Was, Now string }

// BookChanges sets a result that was computed from a record's readings beside
// the one written in it, as they are printed.
func BookChanges(rec record.Record, now decay.Result) []BookChange {
	was := rec.Result
	var out []BookChange
	add := func(name, a, b string) {
		if a != b {
			out = append(out, BookChange{name, a, b})
		}
	}
	verdict := report.Word(was.Outcome)
	if rec.Torn {
		verdict = "none was written"
	}
	add("verdict", verdict, report.Word(now.Outcome))
	add("limit", orNone(report.Millimetres(float64(was.Limit)), was.Limit > 0), orNone(report.Millimetres(float64(now.Limit)), now.Limit > 0))
	add("hole", spanWords(was.Hole, decay.Millimetre, "mm", was.HasFit && was.HasVolume), spanWords(now.Hole, decay.Millimetre, "mm", now.HasFit && now.HasVolume))
	if !was.HasVolume || !now.HasVolume {
		add("decay", spanWords(was.Rate, 1, "per second", was.HasFit), spanWords(now.Rate, 1, "per second", now.HasFit))
	}
	add("leak law", orNone(was.Law.String(), was.HasFit), orNone(now.Law.String(), now.HasFit))
	add("hold", holdWords(was.Hold), holdWords(now.Hold))
	add("flags", flagWords(was.Flags), flagWords(now.Flags))
	return out
}

func orNone(s string, known bool) string {
	if !known {
		return "none"
	}
	return s
}

func spanWords(iv decay.Interval, unit float64, name string, known bool) string {
	high := "no upper bound"
	if !math.IsInf(iv.High, 0) && !math.IsNaN(iv.High) {
		high = "to " + three(iv.High/unit)
	}
	return orNone(fmt.Sprintf("%s (%s %s) %s", three(iv.Value/unit), three(iv.Low/unit), high, name), known)
}

func holdWords(h decay.Hold) string {
	return orNone(fmt.Sprintf("%.1f to %.1f s", h.Start.Seconds(), h.End.Seconds()), h != decay.Hold{})
}

func flagWords(flags []decay.Flag) string {
	var words []string
	for _, f := range flags {
		words = append(words, string(f))
	}
	slices.Sort(words)
	return orNone(strings.Join(words, ", "), len(words) > 0)
}

// CompareDoubts says what speaks against taking two records for tests of one
// duct before and after a repair.
func CompareDoubts(before, after record.Record) []string {
	var out []string
	if before.When.After(after.When) {
		out = append(out, "the test before is younger than the test after: are they the wrong way round?")
	}
	return out
}
