package main

import (
	"errors"
	"fmt"
	"math"
	"os"
	"strings"
	"time"

	"ebbline/decay"
	"ebbline/decay/record"
	"ebbline/sensor/replay"
	"ebbline/sensor/rig"
	"ebbline/tui"
)

// dialSource is where the readings of a hold by hand come from.
const dialSource = "dial, read by eye"

// handHold keeps a hold by hand in the book.
type handHold struct {
	label, dir string
	reopened   string // record of the hold that is gone on with, "" without
	unit       decay.PressureUnit
	set        decay.Setup
	page       *handPage
	lost       error // of the latest writing, nil when all was kept
}

func (h *handHold) begin(set decay.Setup) (err error) {
	h.set = set
	if h.page, err = openHandPage(h.dir, h.label, h.unit, wallClock(), set); err == nil && h.reopened != "" {
		h.page.rec.Extra = append(h.page.rec.Extra, record.KeyValue{Key: goesOn, Value: recordName(h.reopened)})
	}
	return err
}

func (h *handHold) keep(all, takenBack []tui.DialReading) error {
	h.page.all, h.page.back = all, takenBack
	if n := len(all); n > 0 { // typed just now
		h.page.rec.Extra[1].Value = momentOf(time.Now().Add(-all[n-1].At))
	}
	h.lost = h.page.write(nil)
	return h.lost
}

func (h *handHold) save(r decay.Result) (string, error) {
	h.lost = h.page.write(&r)
	return h.page.recordPath, h.lost
}

// handPage keeps a hold by hand: the record and a capture of what was typed.
// Both are short, and written anew after each reading, so a program that is
// killed loses none; readings that were taken back stay in the capture as
// comments.
type handPage struct {
	recordPath, capturePath string
	rec                     record.Record
	unit                    decay.PressureUnit
	all, back               []tui.DialReading
}

func openHandPage(dir, label string, unit decay.PressureUnit, when time.Time, set decay.Setup) (*handPage, error) {
	hint := "name a folder you may write to with --book"
	if dir == "" {
		var err error
		if dir, err = bookDir(); err != nil {
			return nil, err
		}
	}
	if err := os.MkdirAll(dir, 0o700); err != nil {
		return nil, wrong(hint, "book: %w", err)
	}
	path, file, err := createNew(pageStem(dir, when, label), record.Extension)
	if err != nil {
		return nil, wrong(hint, "book: %w", err)
	}
	if err := file.Close(); err != nil {
		return nil, wrong(hint, "book: %w", err)
	}
	p := &handPage{recordPath: path, capturePath: strings.TrimSuffix(path, ".ebbline") + ".capture", unit: unit,
		rec: record.Record{Label: label, Source: dialSource, When: when, Program: "ebbline " + version(), Setup: set, Extra: []record.KeyValue{{Key: "shown", Value: unit.Name}, {Key: timesFrom, Value: momentOf(time.Now())}}}}
	return p, p.write(nil)
}

// write stores what there is; without a result the record stays unfinished.
func (p *handPage) write(r *decay.Result) error {
	err := errors.Join(
		replace(p.recordPath, func(f *os.File) error {
			w, err := record.NewWriter(f, p.rec)
			if err != nil {
				return err
			}
			for _, x := range p.all {
				w.Add(decay.Sample{At: x.At, P: x.P.Absolute(p.rec.Setup.NominalAmbient())})
			}
			if r == nil {
				return w.Flush()
			}
			if n := len(p.all); n > 0 {
				w.Unended = p.all[n-1].P > p.rec.Setup.WithDefaults().Ceiling/20
			}
			return w.Finish(*r)
		}),
		replace(p.capturePath, func(f *os.File) error {
			head := map[string]string{"date": p.rec.When.Format(time.RFC3339Nano), "source": dialSource, "simulated": "no", "unit": p.unit.Name, "reads": "gauge"}
			if p.rec.Label != "" {
				head["label"] = oneLine(p.rec.Label)
			}
			w, err := replay.NewWriter(f, head)
			if err != nil {
				return err
			}
			for _, x := range p.all {
				if err := w.Chunk(x.At, []byte(p.typed(x)+"\n")); err != nil {
					return err
				}
			}
			for _, x := range p.back {
				var last time.Duration
				if n := len(p.all); n > 0 {
					last = p.all[n-1].At
				}
				if err := w.Chunk(last, fmt.Appendf(nil, "# taken back: %g s, %s\n", x.At.Seconds(), p.typed(x))); err != nil {
					return err
				}
			}
			return w.Flush()
		}))
	if err != nil {
		return wrong("make room on the disk", "book: %w", err)
	}
	return nil
}

// typed is a reading as a line.
func (p *handPage) typed(x tui.DialReading) string {
	return fmt.Sprintf("%.6g %s", float64(x.P)/p.unit.Pascal, p.unit.Name)
}

// earlierByHand is what was read of a hold by hand that was cut short: its
// set-up under the flags, its readings, and how long ago the first of them was.
func (f *holdFlags) earlierByHand(set *decay.Setup) (list []tui.DialReading, ago time.Duration, err error) {
	if f.reopen == "" {
		return nil, 0, nil
	}
	rec, err := openRecord(f.reopen)
	if err != nil {
		return nil, 0, err
	}
	switch {
	case rec.Source != dialSource:
		return nil, 0, wrong("leave out --by-hand, and name the port of its sensor", "--reopen: %s was not read by eye", f.reopen)
	case len(rec.Samples) == 0:
		return nil, 0, wrong("begin a new hold", "--reopen: %s holds no reading", f.reopen)
	case !rec.Torn && !rec.Unended:
		return nil, 0, wrong("begin a new hold", "--reopen: %s is of a hold that was let out and ended", f.reopen)
	}
	division := set.Division
	if *set, err = f.over(rec.Setup); err != nil {
		return nil, 0, err
	}
	set.Ambient = rec.Setup.Ambient // by which its readings were made absolute
	if division > 0 {
		set.Division = division
	}
	if f.label == "" {
		f.label = rec.Label
	}
	for _, s := range rec.Samples {
		list = append(list, tui.DialReading{At: s.At, P: s.P.Gauge(rec.Setup.NominalAmbient())})
	}
	ago, err = f.sinceBegun(rec, time.Now())
	return list, ago, err
}

// discard removes the files of a hold without any reading.
func (p *handPage) discard() {
	os.Remove(p.recordPath)
	os.Remove(p.capturePath)
}

// gainOf says what an ordinary transducer would have seen in the same hold:
// the simulated rig runs it with the hole that was found, and its readings are
// judged like any others.
func gainOf(set decay.Setup, r decay.Result) string {
	general := "a transducer reads fifty times a second: it tells cooling air from a leak in the first seconds"
	held := r.Hold.End - r.Hold.Start
	if !r.HasFit || !r.HasVolume || held < 5*time.Second {
		return general
	}
	c := rig.Default()
	c.Volume, c.Hole = set.Volume, decay.Length(r.Hole.Value)
	c.Ambient, c.Temperature = set.NominalAmbient(), set.WithDefaults().AmbientTemperature
	c.Supply = max(r.Hold.StartGauge, 10*decay.Kilopascal)
	c.FullScale = 2 * float64(c.Supply)
	share := max(0.1, float64(c.Volume)/(10*decay.Litre)) // a fill of a few seconds
	c.FeedBore = decay.Length(float64(c.FeedBore) * share)
	if c.Validate() != nil {
		return general
	}
	duct := rig.New(c)
	step := 20 * time.Millisecond
	var samples []decay.Sample
	at := time.Duration(0)
	run := func(d time.Duration, until func() bool) {
		for end := at + d; at < end && (until == nil || !until()); at += step {
			duct.Advance(step)
			samples = append(samples, decay.Sample{At: at, P: duct.Read().Absolute(c.Ambient)})
		}
	}
	run(2*time.Second, nil)
	duct.Fill()
	run(30*time.Second, func() bool { return duct.Pressure().Gauge(c.Ambient) > 0.97*c.Supply })
	duct.Isolate()
	run(min(held, 3*time.Minute), nil)
	set.Division, set.FullScale, set.ZeroTolerance = 0, c.FullScale, 0
	t := decay.Analyse(set, samples)
	if !t.HasFit || !(t.Hole.High < math.Inf(1)) || t.Hole.High-t.Hole.Low >= r.Hole.High-r.Hole.Low {
		return general
	}
	span := func(iv decay.Interval) string {
		return fmt.Sprintf("%.2f to %.2f mm", iv.Low/decay.Millimetre, iv.High/decay.Millimetre)
	}
	return fmt.Sprintf("a transducer (50 readings a second, noise %.0f Pa) would narrow %s to about %s in the same time", float64(c.Noise), span(r.Hole), span(t.Hole))
}
