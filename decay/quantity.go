package decay

import (
	"fmt"
	"math"
	"strconv"
	"strings"
)

// Pressure is an absolute pressure in pascals.
type Pressure float64

// Gauge is a pressure above (or, negative, below) ambient, in pascals. It
// becomes a [Pressure] only with the ambient in hand.
type Gauge float64

// Temperature is an absolute temperature in kelvins.
type Temperature float64

// Volume is a volume in cubic metres.
type Volume float64

// Area is an area in square metres.
type Area float64

// Length is a length, here nearly always a bore or hole diameter, in metres.
type Length float64

// MassFlow is a mass flow in kilograms per second.
type MassFlow float64

// Energy is an energy in joules.
type Energy float64

// Force is a force in newtons.
type Force float64

// Units in terms of the SI unit. Factors: NIST SP 811 (2008), App. B.8.
const (
	Pascal      = 1.0
	Kilopascal  = 1e3
	Hectopascal = 1e2
	Bar         = 1e5
	Millibar    = 1e2
	PSI         = 6894.757293168
	InHg        = 3386.388640341
	KgfPerCm2   = 98066.5
	Atmosphere  = 101325.0

	Litre      = 1e-3
	CubicCm    = 1e-6
	CubicInch  = 1.6387064e-5
	CubicFoot  = 2.8316846592e-2
	Millimetre = 1e-3
	Inch       = 25.4e-3
	SquareMM   = 1e-6

	ZeroCelsius = 273.15
)

// Absolute returns the absolute pressure of g above ambient.
func (g Gauge) Absolute(ambient Pressure) Pressure { return Pressure(g) + ambient }

// Gauge returns p relative to ambient.
func (p Pressure) Gauge(ambient Pressure) Gauge { return Gauge(p - ambient) }

// Celsius returns the temperature of c degrees Celsius.
func Celsius(c float64) Temperature { return Temperature(c + ZeroCelsius) }

// Celsius returns t in degrees Celsius.
func (t Temperature) Celsius() float64 { return float64(t) - ZeroCelsius }

// CircleArea returns the area of a round hole of diameter d.
func CircleArea(d Length) Area { return Area(math.Pi / 4 * float64(d) * float64(d)) }

// EquivalentHole returns the diameter of the round hole that, with discharge
// coefficient cd, has the effective area a: d = √(4a/(π·cd)).
func EquivalentHole(a Area, cd float64) Length {
	if a <= 0 {
		return 0
	}
	return Length(math.Sqrt(4 * float64(a) / (math.Pi * cd)))
}

// A PressureUnit is a unit people read pressures in.
type PressureUnit struct {
	Name   string  // as printed: psi, bar, mbar, hPa, kPa, Pa, inHg, kgf/cm²
	Pascal float64 // one unit in pascals
}

// PressureUnits are the units that can be parsed and printed.
var PressureUnits = []PressureUnit{
	{"psi", PSI}, {"bar", Bar}, {"mbar", Millibar}, {"hPa", Hectopascal},
	{"kPa", Kilopascal}, {"Pa", Pascal}, {"inHg", InHg}, {"kgf/cm²", KgfPerCm2},
}

// pressureAliases are other spellings, lower case.
var pressureAliases = map[string]string{
	"psig": "psi", "psia": "psi", "lbf/in2": "psi", "lbf/in²": "psi",
	"mpa":     "", // megapascal and millipascal differ by 10⁹ and only by case: refused
	"kgf/cm2": "kgf/cm²", "kg/cm2": "kgf/cm²", "kg/cm²": "kgf/cm²", "kgcm2": "kgf/cm²", "kgfcm2": "kgf/cm²",
	"in-hg": "inHg", "in.hg": "inHg", "hpascal": "hPa",
	"pascal": "Pa", "pascals": "Pa", "kilopascal": "kPa", "hectopascal": "hPa", "millibar": "mbar", "mb": "mbar",
}

// ParsePressureUnit finds a unit by its name, ignoring case.
func ParsePressureUnit(name string) (PressureUnit, error) {
	n := strings.ToLower(strings.TrimSpace(name))
	if a, ok := pressureAliases[n]; ok {
		n = strings.ToLower(a)
	}
	for _, u := range PressureUnits {
		if n != "" && n == strings.ToLower(u.Name) {
			return u, nil
		}
	}
	return PressureUnit{}, fmt.Errorf("unknown pressure unit %.60q (known: psi, bar, mbar, hPa, kPa, Pa, inHg, kgf/cm2)", name)
}

// digits returns how many decimals show about a thousandth of an ordinary
// charge pressure in u.
func (u PressureUnit) digits() int {
	switch {
	case u.Pascal >= Bar/2:
		return 3
	case u.Pascal >= Kilopascal*3:
		return 2
	case u.Pascal >= Kilopascal:
		return 1
	}
	return 0
}

// Format prints g in unit u with the word gauge, as in "29.8 psi gauge".
func (g Gauge) Format(u PressureUnit) string {
	return g.Number(u) + " " + u.Name + " gauge"
}

// Number prints g in unit u without the unit, for tables that name it above.
func (g Gauge) Number(u PressureUnit) string {
	text := strconv.FormatFloat(float64(g)/u.Pascal, 'f', u.digits(), 64)
	if strings.Trim(text, "-0.") == "" {
		text = strings.TrimPrefix(text, "-") // a zero has no sign
	}
	return text
}

// Format prints p in unit u with the word absolute.
func (p Pressure) Format(u PressureUnit) string {
	return strconv.FormatFloat(float64(p)/u.Pascal, 'f', u.digits(), 64) + " " + u.Name + " absolute"
}

// splitQuantity cuts "10.5 L" into its number and its unit; a decimal comma is
// understood.
func splitQuantity(s string) (float64, string, error) {
	s = strings.TrimSpace(s)
	i := 0
	for i < len(s) && strings.IndexByte("+-0123456789.,eE", s[i]) >= 0 {
		// An e is an exponent only when digits follow it.
		if (s[i] == 'e' || s[i] == 'E') && (i+1 >= len(s) || strings.IndexByte("+-0123456789", s[i+1]) < 0) {
			break
		}
		i++
	}
	num := strings.Replace(s[:i], ",", ".", 1)
	v, err := strconv.ParseFloat(num, 64)
	if err != nil || math.IsInf(v, 0) || math.IsNaN(v) {
		return 0, "", fmt.Errorf("%.60q does not start with a number", s)
	}
	return v, strings.TrimSpace(s[i:]), nil
}

// parsePressure reads a number with a unit and an optional word: "30 psi",
// "30psig", "95 kPa absolute", "1.2 bar a". It returns pascals and whether
// gauge or absolute was said, which is "" when it was not.
func parsePressure(s string) (pa float64, kind string, err error) {
	v, unit, err := splitQuantity(s)
	if err != nil {
		return 0, "", err
	}
	u := strings.ToLower(unit)
	for _, suffix := range []struct{ text, kind string }{
		{" absolute", "absolute"}, {" gauge", "gauge"}, {" abs", "absolute"}, {" a", "absolute"}, {" g", "gauge"},
	} {
		if strings.HasSuffix(u, suffix.text) {
			u, kind = strings.TrimSpace(strings.TrimSuffix(u, suffix.text)), suffix.kind
			break
		}
	}
	switch u {
	case "psig", "barg", "kpag":
		kind, u = "gauge", u[:len(u)-1]
	case "psia", "bara", "kpaa":
		kind, u = "absolute", u[:len(u)-1]
	}
	if u == "" {
		return 0, "", fmt.Errorf("%.60q has no unit (write for example %gpsi or %gkPa)", s, v, v)
	}
	pu, err := ParsePressureUnit(u)
	if err != nil {
		return 0, "", err
	}
	pa = v * pu.Pascal
	if math.IsInf(pa, 0) {
		return 0, "", fmt.Errorf("%.60q is too large for a pressure", s)
	}
	return pa, kind, nil
}

// ParseGauge reads a gauge pressure such as "30psi". A text that says absolute
// is refused.
func ParseGauge(s string) (Gauge, error) {
	pa, kind, err := parsePressure(s)
	if err == nil && kind == "absolute" {
		err = fmt.Errorf("%.60q is absolute; a gauge pressure is wanted here", s)
	}
	return Gauge(pa), err
}

// ParsePressure reads an absolute pressure such as "95kPa". A text that says
// gauge is refused.
func ParsePressure(s string) (Pressure, error) {
	pa, kind, err := parsePressure(s)
	if err == nil && kind == "gauge" {
		err = fmt.Errorf("%.60q is gauge; an absolute pressure is wanted here", s)
	}
	if err == nil && pa <= 0 {
		err = fmt.Errorf("%.60q: an absolute pressure is above zero", s)
	}
	return Pressure(pa), err
}

var volumeUnits = map[string]float64{
	"l": Litre, "litre": Litre, "liter": Litre, "litres": Litre, "liters": Litre, "ml": CubicCm,
	"m3": 1, "m³": 1, "cm3": CubicCm, "cm³": CubicCm, "cc": CubicCm,
	"in3": CubicInch, "in³": CubicInch, "ft3": CubicFoot, "ft³": CubicFoot,
}

// ParseVolume reads "10L", "10 L ± 3%", "2.5ft3". The tolerance is relative,
// at 95 %, and 0 when none is stated. Volumes outside 1 cm³ … 100 m³ are
// refused as a slip of the unit.
func ParseVolume(s string) (v Volume, tolerance float64, err error) {
	text := strings.ReplaceAll(s, "+-", "±")
	text = strings.ReplaceAll(text, "+/-", "±")
	main, tol, hasTol := strings.Cut(text, "±")
	n, unit, err := splitQuantity(main)
	if err != nil {
		return 0, 0, err
	}
	f, ok := volumeUnits[strings.ToLower(unit)]
	if !ok {
		return 0, 0, fmt.Errorf("%.60q has no known volume unit (known: L, cm3, m3, in3, ft3)", s)
	}
	v = Volume(n * f)
	if hasTol {
		if tolerance, err = ParseRelative(tol); err != nil {
			return 0, 0, err
		}
	}
	if !(v >= 1e-6 && v <= 100) {
		return 0, 0, fmt.Errorf("volume %.60q is not one of a duct (1 cm3 to 100 m3)", s)
	}
	return v, tolerance, nil
}

// ParseRelative reads "3%" or "0.03"; the result is 0 … 0.9.
func ParseRelative(s string) (float64, error) {
	n, unit, err := splitQuantity(s)
	if err != nil {
		return 0, err
	}
	switch unit {
	case "%":
		n /= 100
	case "":
	default:
		return 0, fmt.Errorf("%.60q is not a percentage", s)
	}
	if !(n >= 0 && n <= 0.9) {
		return 0, fmt.Errorf("%.60q is outside 0 to 90 %%", s)
	}
	return n, nil
}

var lengthUnits = map[string]float64{
	"mm": Millimetre, "cm": 1e-2, "m": 1, "um": 1e-6, "µm": 1e-6, "in": Inch, "inch": Inch, `"`: Inch,
}

// ParseLength reads "0.5mm" or "1/16 in" style diameters (fractions of an inch
// are common on drill bits).
func ParseLength(s string) (Length, error) {
	text := strings.TrimSpace(s)
	num := 1.0
	if a, b, ok := strings.Cut(text, "/"); ok {
		v, err := strconv.ParseFloat(strings.TrimSpace(a), 64)
		if err != nil {
			return 0, fmt.Errorf("%.60q is not a length", s)
		}
		num, text = v, b
		d, unit, err := splitQuantity(text)
		if err != nil || d == 0 {
			return 0, fmt.Errorf("%.60q is not a length", s)
		}
		num, text = num/d, unit
	} else {
		d, unit, err := splitQuantity(text)
		if err != nil {
			return 0, err
		}
		num, text = d, unit
	}
	f, ok := lengthUnits[strings.ToLower(text)]
	if !ok {
		return 0, fmt.Errorf("%.60q has no known length unit (known: mm, cm, m, in)", s)
	}
	if !(num > 0) || math.IsInf(num, 0) {
		return 0, fmt.Errorf("%.60q: a length is above zero and finite", s)
	}
	return Length(num * f), nil
}

var areaUnits = map[string]float64{"mm2": SquareMM, "mm²": SquareMM, "cm2": 1e-4, "cm²": 1e-4, "in2": Inch * Inch, "in²": Inch * Inch}

// ParseArea reads "0.51mm2".
func ParseArea(s string) (Area, error) {
	n, unit, err := splitQuantity(s)
	if err != nil {
		return 0, err
	}
	f, ok := areaUnits[strings.ToLower(unit)]
	if !ok {
		return 0, fmt.Errorf("%.60q has no known area unit (known: mm2, cm2, in2)", s)
	}
	if !(n > 0) {
		return 0, fmt.Errorf("%.60q: an area is above zero", s)
	}
	return Area(n * f), nil
}

// ParseTemperature reads "20C", "68F" or "293K".
func ParseTemperature(s string) (Temperature, error) {
	n, unit, err := splitQuantity(s)
	if err != nil {
		return 0, err
	}
	var t Temperature
	switch strings.ToUpper(strings.TrimPrefix(unit, "°")) {
	case "C":
		t = Celsius(n)
	case "F":
		t = Celsius((n - 32) / 1.8)
	case "K":
		t = Temperature(n)
	default:
		return 0, fmt.Errorf("%.60q has no known temperature unit (known: C, F, K)", s)
	}
	if t < 200 || t > 400 {
		return 0, fmt.Errorf("temperature %.60q is not one of a workshop (-73 to 127 °C)", s)
	}
	return t, nil
}
