package main

import (
	"context"
	"errors"
	"fmt"
	"io"
	"strings"
	"time"

	"ebbline/decay"
	"ebbline/sensor"
	"ebbline/tui"

	"github.com/spf13/cobra"
	"github.com/spf13/pflag"
)

// counterFlags are the flags of the parts counter.
type counterFlags struct {
	setupFlags
	rig         rigFlags
	look        lookFlags
	port        string
	profile     string
	baud        int
	part, parts string
	by, book    string
	plain, bell bool
}

func (a *app) counterCommand() *cobra.Command {
	var f counterFlags
	cmd := &cobra.Command{
		Use:   "counter [flags]",
		Short: "Test one part after another at a parts counter, with a slip for the customer",
		Long: `Counter tests single hoses and coolers for people who have ninety seconds:
choose the part, plug it, fill it; the rest goes by itself and ends with holds,
leaks or undecided, and a slip that is shown and kept as a text file, 42 columns
wide, beside the record of the test.

A part is a label of the shop's list or a bore and a length in millimetres. The
list is a table with the heading label,bore_mm,length_mm,limit_mm,volume_l (the
last two may be left out), named by --parts or parts.csv in the folder ebbline
of the user's settings.

Without --port it runs on the simulated rig, and the slip says so. Without a
terminal, or with --plain, one part is tested and its slip printed.

Exit status without a screen: 0 holds, 1 leaks or never built, 3 undecided,
unusable or no hold, 2 usage or port error.
` + caution,
		Example: `  ebbline counter
  ebbline counter --port /dev/ttyUSB0 --parts shop.csv --by "desk 2"
  ebbline counter --port COM5 --full-scale 30psi --span-tolerance 1%
  ebbline counter --profile bench
  ebbline counter --part 51x600 --plain`,
		Args: noArguments,
		RunE: func(cmd *cobra.Command, _ []string) error { return a.counter(cmd.Context(), &f) },
	}
	fs := cmd.Flags()
	fs.StringVar(&f.part, "part", "", "what is tested: a label of the list of parts, or bore x length in mm, as 51x600")
	fs.StringVar(&f.parts, "parts", "", "file with the shop's list of parts (default: parts.csv in the user's settings)")
	fs.StringVar(&f.by, "by", "", "who tests, for the slip")
	fs.StringVar(&f.port, "port", "", "serial port of the sensor's board (default: the simulated rig)")
	fs.StringVar(&f.profile, "profile", "", profileUsage)
	fs.IntVar(&f.baud, "baud", 0, fmt.Sprintf("baud rate of the port (default %d)", sensor.DefaultBaud))
	fs.StringVar(&f.book, "book", "", "folder for captures, records and slips (default: the user's data folder)")
	fs.BoolVar(&f.plain, "plain", false, "test one part without the screen and print its slip")
	fs.BoolVar(&f.bell, "bell", true, "ring the bell: once for a phase, twice for the answer, three times over the ceiling")
	all := pflag.NewFlagSet("set-up", pflag.ContinueOnError)
	f.add(all)
	all.VisitAll(func(fl *pflag.Flag) {
		switch fl.Name {
		case "volume", "of":
			return // comes with the part
		case "limit":
			fl.Usage = "hole diameter the verdict is against (default: that of the part, else 0.2mm)"
		}
		fs.AddFlag(fl)
	})
	f.rig.add(fs)
	f.look.add(fs)
	_ = cmd.RegisterFlagCompletionFunc("part", func(*cobra.Command, []string, string) ([]string, cobra.ShellCompDirective) {
		list, err := loadParts(f.parts)
		if err != nil {
			return nil, cobra.ShellCompDirectiveError
		}
		names := make([]string, len(list))
		for i, p := range list {
			names[i] = p.Label
		}
		return names, cobra.ShellCompDirectiveNoFileComp
	})
	return cmd
}

// counter runs the parts counter.
func (a *app) counter(ctx context.Context, f *counterFlags) error {
	headless := f.plain || !isTerminal(a.out)
	if f.port != "" && f.rig.given() {
		return wrong("leave out --port for the simulated rig, or leave out the rig's flags", "--port names a real sensor, but the simulated rig was described too")
	}
	h := holdFlags{rig: f.rig, port: f.port, profile: f.profile} // whose choice this is as well
	prof, err := h.chooseProfile()
	if err != nil {
		return err
	}
	f.port = h.port
	set, err := prof.setup(&f.setupFlags)
	if err != nil {
		return err
	}
	if err := prof.checkUnit(f.unit); err != nil {
		return err
	}
	look, err := f.look.look()
	if err != nil {
		return err
	}
	list, err := loadParts(f.parts)
	if err != nil {
		return err
	}
	var part tui.Part
	if f.part != "" {
		if part, err = findPart(list, f.part); err != nil {
			return err
		}
	} else if headless {
		return wrong("for example ebbline counter --part 51x600 --plain", "without a terminal the part must be named by --part")
	}
	if list == nil && f.port == "" {
		list = trialParts()
	}
	b := &bench{set: set, limit: f.limit != "", by: strings.TrimSpace(f.by), dir: f.book, unit: prof.shown(&f.setupFlags), prof: prof}
	if b.dir == "" {
		if b.dir, err = bookDir(); err != nil {
			return err
		}
	}
	if err := b.open(f); err != nil {
		return err
	}
	defer b.src.Close()
	if headless {
		return a.counterPlain(ctx, b, part)
	}
	err = tui.RunCounter(ctx, tui.CounterOptions{
		Source: b.src, OnItem: b.add, Tally: b.tally, Parts: list, Part: f.part,
		Find: func(text string) (tui.Part, error) { return findPart(list, text) },
		Begin: func(p tui.Part) (tui.CounterTest, error) {
			t, err := b.begin(p)
			return t, withHint(err)
		},
		Setup: set, Unit: b.unit, Bell: f.bell, Look: look, Trouble: b.trouble,
	})
	if b.kept {
		fmt.Fprintf(a.err, "ebbline: records and slips are kept in %s\n", b.dir)
	}
	return err
}

// counterPlain tests one part without the screen and prints its slip.
func (a *app) counterPlain(ctx context.Context, b *bench, part tui.Part) error {
	if b.src.About().Simulated {
		fmt.Fprintln(a.err, "ebbline: SIMULATED RIG: nothing here is measured, and the slip says so")
	} else {
		fmt.Fprintf(a.err, "ebbline: plug the part, then fill it slowly; this program is no safety device: a relief valve is the protection\n")
	}
	test, err := b.begin(part)
	if err != nil {
		return err
	}
	run := tui.NewCounterRun(test.Setup)
	err = b.follow(ctx, run, test, a.err)
	kept, errSave := test.Save(run, b.unit)
	for _, l := range kept.Slip {
		if _, errOut := fmt.Fprintln(forPeople(a.out), l); errOut != nil {
			err = errors.Join(err, fmt.Errorf("standard output: %w", errOut))
			break
		}
	}
	if kept.SlipPath != "" {
		fmt.Fprintf(a.err, "ebbline: the slip is kept in %s\n", kept.SlipPath)
	}
	if !run.Began() && kept.RecordPath != "" {
		fmt.Fprintf(a.err, "ebbline: no air came, so there is no slip; the readings are kept in %s\n", kept.RecordPath)
	}
	a.status = worse(a.status, statusOf(run.Result().Outcome))
	return errors.Join(err, errSave)
}

// follow takes the bench's readings until the run is over, and tells of it
// each second.
func (b *bench) follow(ctx context.Context, run *tui.CounterRun, test tui.CounterTest, tell io.Writer) error {
	pump := sensor.NewPump(b.src, b.add)
	defer pump.Stop()
	look := time.NewTicker(lookEvery)
	defer look.Stop()
	began, heard := time.Now(), time.Now()
	second, over := 0, false
	for {
		due := false
		select {
		case <-ctx.Done():
			run.Stop()
			return nil
		case <-pump.Wake(): // an alarm waits for no look
		case <-look.C:
			due = true
		}
		ended := pump.Err()
		at := run.State().Now
		for _, it := range pump.Drain(nil) {
			switch {
			case it.Fault != nil:
				fmt.Fprintf(tell, "ebbline: %s: %s\n", printable(it.Fault.Text), it.Fault.Hint)
				f := *it.Fault
				f.At -= test.From
				run.Fault(f)
			case test.From == 0 || it.At > test.From:
				heard = time.Now()
				at = it.At - test.From
				run.Step(decay.Taken{Sample: decay.Sample{At: at, P: it.P}})
				if it.Shut {
					run.Step(decay.Shut{At: at})
				}
			}
		}
		// Without readings the time goes on all the same, or the test would not end.
		if quiet := time.Since(heard); quiet > 2*time.Second {
			run.Step(decay.Lost{At: at + lookEvery, Why: "no reading for a while"})
		}
		if due || ended != nil {
			run.Step(decay.Look{At: run.State().Now})
		}
		if ended != nil {
			run.End()
			if errors.Is(ended, io.EOF) || errors.Is(ended, sensor.ErrClosed) {
				return nil
			}
			return ended
		}
		st := run.State()
		if st.OverCeiling && (due || !over) {
			fmt.Fprintf(tell, "ALARM  %s, over the ceiling: shut the supply and let air out\n", st.P.Format(b.unit))
		}
		over = st.OverCeiling
		if run.Over() {
			return nil
		}
		if n := int(time.Since(began) / time.Second); n > second {
			second = n
			p := "no reading"
			if st.Seen && !st.Lost {
				p = st.P.Format(b.unit)
			}
			fmt.Fprintf(tell, "%3d s  %-16s %-8s %2.0f s left\n", n, p, st.Phase, run.Left().Seconds())
		}
		if !run.Began() && time.Since(began) > waitForAir {
			run.End()
			return wrong("plug the part, start again and fill; if the supply was on, a plug is off or the part is torn open", "no air was seen to come within %v", waitForAir)
		}
	}
}

// waitForAir is how long a test without a screen waits for its fill.
const waitForAir = 3 * time.Minute
