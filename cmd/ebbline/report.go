package main

import (
	"bytes"
	"cmp"
	"crypto/sha256"
	"encoding/hex"
	"fmt"
	"io"
	"os"
	"path/filepath"
	"slices"

	"ebbline/decay"
	"ebbline/decay/record"
	"ebbline/decay/report"

	"github.com/spf13/cobra"
)

// reportFlags are the flags of report.
type reportFlags struct {
	sheet, picture        string // files
	text, csv, asJSON     bool   // on standard output
	sections              []string
	by, customer, note    string
	sensor, calibrated    string
	unit, paper           string
	complaint, chargeUnit string
	engine                shortfallFlags
}

func (a *app) reportCommand() *cobra.Command {
	var f reportFlags
	cmd := &cobra.Command{
		Use:   "report [flags] RECORD [RECORD-AFTER]",
		Short: "Make the sheet of a test that a customer is handed",
		Long: `Report makes one page of the record of a test, or of two records of one duct,
before and after a repair: the verdict in plain words, the pressure over time with
the ceiling and the fitted curve, the hole drawn to scale, the figures, what the
method cannot show. The page needs nothing but itself: no network and no script.
Two records are put in the order of their dates.

With --section (again for each) the page says where the leak lies; with
--displacement it says what the leak means for that engine.

Readings are judged again by this version; the page names the record's file
without its folder, and its SHA-256. What is typed with --by, --customer, --note,
--sensor and --calibrated stands on the page as it is.`,
		Example: `  ebbline report before.ebbline -o sheet.html
  ebbline report before.ebbline after.ebbline -o sheet.html --by "desk 2" --customer "blue van"
  ebbline report before.ebbline after.ebbline --section "upper hose.ebbline" --section cooler.ebbline -o sheet.html
  ebbline report before.ebbline -o sheet.html --displacement 2.0L --speed 3000rpm --requested 2450hPa --actual 1950hPa
  ebbline report before.ebbline --picture chart.png --unit bar
  ebbline report before.ebbline after.ebbline --text
  ebbline report before.ebbline --csv > readings.csv`,
		RunE: func(_ *cobra.Command, args []string) error { return a.report(args, &f) },
	}
	fs := cmd.Flags()
	fs.StringVarP(&f.sheet, "output", "o", "", "file for the sheet, as sheet.html; - is standard output")
	fs.StringVar(&f.picture, "picture", "", "file for the chart as PNG, as chart.png")
	fs.BoolVar(&f.text, "text", false, "print a text that fits a message to the customer (under 600 letters)")
	fs.BoolVar(&f.csv, "csv", false, "print the readings and the fitted curve as CSV")
	fs.BoolVar(&f.asJSON, "json", false, "print results and readings as one JSON object")
	fs.StringArrayVar(&f.sections, "section", nil, "record of a section of the duct, tested by itself; again for each")
	fs.StringVar(&f.by, "by", "", "who tested")
	fs.StringVar(&f.customer, "customer", "", "for whom, or which vehicle")
	fs.StringVar(&f.note, "note", "", "a remark for the customer")
	fs.StringVar(&f.sensor, "sensor", "", "name of the transducer (default: what the record says)")
	fs.StringVar(&f.calibrated, "calibrated", "", "when it was calibrated, as 2026-01-31 (default: what the record says)")
	fs.StringVar(&f.unit, "unit", "psi", "pressure unit of the page, as psi, bar, kPa, hPa")
	fs.StringVar(&f.paper, "paper", "", "size of the paper: a4 or letter (default: what the printer has)")
	e := &f.engine
	e.cd = "0.62"
	fs.StringVar(&e.displacement, "displacement", "", "of the engine, as 2.0L or 1998cm3: says what the leak means for it")
	fs.IntVar(&e.strokes, "strokes", decay.DefaultStrokes, "of the engine: 4 or 2")
	fs.StringVar(&e.efficiency, "volumetric-efficiency", "", "of the engine, referred to the charge air (default 0.9)")
	fs.StringVar(&e.charge, "charge-temperature", "", "of the charge air, as 45C (default 45C)")
	fs.StringArrayVar(&e.speed, "speed", nil, "engine speed of the complaint, as 3000rpm")
	fs.StringArrayVar(&e.requested, "requested", nil, "charge pressure requested there, absolute, as 2450hPa; again for each speed")
	fs.StringArrayVar(&e.actual, "actual", nil, "charge pressure read there, absolute, as 1950hPa")
	fs.StringVar(&f.complaint, "complaint", "", "table of the complaint instead, as shortfall reads it")
	fs.StringVar(&e.columns, "columns", "", "names of its columns, as \"speed=n,requested=p soll,actual=p ist\"")
	fs.StringVar(&f.chargeUnit, "charge-unit", "", "pressure unit of its columns where they name none, as hPa")
	return cmd
}

func (a *app) report(args []string, f *reportFlags) error {
	printed := 0
	for _, on := range []bool{f.text, f.csv, f.asJSON, f.sheet == "-"} {
		if on {
			printed++
		}
	}
	switch {
	case len(args) == 0:
		return wrong("for example ebbline report before.ebbline -o sheet.html", "report needs the record of a test")
	case len(args) > 2:
		return wrong("name the test before the repair and the one after; sections go to --section", "report takes one record or two, not %d", len(args))
	case printed == 0 && f.sheet == "" && f.picture == "":
		return wrong("add -o sheet.html for the page, or --text, --picture chart.png, --csv, --json", "nothing was asked for")
	case printed > 1:
		return wrong("ask for one of them at a time", "--text, --csv, --json and -o - all go to standard output")
	case f.paper != "" && f.paper != "a4" && f.paper != "letter":
		return wrong("write a4 or letter", "--paper: %q is no paper known", f.paper)
	}
	if f.sheet != "" && f.sheet != "-" && filepath.Clean(f.sheet) == filepath.Clean(f.picture) {
		return wrong("give them two names", "the sheet and the picture have the same file, %s", f.sheet)
	}
	s := &report.Sheet{Customer: f.customer, By: f.by, Note: f.note, Sensor: f.sensor, Calibrated: f.calibrated, Paper: f.paper}
	var err error
	if s.Unit, err = parseUnit(f.unit); err != nil {
		return wrong("for example --unit psi", "--unit: %w", err)
	}
	if s.Tests, err = readTests(args); err != nil {
		return err
	}
	if len(s.Tests) == 2 {
		slices.SortStableFunc(s.Tests, func(x, y *report.Test) int { return x.Record.When.Compare(y.Record.When) })
		s.NamePair()
	}
	if s.Sections, err = readTests(f.sections); err != nil {
		return err
	}
	for i, t := range append(slices.Clone(s.Tests[:1]), s.Sections...) {
		if (len(s.Sections) > 0 || f.engine.displacement != "") && t.Record.Digest == record.DigestDiffers {
			return errChanged(t.Name)
		}
		if len(s.Sections) > 0 && !(t.Result.HasFit && t.Result.HasVolume) {
			return wrong("areas add up only where each is known: hold it again, with --volume", "%s: %s", t.Name, report.Verdict(t.Result))
		}
		if i > 0 {
			t.Role = "section"
		}
	}
	if s.Engine, err = a.engineOf(f, s.Tests[0].Result); err != nil {
		return err
	}

	for _, out := range []struct {
		name  string
		write func(io.Writer) error
	}{{f.sheet, s.HTML}, {f.picture, s.Picture}} {
		if out.name == "" || out.name == "-" {
			continue
		}
		var b bytes.Buffer
		if err := out.write(&b); err != nil {
			return err
		}
		if err := putFile(out.name, func(f *os.File) error { _, err := b.WriteTo(f); return err }); err != nil {
			return err
		}
		fmt.Fprintf(a.err, "ebbline: wrote %s\n", printable(out.name))
	}
	switch {
	case f.sheet == "-":
		err = s.HTML(a.out)
	case f.text:
		_, err = fmt.Fprintln(forPeople(a.out), s.Message())
	case f.csv:
		err = s.CSV(a.out)
	case f.asJSON:
		err = s.JSON(a.out)
	}
	if err != nil {
		return fmt.Errorf("standard output: %w", err)
	}
	return nil
}

// readTests reads records and judges them; two of the same file are refused.
func readTests(names []string) ([]*report.Test, error) {
	var out []*report.Test
	for i, name := range names {
		f, err := openFile(name)
		if err != nil {
			return nil, err
		}
		sum := sha256.New()
		rec, err := record.Read(io.TeeReader(f, sum))
		if err == nil {
			_, err = io.Copy(sum, f) // what the reader did not need belongs to the file
		}
		f.Close()
		if err != nil {
			return nil, wrong("name a record, a file that ends in .ebbline; ebbline measure reads other traces", "%s: %w", name, err)
		}
		t := report.NewTest(rec, filepath.Base(name), hex.EncodeToString(sum.Sum(nil)))
		for j, x := range out {
			if x.Digest == t.Digest {
				return nil, wrong("name each record once", "%s and %s are the same record", names[j], names[i])
			}
		}
		out = append(out, t)
	}
	return out, nil
}

// engineOf is what the leak of a test means for the engine the flags describe,
// nil when they describe none.
func (a *app) engineOf(f *reportFlags, r decay.Result) (*report.EngineView, error) {
	e := &f.engine
	if e.displacement == "" {
		if len(e.speed)+len(e.requested)+len(e.actual) > 0 || f.complaint != "" {
			return nil, wrong("add the engine's displacement, for example --displacement 2.0L", "what a leak means depends on the engine, which was not described")
		}
		return nil, nil
	}
	leak, ok := decay.EscapeOf(r)
	if !ok {
		return nil, wrong("leave --displacement out, or hold again with --volume", "without the size of the leak nothing can be said of an engine: %s", report.Verdict(r))
	}
	e.unit = f.chargeUnit
	var table []string
	if f.complaint != "" {
		table = []string{f.complaint}
	}
	in, err := a.readComplaint(table, e)
	if err != nil {
		return nil, err
	}
	engine, _, cd, err := e.engine()
	if err != nil {
		return nil, err
	}
	v := &report.EngineView{Engine: engine, Unit: in.shown, Cd: cd, Hole: r.Hole}
	if len(table) == 0 && len(e.actual) == 0 {
		p := decay.ChargePoint{Speed: in.rows[0].Speed, Requested: in.rows[0].Requested, Ambient: cmp.Or(r.Ambient, decay.DefaultAmbient)}
		v.Only = &p
		v.Share = engine.ShareOf(leak, p.Requested, p.Speed, p.Ambient)
		return v, nil
	}
	v.Complaint = decay.NewComplaint(in.rows, in.set)
	v.Meaning = engine.Explain(v.Complaint, leak, cd)
	return v, nil
}
