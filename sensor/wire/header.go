package wire

import (
	"strings"
	"unicode"
)

// Quantity is what a column holds.
type Quantity int

// The quantities a column name can tell. The zero value is a column that is
// of no use here.
const (
	Other Quantity = iota
	Time
	Pressure
	Temperature
	Voltage
	Counts
	Supply // the voltage that feeds the transducer
)

// Column is what the name of a column says.
type Column struct {
	Quantity  Quantity
	Unit      string  // canonical as in [Fields]; for temperature °C, °F or K; for a supply V or mV; "" not said
	Unknown   string  // a pressure unit that is not understood, as written
	Reference string  // "", "gauge" or "absolute"
	Scale     float64 // of time: seconds in one unit; 0 when the name does not say
	Exact     bool    // every word of the name was understood
	Rank      int     // among columns of one quantity the lowest is the one meant
}

// Canonical units.
const (
	unitPSI, unitBar, unitMbar, unitHPa = "psi", "bar", "mbar", "hPa"
	unitKPa, unitPa, unitInHg, unitKgf  = "kPa", "Pa", "inHg", "kgf/cm²"
)

// pressureUnits are the spellings of units, lower case, without separators.
var pressureUnits = map[string]string{
	"psi": unitPSI, "bar": unitBar, "bars": unitBar, "mbar": unitMbar, "mbars": unitMbar, "mb": unitMbar,
	"millibar": unitMbar, "millibars": unitMbar, "hpa": unitHPa, "kpa": unitKPa, "pa": unitPa,
	"pascal": unitPa, "pascals": unitPa, "kilopascal": unitKPa, "kilopascals": unitKPa,
	"hectopascal": unitHPa, "hectopascals": unitHPa, "inhg": unitInHg, "kgfcm2": unitKgf,
	"бар": unitBar, "мбар": unitMbar, "кпа": unitKPa, "па": unitPa,
}

// unknownUnits are pressure units that are recognised so as to be refused by
// name, rather than read as something else.
var unknownUnits = map[string]bool{
	"mpa": true, "atm": true, "torr": true, "mmhg": true, "cmhg": true, "inh2o": true, "cmh2o": true,
	"mmh2o": true, "ksi": true, "dbar": true, "psid": true, "psf": true, "gpa": true, "upa": true,
}

var referenceWords = map[string]string{
	"gauge": "gauge", "gage": "gauge", "rel": "gauge", "relative": "gauge", "relativ": "gauge", "relativa": "gauge",
	"manometrica": "gauge", "manométrica": "gauge", "manometrique": "gauge",
	"abs": "absolute", "absolute": "absolute", "absolut": "absolute", "absolue": "absolute", "absolu": "absolute",
	"absoluta": "absolute", "assoluta": "absolute",
}

var pressureWords = map[string]string{ // the value is the reference the word itself tells
	"p": "", "pressure": "", "press": "", "pres": "", "prs": "", "druck": "", "pression": "", "presion": "",
	"presión": "", "pressione": "", "pressao": "", "pressão": "", "boost": "", "trykk": "", "tryk": "", "tryck": "",
	"paine": "", "cisnienie": "", "ciśnienie": "", "tlak": "", "nyomas": "", "nyomás": "", "basinc": "", "basınç": "",
	"давление": "", "压力": "", "圧力": "", "压强": "", "압력": "", "ladedruck": "", "luftdruck": "",
	"map": "absolute", "überdruck": "gauge", "ueberdruck": "gauge", "uberdruck": "gauge",
	"relativdruck": "gauge", "absolutdruck": "absolute",
}

// timeWords are names of time columns; the value ranks them.
var timeWords = map[string]int{
	"time": 0, "zeit": 0, "temps": 0, "tiempo": 0, "tempo": 0, "tid": 0, "tijd": 0, "czas": 0, "čas": 0, "cas": 0,
	"aika": 0, "ido": 0, "idő": 0, "zaman": 0, "время": 0, "时间": 0, "時間": 0, "시간": 0, "elapsed": 0,
	"timestamp": 0, "zeitstempel": 0, "datetime": 0, "uptime": 0, "laufzeit": 0, "messzeit": 0,
	"clock": 1, "uhrzeit": 1, "hora": 1, "heure": 1, "ora": 1, "stamp": 1, "horodatage": 1,
	"t": 2, "date": 4, "datum": 4, "fecha": 4,
}

var timeUnits = map[string]float64{
	"s": 1, "sec": 1, "secs": 1, "second": 1, "seconds": 1, "sek": 1, "sekunden": 1, "sekunde": 1, "secondes": 1,
	"seconde": 1, "segundos": 1, "segundo": 1, "secondi": 1, "сек": 1, "с": 1, "秒": 1,
	"ms": 1e-3, "msec": 1e-3, "msecs": 1e-3, "milli": 1e-3, "millis": 1e-3, "millisecond": 1e-3, "milliseconds": 1e-3,
	"millisekunden": 1e-3, "millisecondes": 1e-3, "milisegundos": 1e-3, "мс": 1e-3,
	"us": 1e-6, "µs": 1e-6, "μs": 1e-6, "usec": 1e-6, "micros": 1e-6, "microsecond": 1e-6, "microseconds": 1e-6,
	"mikrosekunden": 1e-6, "ns": 1e-9, "nanos": 1e-9, "nanoseconds": 1e-9,
	"min": 60, "mins": 60, "minute": 60, "minutes": 60, "minuten": 60, "minutos": 60,
	"h": 3600, "hr": 3600, "hrs": 3600, "hour": 3600, "hours": 3600, "stunden": 3600,
}

var temperatureWords = map[string]bool{
	"temp": true, "temperature": true, "temperatur": true, "temperatura": true, "température": true, "tgas": true,
	"tair": true, "twall": true, "tamb": true, "lufttemperatur": true, "gastemp": true, "airtemp": true, "температура": true,
	"dewpoint": true,
}

var temperatureUnits = map[string]string{
	"degc": "°C", "°c": "°C", "celsius": "°C", "℃": "°C", "degf": "°F", "°f": "°F", "fahrenheit": "°F",
	"kelvin": "K", "degk": "K",
}

// gasWords say of what; beside a bare t they make it a temperature.
var gasWords = map[string]bool{"gas": true, "air": true, "wall": true, "luft": true, "charge": true, "duct": true}

// oneLetterTemperature holds units that count only beside a word that is no pressure.
var oneLetterTemperature = map[string]string{"c": "°C", "f": "°F", "k": "K"}

var voltageUnits = map[string]string{"v": "V", "volt": "V", "volts": "V", "mv": "mV", "millivolt": "mV", "millivolts": "mV"}
var voltageWords = map[string]bool{"voltage": true, "spannung": true, "tension": true}
var countWords = map[string]bool{"count": true, "counts": true, "adc": true, "raw": true, "cnt": true, "cnts": true,
	"digits": true, "lsb": true, "adcvalue": true, "analog": true, "analogread": true}

// notTheReading are words of columns that are about a pressure but are not it.
var notTheReading = map[string]bool{
	"setpoint": true, "target": true, "limit": true, "ceiling": true, "rate": true, "per": true,
	"sd": true, "std": true, "stdev": true, "sigma": true, "noise": true, "error": true, "err": true, "fit": true,
	"sollwert": true, "soll": true, "grenze": true, "residual": true, "dpdt": true,
}

// besides are words of pressures other than the one under test: taken only
// when there is no other.
var besides = map[string]bool{
	"ambient": true, "amb": true, "atm": true, "atmospheric": true, "baro": true, "barometer": true, "barometric": true,
	"supply": true, "regulator": true, "umgebung": true, "umgebungsdruck": true, "luftdruck": true, "filtered": true,
	"smoothed": true, "mean": true, "avg": true, "min": true, "max": true, "peak": true,
}

// notTheSignal are words of voltages other than the transducer's.
var notTheSignal = map[string]bool{"supply": true, "vcc": true, "vref": true, "battery": true, "excitation": true, "vdd": true, "batt": true, "ref": true}

// supplyWords are names of the voltage that feeds the transducer.
var supplyWords = map[string]bool{"supply": true, "vcc": true, "vdd": true, "excitation": true, "vsupply": true, "vexc": true,
	"versorgung": true, "alimentation": true}

// isAnalogPin reports the name of an input that a board reads as counts: a0 to a15.
func isAnalogPin(name string) bool {
	n, ok := strings.CutPrefix(strings.ToLower(strings.TrimSpace(name)), "a")
	if !ok || len(n) == 0 || len(n) > 2 || strings.Trim(n, "0123456789") != "" {
		return false
	}
	return len(n) == 1 || n[0] == '1' && n[1] <= '5'
}

// joiner writes units that contain separators as one word.
var joiner = strings.NewReplacer(
	"kgf/cm²", " kgfcm2 ", "kgf/cm2", " kgfcm2 ", "kgf/cm^2", " kgfcm2 ", "kg/cm²", " kgfcm2 ", "kg/cm2", " kgfcm2 ",
	"kgf_cm2", " kgfcm2 ", "kg_cm2", " kgfcm2 ", "kgcm2", " kgfcm2 ", "kgfcm²", " kgfcm2 ",
	"lbf/in²", " psi ", "lbf/in2", " psi ", "lb/in²", " psi ", "lb/in2", " psi ",
	"in hg", " inhg ", "in_hg", " inhg ", "in-hg", " inhg ", "in.hg", " inhg ",
	"in h2o", " inh2o ", "in_h2o", " inh2o ", "m/s", " mps ", "l/min", " lpm ", "deg c", "degc", "deg_c", "degc", "deg f", "degf",
)

// unitOf finds the pressure unit and the reference that one word tells:
// "kpa", "psig", "barabs".
func unitOf(w string) (unit, ref string, ok bool) {
	if u, ok := pressureUnits[w]; ok {
		return u, "", true
	}
	for _, s := range [...]struct{ tail, ref string }{
		{"absolute", "absolute"}, {"gauge", "gauge"}, {"abs", "absolute"}, {"a", "absolute"}, {"g", "gauge"},
	} {
		if h, cut := strings.CutSuffix(w, s.tail); cut {
			if u, ok := pressureUnits[h]; ok {
				return u, s.ref, true
			}
		}
	}
	return "", "", false
}

// ParseUnit reads a unit of pressure or of a raw signal as written after a
// number or by hand: "psi", "kPa gauge", "bar(a)", "psig", "V", "counts". ok
// is false when it is not one of them.
func ParseUnit(text string) (unit, reference string, ok bool) {
	c := ParseColumn(text)
	if c.Unit == "" || !c.Exact || c.Unknown != "" || c.Quantity == Temperature {
		return "", "", false
	}
	for _, w := range words(text) {
		if _, isWord := pressureWords[w]; isWord {
			return "", "", false
		}
	}
	return c.Unit, c.Reference, true
}

// words cuts a name into lower-case words.
func words(name string) []string {
	s := joiner.Replace(strings.ToLower(name))
	return strings.FieldsFunc(s, func(r rune) bool {
		return !(unicode.IsLetter(r) || unicode.IsDigit(r) || unicode.IsMark(r) || r == '°' || r == '²' || r == '℃')
	})
}

// ParseColumn reads the name of a column in any of the usual styles and
// languages: "time_s", "Zeit [ms]", "Pressure (psi)", "p_bar_abs",
// "pressureKPa", "Druck mbar Überdruck".
func ParseColumn(name string) Column {
	col := Column{Exact: true}
	if len(name) > MaxLine {
		return Column{}
	}
	var (
		press, demoted, temp, gas, volt, count, refused, notSignal, feeds bool
		tempUnit, letterUnit                                              string
		timeRank                                                          = -1
		timeScale                                                         float64
		afterUnit                                                         bool // the word before was a unit of pressure
		known                                                             int
	)
	if isAnalogPin(name) {
		return Column{Quantity: Counts, Unit: "counts", Exact: true, Rank: 1}
	}
	ws := words(name)
	lower := strings.ToLower(name)
	for i := 0; i < len(ws); i++ {
		w := ws[i]
		// A name and its unit written as one word become two.
		if !understood(w) {
			if a, b, ok := splitWord(w); ok {
				ws = append(ws[:i], append([]string{a, b}, ws[i+1:]...)...)
				w = a
			} else if t := strings.TrimRight(w, "0123456789"); t != "" && t != w && understood(t) {
				w = t // p1, time2
			}
		}
		known++
		wasUnit := afterUnit
		afterUnit = false
		feeds = feeds || supplyWords[w]
		if u, ref, ok := unitOf(w); ok {
			if col.Unit == "" {
				col.Unit = u
			}
			setRef(&col, ref)
			afterUnit = true
		} else if unknownUnits[w] {
			col.Unknown = w
			afterUnit = true
		} else if ref, ok := pressureWords[w]; ok {
			press = true
			setRef(&col, ref)
			demoted = demoted || besides[w]
		} else if ref, ok := referenceWords[w]; ok {
			setRef(&col, ref)
		} else if wasUnit && (w == "a" || w == "g") {
			setRef(&col, map[string]string{"a": "absolute", "g": "gauge"}[w])
		} else if r, ok := timeWords[w]; ok {
			timeRank = r
		} else if temperatureWords[w] {
			temp = true
		} else if gasWords[w] {
			gas = true
		} else if u, ok := temperatureUnits[w]; ok {
			temp, tempUnit = true, u
		} else if u, ok := oneLetterTemperature[w]; ok && len(ws) > 1 {
			letterUnit = u
		} else if s, ok := timeUnits[w]; ok {
			timeScale = s
			demoted = demoted || besides[w]
		} else if u, ok := voltageUnits[w]; ok {
			volt = true
			if col.Unit == "" {
				col.Unit = u
			}
		} else if voltageWords[w] {
			volt = true
		} else if countWords[w] {
			count = true
		} else if notTheReading[w] {
			refused = true
		} else if besides[w] {
			demoted = true
			notSignal = notSignal || notTheSignal[w]
		} else if notTheSignal[w] || supplyWords[w] {
			notSignal = true
		} else if hasPressureTail(w) {
			press = true
		} else {
			known--
			// Digits alone number a column and say nothing else.
			if strings.Trim(w, "0123456789") == "" {
				known++
			}
		}
	}
	col.Exact = known == len(ws) && known > 0
	_, _, pressureUnit := unitOf(strings.ToLower(col.Unit))
	pressureUnit = pressureUnit || col.Unit == unitKgf
	if col.Unknown == "atm" && (pressureUnit || !press) {
		// In "p_atm_kpa" and "atm" the word means the air around.
		demoted, col.Unknown = true, ""
	}
	if gas && timeRank == timeWords["t"] && timeScale == 0 {
		temp = true // T_gas, t_wall
	}
	switch {
	case refused || (pressureUnit && perTime(lower)):
		return Column{Exact: col.Exact}
	case temp || (letterUnit != "" && !press && !pressureUnit):
		if tempUnit == "" {
			tempUnit = letterUnit
		}
		return Column{Quantity: Temperature, Unit: tempUnit, Exact: col.Exact}
	case pressureUnit || col.Unknown != "":
		col.Quantity = Pressure
	case volt && !press:
		if feeds {
			return Column{Quantity: Supply, Unit: col.Unit, Exact: col.Exact}
		}
		if notSignal {
			return Column{Exact: col.Exact}
		}
		col.Quantity = Voltage
	case timeRank >= 0 && !press:
		if !col.Exact {
			timeRank += 2
		}
		return Column{Quantity: Time, Scale: timeScale, Exact: col.Exact, Rank: timeRank}
	case press || (col.Reference != "" && known == len(ws)):
		col.Quantity = Pressure
		if col.Unit != "" && !pressureUnit {
			col.Quantity = Voltage // "pressure_mV" is the transducer's signal
		} else if count {
			col.Quantity, col.Unit = Counts, "counts"
		}
	case feeds && !count:
		return Column{Quantity: Supply, Exact: col.Exact}
	case count:
		if notSignal {
			return Column{Exact: col.Exact}
		}
		col.Quantity, col.Unit = Counts, "counts"
	case timeScale != 0 && (len(ws) == 1 || lastIsTimeUnit(ws)):
		return Column{Quantity: Time, Scale: timeScale, Exact: col.Exact, Rank: 3}
	default:
		return Column{Exact: col.Exact}
	}
	if demoted {
		col.Rank += 2
	}
	if !press {
		col.Rank++
	}
	return col
}

// setRef notes a reference; absolute wins, since "gauge" also names a device.
func setRef(c *Column, ref string) {
	if ref != "" && c.Reference != "absolute" {
		c.Reference = ref
	}
}

func understood(w string) bool {
	if _, _, ok := unitOf(w); ok || unknownUnits[w] {
		return true
	}
	if gasWords[w] {
		return true
	}
	_, a := pressureWords[w]
	_, b := referenceWords[w]
	_, c := timeWords[w]
	_, d := timeUnits[w]
	_, e := temperatureUnits[w]
	_, f := voltageUnits[w]
	_, g := notTheReading[w]
	return a || b || c || d || e || f || g || temperatureWords[w] || voltageWords[w] || countWords[w] || besides[w] || notTheSignal[w] || supplyWords[w]
}

// splitWord cuts "pressurekpa" and "timems" into name and unit. The longest
// name is tried first.
func splitWord(w string) (name, unit string, ok bool) {
	for i := len(w) - 1; i > 0; i-- {
		a, b := w[:i], w[i:]
		if _, isP := pressureWords[a]; isP {
			_, _, isUnit := unitOf(b)
			_, isRef := referenceWords[b]
			if isUnit || isRef || unknownUnits[b] {
				return a, b, true
			}
		}
		if _, isT := timeWords[a]; isT {
			if _, isUnit := timeUnits[b]; isUnit {
				return a, b, true
			}
		}
		if temperatureWords[a] {
			if _, isUnit := oneLetterTemperature[b]; isUnit {
				return a, b, true
			}
		}
	}
	return "", "", false
}

func hasPressureTail(w string) bool {
	for _, t := range [...]string{"druck", "pressure", "pression", "presion", "trykk", "tryck"} {
		if strings.HasSuffix(w, t) {
			return true
		}
	}
	return false
}

func lastIsTimeUnit(ws []string) bool {
	_, ok := timeUnits[ws[len(ws)-1]]
	return ok
}

// perTime reports whether a name is of a rate, such as psi/s or bar/min.
func perTime(lower string) bool {
	i := strings.LastIndexByte(lower, '/')
	if i < 0 {
		return false
	}
	_, ok := timeUnits[strings.Trim(lower[i+1:], " )]}")]
	return ok
}
