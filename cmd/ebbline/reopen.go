package main

import (
	"context"
	"errors"
	"fmt"
	"os"
	"path/filepath"
	"strconv"
	"strings"
	"time"

	"ebbline/decay"
	"ebbline/decay/record"
	"ebbline/sensor"
)

// reopened is a test that is gone on with.
type reopened struct {
	rec record.Record
	by  time.Duration // how much later than the new readings' stamps it is
}

// samples are the readings of the test so far.
func (r *reopened) samples() []decay.Sample {
	if r == nil {
		return nil
	}
	return r.rec.Samples
}

// reopened reads the record of a test that was cut short, nil when none was
// named. What it knows of the test goes on to hold; the flags come over it.
func (f *holdFlags) reopened(set *decay.Setup) (*reopened, error) {
	if f.reopen == "" {
		return nil, nil
	}
	if f.port == "" {
		return nil, wrong("name the port of the sensor that still sits on the duct, for example --port /dev/ttyUSB0", "--reopen: without --port there is nothing to go on reading")
	}
	rec, err := openRecord(f.reopen)
	if err != nil {
		return nil, err
	}
	switch {
	case rec.Simulated:
		return nil, wrong("name a record of a real duct", "--reopen: %s is of the simulated rig, whose air is gone", f.reopen)
	case rec.MeanOf > 1:
		return nil, wrong("begin a new test", "--reopen: %s is too long to be gone on with", f.reopen)
	case len(rec.Samples) == 0:
		return nil, wrong("begin a new test", "--reopen: %s holds no reading", f.reopen)
	case !rec.Torn && !rec.Unended:
		return nil, wrong("begin a new test, or compare with this one by --retest", "--reopen: %s is of a test that was let out and ended", f.reopen)
	}
	if *set, err = f.over(rec.Setup); err != nil {
		return nil, err
	}
	set.Ambient = rec.Setup.Ambient // by which its readings were made absolute
	if f.label == "" {
		f.label = rec.Label
	}
	by, err := f.sinceBegun(rec, time.Now())
	return &reopened{rec, by}, err
}

// timesFrom is the line of a record, and of a capture's head, that says from
// which moment the times of its readings count.
const timesFrom = "times_from"

// goesOn is the line of a record that names the record whose test it goes on
// with and whose readings it begins with: the two are one test.
const goesOn = "goes_on_with"

// recordName is the name of a record's file without folder and extension.
func recordName(path string) string {
	return strings.TrimSuffix(filepath.Base(path), record.Extension)
}

// extra is the value of a line that a record has beyond its fields, "" without.
func extra(rec record.Record, key string) string {
	for _, kv := range rec.Extra {
		if kv.Key == key {
			return kv.Value
		}
	}
	return ""
}

// momentOf is a moment as a record says it: by the clock on the wall and, where
// that is known, by one that nobody sets until the machine is started again.
func momentOf(at time.Time) string {
	s := at.Format(time.RFC3339Nano)
	if up, start := sinceBoot(); start != "" {
		s += fmt.Sprintf(" %.6fs of boot %s", (up - time.Since(at)).Seconds(), start)
	}
	return s
}

// sinceBegun is how long before now the times of a record begin that is gone on
// with. Who copies a record changes the file's time, so that it counts only in
// a record that does not say it, and only where it can be that of the last
// reading.
func (f *holdFlags) sinceBegun(rec record.Record, now time.Time) (time.Duration, error) {
	last := rec.Samples[len(rec.Samples)-1].At
	unknown := func(why string) error {
		return wrong("begin a new test on the duct as it stands", "--reopen: how long ago the last reading of %s came is not known: %s", f.reopen, why)
	}
	for _, kv := range rec.Extra {
		if kv.Key != timesFrom {
			continue
		}
		wall, boot, _ := strings.Cut(kv.Value, " ")
		from, err := time.Parse(time.RFC3339Nano, wall)
		if err != nil {
			return 0, unknown(fmt.Sprintf("its line %s: %.40q is not a time", timesFrom, kv.Value))
		}
		ago := now.Sub(from)
		if s, of, ok := strings.Cut(boot, "s of boot "); ok {
			up, start := sinceBoot()
			if v, err := strconv.ParseFloat(s, 64); err == nil && of == start {
				ago = up - time.Duration(v*float64(time.Second))
			}
		}
		if ago < last-time.Second {
			return 0, unknown("by the clock of this machine it is still to come")
		}
		return max(ago, last), nil
	}
	st, err := os.Stat(f.reopen)
	if err != nil {
		return 0, wrong("check the name and where it is", "%w", err)
	}
	written := st.ModTime()
	if rec.When.IsZero() || written.Before(rec.When.Add(-time.Second)) || written.After(rec.When.Add(last+10*time.Second)) || written.After(now.Add(time.Second)) {
		return 0, unknown("it does not say, and the file was written at another time, as a copy is")
	}
	return last + max(0, now.Sub(written)), nil
}

// into writes what came before the break into the new record.
func (r *reopened) into(k *keeper) {
	for _, s := range r.rec.Samples {
		k.earlier(s)
	}
	for _, m := range r.rec.Marks {
		k.mark(m)
	}
}

// later is a source whose stamps are moved.
type later struct {
	sensor.Source
	by time.Duration
}

// Next implements [sensor.Source].
func (l later) Next(ctx context.Context) (sensor.Item, error) {
	it, err := l.Source.Next(ctx)
	it.At += l.by
	if it.Fault != nil {
		f := *it.Fault
		f.At += l.by
		it.Fault = &f
	}
	return it, err
}

// tellKept says where the tests are kept, and how to go on with one that was
// ended under pressure.
func (a *app) tellKept(k *keeper) {
	for _, path := range k.paths {
		a.tellPath(path, nil)
		if rec, err := openRecord(path); err == nil && rec.Unended && !rec.Simulated {
			fmt.Fprintf(a.err, "ebbline: the duct was still under pressure; --reopen %s goes on with the test\n", path)
		}
	}
	for _, path := range k.torn {
		a.tellPath(path, errNotKept)
	}
}

// errNotKept is why a test is not called kept; what went wrong was told.
var errNotKept = errors.New("the test could not be written to its end")

// tellPath says where a test is kept, or where the part is that was.
func (a *app) tellPath(path string, err error) {
	if err == nil {
		fmt.Fprintf(a.err, "ebbline: the test is kept in %s\n", path)
		return
	}
	fmt.Fprintf(a.err, "ebbline: the test was NOT kept whole; what was written of it is in %s and %s\n", path, strings.TrimSuffix(path, record.Extension)+".capture")
}
