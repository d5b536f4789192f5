package main

import (
	"encoding/json"
	"fmt"
	"io"
	"math"
	"strconv"
	"strings"

	"ebbline/decay"

	"github.com/spf13/cobra"
)

// planFlags say what is planned beside the set-up.
type planFlags struct {
	setupFlags
	bits            int
	noise, pressure string
	rate, seconds   float64
	psi             decay.PressureUnit // in which pressures are shown
}

func (a *app) planCommand() *cobra.Command {
	f := planFlags{psi: decay.PressureUnit{Name: "psi", Pascal: decay.PSI}}
	var asJSON bool
	cmd := &cobra.Command{
		Use:   "plan",
		Short: "What this sensor, duct and hold could resolve, and what to change first",
		Long: `Plan works out, before anything is bought or filled, the smallest hole that a
test could tell from none, how well a hole of the limit's size would be known,
and after how many seconds of watching a verdict would come. Then it says what
limits that, and what each change would bring.

It is the smallest error that any estimate can have with such readings (the
Cramér–Rao bound), with what settling, rubber and the stated tolerances add. The
air is taken as warm from an ordinary fill: 20 K above the wall at isolation,
settling with a time constant of 9 s. The sensor is one that gives 0.5 to 4.5 V
of 5 V, so that its full scale is 0.8 of the converter's range.`,
		Example: `  ebbline plan
  ebbline plan --full-scale 30psi --bits 10 --noise 0.02psi --rate 20
  ebbline plan --volume 4L --limit 0.2mm --compliance 0% --seconds 60
  ebbline plan --json --volume 10L±5%`,
		Args: noArguments,
		RunE: func(*cobra.Command, []string) error {
			p, err := f.plan()
			if err != nil {
				return err
			}
			return a.plan(p, &f, asJSON)
		},
	}
	fs := cmd.Flags()
	fs.StringVar(&f.fullScale, "full-scale", "50psi", "full scale of the sensor")
	fs.IntVar(&f.bits, "bits", 12, "of the converter that reads it, 6 to 24")
	fs.StringVar(&f.noise, "noise", "0.01psi", "standard deviation of one reading at rest")
	fs.Float64Var(&f.rate, "rate", 50, "readings per second")
	fs.StringVar(&f.volume, "volume", "10L", "volume of the duct, with its tolerance if known, as 10L±3%")
	fs.StringVar(&f.pressure, "pressure", "25psi", "gauge pressure at isolation")
	fs.Float64Var(&f.seconds, "seconds", 30, "length of the hold")
	fs.StringVar(&f.limit, "limit", "", "hole diameter the verdict is against (default 0.5mm)")
	fs.StringVar(&f.ambient, "ambient", "", "absolute pressure around the duct (default 101.325kPa)")
	fs.StringVar(&f.ambientTemperature, "ambient-temperature", "", "as 20C, 68F or 293K (default 20C)")
	fs.StringVar(&f.ceiling, "ceiling", "", "gauge pressure never to be passed (default 30psi)")
	fs.StringVar(&f.compliance, "compliance", "", "share by which rubber may swell the volume; 0% means rigid (default 2%)")
	fs.StringVar(&f.zeroTol, "zero-tolerance", "", "zero error as a share of full scale, for holds whose zero is not seen before the fill")
	fs.StringVar(&f.spanTol, "span-tolerance", "", "span error of the sensor, as 1%; none assumed")
	fs.BoolVar(&asJSON, "json", false, "print one JSON object")
	return cmd
}

// plan reads the flags.
func (f *planFlags) plan() (decay.Plan, error) {
	set, err := f.over(decay.Setup{})
	if err != nil {
		return decay.Plan{}, err
	}
	p := decay.Plan{Setup: set, Rate: f.rate, Seconds: f.seconds}
	if p.Pressure, err = decay.ParseGauge(f.pressure); err != nil {
		return p, wrong("for example --pressure 25psi", "--pressure: %w", err)
	}
	noise, err := decay.ParseGauge(f.noise)
	if err != nil {
		return p, wrong("for example --noise 0.01psi", "--noise: %w", err)
	}
	p.Noise = float64(noise)
	ceiling := set.WithDefaults().Ceiling
	switch {
	case p.Pressure < 1*decay.Kilopascal:
		return p, wrong("usual holds start at 15 to 25 psi gauge", "--pressure: %s is too little to hold", f.pressure)
	case p.Pressure > ceiling:
		return p, wrong("lower --pressure; follow the lowest-rated part", "--pressure: %s is above the ceiling of %s", f.pressure, ceiling.Format(f.psi))
	case float64(p.Pressure) > set.FullScale:
		return p, wrong("lower --pressure, or plan with a sensor that reaches higher", "--pressure: %s is above the sensor's full scale of %s", f.pressure, f.fullScale)
	case !(p.Noise >= 0) || p.Noise > 0.1*set.FullScale:
		return p, wrong("look at the readings at rest: usual is 0.02 to 0.1 % of full scale", "--noise: %s is no sensor's noise", f.noise)
	case f.bits < 6 || f.bits > 24:
		return p, wrong("10 to 16 are usual", "--bits: %d is no converter's", f.bits)
	case !(f.rate >= 0.01 && f.rate <= 1e5):
		return p, wrong("10 to 1000 readings per second are usual", "--rate: %g is no rate of readings per second", f.rate)
	case !(f.seconds >= 3 && f.seconds <= 86400):
		return p, wrong("10 to 120 s are usual", "--seconds: %g is no length of a hold", f.seconds)
	case f.seconds*f.rate < 10:
		return p, wrong("read faster, or hold longer", "--rate: %g per second for %g s are %.0f readings, too few to plan with", f.rate, f.seconds, f.seconds*f.rate)
	}
	p.Step = set.FullScale / (spanOfRange * math.Exp2(float64(f.bits)))
	return p, nil
}

// spanOfRange is the part of a converter's range that a transducer's full scale
// takes: 0.5 to 4.5 V of 5 V.
const spanOfRange = 0.8

// holeText is a diameter for people.
func holeText(d decay.Length) string {
	if math.IsInf(float64(d), 0) || d > 100*decay.Millimetre {
		return "none"
	}
	return strconv.FormatFloat(math.Round(float64(d)/decay.Millimetre*1000)/1000, 'f', 3, 64) + " mm"
}

func secondsText(s float64) string {
	if math.IsInf(s, 0) {
		return "never"
	}
	return strconv.FormatFloat(s, 'f', 0, 64) + " s"
}

// optionWords says what an option of p changes, and with which flag.
func (f *planFlags) optionWords(p decay.Plan, o decay.Option) (words, flag string) {
	num := func(x float64) string { return strconv.FormatFloat(x, 'g', 3, 64) }
	switch o.Name {
	case "seconds":
		return "hold twice as long", "--seconds " + num(o.Plan.Seconds)
	case "volume":
		return "block off half of the volume", "--volume " + num(float64(o.Plan.Volume)/decay.Litre) + "L"
	case "pressure":
		return "fill to just below the warning band", "--pressure " + num(float64(o.Plan.Pressure)/decay.PSI) + "psi"
	case "noise":
		return "halve the noise", "--noise " + num(o.Plan.Noise/decay.PSI) + "psi"
	case "bits":
		return "4 bits more", "--bits " + strconv.Itoa(f.bits+4)
	case "rate":
		return "read faster", "--rate " + num(o.Plan.Rate)
	case "compliance":
		return "stiffer hoses, or fewer of them", "--compliance " + num(o.Plan.Compliance*100) + "%"
	case "zero":
		return "see the zero before the fill", "without --zero-tolerance"
	}
	return o.Name, ""
}

var causeWords = map[string]string{
	"noise":    "noise of the readings",
	"steps":    "steps of the converter",
	"settling": "air that still settles",
	"rubber":   "rubber that creeps",
	"zero":     "a zero that is not seen",
}

func (a *app) plan(p decay.Plan, f *planFlags, asJSON bool) error {
	r, causes, options := p.Resolve(), p.Causes(), p.Options()
	set := p.Setup.WithDefaults()
	if f.bits > 20 { // a converter of that many bits gains nothing from more
		kept := options[:0]
		for _, o := range options {
			if o.Name != "bits" {
				kept = append(kept, o)
			}
		}
		options = kept
	}
	if asJSON {
		return a.planJSON(p, f, r, causes, options)
	}
	var b strings.Builder
	line := func(name, format string, args ...any) {
		fmt.Fprintf(&b, "%-11s%s\n", name, fmt.Sprintf(format, args...))
	}
	line("set-up", "%s from %s, %s s, ambient %s", f.volume, p.Pressure.Format(f.psi), strconv.FormatFloat(p.Seconds, 'g', 4, 64), set.NominalAmbient().Format(decay.PressureUnit{Name: "kPa", Pascal: decay.Kilopascal}))
	line("sensor", "%s full scale, %d bits (steps of %.3g psi), noise %.3g psi, %g readings a second", f.fullScale, f.bits, p.Step/decay.PSI, p.Noise/decay.PSI, p.Rate)
	line("resolves", "a hole of %s: told from none in 95 of 100 holds (Cd %.2f)", holeText(r.Smallest), set.Cd)
	low := holeText(r.LimitLow)
	if r.LimitLow <= 0 {
		low = "0 mm"
	}
	line("limit", "a hole of %s would be known as %s to %s", holeText(set.Limit), low, holeText(r.LimitHigh))
	line("verdict", "a tight duct holds after %s, a hole of twice the limit leaks after %s", secondsText(r.ToHold), secondsText(r.ToLeak))
	b.WriteString("\nwhat limits it, each alone\n")
	for _, c := range causes {
		fmt.Fprintf(&b, "  %-36s%9s\n", causeWords[c.Name], holeText(c.Alone))
	}
	fmt.Fprintf(&b, "\n%-38s%9s%8s%8s\n", "what to change first", "smallest", "holds", "leaks")
	for _, o := range options {
		words, flag := f.optionWords(p, o)
		fmt.Fprintf(&b, "  %-36s%9s%8s%8s  %s\n", words, holeText(o.Smallest), secondsText(o.ToHold), secondsText(o.ToLeak), flag)
	}
	_, err := io.WriteString(forPeople(a.out), b.String())
	return err
}

func (a *app) planJSON(p decay.Plan, f *planFlags, r decay.Resolution, causes []decay.Cause, options []decay.Option) error {
	n := func(x float64) any {
		if math.IsInf(x, 0) || math.IsNaN(x) {
			return nil
		}
		return x
	}
	mm := func(d decay.Length) any { return n(float64(d) / decay.Millimetre) }
	set := p.Setup.WithDefaults()
	var limits, changes []map[string]any
	for _, c := range causes {
		limits = append(limits, map[string]any{"code": c.Name, "text": causeWords[c.Name], "hole_mm": mm(c.Alone)})
	}
	for _, o := range options {
		words, flag := f.optionWords(p, o)
		changes = append(changes, map[string]any{
			"code": o.Name, "text": words, "flag": flag, "smallest_hole_mm": mm(o.Smallest),
			"seconds_to_hold": n(o.ToHold), "seconds_to_leak": n(o.ToLeak),
		})
	}
	out := map[string]any{
		"smallest_hole_mm": mm(r.Smallest), "level": 0.95, "cd": set.Cd,
		"limit_mm": mm(set.Limit), "limit_hole_mm": map[string]any{"value": mm(set.Limit), "low": mm(r.LimitLow), "high": mm(r.LimitHigh), "level": 0.95},
		"seconds_to_hold": n(r.ToHold), "seconds_to_leak": n(r.ToLeak),
		"limited_by": limits, "changes": changes,
		"given": map[string]any{
			"volume_l": float64(p.Volume) / decay.Litre, "start_kpa_gauge": float64(p.Pressure) / 1e3, "seconds": p.Seconds, "rate_hz": p.Rate,
			"noise_kpa": p.Noise / 1e3, "step_kpa": p.Step / 1e3, "full_scale_kpa": set.FullScale / 1e3, "ambient_kpa": float64(set.NominalAmbient()) / 1e3,
		},
	}
	b, err := json.Marshal(out)
	if err != nil {
		return err
	}
	_, err = fmt.Fprintf(a.out, "%s\n", b)
	return err
}
