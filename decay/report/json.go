package report

import (
	"encoding/json"
	"io"
	"math"
	"time"

	"ebbline/decay"
	"ebbline/decay/record"
)

// Input is a result with what a report says beside it.
type Input struct {
	File      string        // name of the trace, capture or port
	Result    decay.Result  //
	Of        decay.Part    // what was under test
	Simulated bool          // no real duct was tested
	Marks     []record.Mark // made while hunting
	Elapsed   time.Duration // how long the analysis took
}

// number is a float that prints as null when it is unknown, NaN or infinite.
type number float64

// MarshalJSON prints the shortest digits that read back as the same value.
func (n number) MarshalJSON() ([]byte, error) {
	f := float64(n)
	if math.IsNaN(f) || math.IsInf(f, 0) {
		return []byte("null"), nil
	}
	if f == 0 {
		f = 0 // no minus sign before a zero
	}
	return json.Marshal(f)
}

var unknown = number(math.NaN())

type jsonHold struct {
	Start      number `json:"start_s"`
	End        number `json:"end_s"`
	StartAbs   number `json:"start_kpa_abs"`
	StartGauge number `json:"start_kpa_gauge"`
}

type jsonInterval struct {
	Value number `json:"value"`
	Low   number `json:"low"`
	High  number `json:"high"`
	Level number `json:"level"`
}

type jsonArea struct {
	jsonInterval
	SD number `json:"sd_trace"`
}

type jsonHole struct {
	jsonInterval
	Cd number `json:"cd"`
}

type jsonSettling struct {
	Amplitude number `json:"amplitude_pct"`
	Tau       number `json:"tau_s"`
}

type jsonWarning struct {
	Code string `json:"code"`
	Text string `json:"text"`
}

type jsonMark struct {
	At   number `json:"t_s"`
	P    number `json:"kpa_gauge"`
	Loss number `json:"loss_kpa_per_min"`
	Word string `json:"word"`
}

type jsonResult struct {
	File      string        `json:"file"`
	Of        string        `json:"of,omitempty"`
	Simulated bool          `json:"simulated"`
	Outcome   string        `json:"outcome"`
	IfShut    string        `json:"if_shut,omitempty"` // the outcome if the supply was shut, which nothing shows
	Flags     []decay.Flag  `json:"flags"`
	Hold      *jsonHold     `json:"hold"`
	Area      *jsonArea     `json:"area_mm2"`
	Hole      *jsonHole     `json:"hole_mm"`
	Rate      *jsonInterval `json:"decay_per_s"`
	Law       string        `json:"leak_law"`
	Loss      number        `json:"loss_kpa_per_min"`
	Flow      number        `json:"flow_sccm_0c"`
	Settling  *jsonSettling `json:"settling"`
	Limit     number        `json:"limit_mm"`
	Smallest  number        `json:"smallest_hole_mm"`
	ToDecide  number        `json:"seconds_to_decide"`
	Peak      number        `json:"peak_kpa_gauge"`
	Volume    number        `json:"volume_l"`
	Ambient   number        `json:"ambient_kpa"`
	Samples   int           `json:"samples"`
	ElapsedMS number        `json:"elapsed_ms"`
	Warnings  []jsonWarning `json:"warnings"`
	Marks     []jsonMark    `json:"marks,omitempty"`
}

// partName is the part's name, "" when it is not stated.
func partName(p decay.Part) string {
	if p == decay.PartUnstated {
		return ""
	}
	return p.String()
}

// scaled converts an interval of SI values to the printed unit.
func scaled(iv decay.Interval, unit float64) jsonInterval {
	return jsonInterval{number(iv.Value / unit), number(iv.Low / unit), number(iv.High / unit), number(iv.Level)}
}

// positive is f, or unknown when f is zero: the zero value of such a field
// means that it is not known.
func positive(f float64) number {
	if f == 0 {
		return unknown
	}
	return number(f)
}

// JSON writes in as one JSON object on one line. What is not known is null; an
// unbounded interval has a null end. A NaN or an infinity is never printed.
func JSON(w io.Writer, in Input) error { return json.NewEncoder(w).Encode(newJSON(in)) }

// newJSON is the object that JSON prints.
func newJSON(in Input) jsonResult {
	r := in.Result
	out := jsonResult{
		File: in.File, Of: partName(in.Of), Simulated: in.Simulated, Outcome: r.Outcome.String(), Flags: r.Flags, Law: r.Law.String(),
		Loss: unknown, Flow: unknown, ToDecide: unknown,
		Limit: positive(float64(r.Limit) / decay.Millimetre), Smallest: positive(float64(r.Smallest) / decay.Millimetre),
		Peak: unknown, Volume: positive(float64(r.Volume) / decay.Litre),
		Ambient: positive(float64(r.Ambient) / decay.Kilopascal), Samples: r.Samples,
		ElapsedMS: number(in.Elapsed.Seconds() * 1e3), Warnings: []jsonWarning{},
	}
	if r.Samples > 0 {
		out.Peak = number(float64(r.Peak) / decay.Kilopascal)
	}
	if out.Flags == nil {
		out.Flags = []decay.Flag{}
	}
	for _, m := range in.Marks {
		out.Marks = append(out.Marks, jsonMark{number(m.At.Seconds()), number(float64(m.P) / decay.Kilopascal), number(-m.Rate * 60 / decay.Kilopascal), m.Word})
	}
	for _, x := range r.Warnings {
		out.Warnings = append(out.Warnings, jsonWarning(x))
	}
	if r.Hold != (decay.Hold{}) {
		out.Hold = &jsonHold{
			number(r.Hold.Start.Seconds()), number(r.Hold.End.Seconds()),
			positive(float64(r.Hold.StartAbs) / decay.Kilopascal), number(float64(r.Hold.StartGauge) / decay.Kilopascal),
		}
		if r.Hold.StartAbs == 0 {
			out.Hold.StartGauge = unknown
		}
	}
	if r.HeldUp {
		out.IfShut = r.IfShut.String()
	}
	if r.HasFit || r.HeldUp {
		rate := scaled(r.Rate, 1)
		out.Rate = &rate
		out.Loss = number(r.LossRate * 60 / decay.Kilopascal)
		out.Settling = &jsonSettling{number(r.Settling.Amplitude * 100), number(r.Settling.Tau.Seconds())}
		if r.HasVolume {
			out.Area = &jsonArea{scaled(r.Area, decay.SquareMM), number(r.AreaSD / decay.SquareMM)}
			out.Hole = &jsonHole{scaled(r.Hole, decay.Millimetre), number(r.Cd)}
			out.Flow = number(decay.SCCM0C(r.Flow))
		}
	}
	if r.HasDecide {
		out.ToDecide = number(r.ToDecide.Seconds())
	}
	return out
}
