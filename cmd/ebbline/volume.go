package main

import (
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"math"
	"strconv"
	"strings"

	"ebbline/decay"
	"ebbline/sensor/trace"

	"github.com/spf13/cobra"
	"github.com/spf13/pflag"
)

func (a *app) volumeCommand() *cobra.Command {
	cmd := &cobra.Command{
		Use:   "volume",
		Short: "Find a duct's volume: by a jet, by a bottle, or from its dimensions",
		Long: `The size of a hole follows from the duct's volume. Volume finds it in one of
three ways, says how sure it is, and prints the words to give to hold and
measure, as --volume 9.8L±2%:

  jet     two holds, one without and one with a drilled jet of known bore open
  bottle  one hold in which the tap of a bottle of known volume is opened
  duct    bores and lengths of hoses and pipes` + "\n" + caution,
		Example: `  ebbline volume jet --jet 1.0mm --cd 0.65 without.csv with.csv
  ebbline volume bottle --bottle 2L trace.csv
  ebbline volume duct 51x600mm 63x900mm +1.2L`,
		Args: func(_ *cobra.Command, args []string) error {
			if len(args) > 0 {
				return wrong("ebbline volume jet, volume bottle or volume duct", "there is no volume %q", args[0])
			}
			return nil
		},
		RunE: func(*cobra.Command, []string) error {
			return wrong("ebbline volume jet, volume bottle or volume duct; see ebbline volume --help", "say how to find the volume")
		},
	}
	cmd.AddCommand(a.volumeJetCommand(), a.volumeBottleCommand(), a.volumeDuctCommand())
	return cmd
}

// addSensor adds the flags that say how a trace was taken, without those that
// say what is sought or judged.
func (f *setupFlags) addSensor(fs *pflag.FlagSet) {
	fs.StringVar(&f.ambient, "ambient", "", "absolute pressure around the duct, as 95kPa (default: seen by an absolute sensor, else 101.325kPa)")
	fs.StringVar(&f.ambientTemperature, "ambient-temperature", "", "as 20C, 68F or 293K (default 20C)")
	fs.StringVar(&f.reads, "reads", "", "what the sensor reads against: gauge or absolute (default: what the data says, else gauge)")
	fs.StringVar(&f.unit, "unit", "", "pressure unit, as psi, bar, kPa, where the data names none")
	fs.StringVar(&f.ceiling, "ceiling", "", "gauge pressure that was not to be passed (default 30psi)")
	fs.StringVar(&f.fullScale, "full-scale", "", "full scale of the sensor, as 30psi")
	fs.StringVar(&f.zeroTol, "zero-tolerance", "", "zero error of the sensor as a share of its full scale, as 0.5%; counts where no zero was seen")
	fs.StringVar(&f.spanTol, "span-tolerance", "", "span error of the sensor, as 1%; none assumed")
}

// series reads the trace in the file name, or - for standard input, with what
// the flags and the file say of it.
func (a *app) series(name string, f *setupFlags) (trace.Trace, decay.Setup, error) {
	set, err := f.over(decay.Setup{})
	if err != nil {
		return trace.Trace{}, set, err
	}
	var in io.Reader = a.in
	shown := "standard input"
	if name != "-" {
		file, err := openFile(name)
		if err != nil {
			return trace.Trace{}, set, err
		}
		defer file.Close()
		in, shown = file, name
	}
	if f.unit != "" {
		if _, err := parseUnit(f.unit); err != nil {
			return trace.Trace{}, set, wrong("for example --unit psi", "--unit: %w", err)
		}
	}
	opt := trace.Options{Unit: f.unit, Ambient: set.Ambient}
	if opt.Reads, err = f.reference(); err != nil {
		return trace.Trace{}, set, err
	}
	tr, err := trace.Read(in, shown, opt)
	if err != nil {
		return tr, set, err
	}
	if tr.Setup != nil { // of a record: what the flags do not say stands as it was
		if set, err = f.over(*tr.Setup); err != nil {
			return tr, set, fmt.Errorf("%s: %w", shown, err)
		}
		set.Ambient = tr.Setup.Ambient // by which its readings were made absolute
	}
	set.Reads = tr.Reads
	return tr, set, nil
}

// aside are warnings of a hold's judgement that say nothing about a volume.
var aside = map[string]bool{"no-volume": true, "compliance": true, "hold-longer": true, "smaller-volume": true, "better-sensor": true}

// found is what a volume command prints.
type found struct {
	volume   decay.Interval // m³
	base     *decay.Interval
	facts    [][2]string // further lines for a person
	extra    map[string]any
	better   string // what makes the interval narrower
	warnings []decay.Warning
}

func (v *found) warn(code, format string, args ...any) {
	text := fmt.Sprintf(format, args...)
	for _, w := range v.warnings {
		if w.Code == code && w.Text == text {
			return
		}
	}
	v.warnings = append(v.warnings, decay.Warning{Code: code, Text: text})
}

// heed takes over what a trace and its hold warn of, with the file's name
// where several were read.
func (v *found) heed(file string, r decay.Result, tr trace.Trace) {
	for _, w := range append(r.Warnings, tr.Warnings...) {
		if !aside[w.Code] {
			v.warn(w.Code, "%s: %s", file, w.Text)
		}
	}
	for _, flag := range join(r.Flags, tr.Flags) {
		switch flag {
		case decay.FlagOverCeiling, decay.FlagSaturated, decay.FlagShortHold, decay.FlagGaps:
			v.warn(string(flag), "%s: the hold is flagged %s", file, flag)
		}
	}
}

// flagValue writes an interval as --volume takes it, "9.81L±0.7%". The
// tolerance is rounded up, so that it covers the rounding of the value too.
func flagValue(iv decay.Interval) string {
	litres := iv.Value / decay.Litre
	digits := 3 - int(math.Floor(math.Log10(litres)))
	text := strconv.FormatFloat(litres, 'f', max(digits, 0), 64)
	said, _ := strconv.ParseFloat(text, 64)
	half := math.Max(iv.High/decay.Litre-said, said-iv.Low/decay.Litre) / said * 100
	step := 0.1
	if half >= 3 {
		step = 1
	}
	half = math.Min(math.Max(math.Ceil(half/step-1e-6)*step, step), 90)
	return fmt.Sprintf("%sL±%s%%", text, strings.TrimSuffix(strconv.FormatFloat(half, 'f', 1, 64), ".0"))
}

// interval4 is an interval as JSON has it.
func interval4(iv decay.Interval, unit float64) map[string]any {
	n := func(x float64) any {
		if math.IsNaN(x) || math.IsInf(x, 0) {
			return nil
		}
		return x / unit
	}
	return map[string]any{"value": n(iv.Value), "low": n(iv.Low), "high": n(iv.High), "level": iv.Level}
}

// show prints what was found, in words or as one JSON object.
func (a *app) show(v *found, asJSON bool) error {
	iv := v.volume
	if half := (iv.High - iv.Low) / 2 / iv.Value; half > 0.05 {
		v.warn("wide", "the volume is known to ±%.0f %% only: %s", half*100, v.better)
	}
	if asJSON {
		out := map[string]any{"volume_l": interval4(iv, decay.Litre), "volume_flag": flagValue(iv)}
		if v.base != nil {
			out["area_mm2"] = interval4(*v.base, decay.SquareMM)
		}
		for k, x := range v.extra {
			out[k] = x
		}
		warnings := []map[string]string{}
		for _, w := range v.warnings {
			warnings = append(warnings, map[string]string{"code": w.Code, "text": w.Text})
		}
		out["warnings"] = warnings
		b, err := json.Marshal(out)
		if err != nil {
			return err
		}
		_, err = fmt.Fprintf(a.out, "%s\n", b)
		return err
	}
	var b strings.Builder
	line := func(name, text string) { fmt.Fprintf(&b, "%-9s%s\n", name, text) }
	line("volume", fmt.Sprintf("%s L, %s to %s L at %.0f %%", digits4(iv.Value/decay.Litre), digits4(iv.Low/decay.Litre), digits4(iv.High/decay.Litre), iv.Level*100))
	for _, f := range v.facts {
		line(f[0], f[1])
	}
	for _, w := range v.warnings {
		line("caveat", w.Text)
	}
	line("use", "--volume "+flagValue(iv))
	_, err := io.WriteString(forPeople(a.out), b.String())
	return err
}

// digits4 writes x with four significant digits.
func digits4(x float64) string {
	if x == 0 || math.IsInf(x, 0) || math.IsNaN(x) {
		return strconv.FormatFloat(x, 'g', 4, 64)
	}
	return strconv.FormatFloat(x, 'f', max(3-int(math.Floor(math.Log10(math.Abs(x)))), 0), 64)
}

// split takes a tolerance off a flag's value: "1.0mm±1%".
func split(text string) (main string, tolerance float64, err error) {
	text = strings.ReplaceAll(strings.ReplaceAll(text, "+/-", "±"), "+-", "±")
	main, tol, ok := strings.Cut(text, "±")
	if !ok {
		return text, 0, nil
	}
	tolerance, err = decay.ParseRelative(tol)
	return main, tolerance, err
}

func (a *app) volumeJetCommand() *cobra.Command {
	var f setupFlags
	var jet, area, cd string
	var asJSON bool
	cmd := &cobra.Command{
		Use:   "jet [flags] WITHOUT WITH",
		Short: "Volume from two holds, one without and one with a jet of known bore open",
		Long: `Fill the duct, shut it off and hold, twice: once as it is, and once with a jet
open, which is a drilled hole of known bore. Two rates of decay then give the
volume and the duct's own leak, and no dimension of the duct is needed. The jet
should leak at least as much as the duct does by itself, and 1 mm is right for
most ducts. For the same pressure and filling both times the answer is best.

Rubber that swells is inside the volume found, as it is in a hold.`,
		Example: `  ebbline volume jet --jet 1.0mm --cd 0.65 without.csv with.csv
  ebbline volume jet --jet 1.0mm±1% --cd 0.65±3% --ambient 95kPa without.csv with.csv
  ebbline volume jet --json --jet-area 0.51mm2 without.csv with.csv`,
		Args: func(_ *cobra.Command, args []string) error {
			if len(args) != 2 {
				return wrong("name the hold without the jet first, then the one with it", "two traces are needed, but %d were named", len(args))
			}
			return nil
		},
		RunE: func(cmd *cobra.Command, args []string) error {
			at, tol, err := jetArea(jet, area, cd, cmd.Flags().Changed("cd"))
			if err != nil {
				return err
			}
			return a.volumeJet(args[0], args[1], at, tol, &f, asJSON)
		},
	}
	fs := cmd.Flags()
	fs.StringVar(&jet, "jet", "", "bore of the jet, as 1.0mm or 1.0mm±1%")
	fs.StringVar(&cd, "cd", "0.62", "discharge coefficient of the jet, as 0.65 or 0.65±3%")
	fs.StringVar(&area, "jet-area", "", "or the jet's effective area, as 0.51mm2 or 0.51mm2±2%")
	f.addSensor(fs)
	fs.BoolVar(&asJSON, "json", false, "print one JSON object")
	return cmd
}

// jetArea is the effective area that the flags say, with its relative tolerance.
func jetArea(jet, area, cd string, cdSaid bool) (decay.Area, float64, error) {
	switch {
	case jet == "" && area == "":
		return 0, 0, wrong("add the bore, for example --jet 1.0mm --cd 0.65, or --jet-area 0.51mm2", "the size of the jet is not stated")
	case jet != "" && area != "":
		return 0, 0, wrong("keep one of them", "--jet and --jet-area both state the jet's size")
	case area != "":
		if cdSaid {
			return 0, 0, wrong("leave out --cd", "--jet-area is the effective area, which has the coefficient in it already")
		}
		main, tol, err := split(area)
		if err != nil {
			return 0, 0, wrong("for example --jet-area 0.51mm2±2%", "--jet-area: %w", err)
		}
		at, err := decay.ParseArea(main)
		if err != nil {
			return 0, 0, wrong("for example --jet-area 0.51mm2", "--jet-area: %w", err)
		}
		return at, tol, checkJet(at)
	}
	main, tolBore, err := split(jet)
	if err != nil {
		return 0, 0, wrong("for example --jet 1.0mm±1%", "--jet: %w", err)
	}
	d, err := decay.ParseLength(main)
	if err != nil {
		return 0, 0, wrong("for example --jet 1.0mm", "--jet: %w", err)
	}
	main, tolCd, err := split(cd)
	if err != nil {
		return 0, 0, wrong("for example --cd 0.65±3%", "--cd: %w", err)
	}
	c, err := strconv.ParseFloat(strings.Replace(main, ",", ".", 1), 64)
	if err != nil || !(c >= 0.3 && c <= 1) {
		return 0, 0, wrong("0.62 for a sharp edge, up to 0.98 for a rounded nozzle", "--cd: %q is no discharge coefficient (0.3 to 1)", cd)
	}
	at := decay.Area(c * float64(decay.CircleArea(d)))
	return at, math.Hypot(2*tolBore, tolCd), checkJet(at)
}

func checkJet(at decay.Area) error {
	if at < 1e-3*decay.SquareMM || at > 200*decay.SquareMM {
		return wrong("usual jets have a bore of 0.5 to 3 mm; check the unit", "a jet of %.3g mm² effective area is none for a duct", float64(at)/decay.SquareMM)
	}
	return nil
}

// whyNot puts what to do beside an error of finding a volume.
func whyNot(err error) error {
	for _, h := range []struct {
		is   error
		hint string
	}{
		{decay.ErrNotMore, "are the two files swapped? name the hold without the jet first; or take a larger jet, or look whether it is blocked"},
		{decay.ErrNoStep, "record one trace: fill, isolate, wait 20 s, open the tap of the bottle, wait 20 s more; the step must be at least 2 % of the pressure"},
		{decay.ErrNoVolume, "the bottle has to be at ambient pressure when its tap is opened, and stay open"},
		{decay.ErrNoHold, "a trace needs a fill, then at least 20 s of hold with the supply shut"},
	} {
		if errors.Is(err, h.is) {
			return wrong(h.hint, "%w", err)
		}
	}
	return err
}

func (a *app) volumeJet(without, with string, jet decay.Area, tolerance float64, f *setupFlags, asJSON bool) error {
	if without == "-" && with == "-" {
		return wrong("name - once", "standard input was named twice")
	}
	first, set, err := a.series(without, f)
	if err != nil {
		return err
	}
	second, set2, err := a.series(with, f)
	if err != nil {
		return err
	}
	if set.Reads != set2.Reads {
		return wrong("record both holds with the same sensor, or say --reads", "%s reads %v and %s reads %v pressure", without, set.Reads, with, set2.Reads)
	}
	if set.Ambient != set2.Ambient && set.Ambient > 0 && set2.Ambient > 0 && math.Abs(float64(set.Ambient-set2.Ambient)) > 500 {
		return wrong("make both holds on the same day and at the same place", "ambient was %.1f kPa in %s and %.1f kPa in %s", float64(set.Ambient)/1e3, without, float64(set2.Ambient)/1e3, with)
	}
	r, err := decay.FindVolumeByJet(set, jet, tolerance, first.Samples, second.Samples)
	if err != nil {
		return whyNot(fmt.Errorf("%s and %s: %w", without, with, err))
	}
	v := found{volume: r.Volume, base: &r.Base, better: "hold longer, or use a larger jet"}
	v.heed(without, r.Without, first)
	v.heed(with, r.With, second)
	if set.AmbientTemperature == 0 {
		v.warn("temperature-assumed", "the temperature around was not stated: 20 °C was assumed, and 10 K more make the volume 1.7 %% larger")
	}
	cd := decay.DefaultCd
	hole := func(area float64) string {
		return strconv.FormatFloat(float64(decay.EquivalentHole(decay.Area(area), cd))/decay.Millimetre, 'f', 3, 64)
	}
	v.facts = [][2]string{
		{"jet", fmt.Sprintf("%s mm² effective", digits4(float64(jet)/decay.SquareMM))},
		{"leak", fmt.Sprintf("%s mm² effective without the jet, %s to %s mm² at %.0f %%, like a hole of %s mm (Cd %.2f)",
			digits4(r.Base.Value/decay.SquareMM), digits4(r.Base.Low/decay.SquareMM), digits4(r.Base.High/decay.SquareMM), r.Base.Level*100, hole(r.Base.Value), cd)},
	}
	v.extra = map[string]any{"files": []string{without, with}, "jet_mm2": float64(jet) / decay.SquareMM}
	return a.show(&v, asJSON)
}

func (a *app) volumeBottleCommand() *cobra.Command {
	var f setupFlags
	var bottle string
	var asJSON bool
	cmd := &cobra.Command{
		Use:   "bottle [flags] TRACE",
		Short: "Volume from a hold in which the tap of a bottle of known volume is opened",
		Long: `Connect a bottle with a tap to the duct, the tap shut and the bottle at ambient
pressure. Fill the duct, isolate it, wait some 20 s, open the tap and leave it
open for 20 s more. The fall of pressure gives the duct's volume; its leak and
the heat that moves are found from both sides of the step.

The bottle counts with its hose up to the tap, and must be rated for the
pressure. A bottle of a fifth to a half of the duct is best.`,
		Example: `  ebbline volume bottle --bottle 2L trace.csv
  ebbline volume bottle --bottle 2.05L±1% --ambient 95kPa trace.csv
  ebbline volume bottle --json --bottle 120in3 trace.csv`,
		Args: func(_ *cobra.Command, args []string) error {
			if len(args) != 1 {
				return wrong("name one trace, or - for standard input", "one trace is needed, but %d were named", len(args))
			}
			return nil
		},
		RunE: func(_ *cobra.Command, args []string) error {
			if bottle == "" {
				return wrong("for example --bottle 2L", "the volume of the bottle is not stated")
			}
			vb, tol, err := decay.ParseVolume(bottle)
			if err != nil {
				return wrong("write a number and a unit, for example --bottle 2L", "--bottle: %w", err)
			}
			return a.volumeBottle(args[0], vb, tol, &f, asJSON)
		},
	}
	fs := cmd.Flags()
	fs.StringVar(&bottle, "bottle", "", "volume of the bottle up to its tap, as 2L or 2L±1%")
	f.addSensor(fs)
	fs.BoolVar(&asJSON, "json", false, "print one JSON object")
	return cmd
}

func (a *app) volumeBottle(name string, bottle decay.Volume, tolerance float64, f *setupFlags, asJSON bool) error {
	tr, set, err := a.series(name, f)
	if err != nil {
		return err
	}
	r, err := decay.FindVolumeByBottle(set, bottle, tolerance, tr.Samples)
	if err != nil {
		return whyNot(fmt.Errorf("%s: %w", name, err))
	}
	v := found{volume: r.Volume, better: "hold longer on both sides of the step, or use a larger bottle"}
	v.heed(name, r.Hold, tr)
	if r.Volume.Value < float64(bottle) {
		v.warn("large-bottle", "the bottle of %s L is larger than the duct found: check --bottle, and that nothing else changed the pressure", digits4(float64(bottle)/decay.Litre))
	}
	u := (*chosen)(nil).unitOf(tr, f)
	v.facts = [][2]string{{"step", fmt.Sprintf("tap opened at %.1f s: from %s to %s", r.OpenedAt.Seconds(), r.Before.Format(u), r.After.Format(u))}}
	v.extra = map[string]any{
		"file": name, "bottle_l": float64(bottle) / decay.Litre,
		"step": map[string]any{"at_s": r.OpenedAt.Seconds(), "before_kpa_gauge": float64(r.Before) / 1e3, "after_kpa_gauge": float64(r.After) / 1e3},
	}
	return a.show(&v, asJSON)
}

func (a *app) volumeDuctCommand() *cobra.Command {
	var asJSON bool
	cmd := &cobra.Command{
		Use:   "duct [flags] PART...",
		Short: "Volume from bores and lengths",
		Long: `Each part is a hose or pipe, bore x length with a unit (mm, cm, m, in); a cone
from one bore to another, as 51-63x200mm; or a volume that is known, as a
cooler's, +1.2L. Measure the inner bore, and lengths along the middle of bends.

A tolerance may stand behind each number (51±0.5x600±5mm) or behind the whole
(51x600mm±3%, +1.2L±5%). Where none is written, ±0.5 mm of a bore, ±5 mm of a
length and ±5 % of a volume are assumed.`,
		Example: `  ebbline volume duct 51x600mm 63x900mm +1.2L
  ebbline volume duct 2inx24in 51-63x200mm 63±0.5x900±5mm +1.2L±10%
  ebbline volume duct --json 51x600mm`,
		RunE: func(_ *cobra.Command, args []string) error {
			if len(args) == 0 {
				return wrong("for example ebbline volume duct 51x600mm 63x900mm +1.2L", "no part is named")
			}
			var parts []decay.Piece
			v := found{extra: map[string]any{}, better: "measure the bores better, as they count twice, or find the volume with a jet"}
			var list []map[string]any
			assumed := false
			for _, s := range args {
				p, err := decay.ParsePiece(s)
				if err != nil {
					return wrong("write bore x length, as 51x600mm, a cone, as 51-63x200mm, or a volume, as +1.2L", "%w", err)
				}
				parts = append(parts, p)
				assumed = assumed || p.Assumed
				v.facts = append(v.facts, [2]string{"part", fmt.Sprintf("%-18s %s L ± %s", p.Text, digits4(float64(p.Volume)/decay.Litre), strconv.FormatFloat(float64(p.HalfOf)/decay.Litre, 'g', 2, 64))})
				list = append(list, map[string]any{"part": p.Text, "volume_l": float64(p.Volume) / decay.Litre, "half_width_l": float64(p.HalfOf) / decay.Litre})
			}
			v.volume = decay.SumOfPieces(parts)
			v.extra["parts"] = list
			if assumed {
				v.warn("tolerance-assumed", "where no tolerance was written, ±0.5 mm of a bore, ±5 mm of a length and ±5 %% of a volume were assumed")
			}
			text, whole := strings.Join(args, " "), decay.Volume(v.volume.Value)
			if whole > largestDuct {
				return wrong(inMillimetres(text, whole), "the parts hold %.4g L, which is no duct", v.volume.Value/decay.Litre)
			}
			if whole > largeDuct {
				v.warn("large", "%.4g L is much: %s", v.volume.Value/decay.Litre, inMillimetres(text, whole))
			}
			return a.show(&v, asJSON)
		},
	}
	cmd.Flags().BoolVar(&asJSON, "json", false, "print one JSON object")
	return cmd
}
