package main

import (
	"context"
	"errors"
	"fmt"
	"math/rand/v2"
	"strings"
	"time"

	"ebbline/decay"
	"ebbline/sensor"
	"ebbline/sensor/rig"
	"ebbline/tui"

	"github.com/spf13/cobra"
)

// lessonFlags are the flags of a lesson.
type lessonFlags struct {
	setupFlags
	holes, supply string
	hold          time.Duration
	port, profile string
	book          string
	baud          int
	label         string
	seed          uint64
	look          lookFlags
}

func (a *app) lessonCommand() *cobra.Command {
	var f lessonFlags
	cmd := &cobra.Command{
		Use:   "lesson [flags]",
		Short: "Teach what holds look like: traces over one another, and a guessing round",
		Long: `Lesson is for a trainer in front of a class. Without --port it runs on the
simulated rig: a key from 1 to 6 chooses a hole, and a duct with it is filled,
isolated and watched, up to six traces over one another on one time axis. Other
keys change leak law, fill, volume, altitude and the speed of simulated time for
the next trace. A guessing round hides a hole, takes the class's guesses, and
reveals it beside what the estimate says.

With --port real air and drilled jets are used: each hold becomes a trace, and
is named by a number key or by typing the jet's size. The readings are kept in
the book, as those of hold are.
` + caution,
		Example: `  ebbline lesson
  ebbline lesson --holes tight,0.3mm,0.5mm,1mm,2mm,3mm --hold 45s
  ebbline lesson --unit bar --volume 8L
  ebbline lesson --port /dev/ttyUSB0 --volume 10L --label "evening class"`,
		Args: noArguments,
		RunE: func(cmd *cobra.Command, _ []string) error {
			if !cmd.Flags().Changed("seed") {
				f.seed = rand.Uint64()
			}
			for _, name := range []string{"supply", "hold", "seed"} {
				if (f.port != "" || f.profile != "") && cmd.Flags().Changed(name) {
					return wrong("leave out --port for the simulated rig, or leave out --"+name,
						"a real sensor was named, but --%s is for the simulated rig", name)
				}
			}
			return a.lesson(cmd.Context(), &f)
		},
	}
	fs := cmd.Flags()
	f.add(fs)
	fs.StringVar(&f.holes, "holes", "tight,0.3mm,0.5mm,1mm,2mm,3mm", "sizes of the keys 1 to 6, parted by commas; tight is a duct without a leak")
	fs.StringVar(&f.supply, "supply", "25psi", "simulated rig: what its regulator is set to, gauge")
	fs.DurationVar(&f.hold, "hold", time.Minute, "simulated rig: how long a trace is watched after isolation")
	fs.Uint64Var(&f.seed, "seed", 0, "simulated rig: of the hidden holes, so that a lesson can be repeated (default: another each time)")
	fs.StringVar(&f.port, "port", "", "serial port of the sensor's board (default: the simulated rig)")
	fs.StringVar(&f.profile, "profile", "", profileUsage)
	fs.IntVar(&f.baud, "baud", 0, fmt.Sprintf("baud rate of the port (default %d)", sensor.DefaultBaud))
	fs.StringVar(&f.label, "label", "", "title of the lesson, also for the record")
	fs.StringVar(&f.book, "book", "", "with --port: folder for the capture and the record (default: the user's data folder)")
	f.look.add(fs)
	return cmd
}

// parseHoles reads the list of sizes.
func parseHoles(s string) ([]decay.Length, error) {
	const hint = "for example --holes tight,0.3mm,0.5mm,1mm,2mm,3mm"
	words := strings.Split(s, ",")
	if len(words) > 6 {
		return nil, wrong(hint, "--holes: %d sizes, but there are keys for 6", len(words))
	}
	var out []decay.Length
	for _, w := range words {
		w = strings.TrimSpace(w)
		if w == "tight" || w == "0" {
			out = append(out, 0)
			continue
		}
		d, err := decay.ParseLength(w)
		if err != nil {
			return nil, wrong(hint, "--holes: %w", err)
		}
		if d < 0.05*decay.Millimetre || d > 10*decay.Millimetre {
			return nil, wrong(hint, "--holes: %s is outside 0.05 to 10 mm", w)
		}
		out = append(out, d)
	}
	return out, nil
}

// lesson runs the trainer's screen.
func (a *app) lesson(ctx context.Context, f *lessonFlags) error {
	prof, err := f.chooseProfile()
	if err != nil {
		return err
	}
	set, err := prof.setup(&f.setupFlags)
	if err != nil {
		return err
	}
	if err := prof.checkUnit(f.unit); err != nil {
		return err
	}
	o := tui.LessonOptions{
		Setup: set, Unit: prof.shown(&f.setupFlags), Title: f.label, Hold: f.hold, Seed: f.seed, Bell: true,
	}
	if o.Look, err = f.look.look(); err != nil {
		return err
	}
	if o.Sizes, err = parseHoles(f.holes); err != nil {
		return err
	}
	if f.hold < 10*time.Second || f.hold > time.Hour {
		return wrong("for example --hold 60s", "--hold: %v is outside 10 s to 1 h", f.hold)
	}
	if !isTerminal(a.out) {
		return wrong("run it in a terminal; ebbline hold --plain tests without one", "a lesson is a screen and needs a terminal")
	}
	if f.port != "" {
		return a.realLesson(ctx, f, prof, o)
	}
	if o.Supply, err = decay.ParseGauge(f.supply); err != nil {
		return wrong("for example --supply 25psi", "--supply: %w", err)
	}
	if set.Reads == decay.ReadsAbsolute {
		return wrong("leave out --reads for the simulated rig", "the simulated rig has a gauge sensor")
	}
	if c := set.WithDefaults().Ceiling; o.Supply >= c*decay.WarningBand {
		return wrong("lower --supply or raise --ceiling", "--supply: %s is in the warning band below the ceiling, or above it", f.supply)
	}
	o.NewRig = lessonRig
	lines, err := tui.RunLesson(ctx, o)
	a.tellLesson("SIMULATED lesson", lines)
	return err
}

// lessonRig makes the simulated rig of one trace.
func lessonRig(d tui.Duct) (tui.Rig, error) {
	c := rig.Default()
	c.Volume, c.Hole, c.Ambient, c.Temperature, c.Supply = d.Volume, d.Hole, d.Ambient, d.Temperature, d.Supply
	if d.Seep {
		c.Hole, c.Seep = 0, d.SeepCoefficient(d.Supply.Absolute(d.Ambient))
	}
	if err := c.Validate(); err != nil {
		return nil, err
	}
	return rig.New(c), nil
}

// chooseProfile finds the profile of the sensor, and takes its port where none
// is named. It is nil on the simulated rig.
func (f *lessonFlags) chooseProfile() (*chosen, error) {
	if f.port == "" && f.profile == "" {
		return nil, nil
	}
	c, err := loadProfile(f.profile, f.port)
	if err == nil && c != nil && f.port == "" {
		f.port = c.Port
	}
	if err == nil && f.port == "" && f.profile != noProfile {
		return nil, wrong("add --port, for example --port /dev/ttyUSB0; `ebbline ports` shows which there are", "--profile: profile %.60q names no port", f.profile)
	}
	return c, err
}

// realLesson runs the screen on real hardware, and keeps what it reads.
func (a *app) realLesson(ctx context.Context, f *lessonFlags, prof *chosen, o tui.LessonOptions) error {
	set := o.Setup
	k := &keeper{}
	opt := sensor.PortOptions{Name: f.port, Baud: f.baud, Unit: lineUnit(f.unit), Reads: set.Reads, Stated: f.reads != "", Ambient: set.NominalAmbient(), FullScale: set.FullScale, Tap: k.chunk}
	prof.port(&opt)
	k.open = func(label string, set decay.Setup) (*page, error) {
		return openPageHead(f.book, label, wallClock(), sensor.About{Name: f.port, Reads: set.Reads}, set, prof.head(opt, prof.shown(&f.setupFlags)))
	}
	// The book is opened first: a folder that cannot be written to is no lesson.
	err := k.begin(f.label, set)
	if err != nil {
		return err
	}
	if o.Source, err = sensor.Open(opt); err != nil {
		k.discard()
		var oe *sensor.OpenError
		if errors.As(err, &oe) {
			return wrong(oe.Hint, "%w", err)
		}
		return err
	}
	if prof != nil {
		o.Source = noted{o.Source, prof.note()}
	}
	o.OnItem, o.Trouble = k.item, k.trouble
	o.Save = func(r *decay.Result, more bool) error {
		if r == nil {
			k.discard() // nothing was filled since the last test
			return nil
		}
		if _, err := k.save(*r); err != nil || !more {
			return err
		}
		return k.begin(f.label, set)
	}
	lines, err := tui.RunLesson(ctx, o)
	a.tellLesson("lesson", lines)
	for _, path := range k.paths {
		a.tellPath(path, nil)
	}
	for _, path := range k.torn {
		a.tellPath(path, errNotKept)
	}
	return err
}

// tellLesson leaves what was shown on the terminal.
func (a *app) tellLesson(head string, lines []string) {
	if len(lines) == 0 {
		return
	}
	out := forPeople(a.out)
	fmt.Fprintln(out, head)
	for _, l := range lines {
		fmt.Fprintln(out, "  "+l)
	}
}
