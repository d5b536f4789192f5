package main

import (
	"fmt"
	"math"
	"strings"

	"ebbline/decay"
	"ebbline/sensor/rig"

	"github.com/spf13/cobra"
	"github.com/spf13/pflag"
)

// boardFlags describe the simulated rig's board, and the air around it.
type boardFlags struct {
	rigFlags
	volume, ambient, altitude    string
	format, unit, fullScale, err string
	name                         string
	absolute, auto, repeat       bool
	bits                         int
	clockStart                   uint32
	modbusUnit                   uint8
	faults                       []string
}

func (a *app) rigCommand() *cobra.Command {
	var f boardFlags
	cmd := &cobra.Command{
		Use:   "rig [flags]",
		Short: "Simulate a transducer board on a pseudo-terminal",
		Long: `Rig simulates a duct, a leak, valves and a cheap transducer, and behaves on a
pseudo-terminal like a board on USB. Its first line of output is the port to
give to "ebbline hold --port"; a port that comes back under another name is
printed too. No real pressure is anywhere.

The valves: on a terminal press f to fill, i to isolate, r to release, q to
quit; otherwise write fill, isolate, release or quit on standard input, a word
a line. With --auto they work by themselves. While it runs it says how the duct
truly stands, on standard error. On a terminal also: [ and ] make the hole
smaller and larger, { and } the seep, 0 makes the duct tight.

Formats, for --format:
` + formatHelp() + `
Faults, each by its key on a terminal (c ends them all), by its name on standard
input (as "silence" or "silence 3s"; "clear" ends them all), or by --fault:
` + faultHelp() + `
On standard input also: hole 0.5mm, seep 0.3mm, volume 8L.`,
		Example: `  ebbline rig --hole 1mm --volume 10L
  ebbline rig --hole 0.3mm --auto --repeat
  ebbline rig --format nmea-bar --absolute --altitude 1600m
  ebbline rig --format micros --clock-start 4285000000 --rate 1000
  ebbline rig --fault silence@20+5 --fault unplug@40+10 --auto
  ebbline rig --hole 0 --seep 0.4mm --feed-bore 8mm --supply 20psi`,
		Args: noArguments,
		RunE: func(cmd *cobra.Command, _ []string) error {
			c, err := f.board()
			if err != nil {
				return err
			}
			var script *rig.Script
			if f.auto || f.repeat {
				s := rig.DefaultScript()
				s.Repeat = f.repeat
				script = &s
			}
			return a.serveRig(cmd.Context(), c, script, f.name)
		},
	}
	f.addBoard(cmd.Flags())
	names := func(list []string) func(*cobra.Command, []string, string) ([]string, cobra.ShellCompDirective) {
		return func(*cobra.Command, []string, string) ([]string, cobra.ShellCompDirective) {
			return list, cobra.ShellCompDirectiveNoFileComp
		}
	}
	var formats, faults []string
	for _, i := range rig.Formats() {
		formats = append(formats, i.Name)
	}
	for _, i := range rig.Faults() {
		faults = append(faults, i.Name+"@")
	}
	_ = cmd.RegisterFlagCompletionFunc("format", names(formats)) // the flags were added above
	_ = cmd.RegisterFlagCompletionFunc("fault", names(faults))
	return cmd
}

func (f *boardFlags) addBoard(fs *pflag.FlagSet) {
	f.add(fs)
	fs.StringVar(&f.volume, "volume", "10L", "volume of the simulated duct")
	fs.StringVar(&f.ambient, "ambient", "", "absolute pressure around the duct, as 85kPa (default 101.325kPa)")
	fs.StringVar(&f.altitude, "altitude", "", "height above the sea instead, as 1600m, in a standard atmosphere")
	fs.StringVar(&f.format, "format", rig.DefaultFormat, "what the board sends, a name from the list above")
	fs.StringVar(&f.unit, "unit", "psi", "pressure unit that the board prints")
	fs.BoolVar(&f.absolute, "absolute", false, "the transducer reads absolute pressure instead of gauge")
	fs.StringVar(&f.fullScale, "full-scale", "50psi", "full scale of the transducer, in its own reference")
	fs.StringVar(&f.err, "zero-error", "0Pa", "what the transducer shows too much, as 0.5psi or -300Pa")
	fs.IntVar(&f.bits, "bits", 12, "bits of the converter; 0 for no steps")
	fs.Uint32Var(&f.clockStart, "clock-start", 0, "where the board's milliseconds or microseconds start; they roll over after 4294967295")
	fs.Uint8Var(&f.modbusUnit, "modbus-unit", rig.DefaultModbusUnit, "address of the Modbus slave")
	fs.StringArrayVar(&f.faults, "fault", nil, "a fault that comes by itself: NAME@SECONDS or NAME@SECONDS+DURATION; may be repeated")
	fs.StringVar(&f.name, "name", "", "path of the port (default: made up)")
	fs.BoolVar(&f.auto, "auto", false, "work the valves by themselves: one test, then end")
	fs.BoolVar(&f.repeat, "repeat", false, "with --auto: one test after another until stopped")
}

// board is the rig that the flags describe.
func (f *boardFlags) board() (rig.Config, error) {
	var c rig.Config
	var set decay.Setup
	var err error
	if set.Volume, _, err = decay.ParseVolume(f.volume); err != nil {
		return c, wrong("for example --volume 10L", "--volume: %w", err)
	}
	switch {
	case f.ambient != "" && f.altitude != "":
		return c, wrong("the pressure around the duct follows from either", "--ambient and --altitude are both given")
	case f.ambient != "":
		if set.Ambient, err = decay.ParsePressure(f.ambient); err != nil {
			return c, wrong("it is absolute, for example --ambient 85kPa", "--ambient: %w", err)
		}
	case f.altitude != "" && f.altitude != "0":
		h, err := decay.ParseLength(f.altitude)
		if err != nil || h > 6000 {
			return c, wrong("0 to 6000 m, for example --altitude 1600m", "--altitude: %q is no height of a workshop", f.altitude)
		}
		set.Ambient = decay.StandardAtmosphere(h)
	}
	if c, err = f.config(set); err != nil {
		return c, err
	}
	if c.FullScale, err = parseEither(f.fullScale); err != nil {
		return c, wrong("for example --full-scale 50psi", "--full-scale: %w", err)
	}
	if c.ZeroError, err = decay.ParseGauge(f.err); err != nil {
		return c, wrong("for example --zero-error 0.5psi", "--zero-error: %w", err)
	}
	if c.Unit, err = decay.ParsePressureUnit(f.unit); err != nil {
		return c, wrong("for example --unit kPa", "--unit: %w", err)
	}
	c.Format, c.Absolute, c.Bits, c.ClockStart, c.ModbusUnit = f.format, f.absolute, f.bits, f.clockStart, f.modbusUnit
	for _, text := range f.faults {
		p, err := rig.ParsePlan(text)
		if err != nil {
			return c, wrong("for example --fault silence@20+5: after 20 s, for 5 s", "--fault: %w", err)
		}
		c.Plans = append(c.Plans, p)
	}
	if err := c.Validate(); err != nil {
		return c, wrong("see ebbline rig --help for what there is", "%w", err)
	}
	return c, nil
}

// parseEither reads a pressure that may be of either reference, in Pa.
func parseEither(text string) (float64, error) {
	g, err := decay.ParseGauge(text)
	if err == nil {
		return float64(g), nil
	}
	p, errAbs := decay.ParsePressure(text)
	if errAbs != nil || math.IsNaN(float64(p)) {
		return 0, err
	}
	return float64(p), nil
}

func formatHelp() string {
	var b strings.Builder
	for _, i := range rig.Formats() {
		text := i.About
		if i.Example != "" {
			text += ": " + strings.ReplaceAll(i.Example, "\t", `\t`)
		} else { // a list of registers instead
			text = strings.NewReplacer(": ", ":\n               ", "; ", "\n               ").Replace(text)
		}
		fmt.Fprintf(&b, "  %-12s %s\n", i.Name, text)
	}
	return b.String()
}

func faultHelp() string {
	var b strings.Builder
	for _, i := range rig.Faults() {
		fmt.Fprintf(&b, "  %c %-12s %s\n", i.Key, i.Name, i.About)
	}
	return b.String()
}
