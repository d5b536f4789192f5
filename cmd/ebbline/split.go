package main

import (
	"encoding/json"
	"fmt"
	"strings"

	"github.com/spf13/cobra"

	"ebbline/decay"
	"ebbline/decay/record"
	"ebbline/decay/report"
)

func (a *app) splitCommand() *cobra.Command {
	var asJSON bool
	cmd := &cobra.Command{
		Use:   "split [flags] WHOLE SECTION...",
		Short: "Tell how much of a leak lies in which section of a duct",
		Long: `Split reads the records of a whole duct and of its sections, each tested by
itself between plugs with its own volume. The leaks of the sections add up to the
whole, so the table says which share lies where, how sure that is, what is left
for the sections that were not tested, and which to test next.`,
		Example: `  ebbline split whole.ebbline "upper hose.ebbline" cooler.ebbline
  ebbline split --json whole.ebbline cooler.ebbline`,
		Args: cobra.ArbitraryArgs,
		RunE: func(_ *cobra.Command, args []string) error {
			if len(args) < 1 {
				return wrong("for example ebbline split whole.ebbline cooler.ebbline", "split needs the record of the whole duct")
			}
			return a.split(args, asJSON)
		},
	}
	cmd.Flags().BoolVar(&asJSON, "json", false, "print one JSON object")
	return cmd
}

// bounds is an interval as JSON prints it; what has no number is null.
type bounds struct {
	Value *float64 `json:"value"`
	Low   *float64 `json:"low"`
	High  *float64 `json:"high"`
	Level float64  `json:"level"`
}

func boundsOf(iv decay.Interval, unit float64) bounds {
	return bounds{finite(iv.Value / unit), finite(iv.Low / unit), finite(iv.High / unit), iv.Level}
}

// split reads the records and prints the table.
func (a *app) split(files []string, asJSON bool) error {
	var all []decay.Section
	cd := decay.DefaultCd
	for i, name := range files {
		rec, err := openRecord(name)
		if err != nil {
			return err
		}
		r := rec.Again()
		if !r.HasFit {
			return wrong("hold it again: without a hold there is nothing to divide", "%s: %s", name, report.Verdict(r))
		}
		if !r.HasVolume {
			return wrong("areas add up, rates do not: test it again with --volume", "%s: the volume is not known", name)
		}
		if i == 0 {
			cd = r.Cd
		}
		label := strings.TrimSpace(rec.Label)
		if label == "" {
			label = name
		}
		all = append(all, decay.Section{Name: label, Area: r.Area})
	}
	s := decay.NewSplit(all[0].Area, all[1:])
	if !asJSON {
		return report.Split(forPeople(a.out), s, cd)
	}
	type row struct {
		Name  string `json:"name"`
		Area  bounds `json:"area_mm2"`
		Share bounds `json:"share"`
	}
	out := struct {
		Whole  bounds `json:"whole_mm2"`
		Rows   []row  `json:"sections"`
		Rest   bounds `json:"not_tested_mm2"`
		Share  bounds `json:"not_tested_share"`
		Advice string `json:"advice"`
	}{boundsOf(s.Whole, decay.SquareMM), []row{}, boundsOf(s.Rest, decay.SquareMM), boundsOf(s.RestShare, 1), report.SplitAdvice(s)}
	for _, r := range s.Rows {
		out.Rows = append(out.Rows, row{r.Name, boundsOf(r.Area, decay.SquareMM), boundsOf(r.Share, 1)})
	}
	b, err := json.Marshal(out)
	if err == nil {
		_, err = fmt.Fprintf(a.out, "%s\n", b)
	}
	return err
}

// openRecord reads a record that a decision hangs on. One that was changed
// after it was written proves nothing and is refused.
func openRecord(name string) (record.Record, error) {
	f, err := openFile(name)
	if err != nil {
		return record.Record{}, err
	}
	defer f.Close()
	rec, err := record.Read(f)
	if err != nil {
		return rec, wrong("name a record, a file that ends in .ebbline; ebbline measure reads other traces", "%s: %w", name, err)
	}
	if rec.Digest == record.DigestDiffers {
		return rec, errChanged(name)
	}
	return rec, nil
}

// errChanged refuses a record from which more would be concluded.
func errChanged(name string) error {
	return wrong("name another record, or test again; ebbline book show "+name+" shows what it says now",
		"%s: was changed after it was written (its digest differs)", name)
}
