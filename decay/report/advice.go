// Package report puts states and results of a test into words, lines and JSON.
package report

import (
	"math"
	"strconv"
	"time"

	"ebbline/decay"
)

// Advice is the one sentence that says what to do now, for the state st of a
// test set up as set. Pressures are written in u.
func Advice(st decay.State, set decay.Setup, u decay.PressureUnit) string {
	set = set.WithDefaults()
	if st.Verdict == decay.Unusable && (st.Phase == decay.PhaseSettle || st.Phase == decay.PhaseHold) && st.Advice != decay.AdviseShut && st.Advice != decay.AdviseSensor {
		return "This test is unusable, for the sensor was in doubt during the hold: let the air out, check the sensor and its cable, then test again."
	}
	if st.Advice == decay.AdviseDone && st.Result.Outcome == decay.Undecided && st.Result.Warned("isolation-unseen") {
		return "No answer: the supply was not seen to be shut. Did the pressure fall as you shut it? Then the leak is large: fill again, and press i as you shut the valve."
	}
	switch st.Advice {
	case decay.AdviseFill:
		return "Turn the regulator down, open the valve and fill slowly; never above " + set.Ceiling.Format(u) + "."
	case decay.AdviseFillSlowly:
		if st.ToCeiling > 0 {
			return "Slow down: at this rate the ceiling is " + seconds(st.ToCeiling) + " away."
		}
		return "Slow down: the ceiling of " + set.Ceiling.Format(u) + " is near."
	case decay.AdviseKeepFilling:
		return "Filling: keep below " + set.Ceiling.Format(u) + "."
	case decay.AdviseIsolate:
		return "High enough: shut the supply valve and let go."
	case decay.AdviseSayShut:
		return "Shut the supply valve. Shut already? Then it holds so far. With the valve open it would look the same."
	case decay.AdviseListen:
		return "It will not build: a large leak; listen and feel along the duct for it."
	case decay.AdviseHandsOff:
		if st.Phase == decay.PhaseSettle {
			return "Hands off: the air is settling."
		}
		// Watched all the time, a verdict needs a wider interval than at the end.
		r, longer := st.Result, "a little longer makes"
		if r.HasDecide && r.ToDecide > 0 {
			longer = roughly(r.ToDecide) + " more make"
		}
		switch {
		case r.HasFit && r.Outcome == decay.Leaks:
			return "Hands off: it looks like a leak; " + longer + " that sure."
		case r.HasFit && r.Outcome == decay.Holds:
			return "Hands off: it seems to hold; " + longer + " that sure."
		}
		return "Hands off: reading the leak."
	case decay.AdviseHoldOn:
		if st.Result.HasDecide && st.Result.ToDecide > 0 {
			return "Not sure yet: hold for " + roughly(st.Result.ToDecide) + " more."
		}
		return "Not sure yet: hold on."
	case decay.AdviseRelease:
		if st.Verdict == decay.Leaks && (set.Of == decay.PartManifold || set.Of == decay.PartBranch) {
			return "The answer is there. First hunt joint by joint, while there is pressure; then let the air out slowly, standing clear of plugs."
		}
		return "The answer is there: let the air out slowly, standing clear of plugs." + then(PartAdvice(set.Of, st.Verdict))
	case decay.AdviseMoreHelp:
		return "Waiting longer will not settle it: repeat with a smaller volume, a better sensor or another limit."
	case decay.AdviseReleasing:
		if st.Phase == decay.PhaseEmpty {
			return "Running empty through the leak: wait for zero before you loosen a clamp."
		}
		return "Letting out: wait for zero before you loosen a clamp."
	case decay.AdviseDone:
		if st.Phase == decay.PhaseEmpty {
			return "It ran empty through its leak: check for zero before you loosen a clamp." + then(PartAdvice(set.Of, st.Result.Outcome))
		}
		return "Done: check for zero pressure before you loosen a clamp." + then(PartAdvice(set.Of, st.Result.Outcome))
	case decay.AdviseShut:
		return "Over the ceiling: shut the supply and let air out now."
	case decay.AdviseSensor:
		if st.LostWhy != "" {
			return "No valid reading (" + st.LostWhy + "): shut the supply, then check the sensor and its cable."
		}
		return "No valid reading: shut the supply, then check the sensor and its cable."
	}
	return "Waiting for the first reading of the sensor."
}

// Unseen says that the sensor ends where the ceiling is, so that passing it would
// hardly be seen, and what to do; "" when it reaches further or its end is not
// known.
func Unseen(set decay.Setup, u decay.PressureUnit) string {
	ceiling := set.WithDefaults().Ceiling
	end, ok := set.RangeEnd()
	if low := end * decay.SeenUpTo; ok && ceiling > low {
		return "THE CEILING IS NOT WATCHED: the sensor ends at " + end.Format(u) + ", so more than the ceiling would not be seen; lower the ceiling to " + low.Number(u) + " " + u.Name + ", or take a sensor that reaches higher"
	}
	return ""
}

// Lowered says that the ceiling is that of a test of which none was stated, and
// lower than usual because the sensor ends sooner; "" otherwise.
func Lowered(set decay.Setup, u decay.PressureUnit) string {
	c := set.SeenCeiling()
	if set.Ceiling != c || c >= decay.DefaultCeiling {
		return ""
	}
	end, _ := set.RangeEnd()
	return "the ceiling is " + c.Format(u) + ", not the usual " + decay.DefaultCeiling.Format(u) + ": the sensor ends at " + end.Format(u) + ", and no more can be watched with it"
}

// Verdict is the outcome in plain words, with the limit it was judged against.
func Verdict(r decay.Result) string {
	limit := Millimetres(float64(r.Limit))
	switch r.Outcome {
	case decay.Holds:
		return "holds: any leak is smaller than a " + limit + " hole"
	case decay.Leaks:
		return "leaks: more than a " + limit + " hole would"
	case decay.NeverBuilt:
		if r.Warned("gone-at-once") {
			return "never built: without the supply the pressure was gone at once, so the leak is large; find it by ear"
		}
		return "never built: the pressure would not come up, so the leak is large; find it by ear"
	case decay.NoHold:
		return "no hold: the trace has no isolated stretch to judge"
	case decay.Unusable:
		return "unusable: the sensor's readings cannot be trusted"
	}
	return "undecided: whether it leaks more than a " + limit + " hole is not settled"
}

// Millimetres prints a length in metres with three significant digits, as in
// "0.84 mm"; "unknown" when it is not a finite number.
func Millimetres(metres float64) string {
	if math.IsNaN(metres) || math.IsInf(metres, 0) {
		return "unknown"
	}
	return digits3(metres/decay.Millimetre) + " mm"
}

// digits3 prints three significant digits, without an exponent unless
// v is below a ten-thousandth.
func digits3(v float64) string {
	if v == 0 {
		return "0"
	}
	if math.Abs(v) < 1e-4 {
		return strconv.FormatFloat(v, 'e', 2, 64)
	}
	prec := 2 - int(math.Floor(math.Log10(math.Abs(v))))
	prec = max(prec, 0)
	return strconv.FormatFloat(v, 'f', prec, 64)
}

// roughly prints a wait that is no better known than that: up to the next ten
// seconds, and above a minute up to the next minute.
func roughly(d time.Duration) string {
	s := d.Seconds()
	switch {
	case s <= 10:
		return "some seconds"
	case s <= 60:
		return "about " + strconv.Itoa(int(math.Ceil(s/10))*10) + " s"
	}
	return "up to " + strconv.Itoa(int(math.Ceil(s/60))) + " min"
}

// seconds prints a duration for a person: whole seconds to two minutes, then
// minutes.
func seconds(d time.Duration) string {
	s := d.Seconds()
	switch {
	case s < 10:
		return strconv.FormatFloat(s, 'f', 1, 64) + " s"
	case s < 120:
		return strconv.FormatFloat(s, 'f', 0, 64) + " s"
	}
	return strconv.FormatFloat(s/60, 'f', 0, 64) + " min"
}
