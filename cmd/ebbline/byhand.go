package main

import (
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"math"
	"slices"
	"strconv"
	"strings"
	"time"

	"ebbline/decay"
	"ebbline/decay/report"
	"ebbline/tui"

	"github.com/spf13/pflag"
)

// handFlags are the flags of a hold that is read by eye.
type handFlags struct {
	on       bool
	division string
	every    time.Duration
	fs       *pflag.FlagSet
}

func (f *handFlags) add(fs *pflag.FlagSet) {
	f.fs = fs
	fs.BoolVar(&f.on, "by-hand", false, "readings are typed from a dial or a tyre gauge: no sensor is needed")
	fs.StringVar(&f.division, "division", "", "with --by-hand: step between two marks of the dial, as 0.5psi; the screen asks for it")
	fs.DurationVar(&f.every, "every", 10*time.Second, "with --by-hand: time between the beeps at which the dial is read")
}

// misplaced reports a flag of a hold by hand that was given without it.
func (f *handFlags) misplaced() error {
	for _, name := range []string{"division", "every"} {
		if f.fs != nil && f.fs.Changed(name) {
			return wrong("add --by-hand, or leave it out", "--%s is for a dial that is read by eye", name)
		}
	}
	return nil
}

// byHand runs a hold whose readings are typed.
func (a *app) byHand(ctx context.Context, f *holdFlags) error {
	headless := f.plain || f.asJSON || !isTerminal(a.out)
	switch {
	case f.port != "" || f.modbus != "" || f.profile != "" && f.profile != noProfile || f.rig.given():
		return wrong("leave out --port, --profile, --modbus and the simulated rig's flags", "--by-hand reads no sensor")
	case f.reads == "absolute":
		return wrong("leave out --reads", "a dial reads gauge pressure")
	case f.length != 0 || f.untilVerdict:
		return wrong("end it with the word end, or the end of the input", "--for and --until-verdict are for a sensor")
	case f.hand.every < 2*time.Second || f.hand.every > time.Hour:
		return wrong("for example --every 10s", "--every: %v is not 2 s to 1 h", f.hand.every)
	}
	set, err := f.over(decay.Setup{})
	if err != nil {
		return err
	}
	unit := f.shown("psi")
	if f.hand.division != "" {
		text := f.hand.division
		if v, err := strconv.ParseFloat(strings.Replace(text, ",", ".", 1), 64); err == nil {
			text = strconv.FormatFloat(v, 'g', -1, 64) + unit.Name
		} else if word := strings.TrimLeft(text, "0123456789., "); f.unit == "" {
			if u, err := parseUnit(word); err == nil {
				unit = u // of the dial
			}
		}
		if set.Division, err = decay.ParseGauge(text); err != nil {
			return wrong("for example --division 0.5psi", "--division: %w", err)
		}
		if set.Division <= 0 || set.Division > decay.Bar {
			return wrong("for example --division 0.5psi", "--division: %s is no division of a dial for this test", f.hand.division)
		}
	}
	earlier, ago, err := f.earlierByHand(&set)
	if err != nil {
		return err
	}
	if headless && set.Division == 0 {
		return wrong("add the step between two marks of the dial, for example --division 0.5psi", "without the screen --by-hand needs --division")
	}
	look, err := f.look.look()
	if err != nil {
		return err
	}
	h := &handHold{label: f.label, dir: f.book, unit: unit, reopened: f.reopen}
	if headless {
		if err := h.begin(set); err != nil {
			return err
		}
		return a.byHandPlain(ctx, f, h, set, earlier, ago)
	}
	r, err := tui.RunByHand(ctx, tui.HandOptions{
		Setup: set, Unit: unit, Every: f.hand.every, Earlier: earlier, Ago: ago, Title: f.label, Bell: f.bell, Look: look,
		Begin: h.begin, Keep: h.keep, Save: h.save, Gain: func(r decay.Result) string { return gainOf(h.set, r) },
	})
	if h.page != nil {
		if r.Samples == 0 {
			h.page.discard()
		} else {
			a.tellTypedKept(h)
		}
	}
	return err
}

// tellTypedKept says where a hold by hand is kept, and how to go on with one
// that ended under pressure.
func (a *app) tellTypedKept(h *handHold) {
	path := h.page.recordPath
	a.tellPath(path, h.lost)
	if rec, err := openRecord(path); h.lost == nil && err == nil && rec.Unended {
		fmt.Fprintf(a.err, "ebbline: the duct was still under pressure; --by-hand --reopen %s goes on with the hold\n", path)
	}
}

// typedLine is one line of a hold without the screen.
type typedLine struct {
	text string
	n    int
	came time.Time
}

// byHandPlain takes readings line by line: a pressure, stamped as it comes, or
// seconds and a pressure; undo takes the last one back, end finishes.
func (a *app) byHandPlain(ctx context.Context, f *holdFlags, h *handHold, set decay.Setup, earlier []tui.DialReading, ago time.Duration) error {
	fmt.Fprintf(a.err, "ebbline: read by eye, %s gauge; a relief valve is the protection, not this program\n", h.unit.Name)
	a.tellLimit(set)
	prompts := isTerminal(a.in) && !f.asJSON
	if prompts {
		fmt.Fprintf(a.err, "ebbline: fill, shut the valve, then type what the dial shows at each beep and press Enter; undo takes the last one back, end finishes\n")
	}
	lines, failed := make(chan typedLine), make(chan error, 1)
	stop := make(chan struct{})
	defer close(stop)
	go func() {
		defer close(lines)
		n := 0
		failed <- typedLines(a.in, func(text string, cut bool) bool {
			if cut {
				text = "(a long line)"
			}
			n++
			select {
			case lines <- typedLine{text, n, time.Now()}:
				return true
			case <-stop:
				return false
			}
		})
	}()

	run := tui.NewHandRun(set)
	var began time.Time
	for _, r := range earlier {
		if err := run.Add(r); err != nil {
			return wrong("begin a new hold", "--reopen: %s: %w", f.reopen, err)
		}
		began = time.Now().Add(-ago)
	}
	var back []tui.DialReading
	bad, badFirst := 0, ""
	timedAll, stamped := false, false
	beep := time.NewTicker(f.hand.every)
	defer beep.Stop()
	var errKeep error
	note := func(err error) {
		if err != nil && errKeep == nil {
			errKeep = err
			fmt.Fprintf(a.err, "ebbline: %v\n", err)
		}
	}
	take := func(l typedLine) (end bool) {
		word := strings.ToLower(strings.TrimSpace(l.text))
		switch {
		case word == "" || strings.HasPrefix(word, "#"):
			return false
		case word == "end" || word == "e":
			return true
		case word == "undo" || word == "z" || strings.HasPrefix(word, "undo "):
			i, text := len(run.Readings())-1, strings.TrimSpace(strings.TrimPrefix(word, "undo"))
			if at, ok := parseMoment(text); ok {
				i = slices.IndexFunc(run.Readings(), func(r tui.DialReading) bool { return (r.At - at).Abs() < time.Second/2 })
			} else if word != "undo" && word != "z" {
				i = -1
			}
			if r, ok := run.TakeBack(i); !ok {
				fmt.Fprintf(a.err, "ebbline: line %d: there is no such reading to take back; undo takes the last one, undo 30 the one at 30 s\n", l.n)
			} else {
				back = append(back, r)
				fmt.Fprintf(a.err, "ebbline: taken back: %s at %g s\n", r.P.Format(h.unit), r.At.Seconds())
				note(h.keep(run.Readings(), back))
			}
			return false
		}
		r, timed, err := parseTyped(word, h.unit)
		switch {
		case err != nil:
		case timed && stamped || !timed && timedAll:
			err = errors.New("either each line has its seconds, or none has")
		case timed:
			timedAll = true
		default:
			if began.IsZero() {
				began = l.came
			}
			stamped = true
			r.At = l.came.Sub(began)
		}
		odd := ""
		if err == nil {
			odd, err = run.Misfit(r, h.unit), run.Add(r)
		}
		if err != nil {
			bad++
			text := fmt.Sprintf("line %d: %v", l.n, err)
			if badFirst == "" {
				badFirst = text
			}
			fmt.Fprintf(a.err, "ebbline: %s; write a pressure, as 25.5, or seconds and a pressure, as 12 25.5\n", text)
			return false
		}
		if prompts {
			beep.Reset(f.hand.every)
		}
		if odd != "" {
			fmt.Fprintf(a.err, "ebbline: warning: line %d: %s; undo takes it back\n", l.n, odd)
		}
		note(h.keep(run.Readings(), back))
		if f.asJSON {
			tellTypedJSON(a.out, run, r, h.unit)
		} else {
			tellTyped(forPeople(a.out), run, r, h.unit)
		}
		return false
	}
	var errIn error
wait:
	for {
		select {
		case <-ctx.Done():
			break wait
		case l, ok := <-lines:
			if !ok {
				errIn = <-failed
				break wait
			}
			if take(l) {
				break wait
			}
		case <-beep.C:
			if prompts && len(run.Readings()) > 0 {
				fmt.Fprint(bare(a.err), "\aread the dial now: ")
			}
		}
	}
	began0 := time.Now()
	r := run.Finish()
	if bad > 0 {
		r.Flags = join(r.Flags, []decay.Flag{decay.FlagBadRows})
		r.Warnings = append(r.Warnings, decay.Warning{Code: "bad-rows", Text: fmt.Sprintf("lines that could not be taken as readings: %d, the first: %s", bad, badFirst)})
	}
	if list := run.Readings(); stamped && len(list) > 2 && list[len(list)-1].At < time.Second {
		r.Warnings = append(r.Warnings, decay.Warning{Code: "at-once", Text: "all readings came within a second: write the seconds before each, as 12 25.5"})
	}
	_, err := h.save(r)
	in := report.Input{File: dialSource, Result: r, Elapsed: time.Since(began0)}
	if f.asJSON {
		err = errors.Join(err, report.JSON(a.out, in))
	} else {
		err = errors.Join(err, report.Text(forPeople(a.out), in, h.unit))
		fmt.Fprintf(a.out, "  by hand    %s\n", gainOf(set, r))
	}
	a.tellTypedKept(h)
	a.status = worse(a.status, statusOf(r.Outcome))
	if errIn != nil {
		errIn = wrong("lines of the input are short", "standard input: %w", errIn)
	}
	return errors.Join(err, errIn)
}

// tellTyped prints a reading and where the hold stands.
func tellTyped(w io.Writer, run *tui.HandRun, r tui.DialReading, u decay.PressureUnit) {
	res := run.State().Result
	found := ""
	if res.HasFit && res.HasVolume {
		found = fmt.Sprintf("  hole %s (%s to %s)", report.Millimetres(res.Hole.Value), report.Millimetres(res.Hole.Low), report.Millimetres(res.Hole.High))
	}
	fmt.Fprintf(w, "%6.1f s  %s  %s%s  %s\n", r.At.Seconds(), r.P.Format(u), liveOutcome(run.State()), found, run.HandSentence(u))
}

// tellTypedJSON prints the same as an object with the keys of a live hold.
func tellTypedJSON(w io.Writer, run *tui.HandRun, r tui.DialReading, u decay.PressureUnit) {
	type span struct {
		Value float64  `json:"value"`
		Low   float64  `json:"low"`
		High  *float64 `json:"high"`
		Level float64  `json:"level"`
		Cd    float64  `json:"cd"`
	}
	st := run.State()
	res := st.Result
	line := struct {
		T        float64  `json:"t_s"`
		P        float64  `json:"kpa_gauge"`
		Phase    string   `json:"phase"`
		Outcome  string   `json:"outcome"`
		Hole     *span    `json:"hole_mm"`
		Decay    *float64 `json:"decay_per_s"`
		ToDecide *float64 `json:"seconds_to_decide"`
		Over     bool     `json:"over_ceiling"`
		Text     string   `json:"text"`
	}{T: r.At.Seconds(), P: float64(r.P) / decay.Kilopascal, Phase: st.Phase.String(), Outcome: liveOutcome(st).String(), Over: st.OverCeiling, Text: run.HandSentence(u)}
	if res.HasFit {
		line.Decay = finite(res.Rate.Value)
		if v, low := finite(res.Hole.Value/decay.Millimetre), finite(res.Hole.Low/decay.Millimetre); res.HasVolume && v != nil && low != nil {
			line.Hole = &span{*v, *low, finite(res.Hole.High / decay.Millimetre), res.Hole.Level, res.Cd}
		}
	}
	if res.HasDecide {
		line.ToDecide = finite(res.ToDecide.Seconds())
	}
	if b, err := json.Marshal(line); err == nil {
		fmt.Fprintf(w, "%s\n", b)
	}
}

// parseTyped reads "25.5", "25.5 psi", "12 25.5" or "1:20 25.5psi".
func parseTyped(text string, u decay.PressureUnit) (r tui.DialReading, timed bool, err error) {
	words := strings.FieldsFunc(text, func(c rune) bool { return c == ' ' || c == '\t' || c == ';' })
	if len(words) > 1 {
		if at, ok := parseMoment(words[0]); ok {
			if _, err := tui.ParseDial(strings.Join(words[1:], " "), u); err == nil {
				r.At, timed, words = at, true, words[1:]
			}
		}
	}
	r.P, err = tui.ParseDial(strings.Join(words, " "), u)
	return r, timed, err
}

// parseMoment reads seconds, or minutes and seconds as 1:20.
func parseMoment(text string) (time.Duration, bool) {
	min, sec, colon := strings.Cut(text, ":")
	if !colon {
		min, sec = "0", text
	}
	m, errM := strconv.Atoi(min)
	s, errS := strconv.ParseFloat(strings.Replace(sec, ",", ".", 1), 64)
	if errM != nil || errS != nil || m < 0 || m > 6000 || !(s >= 0) || s > 360000 || colon && s >= 60 {
		return 0, false
	}
	return time.Duration(m)*time.Minute + time.Duration(math.Round(s*1e9)), true
}
