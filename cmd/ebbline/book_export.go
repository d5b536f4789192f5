package main

import (
	"bufio"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"os"
	"path"
	"strings"
	"time"

	"github.com/spf13/cobra"

	"ebbline/decay"
	"ebbline/tui"
)

func (a *app) bookExportCommand() *cobra.Command {
	var s shelf
	var out string
	cmd := &cobra.Command{
		Use:   "export",
		Short: "Write the results of many tests as one table, for engines that analyse",
		Long: `Export writes one line a test, each a JSON object with the same flat columns
whose names carry their units, in a form (JSON Lines) that query engines and
spreadsheets of data read. What is not known is null. A file that cannot be read
is a line too, with its state and what is wrong. The readings themselves stay in
the records; the column sha256 names the record a row came from, so that the same
test sent twice can be counted once. Where a person worked is not in it: no port,
no path above the book.`,
		Example: `  ebbline book export -o results.jsonl
  ebbline book export --book /srv/shops --from 2026-01-01 -o 2026.jsonl
  ebbline book export | gzip > results.jsonl.gz`,
		Args: noArguments,
		RunE: func(*cobra.Command, []string) error { return a.bookExport(&s, out) },
	}
	s.add(cmd.Flags())
	cmd.Flags().StringVarP(&out, "output", "o", "", "file to write; - is standard output, and what is taken without this flag but on a terminal")
	return cmd
}

// bookExport writes the rows. A file appears only when it is whole.
func (a *app) bookExport(s *shelf, out string) error {
	if out == "" && isTerminal(a.out) {
		return wrong("for example -o results.jsonl; -o - prints them here", "export: no file was named for the rows")
	}
	entries, err := s.list()
	if err != nil {
		return err
	}
	began := time.Now()
	if out == "-" || out == "" {
		if err := writeRows(a.out, entries); err != nil {
			return fmt.Errorf("standard output: %w", err)
		}
		return nil
	}
	if err := putFile(out, func(f *os.File) error { return writeRows(f, entries) }); err != nil {
		return fmt.Errorf("export: %w", err)
	}
	problems := 0
	for _, e := range entries {
		if e.Err != nil {
			problems++
		}
	}
	fmt.Fprintf(a.err, "ebbline: %d rows in %s, %d of them of files that cannot be read (%.1f s)\n", len(entries), printable(out), problems, time.Since(began).Seconds())
	return nil
}

// writeRows writes one JSON object a record.
func writeRows(w io.Writer, entries []tui.BookEntry) error {
	b := bufio.NewWriterSize(w, 1<<16)
	enc := json.NewEncoder(b)
	enc.SetEscapeHTML(false)
	for _, e := range entries {
		if err := enc.Encode(rowOf(e)); err != nil {
			return err
		}
	}
	return b.Flush()
}

// row is a test in one flat line. Columns are added and never renamed.
type row struct {
	Record    string  `json:"record"`
	Folder    string  `json:"folder"` // below the book; where many machines write, it tells which
	State     string  `json:"state"`
	Problem   *string `json:"problem"`
	SHA256    *string `json:"sha256"`
	TestedAt  *string `json:"tested_at"` // UTC
	LocalDate *string `json:"local_date"`
	Job       *string `json:"job"`
	Section   *string `json:"section"`
	Part      *string `json:"part"`
	Simulated *bool   `json:"simulated"`
	Program   *string `json:"program"`
	GoesOn    *string `json:"goes_on_with"` // the record whose readings this one begins with

	Outcome   *string  `json:"outcome"`
	Flags     *string  `json:"flags"` // parted by blanks
	Hole      *float64 `json:"hole_mm"`
	HoleLow   *float64 `json:"hole_low_mm"`
	HoleHigh  *float64 `json:"hole_high_mm"`
	Cd        *float64 `json:"cd"`
	Area      *float64 `json:"area_mm2"`
	AreaLow   *float64 `json:"area_low_mm2"`
	AreaHigh  *float64 `json:"area_high_mm2"`
	AreaSD    *float64 `json:"area_sd_mm2"`
	Rate      *float64 `json:"decay_per_s"`
	RateLow   *float64 `json:"decay_low_per_s"`
	RateHigh  *float64 `json:"decay_high_per_s"`
	Level     *float64 `json:"interval_level"`
	Law       *string  `json:"leak_law"`
	Loss      *float64 `json:"loss_kpa_per_min"`
	Flow      *float64 `json:"flow_sccm_0c"`
	Amplitude *float64 `json:"settling_pct"`
	Tau       *float64 `json:"settling_tau_s"`
	Limit     *float64 `json:"limit_mm"`
	Smallest  *float64 `json:"smallest_hole_mm"`
	ToDecide  *float64 `json:"seconds_to_decide"`

	HoldStart      *float64 `json:"hold_start_s"`
	HoldEnd        *float64 `json:"hold_end_s"`
	HoldStartAbs   *float64 `json:"hold_start_kpa_abs"`
	HoldStartGauge *float64 `json:"hold_start_kpa_gauge"`
	Peak           *float64 `json:"peak_kpa_gauge"`
	Readings       *int     `json:"readings"`

	Volume          *float64 `json:"volume_l"`
	VolumeTolerance *float64 `json:"volume_tolerance_pct"`
	Ambient         *float64 `json:"ambient_kpa_abs"`
	Temperature     *float64 `json:"ambient_temperature_c"`
	Ceiling         *float64 `json:"ceiling_kpa_gauge"`
	RigLeak         *float64 `json:"rig_leak_mm2"`
}

// rowOf makes the line of a record. What is not known stays null.
func rowOf(e tui.BookEntry) row {
	folder, name := path.Split(e.Name)
	r := row{Record: name, Folder: strings.TrimSuffix(folder, "/"), State: e.State().String()}
	words := func(s string) *string {
		if s == "" {
			return nil
		}
		return &s
	}
	// One zero value stands for "not known" in a record.
	known := func(v, unit float64) *float64 {
		if v == 0 {
			return nil
		}
		return finite(v / unit)
	}
	if when := e.When(); !when.IsZero() {
		r.TestedAt, r.LocalDate = words(when.UTC().Format("2006-01-02T15:04:05.000000Z")), words(when.Format(time.DateOnly))
	}
	if e.Err != nil {
		text := strings.TrimPrefix(e.Err.Error(), "record: ")
		if p, ok := pathError(e.Err); ok { // the path is nobody's business
			text = p
		}
		r.Problem = &text
		return r
	}
	h := e.Head
	job, section := tui.JobAndSection(h.Label)
	r.SHA256, r.Job, r.Section, r.Part = words(h.Sum), words(job), words(section), words(e.Part())
	r.Simulated, r.Program = &h.Simulated, words(h.Program)
	r.GoesOn = words(extra(h.Record, goesOn))
	set := h.Setup
	d := set.WithDefaults()
	r.Ceiling = known(float64(d.Ceiling), decay.Kilopascal)
	r.Temperature = finite(d.AmbientTemperature.Celsius())
	r.Volume, r.VolumeTolerance = known(float64(set.Volume), decay.Litre), known(set.VolumeTolerance, 0.01)
	r.RigLeak = known(set.RigLeak.Value, decay.SquareMM)
	r.Ambient = known(float64(set.Ambient), decay.Kilopascal)
	if h.Torn {
		return r
	}
	res := h.Result
	r.Readings, r.Outcome = &h.Count, words(res.Outcome.String())
	flags := make([]string, len(res.Flags))
	for i, f := range res.Flags {
		flags[i] = string(f)
	}
	joined := strings.Join(flags, " ")
	r.Flags = &joined
	if res.Ambient > 0 {
		r.Ambient = known(float64(res.Ambient), decay.Kilopascal)
	}
	r.Limit, r.Smallest = known(float64(res.Limit), decay.Millimetre), known(float64(res.Smallest), decay.Millimetre)
	if h.Count > 0 {
		r.Peak = finite(float64(res.Peak) / decay.Kilopascal)
	}
	if res.HasDecide {
		r.ToDecide = finite(res.ToDecide.Seconds())
	}
	if res.Hold != (decay.Hold{}) {
		r.HoldStart, r.HoldEnd = finite(res.Hold.Start.Seconds()), finite(res.Hold.End.Seconds())
		if res.Hold.StartAbs != 0 {
			r.HoldStartAbs, r.HoldStartGauge = finite(float64(res.Hold.StartAbs)/decay.Kilopascal), finite(float64(res.Hold.StartGauge)/decay.Kilopascal)
		}
	}
	if !res.HasFit {
		return r
	}
	r.Rate, r.RateLow, r.RateHigh, r.Level = finite(res.Rate.Value), finite(res.Rate.Low), finite(res.Rate.High), finite(res.Rate.Level)
	r.Law, r.Loss = words(res.Law.String()), finite(res.LossRate*60/decay.Kilopascal)
	r.Amplitude, r.Tau = finite(100*res.Settling.Amplitude), known(res.Settling.Tau.Seconds(), 1)
	if res.HasVolume {
		r.Hole, r.HoleLow, r.HoleHigh = finite(res.Hole.Value/decay.Millimetre), finite(res.Hole.Low/decay.Millimetre), finite(res.Hole.High/decay.Millimetre)
		r.Area, r.AreaLow, r.AreaHigh = finite(res.Area.Value/decay.SquareMM), finite(res.Area.Low/decay.SquareMM), finite(res.Area.High/decay.SquareMM)
		r.AreaSD, r.Cd, r.Flow = finite(res.AreaSD/decay.SquareMM), known(res.Cd, 1), finite(decay.SCCM0C(res.Flow))
	}
	return r
}

// pathError is what the system said of a file, without the file's path.
func pathError(err error) (string, bool) {
	var p *fs.PathError
	if !errors.As(err, &p) {
		return "", false
	}
	return p.Op + ": " + p.Err.Error(), true
}
