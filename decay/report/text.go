package report

import (
	"bufio"
	"fmt"
	"io"
	"math"
	"strings"

	"ebbline/decay"
)

// Text writes in as a few lines for a person, the verdict first. Pressures are
// written in u.
func Text(w io.Writer, in Input, u decay.PressureUnit) error {
	r := in.Result
	b := bufio.NewWriter(w)
	if in.File != "" {
		fmt.Fprintf(b, "%s: ", Printable(in.File))
	}
	fmt.Fprintln(b, Verdict(r))
	line := func(name, format string, a ...any) {
		fmt.Fprintf(b, "  %-10s "+format+"\n", append([]any{name}, a...)...)
	}
	if in.Simulated {
		line("SIMULATED", "no real pressure, no real duct")
	}
	for _, x := range r.Warnings { // first what the figures rest on that nobody may have asked for
		if x.Code == "profile" {
			line("profile", "%s", Printable(strings.TrimPrefix(x.Text, "profile ")))
		}
	}
	if in.Of != decay.PartUnstated {
		line("tested", "%s", PartWords(in.Of))
	}
	if r.HeldUp {
		line("if shut", "%s", ifShut(r))
	}
	if r.HasFit && r.HasVolume {
		line("hole", "%s equivalent diameter, %s (Cd %.2f)", Millimetres(r.Hole.Value), span(r.Hole, decay.Millimetre, "mm"), r.Cd)
		line("area", "%s mm² effective, %s", digits3(r.Area.Value/decay.SquareMM), span(r.Area, decay.SquareMM, "mm²"))
	}
	if r.HasFit {
		line("decay", "%s per second, %s", digits3(r.Rate.Value), span(r.Rate, 1, "per second"))
		loss := fmt.Sprintf("%s %s a minute at the hold's start", digits3(r.LossRate*60/u.Pascal), u.Name)
		if r.HasVolume {
			loss += fmt.Sprintf(", %s sccm (0 °C, 101.325 kPa absolute)", digits3(decay.SCCM0C(r.Flow)))
		}
		line("loss", "%s", loss)
		line("leak law", "%s", lawWords(r.Law))
		if r.Settling.Tau > 0 && math.Abs(r.Settling.Amplitude) >= 5e-4 { // less is none
			line("settling", "%.2f %% of the absolute pressure, time constant %s", r.Settling.Amplitude*100, seconds(r.Settling.Tau))
		}
	}
	if r.Hold != (decay.Hold{}) {
		start := ""
		if r.Hold.StartAbs != 0 {
			start = ", from " + r.Hold.StartGauge.Format(u) + " (" + r.Hold.StartAbs.Format(u) + ")"
		}
		line("hold", "%.1f s to %.1f s%s", r.Hold.Start.Seconds(), r.Hold.End.Seconds(), start)
	}
	if r.Samples > 0 {
		line("peak", "%s, %d readings", r.Peak.Format(u), r.Samples)
	}
	given := []string{}
	if r.Volume > 0 {
		given = append(given, "volume "+digits3(float64(r.Volume)/decay.Litre)+" L")
	} else {
		given = append(given, "volume not stated: no hole size without it")
	}
	if r.Ambient > 0 {
		given = append(given, "ambient "+r.Ambient.Format(u))
	}
	line("given", "%s", strings.Join(given, ", "))
	if r.Smallest > 0 {
		line("resolves", "%s", resolves(r))
	}
	if r.Outcome == decay.Undecided && r.HasDecide && r.ToDecide > 0 {
		line("to decide", "about %s more of hold", seconds(r.ToDecide))
	}
	if len(r.Flags) > 0 {
		names := make([]string, len(r.Flags))
		for i, f := range r.Flags {
			names[i] = string(f)
		}
		line("flags", "%s", strings.Join(names, ", "))
	}
	for _, m := range in.Marks {
		line("mark", "%s", Mark(m, r.Hold.Start, u))
	}
	if t := PartAdvice(in.Of, r.Outcome); t != "" {
		line("next", "%s", t)
	}
	for _, x := range r.Warnings {
		if x.Code != "profile" {
			line("caveat", "%s", Printable(x.Text))
		}
	}
	return b.Flush()
}

// ifShut says what holds if the supply was shut, which nothing shows.
func ifShut(r decay.Result) string {
	if !r.HasVolume {
		return fmt.Sprintf("decay %s; --shut says that it was", span(r.Rate, 1, "per second"))
	}
	return fmt.Sprintf("%s: hole %s, if the supply's valve was shut by %s; --shut says that it was", r.IfShut, span(r.Hole, decay.Millimetre, "mm"), seconds(r.Hold.Start))
}

// span prints the bounds of an interval with its level.
func span(iv decay.Interval, unit float64, name string) string {
	high := "no upper bound"
	if !math.IsInf(iv.High, 0) && !math.IsNaN(iv.High) {
		high = "to " + digits3(iv.High/unit) + " " + name
	}
	return fmt.Sprintf("%s %s at %.0f %%", digits3(iv.Low/unit), high, iv.Level*100)
}

func lawWords(l decay.Law) string {
	switch l {
	case decay.LawOrifice:
		return "orifice (a tear, pinhole or open joint)"
	case decay.LawSeep:
		return "seep (many fine paths: a gasket or porous rubber)"
	case decay.LawMixed:
		return "mixed (an open hole and fine paths)"
	}
	return "unclear"
}

// resolves says which hole the hold would have told from none: that whose
// interval is clear of zero. The interval's upper end may lie below it, for what
// else makes the pressure fall can only be taken for a leak.
func resolves(r decay.Result) string {
	other := "noise"
	for _, w := range r.Warnings {
		if w.Code == "compliance" {
			other = "rubber that creeps, or noise"
		}
	}
	return "a hole of " + Millimetres(float64(r.Smallest)) + " or more is told from none; a smaller one looks like " + other
}
