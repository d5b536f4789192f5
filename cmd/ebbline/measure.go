package main

import (
	"bytes"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"os"
	"runtime"
	"sync"
	"time"

	"ebbline/decay"
	"ebbline/decay/report"
	"ebbline/sensor/trace"

	"github.com/spf13/cobra"
)

func (a *app) measureCommand() *cobra.Command {
	var f measureFlags
	cmd := &cobra.Command{
		Use:   "measure [flags] FILE...",
		Short: "Judge recorded traces",
		Long: `Measure finds the hold in each recorded trace, fits it, and says whether it
holds or leaks, how large the hole is and how sure that is. A trace is a table
whose header names columns with units (time_s,pressure_psi), lines as a board
prints them, or a capture or record of this program; - is standard input.

Exit status: 0 all hold, 1 something leaks or never built, 3 undecided,
unusable or no hold, 2 usage or file error.`,
		Example: `  ebbline measure --volume 10L trace.csv
  ebbline measure --volume 10L±3% --ambient 95kPa --json *.csv
  logger | ebbline measure --unit psi --reads gauge --volume 8L -`,
		RunE: func(_ *cobra.Command, args []string) error {
			if len(args) == 0 {
				return wrong("name a trace, or - for standard input: ebbline measure --volume 10L trace.csv", "no file given")
			}
			return a.measure(args, &f)
		},
	}
	f.add(cmd.Flags())
	cmd.Flags().StringVar(&f.profileName, "profile", "", profileUsage)
	cmd.Flags().DurationVar(&f.shut, "shut", 0, "when the supply's valve was shut, as 13s after the first reading, where the pressure does not show it")
	cmd.Flags().BoolVar(&f.asJSON, "json", false, "print one JSON object per file, one per line")
	return cmd
}

// measureFlags are the flags of measure.
type measureFlags struct {
	setupFlags
	profileName string
	shut        time.Duration
	asJSON      bool

	prof *chosen
}

// measured is what became of one file.
type measured struct {
	text   []byte
	status int
	err    error
}

// measure judges the files on all cores and prints the results in order.
func (a *app) measure(files []string, f *measureFlags) error {
	var err error
	if f.prof, err = loadProfile(f.profileName, ""); err != nil {
		return err
	}
	if _, err := f.prof.setup(&f.setupFlags); err != nil {
		return err
	}
	if f.shut < 0 {
		return wrong("count from the first reading, for example --shut 13s", "--shut: %s is before the first reading", f.shut)
	}
	if err := f.prof.checkUnit(f.unit); err != nil {
		return err
	}
	dashes := 0
	for _, name := range files {
		if name == "-" {
			dashes++
		}
	}
	if dashes > 1 {
		return wrong("name - once", "standard input was named %d times", dashes)
	}

	done := make([]chan measured, len(files))
	for i := range done {
		done[i] = make(chan measured, 1)
	}
	slots := make(chan struct{}, runtime.GOMAXPROCS(0))
	ahead := make(chan struct{}, 64) // bounds the results kept for their turn
	go func() {
		for i, name := range files {
			ahead <- struct{}{}
			slots <- struct{}{}
			go func() {
				done[i] <- a.measureOne(name, f)
				<-slots
			}()
		}
	}()
	for i := range files {
		m := <-done[i]
		<-ahead
		if m.err != nil {
			a.complain(m.err)
		}
		if _, err := a.out.Write(m.text); err != nil {
			return fmt.Errorf("standard output: %w", err)
		}
		a.status = worse(a.status, m.status)
	}
	return nil
}

// Files larger than this, in bytes, are read one after another, so that a
// machine of many cores needs no more memory for a folder of them.
const large = 32 << 20

var largeTurn sync.Mutex

func (a *app) measureOne(name string, f *measureFlags) measured {
	began := time.Now()
	var in io.Reader = a.in
	shown := name
	if name == "-" {
		shown = "standard input"
	} else {
		file, err := openFile(name)
		if err != nil {
			return measured{status: exitTrouble, err: err}
		}
		defer file.Close()
		in = file
		if st, err := file.Stat(); err == nil && st.Size() > large {
			largeTurn.Lock()
			defer largeTurn.Unlock()
		}
	}
	set, err := f.prof.setup(&f.setupFlags)
	if err != nil {
		return measured{status: exitTrouble, err: err}
	}
	opt := trace.Options{Unit: f.unit, Ambient: set.Ambient}
	if opt.Reads, err = f.reference(); err != nil {
		return measured{status: exitTrouble, err: err}
	}
	f.prof.trace(&opt, f.profileName != "")
	tr, err := trace.Read(in, shown, opt)
	if err != nil {
		return measured{status: exitTrouble, err: err}
	}
	if tr.Setup == nil && f.prof != nil {
		tr.Warnings = append(tr.Warnings, decay.Warning{Code: "profile", Text: f.prof.used(tr, &f.setupFlags)})
	}
	if tr.Setup != nil { // of a record: what the flags do not say stands as it was
		if set, err = f.setupFlags.over(*tr.Setup); err != nil {
			return measured{status: exitTrouble, err: fmt.Errorf("%s: %w", shown, err)}
		}
		set.Ambient = tr.Setup.Ambient // by which its readings were made absolute
	}
	if tr.Setup == nil && set.Ambient == 0 {
		set.Ambient = tr.Ambient
	}
	set.Reads = tr.Reads
	if f.shut > 0 {
		if end := tr.Samples[len(tr.Samples)-1].At; f.shut > end {
			return measured{status: exitTrouble, err: wrong("count from the first reading, for example --shut 13s",
				"%s: --shut: %s is after the last reading, at %.1f s", shown, f.shut, end.Seconds())}
		}
		set.Shut = f.shut
	}
	r := decay.Net(decay.Analyse(set, tr.Samples), set.RigLeak, set.WithDefaults().Limit)
	r.Flags = join(r.Flags, tr.Flags)
	r.Warnings = append(r.Warnings, tr.Warnings...)
	if tr.Judge != nil {
		r = tr.Judge(r)
	}

	var b bytes.Buffer
	input := report.Input{File: name, Result: r, Of: set.Of, Simulated: tr.Simulated, Marks: tr.Marks, Elapsed: time.Since(began)}
	if f.asJSON {
		err = report.JSON(&b, input)
	} else {
		err = report.Text(forPeople(&b), input, f.prof.unitOf(tr, &f.setupFlags))
	}
	if err != nil {
		return measured{status: exitTrouble, err: fmt.Errorf("%s: %w", shown, err)}
	}
	return measured{text: b.Bytes(), status: statusOf(r.Outcome)}
}

// statusOf is the exit status for an outcome.
func statusOf(o decay.Outcome) int {
	switch o {
	case decay.Holds:
		return exitHolds
	case decay.Leaks, decay.NeverBuilt:
		return exitLeaks
	}
	return exitUndecided
}

// join appends the flags of b that a lacks.
func join(a, b []decay.Flag) []decay.Flag {
	for _, f := range b {
		if !(decay.Result{Flags: a}).HasFlag(f) {
			a = append(a, f)
		}
	}
	return a
}

func openFile(name string) (*os.File, error) {
	file, err := os.Open(name)
	if err != nil {
		hint := "check the name and where it is"
		if errors.Is(err, fs.ErrPermission) {
			hint = "you may not read it: check its permissions"
		}
		var pe *fs.PathError
		if errors.As(err, &pe) {
			err = pe.Err
		}
		return nil, wrong(hint, "%s: %w", name, err)
	}
	if st, err := file.Stat(); err == nil && st.IsDir() {
		file.Close()
		return nil, wrong("name the files in it, for example "+name+"/*.csv", "%s: is a folder", name)
	}
	return file, nil
}
