package tui

import (
	"math"
	"time"

	"ebbline/decay"
	"ebbline/decay/record"
	"ebbline/sensor"
	"ebbline/tui/chart"
)

const psi = decay.Gauge(decay.PSI)

// moment is a made-up test up to t seconds: 4 s at ambient, a fill to top psi
// until 24 s, then a fall to rate of its value in 60 s.
func moment(t float64, top, rate float64) (*chart.Columns, func(*scene)) {
	c := chart.NewColumns(2400, 0.025)
	for k := 0; float64(k)/50 <= t; k++ {
		at := float64(k) / 50
		p := 0.0
		switch {
		case at > 24:
			p = top*math.Exp((at-24)/60*math.Log(rate)) + 0.01*top*(math.Exp(-(at-24)/6)-1)
		case at > 4:
			p = top * (1 - math.Exp(-(at-4)/7)) / (1 - math.Exp(-20.0/7))
		}
		p += 0.02 * math.Sin(float64(k)*1.7)
		c.Add(at, p*decay.PSI)
	}
	return c, func(s *scene) {
		s.marks = nil
		for _, m := range []mark{{4, decay.PhaseFill}, {24, decay.PhaseSettle}, {40, decay.PhaseHold}} {
			if m.at < t {
				s.marks = append(s.marks, m)
			}
		}
	}
}

func base() scene {
	set := decay.Setup{Volume: 10 * decay.Litre, VolumeTolerance: 0.03, Ambient: 95 * decay.Kilopascal}.WithDefaults()
	u, _ := decay.ParsePressureUnit("psi")
	m := &model{o: Options{Controls: noControls{}}}
	m.s = scene{
		set: set, unit: u, title: "Job 12, blue van (made up)", bell: true, rig: true,
		about: sensor.About{Name: "simulated rig", Simulated: true, Detail: "10 L of ducting, one hole"},
		ports: []string{"/dev/ttyUSB0"},
		trace: chart.NewColumns(2400, 0.025),
		st:    decay.State{Slope: math.NaN(), Advice: decay.AdviseWaitReading},
	}
	m.refreshKeys()
	return m.s
}

type noControls struct{}

func (noControls) Fill()    {}
func (noControls) Isolate() {}
func (noControls) Release() {}

func estimate(v, lo, hi float64) decay.Result {
	iv := func(f float64) decay.Interval {
		return decay.Interval{Value: v * f, Low: lo * f, High: hi * f, Level: 0.95}
	}
	return decay.Result{
		HasFit: true, HasVolume: true, Hole: iv(decay.Millimetre),
		Area: decay.Interval{Value: .62 * .785 * v * v * 1e-6, Low: .62 * .785 * lo * lo * 1e-6, High: .62 * .785 * hi * hi * 1e-6, Level: .95}, AreaSD: 1e-8,
		Cd: 0.62, Rate: iv(0.003), Law: decay.LawOrifice, LossRate: 3 * decay.PSI / 60, Flow: 2e-4,
		Settling: decay.Settling{Amplitude: 0.012, Tau: 6 * time.Second}, Limit: decay.DefaultLimit,
		Smallest: 0.12 * decay.Millimetre, Peak: 25 * psi, Volume: 10 * decay.Litre, Ambient: 95 * decay.Kilopascal, Samples: 3200,
		Hold: decay.Hold{StartAbs: 250 * decay.Kilopascal, StartGauge: 155 * decay.Kilopascal},
	}
}

// moments are the screens that are kept as golden files.
func moments() map[string]scene {
	out := map[string]scene{}
	make := func(name string, t, top, rate float64, change func(*scene)) {
		s := base()
		c, marks := moment(t, top, rate)
		s.trace = c
		marks(&s)
		_, p := c.Last()
		now := time.Duration(t * float64(time.Second))
		s.st = decay.State{Seen: true, Now: now, P: decay.Gauge(math.Round(p)), Slope: 0}
		if n := len(s.marks); n > 0 {
			s.st.Phase = s.marks[n-1].to
			s.st.PhaseSince = time.Duration(s.marks[n-1].at * float64(time.Second))
		}
		s.st.InBand = s.st.P >= s.set.Ceiling*decay.WarningBand
		s.st.OverCeiling = s.st.P > s.set.Ceiling
		change(&s)
		out[name] = s
	}
	make("ready", 3, 25, .95, func(s *scene) { s.st.Advice = decay.AdviseFill })
	make("fill", 12, 25, .95, func(s *scene) {
		s.st.Advice, s.st.Slope, s.st.ToCeiling = decay.AdviseKeepFilling, 8000, 14*time.Second
	})
	make("band", 20, 30.5, .95, func(s *scene) {
		s.st.Advice, s.st.Slope, s.st.ToCeiling = decay.AdviseFillSlowly, 4000, 3200*time.Millisecond
	})
	make("over", 24, 31.5, .95, func(s *scene) { s.st.Advice = decay.AdviseShut })
	make("settle", 32, 25, .9, func(s *scene) { s.st.Advice, s.st.Slope = decay.AdviseHandsOff, -600 })
	make("guess", 29, 25, .9, func(s *scene) {
		s.st.Advice, s.st.Result = decay.AdviseHandsOff, estimate(.98, .77, 1.29)
	})
	make("empty", 110, 25, .01, func(s *scene) {
		s.st.Phase, s.st.Advice, s.st.Result = decay.PhaseEmpty, decay.AdviseDone, estimate(1.5, 1.45, 1.54)
		s.marks = append(s.marks, mark{98, decay.PhaseEmpty})
		s.set.Of, s.st.Result.Outcome, s.st.Verdict = decay.PartManifold, decay.Leaks, decay.Leaks
	})
	make("unseen", 3, 25, .95, func(s *scene) { s.st.Advice, s.set.FullScale = decay.AdviseFill, 30*decay.PSI })
	make("unusable", 70, 25, .88, func(s *scene) {
		s.st.Advice, s.st.Verdict, s.st.Result = decay.AdviseHoldOn, decay.Unusable, estimate(.52, .38, .71)
	})
	make("auto", 3, 25, .95, func(s *scene) { s.st.Advice, s.auto = decay.AdviseFill, true })
	make("undecided", 70, 25, .88, func(s *scene) {
		s.st.Advice, s.st.Result = decay.AdviseHoldOn, estimate(.52, .38, .71)
		s.st.Result.HasDecide, s.st.Result.ToDecide = true, 45*time.Second
	})
	make("leaks", 110, 25, .8, func(s *scene) {
		s.st.Advice, s.st.Verdict, s.st.Result = decay.AdviseRelease, decay.Leaks, estimate(.84, .72, .97)
		s.st.Result.Outcome = decay.Leaks
	})
	make("holds", 110, 25, .995, func(s *scene) {
		s.st.Advice, s.st.Verdict, s.st.Result = decay.AdviseRelease, decay.Holds, estimate(.12, 0, .21)
		s.st.Result.Outcome = decay.Holds
	})
	make("lost", 60, 25, .9, func(s *scene) {
		s.st.Advice, s.st.Lost, s.st.LostWhy = decay.AdviseSensor, true, "nothing from /dev/ttyUSB0 for 3 s"
		s.about = sensor.About{Name: "/dev/ttyUSB0", Detail: "one number a line, volts, 50 a second"}
	})
	make("stuck", 60, 25, .9, func(s *scene) {
		s.st.Advice, s.doubt = decay.AdviseHandsOff, true
		s.fault, s.next = "stuck value: the reading has not changed at all for 2.0 s, and it had noise before", "let air out by hand; restart the board, and check the transducer's plug"
		s.about = sensor.About{Name: "/dev/ttyUSB0", Detail: "one number a line, volts, 50 a second"}
	})
	make("rail", 24, 53.1, .95, func(s *scene) {
		s.st.Advice, s.doubt = decay.AdviseShut, true
		s.fault, s.next = "signal at supply: the signal stands far above the transducer's full scale", "check its three wires"
	})
	hunting := func(change func(*scene)) func(*scene) {
		return func(s *scene) {
			s.view = viewHunt
			s.hunt = hunt{known: true, settled: true, rate: -22 * decay.PSI / 60, least: 0.9 * decay.PSI / 60, trend: trendSame, hole: 0.98 * decay.Millimetre,
				rates: chart.NewColumns(2400, 0.04)}
			for k := range 1200 {
				t := 60 + float64(k)*0.04
				s.hunt.rates.Add(t, 22*decay.PSI/60*(1-(t-60)/300)+math.Sin(float64(k)*1.7)*60)
			}
			s.st.P = 21.5 * psi
			change(s)
		}
	}
	make("hunt", 108, 25, .8, hunting(func(s *scene) {}))
	make("hunt-smaller", 112, 25, .8, hunting(func(s *scene) {
		h := &s.hunt
		for k := range 100 {
			t := 108 + float64(k)*0.04
			h.rates.Add(t, math.Max(7, 18-20*(t-108))*decay.PSI/60+math.Sin(float64(k)*1.7)*60)
		}
		h.rate, h.was, h.trend, h.since, h.hole = -7.1*decay.PSI/60, -18.2*decay.PSI/60, trendSmaller, 3.2, 0.61*decay.Millimetre
		h.heat, h.steady = 8.8, true
		h.marks = []record.Mark{{At: 80 * time.Second, P: 22 * psi, Rate: -20.4 * decay.PSI / 60, Word: "upper cooler hose"},
			{At: 110 * time.Second, P: 21.5 * psi, Rate: math.NaN(), Word: "lower cooler hose: smaller, was 18.2 psi/min"}}
	}))
	make("hunt-mark", 112, 25, .8, hunting(func(s *scene) {
		s.hunt.mark, s.hunt.typing = record.Mark{At: 104 * time.Second}, &entry{text: "lower cooler"}
	}))
	make("hunt-fed", 20, 25, .95, hunting(func(s *scene) {
		s.st.Advice, s.st.Phase = decay.AdviseIsolate, decay.PhaseFill
		s.hunt.settled = false
		s.hunt.rate, s.hunt.rates = 40, chart.NewColumns(2400, 0.04)
	}))
	area := func(v, half float64) decay.Interval {
		return decay.Interval{Value: v * decay.SquareMM, Low: (v - half) * decay.SquareMM, High: (v + half) * decay.SquareMM, Level: 0.95}
	}
	make("split", 110, 25, .8, func(s *scene) {
		s.view, s.section = viewSplit, "lower cooler hose"
		s.split = split{whole: area(.5, .03), title: s.title, sections: []decay.Section{{Name: "upper hose", Area: area(.05, .02)}}}
		s.st.Result = estimate(.84, .8, .88)
		s.st.Result.Area = area(.36, .04)
	})
	make("retest", 110, 25, .97, func(s *scene) {
		trace, _ := moment(120, 25, .7)
		s.before = &past{title: "left hose", sim: true, result: estimate(.84, .72, .97), trace: trace, start: 4, hold: 24}
		s.before.result.Outcome = decay.Leaks
		s.st.Advice, s.st.Verdict, s.st.Result = decay.AdviseRelease, decay.Holds, estimate(.12, 0, .21)
		s.st.Result.Outcome = decay.Holds
	})
	at := func(line int, change func(*card)) func(*scene) {
		return func(s *scene) {
			set := decay.Setup{Volume: 10 * decay.Litre, VolumeTolerance: 0.03, Ambient: 95 * decay.Kilopascal}
			c := newCard(s.title, set, s.unit)
			c.at = line
			change(&c)
			s.card, s.st.Advice = &c, decay.AdviseFill
		}
	}
	make("card", 3, 25, .95, at(cardOf, func(*card) {}))
	make("card-limit", 3, 25, .95, at(cardLimit, func(c *card) {
		c.of, c.volume.text, c.acknowledged = decay.PartHose, "", true
		c.fault = "limit: \"3\" has no unit; write a hole's diameter, for example 0.5mm"
		c.limit.text, c.limitFrom, c.retest, c.rig = "3", "typed", "left hose, 14:02", area(.0012, .0005)
	}))
	make("card-volume", 3, 25, .95, at(cardVolume, func(c *card) { c.of = decay.PartManifold }))
	make("card-empty", 3, 25, .95, at(cardVolume, func(c *card) { c.volume.text = "" }))
	make("card-tight", 3, 25, .95, at(cardVolume, func(c *card) {
		c.volume.text, c.retest, c.rig = "", "left hose, 14:02", area(.0012, .0005)
	}))
	make("card-ceiling", 3, 25, .95, at(cardCeiling, func(*card) {}))
	make("card-manifold", 3, 25, .95, at(cardOf, func(c *card) { c.of = decay.PartManifold }))
	make("card-start", 3, 25, .95, at(cardStart, func(*card) {}))
	return out
}
