package tui

import (
	"math"
	"strconv"

	"ebbline/decay"
	"ebbline/decay/report"
)

// lookFacts is what the sentence "what you are looking at" is made from: true
// values of the simulated rig, so that it is right whatever the class sees.
type lookFacts struct {
	duct    Duct
	slow    bool
	changed bool           // the hole was another before
	stage   decay.Phase    // ready, fill, hold or over
	p       decay.Pressure // true, absolute
	warm    float64        // K above the duct's own temperature
	seems   decay.Length   // the hole that the fall alone would mean; 0: not to be told
	unit    decay.PressureUnit
}

// Below these the words are about something else: a pressure that no class can
// see on the line, and air so near the duct's temperature that what is left to
// settle is about one per cent of the absolute pressure.
const (
	emptyGauge = decay.Gauge(1 * decay.Kilopascal)
	warmAir    = 3.0 // K
	stillWarm  = 0.5 // K: of a tight duct, whose fall is nothing but this
)

// look says in plain words what the line shows.
func (f lookFacts) look() string {
	g := f.p.Gauge(f.duct.Ambient)
	degrees := strconv.FormatFloat(math.Abs(f.warm), 'f', 0, 64) + " °C"
	switch f.stage {
	case decay.PhaseReady:
		return "The duct is at ambient, 0 " + f.unit.Name + " gauge: this shows the sensor's zero before the fill."
	case decay.PhaseFill:
		if f.slow {
			return "Slow fill: small portions of air, and time for each to cool (now " + degrees + sideOf(f.warm) + "). The valve shuts when the air has settled."
		}
		return "Quick fill: squeezed air gets warm, now " + degrees + sideOf(f.warm) + ". When it cools later the pressure falls, leak or no leak."
	}
	hot, cold := f.warm > warmAir, f.warm < -warmAir
	choke := f.duct.unchokes()
	switch {
	case f.duct.Hole == 0 && f.warm > stillWarm:
		words := "No leak at all: the air cools, still " + degrees + sideOf(f.warm) + ". This settling"
		if f.seems > 0 {
			words += " looks like a hole of " + tenths(f.seems) + ", and"
		}
		return words + " stops by itself."
	case f.duct.Hole == 0 && f.changed && f.warm < -stillWarm:
		return "No leak now: the hole was closed. The air inside is " + degrees + sideOf(f.warm) + ", and as it warms the pressure rises, with no air added."
	case f.duct.Hole == 0 && f.changed:
		return "No leak now: the hole was closed, and from there on the line is flat."
	case f.duct.Hole == 0 && f.slow:
		return "No leak, and a slow fill: the air had settled before the valve was shut, so the line is flat."
	case f.duct.Hole == 0:
		return "No leak: the air has cooled and the line is now flat. The fall before was settling, which looks like a leak."
	case g < emptyGauge:
		return "The air has gone: the pressure inside is that of the air around, about 0 " + f.unit.Name + " gauge."
	case hot:
		words := "Two things at once: air leaks out, and what stays cools, still " + degrees + sideOf(f.warm) + ". Judged now, the leak looks too large"
		if f.seems > 0 {
			words += ", like " + tenths(f.seems)
		}
		return words + "."
	case cold:
		return "The air leaks out so fast that what stays gets cold, now " + degrees + sideOf(f.warm) + ": the line shows heat as well as lost air."
	case f.duct.Seep && g > f.duct.Supply/2:
		return "A seep: many fine paths, never choked. Its flow follows absolute pressure squared less ambient squared: strong high up, then it fades."
	case f.duct.Seep:
		return "A seep, low down: here its flow is near to proportional to the gauge pressure. It fades and never quite ends."
	case g >= choke:
		return "Choked: the air leaves at the speed of sound, and each second takes about the same share of the absolute pressure, down to " + choke.Format(f.unit) + "."
	}
	return "Below " + choke.Format(f.unit) + " the hole is no longer choked: less pressure now drives the air out more slowly, and the line flattens."
}

// tenths is a size to a tenth of a millimetre, as a fall is read by eye.
func tenths(d decay.Length) string {
	return strconv.FormatFloat(float64(d)/decay.Millimetre, 'f', 1, 64) + " mm"
}

func sideOf(warm float64) string {
	if warm < 0 {
		return " colder than the duct"
	}
	return " warmer than the duct"
}

// asides say what altitude and a small volume do to the present trace.
func (f lookFacts) asides(high int, large decay.Volume) []string {
	var out []string
	if high > 0 {
		words := placeWord(high, f.duct.Ambient) + ": ambient " + f.duct.Ambient.Format(f.unit)
		if !f.duct.Seep && f.duct.Hole > 0 {
			sea := Duct{Ambient: decay.DefaultAmbient}.unchokes()
			words += "; choked above " + f.duct.unchokes().Number(f.unit) + ", sea " + sea.Number(f.unit) + " " + f.unit.Name + " gauge"
		}
		out = append(out, words+".")
	}
	if f.duct.Volume < large*0.99 {
		words := litres(f.duct.Volume) + ": a small volume"
		if f.duct.Hole > 0 {
			words += ", so the same leak shows " + strconv.FormatFloat(float64(large/f.duct.Volume), 'f', 1, 64) + " times as fast as in " + litres(large)
		}
		out = append(out, words+".")
	}
	return out
}

// realLook says what a line of real hardware shows: only what is certain.
func realLook(st decay.State, set decay.Setup, unit decay.PressureUnit) string {
	if !isolated(st.Phase) || st.Lost || !st.Seen || st.Verdict == decay.Unusable {
		return report.Advice(st, set, unit)
	}
	ambient := set.NominalAmbient()
	if st.Result.Ambient > 0 {
		ambient = st.Result.Ambient
	}
	choke := Duct{Ambient: ambient}.unchokes()
	switch {
	case st.Phase == decay.PhaseSettle:
		return "The valve is shut. Part of this fall is no leak: the air cools after the fill, which is settling."
	case st.P < emptyGauge:
		return "The air has gone: the pressure inside is that of the air around, about 0 " + unit.Name + " gauge."
	case st.P >= choke:
		return "A hole is choked here: air leaves at the speed of sound, and the flow follows the absolute pressure, down to " + choke.Format(unit) + "."
	}
	return "Below " + choke.Format(unit) + " a hole is no longer choked: less pressure drives the air out more slowly, and the line flattens."
}
