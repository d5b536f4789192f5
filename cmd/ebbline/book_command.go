package main

import (
	"bufio"
	"context"
	"encoding/json"
	"fmt"
	"strings"
	"time"

	"github.com/spf13/cobra"

	"ebbline/decay"
	"ebbline/decay/record"
	"ebbline/decay/report"
	"ebbline/tui"
)

func (a *app) bookCommand() *cobra.Command {
	var s shelf
	var look lookFlags
	var unit string
	cmd := &cobra.Command{
		Use:   "book",
		Short: "The tests that were done: list, open, compare, measure again, check, export",
		Long: `Book shows the records of the tests that were done, the newest first. On a
terminal it is a screen: arrows and Enter open a test with its trace, / chooses,
c compares two tests, m measures a test again, ? lists the keys. Without a
terminal it prints the list, as ebbline book list does.

A record is one text file. Its name begins with the time of the test and ends in
eight random digits, so any tool that copies or syncs folders carries a book, and
machines that write into one folder do not collide. Each record holds a SHA-256
over its readings and all that its result hangs on. The state of a file is

  whole       as it was written
  no digest   written by an early version: a change cannot be told
  running     its end is still to come: it was written within the last half minute
  torn        its end is missing: the test was cut short
  changed     it was changed after it was written
  damaged     a line makes no sense
  newer       written by a later version of this program
  foreign     not a record
  unreadable  the file cannot be opened

Of a test that was gone on with (hold --reopen) the list, the screen and the export
have the last record, which begins with the readings of the ones before; check and
measure take them all.

A list reads both ends of each file only and checks what it shows; whether the
readings were changed is seen when a test is opened, or by ebbline book check.
A digest tells of damage and of edits; it is no signature.`,
		Example: `  ebbline book
  ebbline book list --job 4711 --verdict leaks
  ebbline book list --from 2026-01-01 --to 2026-03-31 --part hose
  ebbline book show latest
  ebbline book compare 3f9a2c1e 77b0d412
  ebbline book measure
  ebbline book check
  ebbline book export -o results.jsonl`,
		Args: func(_ *cobra.Command, args []string) error {
			if len(args) == 0 {
				return nil
			}
			return wrong("list, show, compare, measure, check or export, for example ebbline book show latest", "book: there is no %q", args[0])
		},
		RunE: func(cmd *cobra.Command, _ []string) error {
			if !isTerminal(a.in) || !isTerminal(a.out) {
				return a.bookList(&s, false)
			}
			return a.bookScreen(cmd.Context(), &s, &look, unit)
		},
	}
	s.add(cmd.Flags())
	cmd.Flags().StringVar(&unit, "unit", "psi", "pressure unit of the screen: psi, bar, kPa, …")
	look.add(cmd.Flags())
	cmd.AddCommand(a.bookListCommand(), a.bookShowCommand(), a.bookCompareCommand(), a.bookMeasureCommand(), a.bookCheckCommand(), a.bookExportCommand())
	return cmd
}

// bookScreen shows the book on the terminal.
func (a *app) bookScreen(ctx context.Context, s *shelf, look *lookFlags, unit string) error {
	if _, err := s.filter(); err != nil { // said before the screen opens
		return err
	}
	dir, err := s.folder()
	if err != nil {
		return err
	}
	u, err := parseUnit(unit)
	if err != nil {
		return wrong("for example --unit bar", "--unit: %w", err)
	}
	o := tui.BookOptions{Folder: dir, Load: s.list, Open: readWhole, Measure: record.Record.Again, Unit: u, Output: a.out, Input: a.in}
	if o.Look, err = look.look(); err != nil {
		return err
	}
	return tui.RunBook(ctx, o)
}

func (a *app) bookListCommand() *cobra.Command {
	var s shelf
	var asJSON bool
	cmd := &cobra.Command{
		Use:   "list",
		Short: "Print the list of the tests, the newest first",
		Long: `List prints one line a record: date and time of the test at its place, verdict,
equivalent hole in mm with its interval at 95 %, what was under test, the state of
the file where it is not whole, its label, and the digits by which show, compare
and measure find it. A simulated test is marked so. On a terminal the columns have
a heading, and the limit is one of them.`,
		Example: `  ebbline book list
  ebbline book list --verdict leaks --verdict never-built --job 4711
  ebbline book list --book /srv/shops --json`,
		Args: noArguments,
		RunE: func(*cobra.Command, []string) error { return a.bookList(&s, asJSON) },
	}
	s.add(cmd.Flags())
	cmd.Flags().BoolVar(&asJSON, "json", false, "print one JSON object a record, with the columns of export")
	return cmd
}

// bookList prints the list.
func (a *app) bookList(s *shelf, asJSON bool) error {
	entries, err := s.list()
	if err != nil {
		return err
	}
	if asJSON {
		return writeRows(a.out, entries)
	}
	b := bufio.NewWriter(forPeople(a.out))
	person := isTerminal(a.out) // who reads by program finds the columns where they were
	if person && len(entries) > 0 {
		fmt.Fprintf(b, "%-16s  %-11s  %-21s  %-8s  %-8s  %-8s  %s\n", "begun", "verdict", "hole, mm (95 %)", "limit,mm", "part", "record", "label")
	}
	for _, e := range entries {
		state := ""
		if e.Head.Simulated {
			state = "SIMULATED  "
		}
		if st := e.State(); st != record.StateWhole {
			state += strings.ToUpper(st.String()) + "  "
		}
		if limit := ""; person {
			if l := e.Head.Result.Limit; l > 0 {
				limit = strings.TrimSuffix(report.Millimetres(float64(l)), " mm")
			}
			fmt.Fprintf(b, "%-16s  %-11s  %-21s  %-8s  %-8s  %-8s  %s%s\n", e.Date(), e.Verdict(), e.Hole(), limit, e.Part(), printable(clipped(e.ID(), 80)), state, printable(clipped(e.Title(), 200)))
			continue
		}
		fmt.Fprintf(b, "%-16s  %-11s  %-21s  %-8s  %-8s  %s%s\n", e.Date(), e.Verdict(), e.Hole(), e.Part(), printable(clipped(e.ID(), 80)), state, printable(clipped(e.Title(), 200)))
	}
	if len(entries) == 0 {
		dir, err := s.folder()
		if err != nil {
			return err
		}
		fmt.Fprintf(a.err, "ebbline: no record like this in %s\n", printable(dir))
	}
	if err := b.Flush(); err != nil {
		return fmt.Errorf("standard output: %w", err)
	}
	return nil
}

func (a *app) bookShowCommand() *cobra.Command {
	var s shelf
	var unit string
	cmd := &cobra.Command{
		Use:   "show RECORD",
		Short: "Open one test: is it whole, what was tested, what was found",
		Long: `Show reads one record in whole, says whether it is as it was written, and prints
what was tested and what was found, as written then. RECORD is a file, a part of a
record's name, or latest.

Exit status: 0 whole, without a digest or running, 1 torn or changed, 2 no record.`,
		Example: `  ebbline book show latest
  ebbline book show 3f9a2c1e --unit bar
  ebbline book show ./sent-by-mail.ebbline`,
		Args: need(1, "ebbline book show latest"),
		RunE: func(_ *cobra.Command, args []string) error { return a.bookShow(&s, args[0], unit) },
	}
	s.addDir(cmd.Flags())
	cmd.Flags().StringVar(&unit, "unit", "psi", "pressure unit: psi, bar, kPa, …")
	return cmd
}

// need refuses any other number of arguments.
func need(n int, example string) cobra.PositionalArgs {
	return func(cmd *cobra.Command, args []string) error {
		if len(args) != n {
			return wrong("for example "+example, "%s needs %d, but got %d", cmd.CommandPath(), n, len(args))
		}
		return nil
	}
}

// wholeWords say what the digest of a record says.
func wholeWords(rec record.Record) string {
	switch record.StateOf(rec, nil) {
	case record.StateRunning:
		return fmt.Sprintf("RUNNING: it is being written, %d lines so far; nothing below was checked", rec.TornLine-1)
	case record.StateTorn:
		return fmt.Sprintf("TORN at line %d: its end is missing, so the test was cut short; nothing below was checked", rec.TornLine)
	case record.StateChanged:
		return "CHANGED after it was written: its digest differs"
	case record.StateNoDigest:
		return "no digest: an early version wrote it, and a change cannot be told"
	}
	return "whole, SHA-256 " + rec.Sum
}

// bookShow prints one record.
func (a *app) bookShow(s *shelf, name, unit string) error {
	u, err := parseUnit(unit)
	if err != nil {
		return wrong("for example --unit bar", "--unit: %w", err)
	}
	path, rec, err := s.open(name)
	if err != nil {
		return err
	}
	if rec.Torn && !rec.Growing || rec.Digest == record.DigestDiffers {
		a.status = exitLeaks
	}
	b := bufio.NewWriter(forPeople(a.out))
	line := func(name, text string) {
		if text != "" {
			fmt.Fprintf(b, "  %-10s %s\n", name, printable(text))
		}
	}
	fmt.Fprintln(b, printable(path))
	if rec.Simulated {
		line("SIMULATED", "no real pressure, no real duct")
	}
	line("record", wholeWords(rec))
	line("label", rec.Label)
	if !rec.When.IsZero() {
		line("begun", rec.When.Format("2006-01-02 15:04:05 -07:00"))
	}
	line("source", rec.Source)
	line("written by", rec.Program)
	line("goes on", extra(rec, goesOn))
	if rec.Unended {
		line("ended", "with pressure still in the duct")
	}
	line("ceiling", rec.Setup.WithDefaults().Ceiling.Format(u))
	for _, m := range rec.Marks {
		line("mark", report.Mark(m, rec.Result.Hold.Start, u))
	}
	if rec.Torn {
		line("readings", fmt.Sprintf("%d were read; ebbline book measure judges them", len(rec.Samples)))
		return b.Flush()
	}
	if err := report.Text(b, report.Input{Result: rec.Result, Of: rec.Setup.Of}, u); err != nil {
		return err
	}
	return b.Flush()
}

// open finds and reads a record in whole.
func (s *shelf) open(name string) (string, record.Record, error) {
	path, err := s.find(name)
	if err != nil {
		return "", record.Record{}, err
	}
	rec, err := readWhole(path)
	if err == nil {
		return path, rec, nil
	}
	hint := "name a record, a file that ends in .ebbline; ebbline measure reads other traces"
	switch record.StateOf(rec, err) {
	case record.StateNewer:
		hint = "use the version that wrote it, or a later one"
	case record.StateDamaged:
		hint = "fetch it anew from where it was written; the capture beside it can be measured by ebbline measure"
	case record.StateUnreadable:
		hint = "check its permissions"
	}
	return "", rec, wrong(hint, "%s: %w", path, err)
}

func (a *app) bookCompareCommand() *cobra.Command {
	var s shelf
	var asJSON bool
	cmd := &cobra.Command{
		Use:   "compare BEFORE AFTER",
		Short: "Compare two tests of one duct: what did the repair do, and how sure is that",
		Long: `Compare measures both records again from their readings and says how much smaller
the leak became, with the interval at 95 %. It is a repair's proof only when both
are tests of the same duct. Of a record that was changed after it was written, and
of tests of different parts, nothing is said.

Exit status: 0 compared, 1 nothing is said of a repair, 2 no record or no hold.`,
		Example: `  ebbline book compare 3f9a2c1e 77b0d412
  ebbline book compare before.ebbline after.ebbline --json`,
		Args: need(2, "ebbline book compare 3f9a2c1e latest"),
		RunE: func(_ *cobra.Command, args []string) error { return a.bookCompare(&s, args[0], args[1], asJSON) },
	}
	s.addDir(cmd.Flags())
	cmd.Flags().BoolVar(&asJSON, "json", false, "print one JSON object")
	return cmd
}

// bookCompare prints what changed between two tests.
func (a *app) bookCompare(s *shelf, first, second string, asJSON bool) error {
	var recs [2]record.Record
	var results [2]decay.Result
	for i, name := range []string{first, second} {
		path, rec, err := s.open(name)
		if err != nil {
			return err
		}
		if st := record.StateOf(rec, nil); st == record.StateChanged || st == record.StateTorn || st == record.StateRunning {
			fmt.Fprintf(a.err, "ebbline: %s: %s\n", printable(path), wholeWords(rec))
		}
		recs[i], results[i] = rec, rec.Again()
		if !results[i].HasFit {
			return wrong("name a record of a test that had a hold", "%s gives nothing to compare with: %s", path, report.Verdict(results[i]))
		}
	}
	c, ok := decay.Compare(results[0], results[1])
	if !ok {
		return wrong("name records of tests that had a hold", "the two tests give nothing to compare")
	}
	words, why := report.Repair(c, results[0].Cd), report.NoRepair(recs[0], recs[1])
	if why != "" {
		words, a.status = why, exitLeaks
	}
	if asJSON {
		told := repairOf(c, words)
		if why != "" {
			told = repairJSON{Repair: "not-told", Text: why}
		}
		b, err := json.Marshal(told)
		if err == nil {
			_, err = fmt.Fprintf(a.out, "%s\n", b)
		}
		return err
	}
	for _, w := range tui.CompareDoubts(recs[0], recs[1]) {
		fmt.Fprintf(a.err, "ebbline: %s\n", printable(w))
	}
	roles := []string{"before", "after"}
	if report.NotSame(recs[0].Setup, recs[1].Setup, recs[0].Simulated, recs[1].Simulated) != "" {
		roles = []string{"first", "second"}
		if _, err := fmt.Fprintf(a.out, "repair  %s\n", words); err != nil {
			return err
		}
		words = ""
	}
	for i, name := range roles {
		fmt.Fprintf(forPeople(a.out), "%-7s %s  %s%s  %s\n", name, recs[i].When.Format("2006-01-02 15:04"), report.Verdict(results[i]), report.OfWhat(recs[i].Setup), printable(recs[i].Label))
	}
	if words == "" {
		return nil
	}
	_, err := fmt.Fprintf(a.out, "repair  %s\n", words)
	return err
}

func (a *app) bookMeasureCommand() *cobra.Command {
	var s shelf
	var all bool
	cmd := &cobra.Command{
		Use:   "measure [RECORD...]",
		Short: "Measure records again with this version and say what changed",
		Long: `Measure judges the readings of records again and sets the result beside the one
written then: after an update of this program it says which tests would be judged
otherwise now. Without a RECORD it takes all that the flags choose. The files are
left as they are.

Exit status: 0 nothing changed, 1 something did, 2 a file could not be read.`,
		Example: `  ebbline book measure
  ebbline book measure latest
  ebbline book measure --from 2026-01-01 --part hose --all`,
		RunE: func(_ *cobra.Command, args []string) error { return a.bookMeasure(&s, args, all) },
	}
	s.add(cmd.Flags())
	cmd.Flags().BoolVar(&all, "all", false, "print those that stay the same too")
	return cmd
}

// chosen are the paths of the records named, or of all that the flags choose.
func (s *shelf) chosen(args []string) ([]string, error) {
	var paths []string
	for _, name := range args {
		path, err := s.find(name)
		if err != nil {
			return nil, err
		}
		paths = append(paths, path)
	}
	if len(args) > 0 {
		return paths, nil
	}
	entries, err := s.all()
	for _, e := range entries {
		paths = append(paths, e.Path)
	}
	return paths, err
}

// bookMeasure judges records again.
func (a *app) bookMeasure(s *shelf, args []string, all bool) error {
	paths, err := s.chosen(args)
	if err != nil {
		return err
	}
	type outcome struct {
		changes []tui.BookChange
		rec     record.Record
		err     error
	}
	began := time.Now()
	changed, failed := 0, 0
	b := bufio.NewWriter(forPeople(a.out))
	inOrder(len(paths), func(i int) outcome {
		rec, err := readWhole(paths[i])
		if err != nil {
			return outcome{err: err}
		}
		changes := tui.BookChanges(rec, rec.Again())
		rec.Samples = nil // it waits for its turn without them
		return outcome{changes, rec, nil}
	}, func(i int, o outcome) {
		name := printable(paths[i])
		switch {
		case o.err != nil:
			failed++
			fmt.Fprintf(b, "%s: %s: %s\n", name, strings.ToUpper(record.StateOf(o.rec, o.err).String()), printable(strings.TrimPrefix(o.err.Error(), "record: ")))
		case len(o.changes) > 0:
			changed++
			fmt.Fprintf(b, "%s: changed since %s\n", name, printable(orUnknown(o.rec.Program)))
			for _, c := range o.changes {
				fmt.Fprintf(b, "  %-10s %s -> %s\n", c.Name, printable(c.Was), printable(c.Now))
			}
		case all || len(args) > 0:
			fmt.Fprintf(b, "%s: the same as written by %s: %s\n", name, printable(orUnknown(o.rec.Program)), report.Verdict(o.rec.Result))
		}
	})
	if err := b.Flush(); err != nil {
		return fmt.Errorf("standard output: %w", err)
	}
	fmt.Fprintf(a.err, "ebbline: %d measured again by %s in %.1f s: %d the same, %d changed, %d could not be read\n",
		len(paths), "ebbline "+version(), time.Since(began).Seconds(), len(paths)-changed-failed, changed, failed)
	switch {
	case failed > 0:
		a.status = exitTrouble
	case changed > 0:
		a.status = exitLeaks
	}
	return nil
}

func orUnknown(program string) string {
	if program == "" {
		return "a program that is not named"
	}
	return program
}

// inOrder makes n things on all cores and takes each in its turn.
func inOrder[T any](n int, work func(int) T, take func(int, T)) {
	done := make([]chan T, n)
	for i := range done {
		done[i] = make(chan T, 1)
	}
	go each(n, func(i int) { done[i] <- work(i) })
	for i := range n {
		take(i, <-done[i])
	}
}

func (a *app) bookCheckCommand() *cobra.Command {
	var s shelf
	cmd := &cobra.Command{
		Use:   "check [RECORD...]",
		Short: "Check that records are whole, readings and all",
		Long: `Check reads records in whole and compares their digests, and names each that is
not as it was written. Without a RECORD it checks all that the flags choose.

Exit status: 0 all are whole or without a digest, or run still; 1 one or more are
not.`,
		Example: `  ebbline book check
  ebbline book check sent-by-mail.ebbline
  ebbline book check --book /srv/shops --from 2026-01-01`,
		RunE: func(_ *cobra.Command, args []string) error { return a.bookCheck(&s, args) },
	}
	s.add(cmd.Flags())
	return cmd
}

// bookCheck names the records that are not whole.
func (a *app) bookCheck(s *shelf, args []string) error {
	paths, err := s.chosen(args)
	if err != nil {
		return err
	}
	counts := map[record.State]int{}
	b := bufio.NewWriter(forPeople(a.out))
	type outcome struct {
		state record.State
		words string
	}
	inOrder(len(paths), func(i int) outcome {
		rec, err := readWhole(paths[i])
		o := outcome{state: record.StateOf(rec, err), words: wholeWords(rec)}
		if err != nil {
			o.words = strings.ToUpper(o.state.String()) + ": " + strings.TrimPrefix(err.Error(), "record: ")
		}
		return o
	}, func(i int, o outcome) {
		counts[o.state]++
		if o.state != record.StateWhole || len(args) > 0 {
			fmt.Fprintf(b, "%s: %s\n", printable(paths[i]), printable(o.words))
		}
	})
	if err := b.Flush(); err != nil {
		return fmt.Errorf("standard output: %w", err)
	}
	fmt.Fprintf(a.err, "ebbline: %d of %d whole", counts[record.StateWhole], len(paths))
	for st := record.StateNoDigest; st <= record.StateUnreadable; st++ {
		if n := counts[st]; n > 0 {
			fmt.Fprintf(a.err, ", %d %s", n, st)
		}
	}
	fmt.Fprintln(a.err)
	if counts[record.StateWhole]+counts[record.StateNoDigest]+counts[record.StateRunning] < len(paths) {
		a.status = exitLeaks
	}
	return nil
}
