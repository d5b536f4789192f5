package record

import (
	"fmt"
	"strconv"
	"strings"
	"time"

	"ebbline/decay"
)

// field is one line of a record: how it is printed ("" leaves it out) and read.
type field struct {
	key string
	get func(*Record) string
	set func(*Record, string) error
}

// float makes a field of a number whose zero value means "not stated".
func float[T ~float64](key string, at func(*Record) *T) field {
	return field{key,
		func(r *Record) string {
			if *at(r) == 0 {
				return ""
			}
			return strconv.FormatFloat(float64(*at(r)), 'g', -1, 64)
		},
		func(r *Record, s string) error {
			v, err := strconv.ParseFloat(s, 64)
			if err != nil {
				return fmt.Errorf("%q is not a number", clip(s))
			}
			*at(r) = T(v)
			return nil
		}}
}

// yes makes a field of a truth value; only a true one is printed unless always.
func yes(key string, always bool, at func(*Record) *bool) field {
	return field{key,
		func(r *Record) string {
			switch {
			case *at(r):
				return "yes"
			case always:
				return "no"
			}
			return ""
		},
		func(r *Record, s string) error {
			if s != "yes" && s != "no" {
				return fmt.Errorf("%q is neither yes nor no", clip(s))
			}
			*at(r) = s == "yes"
			return nil
		}}
}

// text makes a field of a string.
func text(key string, at func(*Record) *string) field {
	return field{key,
		func(r *Record) string { return *at(r) },
		func(r *Record, s string) error { *at(r) = s; return nil }}
}

// span makes a field of a duration, in seconds.
func span(key string, at func(*Record) *time.Duration) field {
	return field{key,
		func(r *Record) string {
			if *at(r) == 0 {
				return ""
			}
			return formatSeconds(*at(r))
		},
		func(r *Record, s string) (err error) { *at(r), err = parseSeconds(s); return err }}
}

// interval makes a field of "value low high level".
func interval(key string, at func(*Record) *decay.Interval) field {
	return field{key,
		func(r *Record) string {
			iv := *at(r)
			if iv == (decay.Interval{}) {
				return ""
			}
			return fmt.Sprintf("%v %v %v %v", iv.Value, iv.Low, iv.High, iv.Level)
		},
		func(r *Record, s string) error {
			parts := strings.Fields(s)
			if len(parts) != 4 {
				return fmt.Errorf("%q is not value, low, high and level", clip(s))
			}
			var v [4]float64
			for i, p := range parts {
				var err error
				if v[i], err = strconv.ParseFloat(p, 64); err != nil {
					return fmt.Errorf("%q is not a number", clip(p))
				}
			}
			*at(r) = decay.Interval{Value: v[0], Low: v[1], High: v[2], Level: v[3]}
			return nil
		}}
}

// named makes a field of a value that has a word for each of its values.
func named[T interface {
	~int
	String() string
}](key string, values []T, at func(*Record) *T) field {
	return field{key,
		func(r *Record) string { return (*at(r)).String() },
		func(r *Record, s string) error {
			for _, v := range values {
				if v.String() == s {
					*at(r) = v
					return nil
				}
			}
			return fmt.Errorf("%q is not a known value", clip(s))
		}}
}

// heading are the lines above the readings.
var heading = []field{
	text("label", func(r *Record) *string { return &r.Label }),
	{"date",
		func(r *Record) string {
			if r.When.IsZero() {
				return ""
			}
			return r.When.Format(time.RFC3339Nano)
		},
		func(r *Record, s string) (err error) {
			if r.When, err = time.Parse(time.RFC3339Nano, s); err != nil {
				err = fmt.Errorf("%q is not a date like 2026-01-31T15:04:05Z", clip(s))
			}
			return err
		}},
	text("program", func(r *Record) *string { return &r.Program }),
	text("source", func(r *Record) *string { return &r.Source }),
	yes("simulated", true, func(r *Record) *bool { return &r.Simulated }),
	named("reads", []decay.Reference{decay.ReadsGauge, decay.ReadsAbsolute}, func(r *Record) *decay.Reference { return &r.Setup.Reads }),
	float("ambient_pa_abs", func(r *Record) *decay.Pressure { return &r.Setup.Ambient }),
	float("ambient_temperature_k", func(r *Record) *decay.Temperature { return &r.Setup.AmbientTemperature }),
	float("volume_m3", func(r *Record) *decay.Volume { return &r.Setup.Volume }),
	float("volume_tolerance", func(r *Record) *float64 { return &r.Setup.VolumeTolerance }),
	float("ceiling_pa_gauge", func(r *Record) *decay.Gauge { return &r.Setup.Ceiling }),
	{"of",
		func(r *Record) string {
			if r.Setup.Of == decay.PartUnstated {
				return ""
			}
			return r.Setup.Of.String()
		},
		func(r *Record, s string) (err error) { r.Setup.Of, err = decay.ParsePart(s); return err }},
	float("limit_m", func(r *Record) *decay.Length { return &r.Setup.Limit }),
	float("cd", func(r *Record) *float64 { return &r.Setup.Cd }),
	float("full_scale_pa", func(r *Record) *float64 { return &r.Setup.FullScale }),
	float("zero_tolerance", func(r *Record) *float64 { return &r.Setup.ZeroTolerance }),
	float("span_tolerance", func(r *Record) *float64 { return &r.Setup.SpanTolerance }),
	float("compliance", func(r *Record) *float64 { return &r.Setup.Compliance }),
	yes("rigid", false, func(r *Record) *bool { return &r.Setup.Rigid }),
	interval("rig_leak_m2", func(r *Record) *decay.Interval { return &r.Setup.RigLeak }),
	float("division_pa_gauge", func(r *Record) *decay.Gauge { return &r.Setup.Division }),
}

// derived are the lines below the readings.
var derived = []field{
	yes("unended", false, func(r *Record) *bool { return &r.Unended }),
	named("outcome", []decay.Outcome{decay.Undecided, decay.Holds, decay.Leaks, decay.NeverBuilt, decay.NoHold, decay.Unusable},
		func(r *Record) *decay.Outcome { return &r.Result.Outcome }),
	{"flags",
		func(r *Record) string {
			names := make([]string, len(r.Result.Flags))
			for i, f := range r.Result.Flags {
				names[i] = string(f)
			}
			return strings.Join(names, " ")
		},
		func(r *Record, s string) error {
			r.Result.Flags = nil
			for _, f := range strings.Fields(s) {
				r.Result.Flags = append(r.Result.Flags, decay.Flag(f))
			}
			return nil
		}},
	span("hold_start_s", func(r *Record) *time.Duration { return &r.Result.Hold.Start }),
	{"touched_s",
		func(r *Record) string {
			if r.Result.Touched == 0 {
				return ""
			}
			return formatSeconds(r.Result.Touched)
		},
		func(r *Record, s string) (err error) {
			r.Result.Touched, err = parseSeconds(s)
			r.Setup.Touched = r.Result.Touched
			return err
		}},
	{"shut_s",
		func(r *Record) string {
			if r.Result.Shut == 0 {
				return ""
			}
			return formatSeconds(r.Result.Shut)
		},
		func(r *Record, s string) (err error) {
			r.Result.Shut, err = parseSeconds(s)
			r.Setup.Shut = r.Result.Shut
			return err
		}},
	{"until_s",
		func(r *Record) string {
			if r.Result.Until == 0 {
				return ""
			}
			return formatSeconds(r.Result.Until)
		},
		func(r *Record, s string) (err error) { r.Result.Until, err = parseSeconds(s); return err }},
	{"left_out_s", leftOut, readLeftOut},
	span("hold_end_s", func(r *Record) *time.Duration { return &r.Result.Hold.End }),
	float("hold_start_pa_abs", func(r *Record) *decay.Pressure { return &r.Result.Hold.StartAbs }),
	float("hold_start_pa_gauge", func(r *Record) *decay.Gauge { return &r.Result.Hold.StartGauge }),
	yes("has_volume", false, func(r *Record) *bool { return &r.Result.HasVolume }),
	yes("has_fit", false, func(r *Record) *bool { return &r.Result.HasFit }),
	interval("area_m2", func(r *Record) *decay.Interval { return &r.Result.Area }),
	float("area_sd_m2", func(r *Record) *float64 { return &r.Result.AreaSD }),
	interval("hole_m", func(r *Record) *decay.Interval { return &r.Result.Hole }),
	float("hole_cd", func(r *Record) *float64 { return &r.Result.Cd }),
	interval("decay_per_s", func(r *Record) *decay.Interval { return &r.Result.Rate }),
	named("leak_law", []decay.Law{decay.LawUnclear, decay.LawOrifice, decay.LawSeep, decay.LawMixed}, func(r *Record) *decay.Law { return &r.Result.Law }),
	float("loss_pa_per_s", func(r *Record) *float64 { return &r.Result.LossRate }),
	float("flow_mol_per_s", func(r *Record) *float64 { return &r.Result.Flow }),
	float("settling_amplitude", func(r *Record) *float64 { return &r.Result.Settling.Amplitude }),
	span("settling_tau_s", func(r *Record) *time.Duration { return &r.Result.Settling.Tau }),
	float("judged_limit_m", func(r *Record) *decay.Length { return &r.Result.Limit }),
	float("smallest_m", func(r *Record) *decay.Length { return &r.Result.Smallest }),
	span("to_decide_s", func(r *Record) *time.Duration { return &r.Result.ToDecide }),
	yes("has_to_decide", false, func(r *Record) *bool { return &r.Result.HasDecide }),
	float("peak_pa_gauge", func(r *Record) *decay.Gauge { return &r.Result.Peak }),
	float("judged_volume_m3", func(r *Record) *decay.Volume { return &r.Result.Volume }),
	float("judged_ambient_pa_abs", func(r *Record) *decay.Pressure { return &r.Result.Ambient }),
	float("zero_pa_gauge", func(r *Record) *decay.Gauge { return &r.Result.Zero }),
}
