package main

import (
	"context"
	"errors"
	"fmt"
	"strings"
	"time"

	"ebbline/decay"
	"ebbline/sensor"
	"ebbline/sensor/calib"
	"ebbline/sensor/profile"
	"ebbline/sensor/wire"

	"github.com/spf13/cobra"
)

// calibrateFlags are the flags of calibrate.
type calibrateFlags struct {
	port, profile, modbus string
	baud                  int
	unit, reads, kind     string
	fullScale             string
	supply, reference     string
	bits                  int
	divider               float64
	ambient               string
	average               time.Duration
	makeDefault           bool
}

func (a *app) calibrateCommand() *cobra.Command {
	var f calibrateFlags
	cmd := &cobra.Command{
		Use:   "calibrate [flags]",
		Short: "Learn what pressure a transducer's volts or counts mean",
		Long: `Calibrate reads a board that sends volts or counts, and learns from a reference
gauge what pressure they mean. Step 1 is the zero, with the duct open to the
air; then, for each point, bring the duct to a pressure, hold it, and type what
the reference gauge reads. It shows by how much each point is off the line, and
writes the profile that hold, measure and ports read the transducer with.

With no point but the zero it corrects the zero of the line the profile has, or
of the usual transducer (0.5 to 4.5 V of a 5 V supply) when --full-scale is
stated. It talks line by line, so it works over a pipe too.

Exit status: 0 written, 2 nothing written.
` + caution,
		Example: `  ebbline calibrate --port /dev/ttyUSB0 --profile bench --full-scale 30psi
  ebbline calibrate --profile bench                       again, for the port it names
  ebbline calibrate --port COM5 --profile left --bits 10 --average 10s`,
		Args: noArguments,
		RunE: func(cmd *cobra.Command, _ []string) error { return a.calibrate(cmd.Context(), &f) },
	}
	fs := cmd.Flags()
	fs.StringVar(&f.port, "port", "", "serial port of the sensor's board (default: the profile's)")
	fs.IntVar(&f.baud, "baud", 0, fmt.Sprintf("baud rate of the port (default: the profile's, else %d)", sensor.DefaultBaud))
	fs.StringVar(&f.modbus, "modbus", "", "poll a Modbus RTU transmitter, as hold does")
	fs.StringVar(&f.profile, "profile", "", "name of the profile to make or change (default: the default profile, else \"sensor\")")
	fs.BoolVar(&f.makeDefault, "default", false, "make it the profile that is used when none is named")
	fs.StringVar(&f.unit, "unit", "", "V, mV or counts, where the lines name no unit")
	fs.StringVar(&f.reads, "reads", "", "what the transducer reads against: gauge or absolute (default gauge)")
	fs.StringVar(&f.ambient, "ambient", "", "absolute pressure around, as 95kPa; an absolute transducer's zero needs it")
	fs.StringVar(&f.kind, "kind", "", "what the line is of: ratiometric, volts or counts (default: what the board sends tells)")
	fs.StringVar(&f.fullScale, "full-scale", "", "full scale of the transducer, as 30psi; readings beyond it are flagged")
	fs.StringVar(&f.supply, "supply", "", "nominal supply of a ratiometric transducer (default 5V)")
	fs.IntVar(&f.bits, "bits", 0, "bits of the board's converter, as 10 or 12; its ends are flagged")
	fs.StringVar(&f.reference, "reference", "", "voltage at which the converter is full, as 3.3V, or supply (default supply)")
	fs.Float64Var(&f.divider, "divider", 0, "volts of the transducer for one volt at the board's input (default 1)")
	fs.DurationVar(&f.average, "average", 5*time.Second, "for how long readings are averaged at each point")
	return cmd
}

// start is the profile to begin from: the one there is, with what the flags
// say, and the signal's kind still open where nobody has said it.
func (f *calibrateFlags) start() (p *profile.Profile, fresh bool, err error) {
	name := f.profile
	if name == noProfile {
		return nil, false, wrong("choose another name", "--profile: the name %q means no profile", noProfile)
	}
	path, err := profile.Path()
	if err != nil {
		return nil, false, wrong("set EBBLINE_PROFILES to the path of a file", "%w", err)
	}
	set, err := profile.Load(path)
	if err != nil {
		return nil, false, profileError(err)
	}
	if name == "" {
		if name = set.Default; name == "" {
			name = "sensor"
		}
	}
	p = &profile.Profile{Name: name}
	if old := set.Get(name); old != nil {
		was := *old
		p = &was
	} else {
		fresh = true
		// A name that cannot be written is refused before the work, not after it.
		if err := set.Put(p, false); err != nil {
			return nil, false, wrong("letters, digits, spaces and - _ . make a name", "--profile: %w", err)
		}
	}
	c := &calib.Calibration{}
	if p.Calibration != nil {
		was := *p.Calibration
		c = &was
	}
	p.Calibration = c

	if f.port != "" {
		p.Port = f.port
	}
	if p.Port == "" {
		return nil, false, wrong("`ebbline ports` shows which there are", "no port: name the board's with --port")
	}
	if f.baud != 0 {
		p.Baud = f.baud
	}
	if f.modbus != "" {
		m, err := wire.ParseModbusMap(f.modbus)
		if err != nil {
			return nil, false, wrong(`for example --modbus "address=1 function=4 register=0 type=uint16 unit=counts"`, "--modbus: %w", err)
		}
		p.Modbus = &m
	}
	if f.unit != "" {
		if !calib.IsRaw(f.unit) {
			return nil, false, wrong("write --unit V, --unit mV or --unit counts", "--unit: %q is not a unit of a signal: a board that sends pressures needs no calibration", f.unit)
		}
		p.Unit = f.unit
	}
	flags := setupFlags{reads: f.reads, fullScale: f.fullScale, ambient: f.ambient}
	ref, err := flags.reference()
	if err != nil {
		return nil, false, err
	}
	if ref != nil {
		if c.Kind != 0 && *ref != c.Reads {
			*c = calib.Calibration{Bits: c.Bits, Reference: c.Reference, Divider: c.Divider, Supply: c.Supply} // its pressures are of the other sort
		}
		p.Reads = *ref
	}
	p.ReadsStated, c.Reads = true, p.Reads
	if f.fullScale != "" {
		if _, err := flags.over(decay.Setup{Ceiling: 1 * decay.Kilopascal, Reads: p.Reads}); err != nil {
			return nil, false, err
		}
		if p.FullScale, p.In, err = pressureAs(f.fullScale, p.Reads, 0); err != nil {
			return nil, false, wrong("for example --full-scale 30psi", "--full-scale: %w", err)
		}
	}
	if f.kind != "" {
		k, err := calib.ParseKind(f.kind)
		if err != nil {
			return nil, false, wrong("write --kind ratiometric, volts or counts", "--kind: %w", err)
		}
		if k != c.Kind {
			c.Low, c.High, c.Zero = calib.Point{}, calib.Point{}, 0
		}
		c.Kind = k
	}
	for _, x := range []struct {
		flag, text string
		to         *float64
	}{{"supply", f.supply, &c.Supply}, {"reference", f.reference, &c.Reference}} {
		switch x.text {
		case "":
			continue
		case "supply":
			if x.flag == "reference" {
				*x.to = 0
				continue
			}
		}
		if *x.to, err = calib.ParseVolts(x.text); err == nil && !(*x.to > 0) {
			err = fmt.Errorf("%s is not above zero", x.text)
		}
		if err != nil {
			return nil, false, wrong("for example --"+x.flag+" 5V", "--%s: %w", x.flag, err)
		}
	}
	if f.bits != 0 {
		if f.bits < 1 || f.bits > 32 {
			return nil, false, wrong("usual are 10 and 12", "--bits: %d is no number of bits of a converter", f.bits)
		}
		c.Bits = f.bits
	}
	if f.divider != 0 {
		if !(f.divider >= 0.001 && f.divider <= 1000) {
			return nil, false, wrong("for example --divider 1.5", "--divider: %g is no divider", f.divider)
		}
		c.Divider = f.divider
	}
	if !(f.average >= 100*time.Millisecond && f.average <= 10*time.Minute) {
		return nil, false, wrong("for example --average 5s", "--average: %v is not between 0.1 s and 10 minutes", f.average)
	}
	return p, fresh, nil
}

// settleKind decides what the line is of, from what the board sends.
func settleKind(c *calib.Calibration, raw calib.Raw, fullScale float64) {
	if c.Kind == 0 {
		switch {
		case raw.Unit == "counts" && c.Bits > 0 && fullScale > 0:
			c.Kind = calib.Ratiometric // so that the usual line can be taken
		case raw.Unit == "counts":
			c.Kind = calib.Counts
		case raw.HasSupply:
			c.Kind = calib.Ratiometric
		default:
			c.Kind = calib.Volts
		}
	}
	if c.Kind == calib.Ratiometric && c.Supply == 0 {
		c.Supply = 5
	}
}

// usual gives c the line of the usual transducer, when nothing else is known.
func usual(c *calib.Calibration, fullScale float64) bool {
	if c.High.Signal != c.Low.Signal {
		return false
	}
	if fullScale <= 0 || c.Kind == calib.Counts {
		return false // of counts alone the share of the supply is not known
	}
	p := calib.Preset(c.Reads, fullScale)
	p.Kind, p.Bits, p.Reference, p.Divider = c.Kind, c.Bits, c.Reference, c.Divider
	if c.Kind == calib.Ratiometric && c.Supply > 0 {
		p.Low.Signal *= c.Supply / p.Supply
		p.High.Signal *= c.Supply / p.Supply
		p.Supply = c.Supply
	}
	if c.Kind == calib.Volts {
		p.Supply = 0
	}
	*c = *p
	return true
}

// pressureAs reads a pressure as a transducer of this reference gives it, Pa.
// For an absolute transducer a text that does not say absolute is what a gauge
// reads, and the ambient is added; 0 ambient refuses it.
func pressureAs(text string, reads decay.Reference, ambient decay.Pressure) (pa float64, in decay.PressureUnit, err error) {
	unit := strings.TrimLeft(strings.TrimSpace(text), "+-0123456789.,eE ")
	if u, _, ok := wire.ParseUnit(unit); ok {
		in, _ = decay.ParsePressureUnit(u)
	}
	g, gaugeErr := decay.ParseGauge(text)
	if reads == decay.ReadsGauge {
		return float64(g), in, gaugeErr
	}
	_, said, _ := wire.ParseUnit(unit)
	if said == "absolute" || ambient == 0 && said == "" {
		p, err := decay.ParsePressure(text)
		return float64(p), in, err
	}
	if gaugeErr != nil {
		return 0, in, gaugeErr
	}
	if ambient == 0 {
		return 0, in, errors.New("the transducer is absolute and the ambient is not known: add --ambient")
	}
	return float64(g.Absolute(ambient)), in, nil
}

// calibrate runs the conversation and writes the profile.
func (a *app) calibrate(ctx context.Context, f *calibrateFlags) error {
	p, fresh, err := f.start()
	if err != nil {
		return err
	}
	var ambient decay.Pressure
	if f.ambient != "" {
		set, err := (&setupFlags{ambient: f.ambient}).over(decay.Setup{})
		if err != nil {
			return err
		}
		ambient = set.Ambient
	}
	t := &talk{app: a, p: p, c: p.Calibration, average: f.average, ambient: ambient, unit: p.Unit, raws: make(chan heard, 4096), person: isTerminal(a.in)}
	t.known = t.c.Kind != 0 && t.c.High.Signal != t.c.Low.Signal
	what := "changes profile"
	if fresh {
		what = "makes profile"
	}
	a.say("ebbline calibrate reads %s and %s %q", p.Port, what, p.Name)
	src, err := sensor.Open(sensor.PortOptions{Name: p.Port, Baud: p.Baud, Lines: p.Lines, Modbus: p.Modbus, Unit: p.Unit, Seen: t.seen})
	if err != nil {
		var oe *sensor.OpenError
		if errors.As(err, &oe) {
			return wrong(oe.Hint, "%w", err)
		}
		return err
	}
	defer src.Close()
	if err := t.run(ctx, src, a.in); err != nil {
		return err
	}
	if p.Modbus == nil && t.assumed {
		p.Unit = t.unit
	}
	p.Calibrated = wallClock()
	path, err := profile.Path()
	if err != nil {
		return err
	}
	set, err := profile.Update(path, p, f.makeDefault)
	if err != nil {
		return profileError(err)
	}
	use := "  ebbline hold --profile " + quoted(p.Name)
	if set.Default == p.Name {
		a.say("wrote profile %q, which is used when none is named, to %s", p.Name, path)
	} else {
		a.say("wrote profile %q to %s", p.Name, path)
	}
	a.say("next:%s", use)
	return nil
}

// quoted puts a name in quotes where a shell needs them.
func quoted(name string) string {
	if strings.ContainsAny(name, " ") {
		return `"` + name + `"`
	}
	return name
}

// say prints a line.
func (a *app) say(format string, x ...any) { fmt.Fprintf(forPeople(a.out), format+"\n", x...) }
