package record

import (
	"fmt"
	"slices"
	"strings"
	"time"

	"ebbline/decay"
)

// Again is the result of a record computed anew from its readings, without the
// fittings' leak. The version that wrote the record gives what it wrote.
func (r Record) Again() decay.Result {
	return r.AsTold(decay.Net(decay.Analyse(r.Setup, r.Judged()), r.Setup.RigLeak, r.Setup.WithDefaults().Limit))
}

// Judged are the readings that a result rests on: all but those that were not
// taken for the duct's pressure when they came, and those that came when the
// test had ended and its record had not. It shares memory with Samples.
func (r Record) Judged() []decay.Sample {
	all := r.Samples
	for r.Result.Until > 0 && len(all) > 0 && all[len(all)-1].At > r.Result.Until {
		all = all[:len(all)-1]
	}
	if len(r.Result.LeftOut) == 0 {
		return all
	}
	var out []decay.Sample
	i := 0
	for _, s := range all {
		for i < len(r.Result.LeftOut) && r.Result.LeftOut[i].End < s.At {
			i++
		}
		if i == len(r.Result.LeftOut) || s.At < r.Result.LeftOut[i].Start {
			out = append(out, s)
		}
	}
	return out
}

// told are the flags that only whoever saw the test can raise: a sensor in
// doubt, lines that made no reading, a silence.
var told = []decay.Flag{decay.FlagGaps, decay.FlagBadRows, decay.FlagUnsorted, decay.FlagDoubled,
	decay.FlagStuck, decay.FlagSaturated, decay.FlagOpenCircuit}

// AsTold adds to a result computed from the readings what the record says and
// the readings do not show: such flags, and that nothing can be judged because
// the sensor was in doubt.
func (r Record) AsTold(now decay.Result) decay.Result {
	if r.Torn {
		return now
	}
	was := r.Result
	now.Flags, now.Warnings = slices.Clone(now.Flags), slices.Clone(now.Warnings)
	for _, f := range was.Flags {
		if !now.HasFlag(f) && slices.Contains(told, f) {
			now.Flags = append(now.Flags, f)
		}
	}
	if was.Outcome == decay.Unusable && now.Outcome != decay.Unusable {
		now.Outcome, now.HasDecide = decay.Unusable, false
		now.Warnings = append(now.Warnings, decay.Warning{Code: "sensor-in-doubt", Text: "the record says that its sensor was in doubt during the hold; the capture beside it has the details"})
	}
	return now
}

// leftOut prints the stretches of readings that were left out, each as its
// first and its last time.
func leftOut(r *Record) string {
	parts := make([]string, len(r.Result.LeftOut))
	for i, s := range r.Result.LeftOut {
		parts[i] = formatSeconds(s.Start) + "," + formatSeconds(s.End)
	}
	return strings.Join(parts, " ")
}

func readLeftOut(r *Record, text string) error {
	r.Result.LeftOut = nil
	last := time.Duration(-1 << 63)
	for _, part := range strings.Fields(text) {
		a, b, _ := strings.Cut(part, ",")
		start, err1 := parseSeconds(a)
		end, err2 := parseSeconds(b)
		if err1 != nil || err2 != nil || start < last || end < start {
			return fmt.Errorf("%q is not a stretch of readings, in order, as 1.5,2.25", clip(part))
		}
		r.Result.LeftOut, last = append(r.Result.LeftOut, decay.Span{Start: start, End: end}), end
	}
	return nil
}
