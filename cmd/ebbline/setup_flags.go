package main

import (
	"fmt"
	"strings"

	"ebbline/decay"

	"github.com/spf13/pflag"
)

// setupFlags are the flags that say what is known about a test.
type setupFlags struct {
	volume, ambient, ambientTemperature string
	ceiling, limit                      string
	fullScale, zeroTol, spanTol         string
	compliance                          string
	reads, unit                         string
	of                                  string
}

func (f *setupFlags) add(fs *pflag.FlagSet) {
	fs.StringVar(&f.volume, "volume", "", "volume of the duct, as 10L, 10L±3%, 9500cm3, 600in3, 0.35ft3, or bores and lengths as \"51x600mm 63x900mm +1.2L\"; without it no hole size")
	fs.StringVar(&f.ambient, "ambient", "", "absolute pressure around the duct, as 95kPa (default: seen by an absolute sensor, else 101.325kPa)")
	fs.StringVar(&f.ambientTemperature, "ambient-temperature", "", "as 20C, 68F or 293K (default 20C)")
	fs.StringVar(&f.reads, "reads", "", "what the sensor reads against: gauge or absolute (default: what the data says, else gauge)")
	fs.StringVar(&f.unit, "unit", "", "pressure unit, as psi, bar, kPa, where the data names none")
	fs.StringVar(&f.ceiling, "ceiling", "", "gauge pressure never to be passed (default 30psi, or 95 % of a lower full scale)")
	fs.StringVar(&f.limit, "limit", "", "hole diameter the verdict is against (default by what is under test: engine 1.5mm, manifold and branch 0.5mm, hose 0.2mm, fittings 0.115mm; else 0.5mm)")
	fs.StringVar(&f.of, "of", "", "what is under test: engine (the whole duct through the engine), manifold (blocked off there), branch, hose or fittings")
	fs.StringVar(&f.fullScale, "full-scale", "", "full scale of the sensor, as 30psi")
	fs.StringVar(&f.zeroTol, "zero-tolerance", "", "zero error of the sensor as a share of its full scale, as 0.5%; none assumed")
	fs.StringVar(&f.spanTol, "span-tolerance", "", "span error of the sensor, as 1%; none assumed")
	fs.StringVar(&f.compliance, "compliance", "", "share by which rubber may swell the volume, as 2%; 0% means rigid (default 2%)")
}

// over lays the flags that were given over base.
func (f *setupFlags) over(base decay.Setup) (decay.Setup, error) {
	s := base
	bad := func(flag, hint string, err error) error { return wrong(hint, "--%s: %w", flag, err) }
	var err error
	if f.volume != "" {
		if s.Volume, s.VolumeTolerance, err = parseDuct(f.volume); err != nil {
			return s, bad("volume", "for example --volume 10L, or bores and lengths, as 51x600mm +1.2L", err)
		}
		if s.Volume > largestDuct {
			return s, wrong(inMillimetres(f.volume, s.Volume), "--volume: %s is %.4g L, which is no duct", f.volume, float64(s.Volume)/decay.Litre)
		}
	}
	if f.ambient != "" {
		if s.Ambient, err = decay.ParsePressure(f.ambient); err != nil {
			return s, bad("ambient", "write the absolute pressure with its unit, for example --ambient 95kPa", err)
		}
		if s.Ambient < 40*decay.Kilopascal || s.Ambient > 130*decay.Kilopascal {
			return s, wrong("ambient is absolute: about 101 kPa at the sea, 85 kPa at 1500 m; check the unit",
				"--ambient: %s is no pressure of the air around a workshop", f.ambient)
		}
	}
	if f.ambientTemperature != "" {
		if s.AmbientTemperature, err = decay.ParseTemperature(f.ambientTemperature); err != nil {
			return s, bad("ambient-temperature", "for example --ambient-temperature 20C", err)
		}
	}
	if f.ceiling != "" {
		if s.Ceiling, err = decay.ParseGauge(f.ceiling); err != nil {
			return s, bad("ceiling", "for example --ceiling 30psi", err)
		}
		if s.Ceiling < 1*decay.Kilopascal || s.Ceiling > 10*decay.Bar {
			return s, wrong("30 psi gauge is common; follow the lowest-rated part", "--ceiling: %s is no charge pressure", f.ceiling)
		}
	}
	if f.of != "" {
		if s.Of, err = decay.ParsePart(f.of); err != nil {
			return s, bad("of", "write engine, manifold, branch, hose or fittings", err)
		}
	}
	if f.limit != "" {
		if s.Limit, err = decay.ParseLength(f.limit); err != nil {
			return s, bad("limit", "write a hole's diameter, for example --limit 0.5mm", err)
		}
		if s.Limit < 0.001*decay.Millimetre || s.Limit > 100*decay.Millimetre {
			return s, wrong("usual limits are 0.2 mm on the bench to 1.5 mm through an engine", "--limit: %s is no leak's size", f.limit)
		}
	}
	if f.fullScale != "" {
		g, err := decay.ParseGauge(f.fullScale)
		s.FullScale = float64(g)
		if err != nil {
			p, errAbs := decay.ParsePressure(f.fullScale)
			if errAbs != nil {
				return s, bad("full-scale", "for example --full-scale 30psi", err)
			}
			s.FullScale = float64(p)
		}
		if !(s.FullScale > 0) {
			return s, wrong("for example --full-scale 30psi", "--full-scale: %s is not above zero", f.fullScale)
		}
	}
	for _, r := range []struct {
		flag, text string
		to         *float64
	}{{"zero-tolerance", f.zeroTol, &s.ZeroTolerance}, {"span-tolerance", f.spanTol, &s.SpanTolerance}, {"compliance", f.compliance, &s.Compliance}} {
		if r.text == "" {
			continue
		}
		if *r.to, err = decay.ParseRelative(r.text); err != nil {
			return s, bad(r.flag, "write a percentage, for example --"+r.flag+" 1%", err)
		}
	}
	if f.compliance != "" {
		s.Rigid = s.Compliance == 0
	}
	if f.zeroTol != "" && s.FullScale == 0 {
		return s, wrong("add --full-scale, for example --full-scale 30psi", "--zero-tolerance is a share of the full scale, which is not stated")
	}
	ref, err := f.reference()
	if err != nil {
		return s, err
	}
	if ref != nil {
		s.Reads = *ref
	}
	return s, fits(s)
}

// largestDuct is more than any duct holds that is filled by hand, largeDuct more
// than an engine's. Both are our own choice.
const largestDuct, largeDuct = 500 * decay.Litre, 60 * decay.Litre

// inMillimetres asks about the unit of a volume v that was typed: a bore and a
// length in cm are often meant in mm.
func inMillimetres(text string, v decay.Volume) string {
	hint := "a charge-air duct holds 1 to 30 L; check the unit"
	if l := float64(v) / 1000 / decay.Litre; strings.Contains(text, "cm") && strings.ContainsAny(text, "xX×") && l > 0.1 && l < 60 {
		hint += fmt.Sprintf(": in mm it would be %.3g L", l)
	}
	return hint
}

// parseDuct reads a volume: a number, or bores and lengths to be added up.
func parseDuct(s string) (decay.Volume, float64, error) {
	parts := strings.Fields(s)
	if !strings.ContainsAny(s, "xX×") && len(parts) < 3 {
		return decay.ParseVolume(s)
	}
	var pieces []decay.Piece
	for _, p := range parts {
		piece, err := decay.ParsePiece(p)
		if err != nil {
			return 0, 0, err
		}
		pieces = append(pieces, piece)
	}
	v := decay.SumOfPieces(pieces)
	return decay.Volume(v.Value), (v.High - v.Low) / 2 / v.Value, nil
}

// reference is what --reads says, nil when it says nothing.
func (f *setupFlags) reference() (*decay.Reference, error) {
	var r decay.Reference
	switch f.reads {
	case "":
		return nil, nil
	case "gauge":
		r = decay.ReadsGauge
	case "absolute", "abs":
		r = decay.ReadsAbsolute
	default:
		return nil, wrong("write --reads gauge or --reads absolute", "--reads: %q is neither gauge nor absolute", f.reads)
	}
	return &r, nil
}

// shown is the unit pressures are shown in: the one asked for, else fallback,
// else kilopascals.
func (f *setupFlags) shown(fallback string) decay.PressureUnit {
	for _, name := range []string{f.unit, fallback, "kPa"} {
		if u, err := parseUnit(name); err == nil {
			return u
		}
	}
	return decay.PressureUnit{Name: "Pa", Pascal: decay.Pascal}
}

// fits reports a ceiling that the sensor cannot see. One that nobody stated is
// lowered until it is seen, unless nothing is.
func fits(s decay.Setup) error {
	full, ok := s.RangeEnd()
	c := s.Ceiling
	if c == 0 {
		c = s.SeenCeiling()
	}
	if ok && c > full*1.0001 {
		kpa := decay.PressureUnit{Name: "kPa", Pascal: decay.Kilopascal}
		return wrong("lower the --ceiling below the sensor's full scale, or use a sensor that reaches higher",
			"the ceiling of %s is above the sensor's full scale of %s: passing it would not be seen", c.Format(kpa), full.Format(kpa))
	}
	return nil
}
