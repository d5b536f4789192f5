package main

import (
	"context"
	"errors"
	"fmt"
	"strconv"
	"strings"
	"time"

	"ebbline/decay"
	"ebbline/decay/report"
	"ebbline/sensor"
	"ebbline/sensor/rig"
	"ebbline/tui"

	"github.com/spf13/cobra"
)

// holdFlags are the flags of a live test.
type holdFlags struct {
	setupFlags
	rig          rigFlags
	look         lookFlags
	hand         handFlags
	port         string
	profile      string
	baud         int
	modbus       string
	label, book  string
	plain, yes   bool
	bell         bool
	retest       string
	reopen       string
	rigCheck     string
	asJSON       bool
	length       time.Duration
	untilVerdict bool
}

func (a *app) holdCommand() *cobra.Command {
	var f holdFlags
	cmd := &cobra.Command{
		Use:   "hold [flags]",
		Short: "Watch a test live: fill, isolate, hold, release",
		Long: `Hold follows a test from its readings: it recognises fill, isolation, hold and
release by itself and says what to do next. Without --port, and without a
profile that names one, it runs on the simulated rig. On a terminal it shows the
technician's screen, which begins with a start card: Enter goes through it,
--yes leaves it out. With --plain, --json or without a terminal it prints a line
a second and the result last.
Every test is kept: the bytes as received in a capture, the readings in a
record.

Exit status without a screen: 0 holds, 1 leaks or never built, 3 undecided,
unusable or no hold, 2 usage or port error.
` + caution,
		Example: `  ebbline hold --port /dev/ttyUSB0 --volume 10L --label "left hose"
  ebbline hold --profile bench --label "left hose"
  ebbline hold --port COM5 --unit psi --ceiling 20psi --full-scale 30psi
  ebbline hold --port /dev/ttyACM0 --volume 8L --json --until-verdict --for 5m
  ebbline hold --port /dev/ttyUSB0 --baud 9600 --modbus "address=1 function=4 register=0 type=float32 order=big unit=bar rate=20"
  ebbline hold --yes --of hose --volume 2L --bell=false
  ebbline hold --plain --hole 1.2mm --for 60s
  ebbline hold --by-hand --division 0.5psi --volume 10L`,
		Args: noArguments,
		RunE: func(cmd *cobra.Command, _ []string) error { return a.hold(cmd.Context(), &f) },
	}
	fs := cmd.Flags()
	f.add(fs)
	fs.StringVar(&f.port, "port", "", "serial port of the sensor's board (default: the simulated rig)")
	fs.StringVar(&f.profile, "profile", "", profileUsage)
	fs.IntVar(&f.baud, "baud", 0, fmt.Sprintf("baud rate of the port (default %d, with --modbus %d)", sensor.DefaultBaud, sensor.DefaultModbusBaud))
	fs.StringVar(&f.modbus, "modbus", "", modbusUsage)
	fs.StringVar(&f.label, "label", "", "what is tested, for the record")
	fs.StringVar(&f.book, "book", "", "folder for the capture and the record (default: the user's data folder)")
	fs.BoolVar(&f.plain, "plain", false, "print a line a second instead of the screen")
	fs.BoolVar(&f.yes, "yes", false, "begin at once, without the start card; you know the cautions")
	fs.StringVar(&f.reopen, "reopen", "", "record of a test that was cut short, to go on with: its duct is still under pressure")
	fs.StringVar(&f.retest, "retest", "", "record of the test before a repair, to compare with")
	fs.StringVar(&f.rigCheck, "rig-check", "", "record of a test of the fittings alone (--of fittings), whose leak is subtracted")
	fs.BoolVar(&f.bell, "bell", true, "ring the bell: once for a phase, twice for a verdict, three times over the ceiling")
	fs.BoolVar(&f.asJSON, "json", false, "print a JSON object a second, and last the one measure prints")
	fs.DurationVar(&f.length, "for", 0, "end the test after this long, as 40s; without a screen")
	fs.BoolVar(&f.untilVerdict, "until-verdict", false, "end the test when the verdict is there; without a screen")
	f.rig.add(fs)
	f.look.add(fs)
	f.hand.add(fs)
	return cmd
}

// demo is the technician's screen on the simulated rig, with an invented duct.
func (a *app) demo(ctx context.Context) error {
	if !isTerminal(a.out) {
		return wrong("ebbline hold --plain runs the simulated rig without one; ebbline --help lists the commands",
			"the technician's screen needs a terminal")
	}
	f := &holdFlags{profile: noProfile, label: "trial vehicle: two-litre engine, invented, both hoses and cooler", bell: true}
	f.of = decay.PartManifold.String()
	f.rig.defaults()
	return a.hold(ctx, f)
}

// chooseProfile finds the profile of the test, and takes its port where none
// is named. It is nil on the simulated rig.
func (f *holdFlags) chooseProfile() (*chosen, error) {
	if f.rig.given() && (f.profile == "" || f.profile == noProfile) {
		return nil, nil
	}
	if f.rig.given() {
		return nil, wrong("leave out --profile for the simulated rig, or leave out the rig's flags", "--profile names a real sensor, but the simulated rig was described too")
	}
	c, err := loadProfile(f.profile, f.port)
	if err != nil || c == nil || f.port != "" {
		return c, err
	}
	if f.port = c.Port; f.port == "" && f.profile != "" {
		return nil, wrong("add --port, for example --port /dev/ttyUSB0; `ebbline ports` shows which there are", "--profile: profile %q names no port", c.Name)
	}
	if f.port == "" {
		return nil, nil
	}
	return c, nil
}

// hold runs a test on a port or on the simulated rig.
func (a *app) hold(ctx context.Context, f *holdFlags) error {
	if f.hand.on {
		return a.byHand(ctx, f)
	}
	if err := f.hand.misplaced(); err != nil {
		return err
	}
	headless := f.plain || f.asJSON || !isTerminal(a.out)
	if f.length < 0 {
		return wrong("for example --for 40s", "--for: %v is not above zero", f.length)
	}
	if !headless && (f.length > 0 || f.untilVerdict) {
		return wrong("add --plain or --json", "--for and --until-verdict are for a test without the screen")
	}
	if f.port != "" && f.rig.given() {
		return wrong("leave out --port for the simulated rig, or leave out the rig's flags", "--port names a real sensor, but the simulated rig was described too")
	}
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

	polled, err := modbusMap(f.modbus, f.port, &set, f.reads == "")
	if err != nil {
		return err
	}

	look, err := f.look.look()
	if err != nil {
		return err
	}

	old, err := f.reopened(&set)
	if err != nil {
		return err
	}
	before, err := f.past(&set)
	if err != nil {
		return err
	}
	unit := prof.shown(&f.setupFlags)
	k := &keeper{}
	if headless {
		k.tell = func(err error) {
			if err == nil {
				fmt.Fprintln(a.err, "ebbline: the test is being kept again, from its beginning")
				return
			}
			todo, what := diskFault(err)
			a.complain(wrong(todo+": what waits is then written; the test goes on", "book: the test is not being kept: %w", what))
		}
	}
	var src sensor.Source
	var controls sensor.Controls
	card := !headless && !f.yes && old == nil
	opt := sensor.PortOptions{Name: f.port, Baud: f.baud, Unit: lineUnit(f.unit), Reads: set.Reads, Stated: f.reads != "", Ambient: set.NominalAmbient(), FullScale: set.FullScale, Modbus: polled, Tap: k.chunk}
	if old != nil {
		opt.Tap = func(at time.Duration, data []byte) { k.chunk(at+old.by, data) }
	}
	prof.port(&opt)
	// The book is opened first: a folder that cannot be written to is no test.
	opened := time.Now() // the port is, or will be at once
	k.open = func(label string, set decay.Setup) (*page, error) {
		about, head := sensor.About{Name: f.port, Reads: set.Reads}, prof.head(opt, unit)
		if f.port == "" {
			about, head = sensor.About{Name: "simulated rig", Simulated: true}, map[string]string{"unit": "psi", "shown": unit.Name}
		}
		from := opened
		if old != nil {
			from = from.Add(-old.by)
			head["cut_before_s"] = strconv.FormatFloat((old.by + sensor.CutFor).Seconds(), 'g', -1, 64)
		}
		head[timesFrom] = momentOf(from)
		if old != nil && len(k.paths) == 0 { // a later test of the session is another
			head[goesOn] = recordName(f.reopen)
		}
		p, err := openPageHead(f.book, label, wallClock(), about, set, head)
		if err == nil {
			p.fromLines = f.port == ""
		}
		return p, err
	}
	if f.port == "" {
		if src, controls, err = f.rig.source(&set, !headless); err != nil {
			return err
		}
		defer src.Close()
	}
	if err := k.begin(f.label, set); err != nil {
		return err
	}
	if old != nil {
		old.into(k)
	}
	if card {
		k.discard() // the test begins when the card is done
	}
	if f.port != "" {
		if src, err = sensor.Open(opt); err != nil {
			k.discard()
			var oe *sensor.OpenError
			if errors.As(err, &oe) {
				return wrong(oe.Hint, "%w", err)
			}
			return err
		}
		defer src.Close()
		opened = time.Now()
		if prof != nil {
			src = noted{src, prof.note()}
		}
		if old != nil {
			src = later{src, old.by}
		}
	}
	watched := src
	if f.port == "" {
		watched = sensor.Watch(src, sensor.HealthConfig{Name: src.About().Name, Reads: set.Reads, Ambient: set.Ambient, FullScale: set.FullScale})
	}
	if headless {
		if old != nil {
			fmt.Fprintf(a.err, "ebbline: going on with %s, whose last reading came %.0f s ago\n", f.reopen, (old.by - old.rec.Samples[len(old.rec.Samples)-1].At).Seconds())
		}
		return a.holdPlain(ctx, f, watched, set, unit, k, before, old.samples())
	}

	stage := &rigStage{}
	if r, ok := src.(*rig.Source); ok {
		stage.rig, stage.hole, stage.now = r, r.Config().Hole, r.Config().Hole
		if card {
			r.Isolate() // nobody works the valves until the test begins
		}
	}
	o := tui.Options{
		Source: watched, Controls: controls, Setup: set, Unit: unit, Title: f.label, OtherPorts: otherPorts(f.port),
		OnItem: k.item, OnMark: k.mark, Trouble: k.trouble, Before: before, Earlier: old.samples(), Bell: f.bell, Look: look, Save: k.save, Card: card,
		Apply: func(t tui.Texts) (decay.Setup, error) { return f.typed(t, set) },
		Begin: func(s tui.Start) error {
			if err := k.begin(s.Title, s.Setup); err != nil {
				return err
			}
			return stage.set(s)
		},
	}
	if prof != nil && prof.Ceiling > 0 {
		o.CeilingFrom = "from the profile"
	}
	if prof != nil && prof.Limit > 0 {
		o.LimitFrom = "from the profile"
	}
	if stage.rig != nil {
		o.Pinch, o.Auto = stage.pinch, true
	}
	if report.Lowered(set, unit) != "" {
		o.CeilingFrom = "default: as far as the sensor sees"
	}
	if f.ceiling != "" {
		o.CeilingFrom = "from --ceiling"
	}
	if f.limit != "" {
		o.LimitFrom = "from --limit"
	}
	r, err := tui.Run(ctx, o)
	_, saveErr := k.save(r)
	if len(k.paths)+len(k.torn) > 0 {
		words := report.Verdict(r)
		if r.HasFit && r.HasVolume {
			words += fmt.Sprintf("; hole %s (%s to %s)", report.Millimetres(r.Hole.Value), report.Millimetres(r.Hole.Low), report.Millimetres(r.Hole.High))
		}
		fmt.Fprintln(forPeople(a.out), words)
	}
	a.tellKept(k)
	return errors.Join(err, saveErr)
}

// typed is the set-up of a start card, over what was known before.
func (f *holdFlags) typed(t tui.Texts, base decay.Setup) (decay.Setup, error) {
	g := f.setupFlags
	g.volume, g.ceiling, g.limit, g.of = t.Volume, t.Ceiling, t.Limit, t.Of.String()
	base.Volume, base.VolumeTolerance, base.Limit = 0, 0, 0
	set, err := g.over(base)
	if err = withHint(err); err != nil { // the card has lines, no flags
		err = errors.New(strings.NewReplacer("--volume ", "", "--ceiling ", "", "--limit ", "").Replace(err.Error()))
	}
	return set, err
}

// holdPlain runs a test without a screen.
func (a *app) holdPlain(ctx context.Context, f *holdFlags, src sensor.Source, set decay.Setup, unit decay.PressureUnit, k *keeper, before *tui.Past, earlier []decay.Sample) error {
	if src.About().Simulated {
		fmt.Fprintf(a.err, "ebbline: SIMULATED RIG: nothing here was measured (%s)\n", src.About().Detail)
	} else {
		if n, ok := src.(noted); ok {
			fmt.Fprintf(a.err, "ebbline: %s\n", n.note)
		}
		fmt.Fprintf(a.err, "ebbline: reading %s; this program is no safety device: a relief valve is the protection\n", f.port)
	}
	a.tellLimit(set)
	if text := report.Unseen(set, unit); text != "" {
		fmt.Fprintf(a.err, "ebbline: warning: %s\n", text)
	}
	if text := report.Lowered(set, unit); text != "" {
		fmt.Fprintf(a.err, "ebbline: %s\n", text)
	}
	notes := tui.NewQueue(a.err)
	tell := func(words string) { fmt.Fprintf(notes, "ebbline: %s\n", words) }
	var saveErr error
	save := func(r decay.Result) { _, saveErr = k.save(r) }
	s := &session{src: src, tell: tell, set: set, unit: unit, out: forPeople(a.out), asJSON: f.asJSON, length: f.length, untilVerdict: f.untilVerdict, onItem: k.item, save: save, before: before, earlier: earlier}
	if f.asJSON {
		s.out = a.out
	}
	r, err := s.run(ctx)
	notes.Close(0)
	err = errors.Join(err, saveErr)
	a.tellKept(k)
	a.status = worse(a.status, statusOf(r.Outcome))
	return err
}

// tellLimit says which limit a test has whose part and limit nobody stated.
func (a *app) tellLimit(set decay.Setup) {
	if set.Of == decay.PartUnstated && set.Limit == 0 {
		fmt.Fprintf(a.err, "ebbline: limit: a hole of %s, our default; --of says what is under test, and with it the limit\n", report.Millimetres(float64(set.WithDefaults().Limit)))
	}
}

// otherPorts are the connected ports to offer beside the one in use.
func otherPorts(used string) []string {
	if used != "" {
		return nil
	}
	list, err := sensor.ListPorts()
	if err != nil {
		return nil // the screen only offers them; `ebbline ports` tells the error
	}
	var names []string
	for _, p := range list {
		if p.Detail == "" && strings.HasPrefix(p.Name, "/dev/ttyS") {
			continue // built into the machine: nobody has just plugged it in
		}
		names = append(names, p.Name)
	}
	return names
}
