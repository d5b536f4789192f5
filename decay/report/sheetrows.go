package report

import (
	"cmp"
	"fmt"
	"strings"

	"ebbline/decay"
)

// rows are the figures, a column for each test. A row that no test has anything
// to say on is left out.
func (s *Sheet) rows() []row {
	u := s.unit()
	var out []row
	add := func(key, name string, value func(*Test) string) {
		r := row{Key: key, Name: name}
		said := false
		for _, t := range s.Tests {
			v := value(t)
			said = said || v != ""
			r.Values = append(r.Values, cmp.Or(v, "–"))
		}
		if said {
			out = append(out, r)
		}
	}
	fit := func(f func(*Test) string) func(*Test) string {
		return func(t *Test) string {
			if !t.Result.HasFit {
				return ""
			}
			return f(t)
		}
	}
	hole := func(f func(*Test) string) func(*Test) string {
		return fit(func(t *Test) string {
			if !t.Result.HasVolume {
				return ""
			}
			return f(t)
		})
	}
	if s.notSame() {
		add("part", "part under test", func(t *Test) string { return cmp.Or(PartWords(t.Record.Setup.Of), "not stated") })
	}
	add("hole", "equivalent hole, mm", hole(func(t *Test) string {
		return inUnit(t.Result.Hole, decay.Millimetre) + fmt.Sprintf(", Cd %.2f", t.Result.Cd)
	}))
	add("limit", "limit; smallest told from none, mm", func(t *Test) string {
		v := digits3(float64(t.Result.Limit) / decay.Millimetre)
		if t.Result.Smallest > 0 {
			v += "; " + digits3(float64(t.Result.Smallest)/decay.Millimetre)
		}
		return v
	})
	add("area", "effective area, mm²", hole(func(t *Test) string { return inUnit(t.Result.Area, decay.SquareMM) }))
	add("rate", "decay rate K, 1/s", fit(func(t *Test) string { return inUnit(t.Result.Rate, 1) }))
	add("loss", "loss at first", fit(func(t *Test) string {
		v := digits3(t.Result.LossRate*60/u.Pascal) + " " + u.Name + "/min"
		if t.Result.HasVolume {
			v += "; " + digits3(decay.SCCM0C(t.Result.Flow)) + " sccm (at 0 °C)"
		}
		return v
	}))
	add("law", "leak law", fit(func(t *Test) string { return lawWords(t.Result.Law) }))
	add("settling", "settling of the air", fit(func(t *Test) string {
		if t.Result.Settling.Tau <= 0 {
			return ""
		}
		return fmt.Sprintf("%.2f %% of abs. pressure, %s", 100*t.Result.Settling.Amplitude, seconds(t.Result.Settling.Tau))
	}))
	add("start", "shut in at", func(t *Test) string {
		if t.Result.Hold.StartAbs == 0 {
			return ""
		}
		return t.Result.Hold.StartGauge.Format(u) + " = " + t.Result.Hold.StartAbs.Format(u)
	})
	add("held", "held; readings in all", func(t *Test) string {
		v := "–"
		if h := t.Result.Hold; h.End > h.Start {
			v = fmt.Sprintf("%.1f s", (h.End - h.Start).Seconds())
		}
		return fmt.Sprintf("%s; %d", v, len(t.Record.Samples))
	})
	add("peak", "highest pressure; ceiling", func(t *Test) string {
		if t.Result.Samples == 0 {
			return ""
		}
		return t.Result.Peak.Format(u) + "; " + t.set().Ceiling.Format(u)
	})
	add("volume", "volume", func(t *Test) string {
		if t.Record.Setup.Volume <= 0 {
			return "not stated"
		}
		return volumeWords(t.Record.Setup) + fmt.Sprintf("; may stretch by %.3g %%", 100*t.set().Compliance)
	})
	add("ambient", "ambient", func(t *Test) string {
		return fmt.Sprintf("%s, %.0f °C", t.ambient().Format(u), t.set().AmbientTemperature.Celsius())
	})
	add("rig", "fittings' leak, subtracted, mm²", func(t *Test) string {
		if t.Record.Setup.RigLeak == (decay.Interval{}) {
			return ""
		}
		return inUnit(t.Record.Setup.RigLeak, decay.SquareMM)
	})
	add("when", "tested on", when)
	add("by", "tested by", func(t *Test) string { return cmp.Or(typed(s.By), typed(t.extra("by")), "not stated") })
	add("sensor", "sensor; calibrated", func(t *Test) string {
		return cmp.Or(typed(s.Sensor), typed(t.extra("sensor")), "not stated") + "; " + cmp.Or(typed(s.Calibrated), typed(t.extra("calibrated")), "not stated")
	})
	add("source", "read from", func(t *Test) string { return source(t.Record.Source) })
	add("sensorerror", "sensor, as stated", func(t *Test) string {
		set := t.Record.Setup
		var parts []string
		if set.FullScale > 0 {
			parts = append(parts, "range "+decay.Gauge(set.FullScale).Number(u)+" "+u.Name)
		}
		if set.ZeroTolerance > 0 {
			parts = append(parts, fmt.Sprintf("zero ± %.3g %%", 100*set.ZeroTolerance))
		}
		if set.SpanTolerance > 0 {
			parts = append(parts, fmt.Sprintf("span ± %.3g %%", 100*set.SpanTolerance))
		}
		if set.Division > 0 {
			parts = append(parts, "dial divided by "+set.Division.Format(u))
		}
		return cmp.Or(strings.Join(parts, ", "), "none")
	})
	add("zero", "zero error found, taken off", func(t *Test) string {
		if v := t.Result.Zero.Format(u); v != decay.Gauge(0).Format(u) {
			return v
		}
		return ""
	})
	add("flags", "flags", func(t *Test) string {
		names := make([]string, len(t.Result.Flags))
		for i, f := range t.Result.Flags {
			names[i] = string(f)
		}
		return strings.Join(names, ", ")
	})
	return out
}

// inUnit prints an interval in a unit: value (low to high).
func inUnit(iv decay.Interval, unit float64) string {
	high := "no upper bound"
	if finite(iv.High) {
		high = digits3(iv.High / unit)
	}
	return digits3(iv.Value/unit) + " (" + digits3(iv.Low/unit) + " to " + high + ")"
}

// notes are what a reader must know beside the figures, each once.
func (s *Sheet) notes() []string {
	var out []string
	seen := map[string]bool{}
	add := func(role, text string) {
		if role != "" {
			role += ": "
		}
		if text = sentence(text); !seen[text] {
			seen[text] = true
			out = append(out, role+text)
		}
	}
	for _, t := range s.Tests {
		if t.Record.Unended {
			add(t.Role, "the test was ended while there was still pressure")
		}
		if was := t.Record.Result; was.Samples == 0 && was.Outcome != t.Result.Outcome && !t.Record.Torn {
			add(t.Role, "the record says "+Word(was.Outcome)+"; judged again from its readings by this version: "+Word(t.Result.Outcome))
		}
		if t.Result.Peak > t.set().Ceiling {
			add(t.Role, "the pressure was above the ceiling: "+t.Result.Peak.Format(s.unit()))
		}
		for _, f := range t.Result.Flags {
			if text := FlagSentence(f); text != "" && f != decay.FlagOverCeiling { // said above, with its figure
				add(t.Role, text)
			}
		}
		for _, w := range t.Result.Warnings {
			text, _, _ := strings.Cut(w.Text, "; say --") // flags mean nothing to a customer
			add(t.Role, text)
		}
	}
	if len(s.Tests) == 2 {
		a, b := s.Tests[0], s.Tests[1]
		if la, lb := typed(a.Record.Label), typed(b.Record.Label); la != lb {
			add("", "the two tests have different labels: \""+cmp.Or(la, "none")+"\" and \""+cmp.Or(lb, "none")+"\"")
		}
		if a.Record.Setup.Volume != b.Record.Setup.Volume {
			add("", "the two tests state different volumes")
		}
	}
	return out
}
