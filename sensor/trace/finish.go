package trace

import (
	"fmt"
	"math"
	"slices"
	"sort"
	"time"

	"ebbline/decay"
)

// finish turns stamps and values as written into samples.
func (f *file) finish(unit, ref string, scale float64) (Trace, error) {
	if len(f.values) > maxRows {
		return Trace{}, f.fail(0, cutHint, "there are more than %d readings", maxRows)
	}
	tr := Trace{Unit: unit, Ambient: f.opt.Ambient, Rows: len(f.values) + f.bad}
	pu, err := decay.ParsePressureUnit(unit)
	if err != nil {
		return Trace{}, f.fail(0, "", "%v", err)
	}
	f.reference(&tr, ref)
	f.flagRails(&tr)
	shift := 0.0
	if tr.Reads == decay.ReadsGauge {
		shift = float64(f.opt.Ambient)
		if shift == 0 {
			shift = float64(decay.DefaultAmbient)
		}
	}
	if f.stamps == nil {
		f.numbersToStamps(scale)
	}
	if len(f.stamps) == 0 {
		return Trace{}, f.fail(f.badLine, "the time column must hold seconds, milliseconds or clock times", "none of the %d rows could be read; in the first, %s", f.bad, f.badWhy)
	}
	samples := make([]decay.Sample, len(f.values))
	quantum := math.Inf(1)
	for i, v := range f.values {
		samples[i] = decay.Sample{At: time.Duration(f.stamps[i]), P: decay.Pressure(v*pu.Pascal + shift)}
		if i > 0 {
			if d := math.Abs(v - f.values[i-1]); d > 0 && d < quantum {
				quantum = d
			}
		}
	}
	if !math.IsInf(quantum, 0) {
		tr.Quantum = quantum * pu.Pascal
	}
	f.close(&tr, samples)
	return tr, nil
}

// close puts samples in order into tr and adds what was found on the way.
func (f *file) close(tr *Trace, samples []decay.Sample) {
	tr.Samples = f.inOrder(samples, tr)
	// Differences are taken in integers, so that no stamp is rounded twice.
	first := tr.Samples[0].At
	tr.Start += first.Seconds()
	for i := range tr.Samples {
		tr.Samples[i].At -= first
	}
	if tr.Setup != nil && tr.Setup.Touched > 0 {
		tr.Setup.Touched -= first
	}
	if tr.Setup != nil && tr.Setup.Shut > 0 {
		tr.Setup.Shut -= first
	}
	tr.BadRows = f.bad
	if f.bad > 0 {
		tr.Flags = append(tr.Flags, decay.FlagBadRows)
		where := ""
		if f.badLine > 0 {
			where = fmt.Sprintf("the first is line %d, where ", f.badLine)
		}
		f.warning("bad-rows", "%d of %d rows could not be read; %s%s", f.bad, tr.Rows, where, f.badWhy)
	}
	tr.Warnings = f.warn
}

// reference settles against what the values were read.
func (f *file) reference(tr *Trace, ref string) {
	tr.ReadsStated = true
	switch {
	case ref == "absolute":
		tr.Reads = decay.ReadsAbsolute
	case ref == "gauge":
		tr.Reads = decay.ReadsGauge
	case f.opt.Reads != nil:
		tr.Reads = *f.opt.Reads
	case f.unitRef == "absolute":
		tr.Reads = decay.ReadsAbsolute
	case f.unitRef == "gauge":
		tr.Reads = decay.ReadsGauge
	default:
		tr.ReadsStated = false
		f.warning("reference-assumed", "the file does not say whether its pressures are gauge or absolute; gauge is assumed")
	}
	if ref != "" && f.opt.Reads != nil && *f.opt.Reads != tr.Reads {
		f.warning("reference-from-header", "the header says %s, so %s as stated is not used", tr.Reads, *f.opt.Reads)
	}
}

// maxStamp bounds the stamps, in seconds: those that count from 1970 fit, and
// the difference of any two fits a time.Duration.
const maxStamp = 4e9

const tooFar = "the time is too far from any real one"

// numbersToStamps scales the written times to nanoseconds. Times too far from
// the rest for the program's clock become bad rows.
func (f *file) numbersToStamps(scale float64) {
	if scale == 0 {
		scale = f.guessScale()
	}
	f.stamps = make([]int64, 0, len(f.raw))
	kept := f.values[:0]
	for i, t := range f.raw {
		s := t * scale
		if !(math.Abs(s) < maxStamp) {
			f.badRow(0, tooFar)
			continue
		}
		whole, frac := math.Modf(s)
		f.stamps = append(f.stamps, int64(whole)*1e9+int64(math.Round(frac*1e9)))
		kept = append(kept, f.values[i])
	}
	f.values = kept
}

// guessScale says how long one unit of unnamed time is. Decimals are seconds.
// Whole numbers are what makes the trace last as a hold does: read as seconds
// it would last an hour for milliseconds, and read as milliseconds hours for
// microseconds.
func (f *file) guessScale() float64 {
	lo, hi, nearest := math.Inf(1), math.Inf(-1), math.Inf(1)
	for _, t := range f.raw {
		if t != math.Trunc(t) {
			return 1
		}
		lo, hi, nearest = min(lo, t), max(hi, t), min(nearest, math.Abs(t))
	}
	if len(f.raw) < 2 || hi == lo {
		return 1
	}
	span := hi - lo
	step := span / float64(len(f.raw)-1)
	scale, name := 1.0, "seconds"
	switch {
	case nearest > 1e16:
		scale, name = 1e-9, "nanoseconds"
	case nearest > 1e13:
		scale, name = 1e-6, "microseconds"
	case nearest > 1e10: // as seconds this would be the year 2286
		scale, name = 1e-3, "milliseconds"
	case span > 1e7 && step >= 1000:
		scale, name = 1e-6, "microseconds"
	case span > 3162 || step >= 100 && span >= 1000:
		scale, name = 1e-3, "milliseconds"
	}
	f.warning("time-assumed", "the times are whole numbers without a unit and are taken for %s, since the trace then lasts %.4g s", name, span*scale)
	return scale
}

// inOrder sorts the samples by time, spreads those that share the stamps of a
// coarse clock, and otherwise keeps the first of each stamp.
func (f *file) inOrder(s []decay.Sample, tr *Trace) []decay.Sample {
	back, same, on := 0, 0, 0
	for i := 1; i < len(s); i++ {
		switch {
		case s[i].At < s[i-1].At:
			back++
		case s[i].At > s[i-1].At:
			on++
		}
	}
	rows := len(s)
	mixed := false // its times are no times
	if back > 0 {
		fell := s[0].At // the stamp before the first that is less
		for i := 1; s[i].At >= s[i-1].At; i++ {
			fell = s[i].At
		}
		breaks := sorted(s)
		switch {
		case back <= fewResets && breaks > rows/10:
			mixed = true
			f.unusable(tr, "clock-fell-back", "the clock falls back after %.3f s, into times that were there before: cut the file there, and measure its parts one by one", fell.Seconds())
		case on > 0 && back*jumbled > rows, breaks*jumbled > 2*rows: // the latest row first is an order too
			mixed = true
			f.jumble(tr, "goes backwards", back, rows)
		}
		tr.Flags = append(tr.Flags, decay.FlagUnsorted)
		f.warning("unsorted", "time goes backwards %d times; the rows were sorted by time", back)
	}
	differ := 0
	for i := 1; i < len(s); i++ {
		if s[i].At == s[i-1].At {
			same++
			if s[i].P != s[i-1].P {
				differ++
			}
		}
	}
	if same == 0 {
		return s
	}
	if f.shared {
		spread(s)
		return s
	}
	tr.Flags = append(tr.Flags, decay.FlagDoubled)
	if back == 0 && differ > 0 && same*3 > len(s) && s[len(s)-1].At > s[0].At {
		spread(s)
		f.warning("coarse-clock", "%d of %d rows repeat the time of the row before; the rows of one time were spread evenly up to the next", same, len(s))
		return s
	}
	if on > 0 && !mixed && differ*jumbled > rows {
		f.jumble(tr, "doubles", differ, rows)
	}
	kept := s[:1]
	for _, x := range s[1:] {
		if x.At != kept[len(kept)-1].At {
			kept = append(kept, x)
		}
	}
	f.warning("doubled", "%d rows repeat the time of another row; the first of each was kept", same)
	return kept
}

// jumbled is one over the share of the rows that may be out of order: beyond
// it, sorting by time makes a curve that nobody measured (our own choice).
const jumbled = 5

// fewResets is how often the clock of a board may start anew in one file, and
// still be told from rows out of order.
const fewResets = 3

// sorted sorts samples by time and returns how many of them then stand beside
// one that was not their neighbour before: none where the latest row came first,
// or whole pages did, and nearly all where two stretches of time are mixed.
func sorted(s []decay.Sample) (breaks int) {
	order := make([]int, len(s))
	for i := range order {
		order[i] = i
	}
	was := slices.Clone(s)
	sort.SliceStable(order, func(a, b int) bool { return was[order[a]].At < was[order[b]].At })
	for i, j := range order {
		s[i] = was[j]
		if i > 0 && (j-order[i-1] > 1 || order[i-1]-j > 1) {
			breaks++
		}
	}
	return breaks
}

// jumble tells that the times are no times, and makes the result unusable.
func (f *file) jumble(tr *Trace, how string, n, rows int) {
	f.unusable(tr, "jumbled", "time %s in %d of %d rows, so that it cannot be the time: look whether the columns of time and pressure are swapped, or the clock jumps to and fro", how, n, rows)
}

// unusable tells why the times cannot be trusted, and makes the result unusable.
func (f *file) unusable(tr *Trace, code, format string, x ...any) {
	f.warning(code, format, x...)
	tr.Judge = func(r decay.Result) decay.Result {
		r.Outcome = decay.Unusable
		r.HasFit, r.HeldUp, r.HasVolume, r.HasDecide, r.Smallest = false, false, false, false, 0
		return r
	}
}

// spread gives the samples of one stamp even times up to the next stamp. The
// last group takes the step of the group before it.
func spread(s []decay.Sample) {
	step := time.Duration(0)
	for i := 0; i < len(s); {
		j := i + 1
		for j < len(s) && s[j].At == s[i].At {
			j++
		}
		if j < len(s) {
			step = (s[j].At - s[i].At) / time.Duration(j-i)
		}
		for k := i + 1; k < j; k++ {
			s[k].At = s[i].At + time.Duration(k-i)*step
		}
		i = j
	}
}
