package main

import (
	"fmt"
	"math"
	"strconv"
	"strings"

	"ebbline/decay"
	"ebbline/sensor/wire"
)

// number reads a plain number, with a decimal comma too.
func number(text string) (float64, error) {
	v, ok := wire.Number(text, true)
	if !ok {
		return 0, fmt.Errorf("%.60q is no number", text)
	}
	return v, nil
}

// engineSpeed reads the speed of a running engine. One that no engine has is
// asked about, not guessed.
func engineSpeed(flag, text string) (decay.Speed, error) {
	n, err := decay.ParseSpeed(text)
	if err != nil {
		return 0, wrong("for example --"+flag+" 3000rpm, 50Hz or 314rad/s", "--%s: %w", flag, err)
	}
	if n < decay.SlowestEngine || n > decay.FastestEngine {
		v, _ := number(strings.TrimRight(text, " abcdefghijklmnopqrstuvwxyzABCDEFGHIJKLMNOPQRSTUVWXYZ/-1"))
		return 0, wrong(speedHint(v, "write the unit that was meant, as --"+flag+" %s"), "--%s: %s is %.0f rpm, which is no speed of a running engine (400 to 12000 rpm)", flag, text, n.RPM())
	}
	return n, nil
}

// speedHint names the units in which v would be the speed of an engine.
func speedHint(v float64, how string) string {
	var could []string
	example := "3000rpm"
	for _, u := range []string{"rpm", "Hz", "rad/s"} {
		f, _ := decay.ParseSpeedUnit(u)
		if n := decay.Speed(v * f); n >= 2*decay.SlowestEngine && n <= decay.FastestEngine {
			num := strconv.FormatFloat(v, 'g', 5, 64)
			if len(could) == 0 {
				example = num + u
			}
			could = append(could, fmt.Sprintf("%s %s would be %.0f rpm", num, u, n.RPM()))
		}
	}
	hint := how
	if strings.Contains(how, "%s") {
		hint = fmt.Sprintf(how, example)
	}
	if len(could) > 0 {
		hint = strings.Join(could, ", ") + "; " + hint
	}
	return hint
}

// readComplaint reads typed values or the table.
func (a *app) readComplaint(args []string, f *shortfallFlags) (*complaint, error) {
	in := &complaint{}
	var err error
	if f.unit != "" {
		if in.shown, err = parseUnit(f.unit); err != nil {
			return nil, wrong("for example --unit hPa", "--unit: %w", err)
		}
	}
	if f.ambient != "" {
		if in.set.Ambient, err = decay.ParsePressure(f.ambient); err != nil {
			return nil, wrong("write the absolute pressure with its unit, for example --ambient 95kPa", "--ambient: %w", err)
		}
		if in.set.Ambient < 40*decay.Kilopascal || in.set.Ambient > 130*decay.Kilopascal {
			return nil, wrong("ambient is absolute: about 101 kPa at the sea, 85 kPa at 1500 m; check the unit", "--ambient: %s is no pressure of the air around a workshop", f.ambient)
		}
	}
	if f.altitude != "" {
		if in.set.Altitude, err = parseAltitude(f.altitude); err != nil {
			return nil, wrong("for example --altitude 1500m or 5000ft", "--altitude: %w", err)
		}
		in.set.HasAltitude = true
	}
	if f.reads != "" && f.reads != "gauge" && f.reads != "absolute" {
		return nil, wrong("write --reads absolute or --reads gauge", "--reads: %.60q is neither", f.reads)
	}
	typed := len(f.requested) + len(f.actual) + len(f.speed)
	switch {
	case len(args) == 1 && typed > 0:
		return nil, wrong("state one of them", "both a table and --requested, --actual or --speed say what was read")
	case len(args) == 1:
		err = a.readChargeTable(args[0], f, in)
	case typed == 0:
		return nil, wrong("for example --requested 2450hPa --actual 1950hPa --speed 3000rpm, or name a table", "nothing to judge: no table, and no typed values")
	default:
		err = f.typed(in)
	}
	if err != nil {
		return nil, err
	}
	if f.off != "" {
		u := in.set.ActualUnit
		pa, unit, err := readCharge(f.off, in.set.Ambient, true)
		if err != nil {
			return nil, wrong("write what the sensor reads with its unit, for example --engine-off 1009hPa", "--engine-off: %w", err)
		}
		in.set.Off, in.set.HasOff = pa, true
		if u.Pascal == 0 {
			in.set.ActualUnit = unit
		}
	}
	if in.shown.Pascal == 0 {
		if in.shown = in.set.RequestedUnit; in.shown.Pascal == 0 {
			in.shown = decay.PressureUnit{Name: "hPa", Pascal: decay.Hectopascal}
		}
	}
	return in, nil
}

// typed reads the values of the flags.
func (f *shortfallFlags) typed(in *complaint) error {
	hint := "each speed has its --requested and its --actual: --speed 3000rpm --requested 2450hPa --actual 1950hPa"
	if f.columns != "" || f.speedUnit != "" || f.reads != "" {
		return wrong("leave it out, and write the word gauge after a pressure that is", "--columns, --speed-unit and --reads are for a table")
	}
	if len(f.requested) == 0 || len(f.speed) == 0 {
		return wrong(hint, "%d --requested, %d --actual and %d --speed are not enough", len(f.requested), len(f.actual), len(f.speed))
	}
	if len(f.requested) != len(f.speed) || len(f.actual) != len(f.speed) && (len(f.actual) > 0 || len(f.speed) > 1) {
		return wrong(hint, "%d --requested, %d --actual and %d --speed do not belong together", len(f.requested), len(f.actual), len(f.speed))
	}
	for i := range f.speed {
		r := decay.ChargeRow{Load: math.NaN()}
		var err error
		if r.Speed, err = engineSpeed("speed", f.speed[i]); err != nil {
			return err
		}
		example := "write the absolute pressure with its unit, for example --%s %shPa; after a gauge one the word gauge, with --ambient"
		if r.Requested, in.set.RequestedUnit, err = readCharge(f.requested[i], in.set.Ambient, false); err != nil {
			return wrong(fmt.Sprintf(example, "requested", "2450"), "--requested: %w", err)
		}
		if len(f.actual) > 0 {
			if r.Actual, in.set.ActualUnit, err = readCharge(f.actual[i], in.set.Ambient, false); err != nil {
				return wrong(fmt.Sprintf(example, "actual", "1950"), "--actual: %w", err)
			}
		}
		in.rows = append(in.rows, r)
	}
	return nil
}

// readCharge reads a charge pressure and its unit. One that says gauge is made
// absolute, for which the ambient must have been stated. With zero set, zero and
// below are readings too, as of a sensor on the bench.
func readCharge(text string, ambient decay.Pressure, zero bool) (decay.Pressure, decay.PressureUnit, error) {
	var u decay.PressureUnit
	if _, _, word := cutNumber(text); word != "" {
		if name, _, ok := wire.ParseUnit(word); ok {
			u, _ = decay.ParsePressureUnit(name)
		}
	}
	p, err := decay.ParsePressure(text)
	if err == nil {
		return p, u, nil
	}
	g, gErr := decay.ParseGauge(text)
	switch lower := strings.ToLower(text); {
	case gErr != nil:
		return 0, u, err
	case strings.Contains(lower, "gauge") || strings.HasSuffix(strings.TrimSpace(lower), "g"):
		if ambient == 0 {
			return 0, u, fmt.Errorf("%.60q is gauge, and becomes absolute only with the air around it: state --ambient", text)
		}
		return g.Absolute(ambient), u, nil
	case zero:
		return decay.Pressure(g), u, nil // an absolute reading that cannot be: judged later
	}
	return 0, u, err
}

// cutNumber cuts "2450 hPa abs" into number and words.
func cutNumber(text string) (num string, blank bool, words string) {
	text = strings.TrimSpace(text)
	i := strings.IndexFunc(text, func(r rune) bool { return !strings.ContainsRune("+-0123456789.,", r) })
	if i < 0 {
		return text, false, ""
	}
	rest := strings.TrimSpace(text[i:])
	return text[:i], rest != text[i:], rest
}

// parseAltitude reads the altitude of a place: -430 to 6000 m.
func parseAltitude(s string) (decay.Length, error) {
	num, _, unit := cutNumber(s)
	v, err := number(num)
	if err != nil {
		return 0, fmt.Errorf("%.60q does not start with a number", s)
	}
	switch strings.ToLower(unit) {
	case "m":
	case "km":
		v *= 1000
	case "ft":
		v *= 0.3048
	default:
		return 0, fmt.Errorf("%.60q has no known unit (known: m, km, ft)", s)
	}
	if v < -430 || v > 6000 {
		return 0, fmt.Errorf("%.60q is no place where people drive (-430 to 6000 m)", s)
	}
	return decay.Length(v), nil
}
