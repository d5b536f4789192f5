package main

import (
	"cmp"
	"errors"
	"fmt"
	"io/fs"
	"os"
	"path"
	"path/filepath"
	"runtime"
	"runtime/debug"
	"slices"
	"strings"
	"sync"
	"sync/atomic"
	"time"

	"github.com/spf13/pflag"

	"ebbline/decay"
	"ebbline/decay/record"
	"ebbline/tui"
)

// shelf is a folder of records with what is asked of it.
type shelf struct {
	dir                string
	job, section, part string
	from, to           string
	verdicts           []string
}

// addDir adds the flag that names the folder.
func (s *shelf) addDir(fs *pflag.FlagSet) {
	fs.StringVar(&s.dir, "book", "", "folder of the records (default: the user's data folder); folders in it are read too")
}

// add adds the flags that choose records.
func (s *shelf) add(fs *pflag.FlagSet) {
	s.addDir(fs)
	fs.StringVar(&s.job, "job", "", "only labels with this text in them, upper and lower case alike")
	fs.StringVar(&s.section, "section", "", "only tests of a section with this text in its name")
	fs.StringVar(&s.part, "part", "", "only tests of this: engine, manifold, branch, hose, fittings or unstated")
	fs.StringVar(&s.from, "from", "", "only tests from this date on, as 2026-01-31")
	fs.StringVar(&s.to, "to", "", "only tests up to and with this date")
	fs.StringSliceVar(&s.verdicts, "verdict", nil, "only this verdict: holds, leaks, undecided, never-built, no-hold or unusable; may be repeated")
}

// chosen tells whether a record is one of those asked for.
type chosenBy func(tui.BookEntry) bool

// filter reads the flags.
func (s *shelf) filter() (chosenBy, error) {
	var all []chosenBy
	if s.job != "" {
		want := strings.ToLower(s.job)
		all = append(all, func(e tui.BookEntry) bool { return strings.Contains(strings.ToLower(e.Head.Label), want) })
	}
	if s.section != "" {
		want := strings.ToLower(s.section)
		all = append(all, func(e tui.BookEntry) bool {
			_, section := tui.JobAndSection(e.Head.Label)
			return strings.Contains(strings.ToLower(section), want)
		})
	}
	if s.part != "" {
		part := decay.PartUnstated
		if s.part != part.String() {
			var err error
			if part, err = decay.ParsePart(s.part); err != nil {
				return nil, wrong("write engine, manifold, branch, hose, fittings or unstated", "--part: %w", err)
			}
		}
		all = append(all, func(e tui.BookEntry) bool { return e.Head.Setup.Of == part })
	}
	for _, d := range []struct {
		flag, text string
		keep       func(day, asked string) bool
	}{
		{"from", s.from, func(day, asked string) bool { return day >= asked }},
		{"to", s.to, func(day, asked string) bool { return day <= asked }},
	} {
		if d.text == "" {
			continue
		}
		if _, err := time.Parse(time.DateOnly, d.text); err != nil {
			return nil, wrong("write year, month and day, for example --"+d.flag+" 2026-01-31", "--%s: %q is no date", d.flag, d.text)
		}
		// The day is that of the place where the test was done.
		all = append(all, func(e tui.BookEntry) bool {
			return !e.Head.When.IsZero() && d.keep(e.Head.When.Format(time.DateOnly), d.text)
		})
	}
	if s.from != "" && s.to != "" && s.from > s.to {
		return nil, wrong("exchange them", "--from %s is after --to %s", s.from, s.to)
	}
	if len(s.verdicts) > 0 {
		var want []decay.Outcome
		for _, v := range s.verdicts {
			o, ok := parseOutcome(v)
			if !ok {
				return nil, wrong("write holds, leaks, undecided, never-built, no-hold or unusable", "--verdict: %q is no verdict", v)
			}
			want = append(want, o)
		}
		all = append(all, func(e tui.BookEntry) bool { return !e.Head.Torn && slices.Contains(want, e.Head.Result.Outcome) })
	}
	return func(e tui.BookEntry) bool {
		if e.Err != nil {
			return len(all) == 0 // nothing is known of it
		}
		for _, keep := range all {
			if !keep(e) {
				return false
			}
		}
		return true
	}, nil
}

func parseOutcome(s string) (decay.Outcome, bool) {
	for _, o := range []decay.Outcome{decay.Undecided, decay.Holds, decay.Leaks, decay.NeverBuilt, decay.NoHold, decay.Unusable} {
		if o.String() == strings.ReplaceAll(strings.TrimSpace(s), " ", "-") {
			return o, true
		}
	}
	return 0, false
}

// folder is where the records are.
func (s *shelf) folder() (string, error) {
	if s.dir != "" {
		return s.dir, nil
	}
	return bookDir()
}

// files are the records below the folder by their names, unsorted.
func (s *shelf) files() (dir string, names []string, err error) {
	if dir, err = s.folder(); err != nil {
		return dir, nil, err
	}
	st, err := os.Stat(dir)
	switch {
	case errors.Is(err, fs.ErrNotExist) && s.dir == "":
		return dir, nil, nil // no test was done yet
	case err != nil:
		return dir, nil, wrong("name the folder of the records with --book", "book: %w", err)
	case !st.IsDir():
		return dir, nil, wrong("name its folder with --book, or open it: ebbline book show "+dir, "book: %s is a file", dir)
	}
	err = filepath.WalkDir(dir, func(path string, d fs.DirEntry, err error) error {
		switch {
		case err != nil && path == dir:
			return err
		case err != nil:
			// A folder that may not be read is listed as a record that cannot be.
			names = append(names, path)
			if d != nil && d.IsDir() {
				return fs.SkipDir
			}
		case !d.IsDir() && strings.HasSuffix(d.Name(), record.Extension):
			names = append(names, path)
		}
		return nil
	})
	if err != nil {
		return dir, nil, wrong("name a folder you may read with --book", "book: %w", err)
	}
	return dir, names, nil
}

// list is [shelf.all] with each test once: of one that was gone on with, the
// earlier records are left out, for the last one begins with their readings. A
// last one without its end has no verdict, and leaves none out.
func (s *shelf) list() ([]tui.BookEntry, error) {
	return s.read(func(entries []tui.BookEntry) []tui.BookEntry {
		before := map[string]string{} // a record and the one it goes on with
		for _, e := range entries {
			if name := extra(e.Head.Record, goesOn); e.Err == nil && name != "" {
				before[e.Name] = path.Join(path.Dir(e.Name), name)
			}
		}
		earlier := map[string]bool{}
		for _, e := range entries {
			if e.Err != nil || e.Head.Torn {
				continue
			}
			for name := before[e.Name]; name != "" && name != e.Name && !earlier[name]; name = before[name] {
				earlier[name] = true
			}
		}
		return slices.DeleteFunc(entries, func(e tui.BookEntry) bool { return earlier[e.Name] })
	})
}

// all reads the heads of the records asked for on all cores, the newest first.
// A file that cannot be read is an entry with an error.
func (s *shelf) all() ([]tui.BookEntry, error) {
	return s.read(func(entries []tui.BookEntry) []tui.BookEntry { return entries })
}

// read reads the heads of all records and keeps, of those that some leaves, the
// ones asked for.
func (s *shelf) read(some func([]tui.BookEntry) []tui.BookEntry) ([]tui.BookEntry, error) {
	keep, err := s.filter()
	if err != nil {
		return nil, err
	}
	dir, names, err := s.files()
	if err != nil {
		return nil, err
	}
	entries := make([]tui.BookEntry, len(names))
	each(len(names), func(i int) { entries[i] = readEntry(dir, names[i]) })
	entries = slices.DeleteFunc(some(entries), func(e tui.BookEntry) bool { return !keep(e) })
	slices.SortFunc(entries, func(a, b tui.BookEntry) int {
		return cmp.Or(b.When().Compare(a.When()), cmp.Compare(b.Name, a.Name))
	})
	return entries, nil
}

// each calls do for 0 to n-1 on all cores. A panic of do ends it as a panic of
// the caller, who may have a terminal to restore.
func each(n int, do func(i int)) {
	var next atomic.Int64
	var all sync.WaitGroup
	var failed atomic.Pointer[string]
	work := func() {
		defer func() {
			if r := recover(); r != nil {
				text := fmt.Sprintf("%v\n%s", r, debug.Stack())
				failed.Store(&text)
			}
		}()
		for i := int(next.Add(1)) - 1; i < n; i = int(next.Add(1)) - 1 {
			do(i)
		}
	}
	for range min(n, 2*runtime.GOMAXPROCS(0)) { // twice, since files are waited for
		all.Go(work)
	}
	all.Wait()
	if text := failed.Load(); text != nil {
		panic(*text)
	}
}

// readEntry reads the ends of a record.
func readEntry(dir, path string) tui.BookEntry {
	e := tui.BookEntry{Path: path}
	rel, err := filepath.Rel(dir, path)
	if err != nil {
		rel = path
	}
	e.Name = strings.TrimSuffix(filepath.ToSlash(rel), record.Extension)
	size, fresh, err := regular(path)
	if err != nil {
		e.Err = err
		return e
	}
	f, err := os.Open(path)
	if err != nil {
		e.Err = err
		return e
	}
	defer f.Close()
	e.Head, e.Err = record.ReadHead(f, size)
	e.Head.Growing = fresh
	return e
}

// stillWritten is how long ago a file may have been written for its test to run
// still. A transducer's is written once a second, a dial's with each reading.
const stillWritten = 30 * time.Second

// regular is the size of a file, and whether it was written a moment ago; opening
// a pipe would wait for ever.
func regular(path string) (size int64, fresh bool, err error) {
	st, err := os.Stat(path)
	if err != nil {
		return 0, false, err
	}
	if !st.Mode().IsRegular() {
		return 0, false, &fs.PathError{Op: "read", Path: path, Err: errors.New("it is not a file")}
	}
	return st.Size(), time.Since(st.ModTime()) < stillWritten, nil
}

// readWhole reads a record with its readings.
func readWhole(path string) (record.Record, error) {
	_, fresh, err := regular(path)
	if err != nil {
		return record.Record{}, err
	}
	f, err := os.Open(path)
	if err != nil {
		return record.Record{}, err
	}
	defer f.Close()
	rec, err := record.Read(f)
	rec.Result.Samples, rec.Growing = len(rec.Samples), fresh
	return rec, err
}

// find is the path of a record: a file, or the one whose name in the book has
// this text in it; "latest" is the newest.
func (s *shelf) find(name string) (string, error) {
	const hint = "ebbline book list shows the names"
	if st, err := os.Stat(name); err == nil && !st.IsDir() {
		return name, nil
	}
	if strings.ContainsAny(name, `/\`) && strings.HasSuffix(name, record.Extension) {
		_, err := openFile(name) // says what is wrong
		return "", err
	}
	dir, names, err := s.files()
	if err != nil {
		return "", err
	}
	var found []string
	newest := ""
	for _, path := range names {
		base := strings.TrimSuffix(filepath.Base(path), record.Extension)
		if _, ok := record.NameTime(base); ok && (newest == "" || base > filepath.Base(newest)) {
			newest = path
		}
		switch {
		case base == strings.TrimSuffix(name, record.Extension):
			return path, nil
		case strings.Contains(base, name):
			found = append(found, path)
		}
	}
	switch {
	case name == "latest" && newest != "":
		return newest, nil
	case len(found) == 1:
		return found[0], nil
	case len(found) == 0:
		return "", wrong(hint, "no record in %s has %q in its name", dir, name)
	}
	slices.Sort(found)
	more := fmt.Sprintf("%s and %s", filepath.Base(found[0]), filepath.Base(found[1]))
	if len(found) > 2 {
		more = fmt.Sprintf("%s, %s and %d more", filepath.Base(found[0]), filepath.Base(found[1]), len(found)-2)
	}
	return "", wrong("write more of its name; "+hint, "%q is in the names of %d records: %s", name, len(found), more)
}
