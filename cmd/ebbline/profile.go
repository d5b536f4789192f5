package main

import (
	"errors"
	"fmt"
	"path/filepath"
	"strconv"
	"strings"
	"time"

	"ebbline/decay"
	"ebbline/decay/report"
	"ebbline/sensor"
	"ebbline/sensor/calib"
	"ebbline/sensor/profile"
	"ebbline/sensor/trace"
)

// noProfile is the name that means none.
const noProfile = "none"

const profileUsage = "transducer's profile, from the file that ebbline calibrate writes, by its `name`; none: do without (default: the default profile)"

// chosen is the profile in use, and why it is.
type chosen struct {
	*profile.Profile
	why  string // "as asked", "the default", …
	path string
}

// note says in plain words which profile is in use.
func (c *chosen) note() string {
	if c == nil {
		return ""
	}
	return fmt.Sprintf("profile %q (%s)", c.Name, c.why)
}

// used says in plain words what the profile laid under a recorded trace.
func (c *chosen) used(tr trace.Trace, f *setupFlags) string {
	u := c.unitOf(tr, f)
	var l []string
	add := func(is bool, words string) {
		if is {
			l = append(l, words)
		}
	}
	add(c.Volume > 0, fmt.Sprintf("volume %.4g L", float64(c.Volume)/decay.Litre))
	add(c.Limit > 0, "limit "+report.Millimetres(float64(c.Limit)))
	add(c.Ceiling > 0, "ceiling "+c.Ceiling.Format(u))
	full := decay.Gauge(c.FullScale).Format(u)
	if c.Reads == decay.ReadsAbsolute {
		full = decay.Pressure(c.FullScale).Format(u)
	}
	add(c.FullScale > 0, "full scale "+full)
	add(c.ZeroTolerance > 0 || c.SpanTolerance > 0, "tolerances")
	add(tr.Calibrated, "calibration")
	words := c.note() + " of " + c.path + " was used where flags and the file say nothing"
	if len(l) > 0 {
		words += " (" + strings.Join(l, ", ") + ")"
	}
	return words + "; --profile none does without"
}

// loadProfile returns the profile to use: the one named; else, for a port, the
// one that is for that port; else the default. It is nil when there is none,
// or when the default is for another port.
func loadProfile(name, port string) (*chosen, error) {
	if name == noProfile {
		return nil, nil
	}
	path, err := profile.Path()
	if err != nil {
		if name == "" {
			return nil, nil // nobody asked
		}
		return nil, wrong("set EBBLINE_PROFILES to the path of a file", "--profile: %w", err)
	}
	set, err := profile.Load(path)
	if err != nil {
		var pe *profile.Error
		if errors.As(err, &pe) && name == "" {
			return nil, wrong(strings.TrimPrefix(pe.Hint+"; --profile none does without profiles", "; "), "%w", err)
		}
		return nil, profileError(err)
	}
	if name != "" {
		p := set.Get(name)
		if p == nil {
			hint := "there are no profiles yet: `ebbline calibrate --profile " + name + "` makes one"
			if near := profile.Nearest(name, set.Names()); near != "" {
				hint = "did you mean " + near + "?"
			} else if len(set.Profiles) > 0 {
				hint = "there are: " + strings.Join(set.Names(), ", ")
			}
			return nil, wrong(hint, "--profile: no profile %q in %s", name, path)
		}
		return &chosen{p, "as asked", path}, nil
	}
	def := set.Get(set.Default)
	if port != "" && (def == nil || !samePort(def.Port, port)) {
		for _, p := range set.Profiles {
			if samePort(p.Port, port) {
				return &chosen{p, "it is for this port", path}, nil
			}
		}
		if def != nil && def.Port != "" {
			return nil, nil
		}
	}
	if def == nil {
		return nil, nil
	}
	return &chosen{def, "the default", path}, nil
}

// samePort reports whether two names are of one port: a name may be a link to
// another, as those in /dev/serial/by-id are.
func samePort(a, b string) bool {
	if a == b || a == "" || b == "" {
		return a == b
	}
	x, errX := filepath.EvalSymlinks(a)
	y, errY := filepath.EvalSymlinks(b)
	return errX == nil && errY == nil && x == y
}

// profileError gives an error of a profile file its hint.
func profileError(err error) error {
	var pe *profile.Error
	if errors.As(err, &pe) {
		return wrong(pe.Hint, "%w", err)
	}
	return err
}

// setup lays flags over the profile's set-up.
func (c *chosen) setup(f *setupFlags) (decay.Setup, error) {
	var base decay.Setup
	if c != nil {
		base = c.Setup(base)
	}
	if ref, err := f.reference(); err == nil && ref != nil && c != nil && c.Calibration != nil && *ref != c.Calibration.Reads {
		return decay.Setup{}, wrong("leave --reads out, or calibrate anew with `ebbline calibrate --profile "+quoted(c.Name)+"`",
			"--reads: %s, but the calibration of profile %q is for %s pressures", *ref, c.Name, c.Calibration.Reads)
	}
	s, err := f.over(base)
	if s.Ceiling == 0 && s.SeenCeiling() < decay.DefaultCeiling {
		s.Ceiling = s.SeenCeiling()
	}
	return s, err
}

// checkUnit reports a --unit that is no unit of lines.
func (c *chosen) checkUnit(unit string) error {
	if unit == "" || calib.IsRaw(unit) {
		return nil
	}
	if _, err := parseUnit(unit); err != nil {
		return wrong("for example --unit psi; V, mV and counts need a profile with a calibration", "--unit: %w", err)
	}
	return nil
}

// lineUnit is --unit as a port takes it: without a reference, which --reads says.
func lineUnit(unit string) string {
	if u, err := parseUnit(unit); err == nil {
		return u.Name
	}
	return unit
}

// shown is the unit pressures are shown in.
func (c *chosen) shown(f *setupFlags) decay.PressureUnit {
	if c != nil && c.In.Pascal > 0 {
		return f.shown(c.In.Name)
	}
	return f.shown("psi")
}

// port lays the profile under what flags said of a port.
func (c *chosen) port(opt *sensor.PortOptions) {
	if c == nil {
		return
	}
	if opt.Name == "" {
		opt.Name = c.Port
	}
	if opt.Baud == 0 {
		opt.Baud = c.Baud
	}
	if opt.Unit == "" {
		opt.Unit = c.Unit
	}
	if opt.Modbus == nil {
		opt.Modbus = c.Modbus
	}
	opt.Stated = opt.Stated || c.ReadsStated
	opt.Calibration, opt.Lines, opt.Noise = c.Calibration, c.Lines, c.Noise
}

// unitOf is the unit in which the result of a trace is shown: the one that it
// was shown in while it was recorded, else the profile's where the file holds
// volts or counts, else the file's.
func (c *chosen) unitOf(tr trace.Trace, f *setupFlags) decay.PressureUnit {
	if tr.Shown != "" {
		return f.shown(tr.Shown)
	}
	if c != nil && c.In.Pascal > 0 && (tr.Calibrated || tr.Setup != nil) {
		return f.shown(c.In.Name)
	}
	if tr.Setup != nil {
		return c.shown(f) // of a record that does not say
	}
	return f.shown(tr.Unit)
}

// trace lays the profile under what flags said of a recorded trace. A profile
// that nobody named gives way to what a capture carries.
func (c *chosen) trace(opt *trace.Options, asked bool) {
	if c == nil {
		return
	}
	opt.Calibration, opt.Lines, opt.Yields = c.Calibration, c.Lines, !asked
	if c.Modbus == nil {
		opt.Lines.Unit = c.Unit
	}
	if c.ReadsStated {
		opt.Lines.Reference = c.Reads.String()
	}
}

// head is what a capture has to carry so that its bytes can be read where the
// profile is not, and shown in the same unit.
func (c *chosen) head(opt sensor.PortOptions, shown decay.PressureUnit) map[string]string {
	h := map[string]string{"unit": opt.LineUnit(), "shown": shown.Name}
	if opt.Modbus == nil {
		h["cut_before_s"] = strconv.FormatFloat(sensor.CutFor.Seconds(), 'g', -1, 64)
	}
	if c != nil {
		h["profile"] = c.Name
		if h["sensor"] = c.Sensor; c.Sensor == "" {
			h["sensor"] = c.Name
		}
		if !c.Calibrated.IsZero() {
			h["calibrated"] = c.Calibrated.Format(time.DateOnly)
		}
		if c.ReadsStated {
			h["reads"] = c.Reads.String()
		}
	}
	if opt.Calibration != nil {
		h["calibration"] = opt.Calibration.String()
	}
	trace.PutForm(h, opt.Lines)
	return h
}

// noted is a source that says which profile it is read with.
type noted struct {
	sensor.Source
	note string
}

// About implements [sensor.Source].
func (n noted) About() sensor.About {
	a := n.Source.About()
	a.Detail = n.note + "; " + a.Detail
	return a
}
