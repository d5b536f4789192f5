package report

import (
	"bufio"
	"fmt"
	"io"
	"math"
	"strconv"

	"ebbline/decay"
)

// percent prints a share as a whole number of per cent.
func percent(share float64) string {
	switch {
	case math.IsNaN(share):
		return "?"
	case math.IsInf(share, 0):
		return "∞ %"
	}
	return strconv.FormatFloat(100*share, 'f', 0, 64) + " %"
}

// percents prints a share with its interval.
func percents(iv decay.Interval) string {
	if math.IsInf(iv.High, 1) {
		return percent(iv.Value) + " (from " + percent(iv.Low) + " up)"
	}
	return percent(iv.Value) + " (" + percent(iv.Low) + " to " + percent(iv.High) + ")"
}

// square prints an area with its interval, in mm².
func square(iv decay.Interval) string {
	n := func(v float64) string {
		if math.IsInf(v, 0) || math.IsNaN(v) {
			return "∞"
		}
		return strconv.FormatFloat(v/decay.SquareMM+0, 'f', 3, 64)
	}
	return n(iv.Value) + " mm² (" + n(iv.Low) + " to " + n(iv.High) + ")"
}

// Repair says in one line what a change between two tests means. Holes are for
// the discharge coefficient cd.
func Repair(c decay.Change, cd float64) string {
	what := percents(c.Left) + " of the leak is left"
	if c.HasArea {
		hole := func(a float64) string {
			return Millimetres(float64(decay.EquivalentHole(decay.Area(math.Max(a, 0)), cd)))
		}
		what = hole(c.Before.Value) + " before, " + hole(c.After.Value) + " now; less by " + square(c.Less)
	}
	switch c.Repair {
	case decay.RepairMended:
		return "MENDED: " + what
	case decay.RepairSmaller:
		return "SMALLER: " + what
	case decay.RepairLarger:
		return "LARGER than before: " + what
	}
	return "no difference can be told yet: " + what
}

// SplitAdvice says which part of a duct to test next.
func SplitAdvice(s decay.Split) string {
	name := ""
	if s.NextRow < len(s.Rows) {
		name = Printable(s.Rows[s.NextRow].Name)
	}
	switch s.Next {
	case decay.SplitNoLeak:
		return "The whole may be tight: there is no leak to divide."
	case decay.SplitMore:
		if len(s.Rows) == 0 {
			return "Plug the duct in the middle and test one half by itself."
		}
		return "Most of it may lie in what was not tested yet: test another section there."
	case decay.SplitInto:
		return "Most of it is in " + name + ": hunt there, or divide that section."
	case decay.SplitLonger:
		return name + " is too uncertain: hold it longer."
	case decay.SplitDoubt:
		return "The sections leak more than the whole: check the plugs and test again."
	case decay.SplitAllDone:
		return "No section stands out: mend them in the order of their size."
	}
	return "Test the whole first, with its volume stated."
}

// SplitLine is a row of the table of a split: name, leak, hole, share.
type SplitLine struct{ Name, Area, Hole, Share string }

// SplitLines is the table of a split: the whole, its sections and the rest.
func SplitLines(s decay.Split, cd float64) []SplitLine {
	hole := func(a float64) string {
		if a <= 0 {
			return "-"
		}
		return Millimetres(float64(decay.EquivalentHole(decay.Area(a), cd)))
	}
	out := []SplitLine{{"whole", square(s.Whole), hole(s.Whole.Value), "100 %"}}
	if s.Whole == (decay.Interval{}) {
		out[0] = SplitLine{"whole", "not known", "-", "-"}
	}
	for _, r := range s.Rows {
		out = append(out, SplitLine{Printable(r.Name), square(r.Area), hole(r.Area.Value), percents(r.Share)})
	}
	if len(s.Rows) > 0 {
		out = append(out, SplitLine{"not tested", square(s.Rest), hole(s.Rest.Value), percents(s.RestShare)})
	}
	return out
}

// Split writes the table of a split and what to do next.
func Split(w io.Writer, s decay.Split, cd float64) error {
	b := bufio.NewWriter(w)
	for _, l := range SplitLines(s, cd) {
		fmt.Fprintf(b, "%-24s  %-28s  %-9s  %s\n", l.Name, l.Area, l.Hole, l.Share)
	}
	fmt.Fprintln(b, SplitAdvice(s))
	return b.Flush()
}
