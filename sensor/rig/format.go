package rig

import (
	"fmt"
	"math"
	"strconv"
	"strings"

	"ebbline/decay"
)

// FormatInfo tells a person of a wire format.
type FormatInfo struct {
	Name    string // in flags
	Example string // a line, without its end
	About   string
}

// DefaultFormat is what most small boards are made to print.
const DefaultFormat = "millis"

// modbusFormat is the one that prints no lines.
const modbusFormat = "modbus"

// printed is what a board knows when it prints a line.
type printed struct {
	millis, micros uint32
	sensed
	celsius  float64
	bits     int
	unit     decay.PressureUnit
	absolute bool
	scale    float64 // of every number: 1, unless the unit has jumped
}

// format is a wire format: an optional heading and the lines.
type format struct {
	FormatInfo
	heading func(p *printed) string
	line    func(p *printed) string
}

var formats = []format{
	{FormatInfo{"number", "25.031", "a number alone"}, nil, func(p *printed) string { return p.pressure() }},
	{FormatInfo{"unit", "25.031 psi", "a number and its unit"}, nil, func(p *printed) string { return p.pressure() + " " + p.unitName() }},
	{FormatInfo{"millis", "12345,25.031", "the board's milliseconds, a number"}, nil,
		func(p *printed) string { return fmt.Sprintf("%d,%s", p.millis, p.pressure()) }},
	{FormatInfo{"micros", "12345678,25.031", "the board's microseconds, a number"}, nil,
		func(p *printed) string { return fmt.Sprintf("%d,%s", p.micros, p.pressure()) }},
	{FormatInfo{"csv", "12345,25.031", "commas under the heading time_ms,pressure_psi"},
		func(p *printed) string { return "time_ms,pressure_" + p.columnUnit() },
		func(p *printed) string { return fmt.Sprintf("%d,%s", p.millis, p.pressure()) }},
	{FormatInfo{"tsv", "12345\t25.031", "tabs under such a heading"},
		func(p *printed) string { return "time_ms\tpressure_" + p.columnUnit() },
		func(p *printed) string { return fmt.Sprintf("%d\t%s", p.millis, p.pressure()) }},
	{FormatInfo{"semicolon", "12,345;25,031", "semicolons and decimal commas under a heading"},
		func(p *printed) string { return "time_s;pressure_" + p.columnUnit() },
		func(p *printed) string {
			return strings.ReplaceAll(fmt.Sprintf("%.3f;%s", float64(p.millis)/1000, p.pressure()), ".", ",")
		}},
	{FormatInfo{"pairs", "t=12345ms p=25.031psi", "names and values"}, nil,
		func(p *printed) string { return fmt.Sprintf("t=%dms p=%s%s", p.millis, p.pressure(), p.unitName()) }},
	{FormatInfo{"json", `{"time_ms":12345,"pressure_psi":25.031}`, "a JSON object a line"}, nil,
		func(p *printed) string {
			return fmt.Sprintf(`{"time_ms":%d,"pressure_%s":%s}`, p.millis, p.columnUnit(), p.pressure())
		}},
	{FormatInfo{"volts", "2.5025 V", "the transducer's output, 0.5 to 4.5 V"}, nil,
		func(p *printed) string { return fixed(p.volts()*p.scale, 4) + " V" }},
	{FormatInfo{"counts", "12345,2050", "milliseconds, counts against the supply"}, nil,
		func(p *printed) string {
			return fmt.Sprintf("%d,%.0f", p.millis, math.Round(float64(p.counts(p.bits))*p.scale))
		}},
	{FormatInfo{"temperature", "12345,25.031,21.4", "a column more, temperature_C"},
		func(p *printed) string { return "time_ms,pressure_" + p.columnUnit() + ",temperature_C" },
		func(p *printed) string { return fmt.Sprintf("%d,%s,%s", p.millis, p.pressure(), fixed(p.celsius, 1)) }},
	{FormatInfo{"supply", "12345,2.5025,5.000", "sensor_V and supply_V under a heading"},
		func(p *printed) string { return "time_ms,sensor_V,supply_V" },
		func(p *printed) string {
			return fmt.Sprintf("%d,%s,%s", p.millis, fixed(p.volts()*p.scale, 4), fixed(p.supply, 3))
		}},
	{FormatInfo{"nmea-bar", "$YXXDR,P,1.72583,B,DUCT,C,21.4,C,DUCT*60", "NMEA 0183 XDR, bar"}, nil,
		func(p *printed) string { return p.nmea(decay.Bar, 5, "B") }},
	{FormatInfo{"nmea-pascal", "$YXXDR,P,172583,P,DUCT,C,21.4,C,DUCT*5C", "NMEA 0183 XDR, pascals"}, nil,
		func(p *printed) string { return p.nmea(decay.Pascal, 0, "P") }},
	{FormatInfo{modbusFormat, "", "Modbus RTU slave, asked with function 3 or 4: " + ModbusRegisters}, nil, nil},
}

// Formats lists every wire format.
func Formats() []FormatInfo {
	l := make([]FormatInfo, len(formats))
	for i := range formats {
		l[i] = formats[i].FormatInfo
	}
	return l
}

func findFormat(name string) (*format, error) {
	if name == "" {
		name = DefaultFormat
	}
	names := make([]string, len(formats))
	for i := range formats {
		if formats[i].Name == name {
			return &formats[i], nil
		}
		names[i] = formats[i].Name
	}
	return nil, fmt.Errorf("there is no format %q (known: %s)", name, strings.Join(names, ", "))
}

// fixed prints a number with so many decimals, and never "-0.000".
func fixed(v float64, digits int) string {
	p := math.Pow10(digits)
	return strconv.FormatFloat(math.Round(v*p)/p+0, 'f', digits, 64)
}

// digits are the decimals that print a pressure to 10 Pa or better.
func digits(u decay.PressureUnit) int {
	return max(0, int(math.Ceil(math.Log10(u.Pascal/10)-1e-9)))
}

func (p *printed) pressure() string {
	return fixed(p.value*p.scale/p.unit.Pascal, digits(p.unit))
}

// shown is the pressure, Pa, that pressure prints.
func (p *printed) shown() float64 {
	v, _ := strconv.ParseFloat(p.pressure(), 64) // of our own making
	return v * p.unit.Pascal
}

func (p *printed) unitName() string {
	if p.absolute {
		return p.unit.Name + " abs"
	}
	return p.unit.Name
}

func (p *printed) columnUnit() string {
	u := strings.ReplaceAll(p.unit.Name, "²", "2")
	if p.absolute {
		u += "_abs"
	}
	return u
}

// nmea is an XDR sentence: type, value, unit and name of each transducer, and
// the exclusive or of what stands between $ and * as two hexadecimal digits.
func (p *printed) nmea(unit float64, digits int, letter string) string {
	body := fmt.Sprintf("YXXDR,P,%s,%s,DUCT,C,%s,C,DUCT", fixed(p.value*p.scale/unit, digits), letter, fixed(p.celsius, 1))
	sum := byte(0)
	for i := range len(body) {
		sum ^= body[i]
	}
	return fmt.Sprintf("$%s*%02X", body, sum)
}
