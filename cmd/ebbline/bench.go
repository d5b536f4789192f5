package main

import (
	"context"
	"errors"
	"fmt"
	"math"
	"os"
	"path/filepath"
	"strings"
	"sync"
	"time"

	"ebbline/decay"
	"ebbline/decay/record"
	"ebbline/decay/report"
	"ebbline/sensor"
	"ebbline/sensor/rig"
	"ebbline/tui"
)

// bench is the counter's place of work: one source of readings that stays
// open, and a record, a capture and a slip for each part tested on it.
type bench struct {
	set     decay.Setup
	limit   bool // stated, and above that of a part
	unit    decay.PressureUnit
	by, dir string
	prof    *chosen           // nil: none
	head    map[string]string // of captures
	src     sensor.Source
	rig     *benchRig // nil on a real port

	mu      sync.Mutex
	page    *page
	from    time.Duration // where the page's time begins, as readings are stamped
	last    time.Duration // stamp of the latest reading
	fromRaw time.Duration // and as bytes are
	lastRaw time.Duration
	kept    bool   // a test was, whole
	heading []byte // what the board printed before its first reading
	read    bool   // a reading has come

	counting sync.Mutex
	tallied  map[string]decay.Outcome // by record, what was counted already
}

// open opens the source.
func (b *bench) open(f *counterFlags) error {
	if f.port == "" {
		if b.set.Reads == decay.ReadsAbsolute {
			return wrong("leave out --reads for the simulated rig", "the simulated rig has a gauge sensor")
		}
		c, err := f.rig.config(b.set)
		if err != nil {
			return err
		}
		b.set.Ambient, b.set.FullScale = c.Ambient, float64(c.FullScale)
		b.rig = newBenchRig(c, f.rig.given())
		b.src, b.head = b.rig, map[string]string{"unit": "psi", "shown": b.unit.Name}
		return nil
	}
	opt := sensor.PortOptions{Name: f.port, Baud: f.baud, Unit: lineUnit(f.unit), Reads: b.set.Reads, Stated: f.reads != "", Ambient: b.set.NominalAmbient(), FullScale: b.set.FullScale, Tap: b.chunk}
	b.prof.port(&opt)
	b.head = b.prof.head(opt, b.unit)
	src, err := sensor.Open(opt)
	if err != nil {
		var oe *sensor.OpenError
		if errors.As(err, &oe) {
			return wrong(oe.Hint, "%w", err)
		}
		return err
	}
	b.src = src
	if b.prof != nil {
		b.src = noted{src, b.prof.note()}
	}
	return nil
}

// sensorWords names the sensor on a slip, and when it was calibrated.
func (b *bench) sensorWords() (name, calibrated string) {
	name = b.src.About().Name
	if b.rig != nil || b.prof == nil {
		return name, ""
	}
	words := b.prof.Sensor
	if words == "" {
		words = b.prof.Name
	}
	if !b.prof.Calibrated.IsZero() {
		calibrated = b.prof.Calibrated.Format("2006-01-02")
	}
	return words + " on " + name, calibrated
}

// add keeps a reading of the test under way. It runs on the reader's goroutine.
func (b *bench) add(it sensor.Item) {
	if it.Fault != nil {
		return
	}
	b.mu.Lock()
	defer b.mu.Unlock()
	b.last, b.read = it.At, true
	if b.page != nil && (b.from == 0 || it.At > b.from) {
		it.At -= b.from
		b.page.add(it)
	}
}

// chunk keeps bytes of the test under way as received.
func (b *bench) chunk(at time.Duration, data []byte) {
	b.mu.Lock()
	defer b.mu.Unlock()
	if !b.read && len(b.heading) < 4096 {
		b.heading = append(b.heading, data...)
	}
	b.lastRaw = at
	if b.page != nil {
		b.page.chunk(at-b.fromRaw, data)
	}
}

// begin opens the files of a test.
func (b *bench) begin(part tui.Part) (tui.CounterTest, error) {
	set := b.set
	set.Volume, set.VolumeTolerance = part.Volume, part.VolumeTolerance
	set.Of = decay.PartHose // whose limit is the default
	if !b.limit {
		set.Limit = part.Limit
	}
	when := wallClock()
	p, err := openPageHead(b.dir, part.Label, when, b.src.About(), set, b.head)
	if err != nil {
		return tui.CounterTest{}, err
	}
	if b.rig != nil {
		p.fromLines = true
		if err := b.rig.fit(set.Volume); err != nil {
			p.discard()
			return tui.CounterTest{}, err
		}
	}
	b.mu.Lock()
	b.page, b.from, b.fromRaw = p, b.last, b.lastRaw
	if head := b.headingLines(); len(head) > 0 {
		p.chunk(0, head) // or the capture could not be understood by itself
	}
	from := b.from
	b.mu.Unlock()
	return tui.CounterTest{Setup: set, From: from, Save: func(run *tui.CounterRun, u decay.PressureUnit) (tui.Kept, error) {
		return b.save(p, part, set, when, run, u)
	}}, nil
}

// headingLines are the whole lines that came before the first reading and
// have no digit at their start; the mutex is held.
func (b *bench) headingLines() []byte {
	var out []byte
	for line := range strings.Lines(string(b.heading)) {
		if strings.HasSuffix(line, "\n") && !strings.ContainsAny(line[:1], "0123456789+-.{") {
			out = append(out, line...)
		}
	}
	return out
}

// save ends a test's files and writes its slip, by which the tally knows it,
// unless no air came.
func (b *bench) save(p *page, part tui.Part, set decay.Setup, when time.Time, run *tui.CounterRun, u decay.PressureUnit) (tui.Kept, error) {
	b.mu.Lock()
	b.page = nil
	b.mu.Unlock()
	if b.rig != nil {
		defer b.rig.Release()
	}
	r := run.Result()
	err := p.close(r)
	if !run.Began() {
		b.kept = b.kept || err == nil
		return tui.Kept{RecordPath: p.recordPath}, err
	}
	name, calibrated := b.sensorWords()
	s := report.Slip{
		Part: part.Label, Size: part.Size(), When: when, Setup: set, Result: r, Unit: u, Sensor: name,
		Calibrated: calibrated, By: b.by, Record: filepath.Base(p.recordPath), Simulated: b.rig != nil, Stopped: run.Stopped(),
	}
	k := tui.Kept{Slip: s.Lines(), RecordPath: p.recordPath}
	path, file, errSlip := createNew(strings.TrimSuffix(p.recordPath, ".ebbline"), slipExt)
	if errSlip == nil {
		if errSlip = errors.Join(s.Write(file), file.Sync(), file.Close()); errSlip == nil {
			k.SlipPath = path
		}
	}
	if errSlip != nil {
		errSlip = wrong("make room on the disk, or name another folder with --book", "slip: %w", errSlip)
	}
	err = errors.Join(err, errSlip)
	b.kept = b.kept || err == nil
	return k, err
}

// trouble says why the test under way is not being kept, "" while it is.
func (b *bench) trouble() string {
	b.mu.Lock()
	defer b.mu.Unlock()
	return b.page.trouble()
}

// slipExt is how the name of a slip ends; the rest is that of its record.
const slipExt = ".slip.txt"

// tally counts the tests of today that have a slip, from their records. Those
// of a simulated rig are counted apart from real ones.
func (b *bench) tally() (tui.Tally, error) {
	return b.tallyOf(wallClock())
}

func (b *bench) tallyOf(now time.Time) (tui.Tally, error) {
	b.counting.Lock()
	defer b.counting.Unlock()
	var t tui.Tally
	slips, err := filepath.Glob(filepath.Join(globEscape(b.dir), "*"+slipExt))
	if err != nil {
		return t, fmt.Errorf("book: %w", err)
	}
	if b.tallied == nil {
		b.tallied = map[string]decay.Outcome{}
	}
	y, m, d := now.Date()
	for _, slip := range slips {
		stem := strings.TrimSuffix(slip, slipExt)
		stamp, _, _ := strings.Cut(filepath.Base(stem), "-")
		when, err := time.Parse("20060102T150405.000000Z", stamp)
		if err != nil {
			continue // not one of ours
		}
		if wy, wm, wd := when.In(now.Location()).Date(); wy != y || wm != m || wd != d {
			continue
		}
		o, known := b.tallied[stem]
		if !known {
			rec, err := readRecord(stem + ".ebbline")
			if errors.Is(err, os.ErrNotExist) {
				continue // its record was taken away
			}
			if err != nil {
				return t, err
			}
			if rec.Simulated != (b.rig != nil) {
				continue
			}
			o = rec.Result.Outcome
			b.tallied[stem] = o
		}
		t.Add(o)
	}
	return t, nil
}

// globEscape keeps a folder's own letters from being read as a pattern.
func globEscape(dir string) string {
	if os.PathSeparator == '\\' {
		return dir // no escapes there
	}
	return strings.NewReplacer(`\`, `\\`, `*`, `\*`, `?`, `\?`, `[`, `\[`).Replace(dir)
}

func readRecord(name string) (record.Record, error) {
	f, err := os.Open(name)
	if err != nil {
		return record.Record{}, err
	}
	defer f.Close()
	rec, err := record.Read(f)
	if err != nil {
		return rec, fmt.Errorf("%s: %w", name, err)
	}
	return rec, nil
}

// demoHoles are the holes of successive customers' parts on the simulated rig
// when none is asked for: one that leaks, one that holds, one that is near the
// limit.
var demoHoles = []decay.Length{0.45 * decay.Millimetre, 0, 0.2 * decay.Millimetre, 0.9 * decay.Millimetre, 0.05 * decay.Millimetre}

// benchRig is a simulated rig to which one part after another is fitted, and
// whose clock goes on from part to part.
type benchRig struct {
	cfg   rig.Config
	asked bool // the hole was: every part has it
	n     int  // parts so far

	mu     sync.Mutex
	src    *rig.Source
	base   time.Duration // where the present source's time begins
	last   time.Duration
	closed bool
}

func newBenchRig(c rig.Config, asked bool) *benchRig {
	return &benchRig{cfg: c, asked: asked, src: rig.NewSource(c, nil)}
}

// fit puts another part on the rig, with the valves shut.
func (r *benchRig) fit(v decay.Volume) error {
	c := r.cfg
	if !r.asked {
		c.Hole = demoHoles[r.n%len(demoHoles)]
	}
	// The valves' bores go with the volume, so that any part takes a few
	// seconds to fill.
	share := math.Sqrt(float64(v / c.Volume))
	c.FeedBore, c.VentBore = decay.Length(float64(c.FeedBore)*share), decay.Length(float64(c.VentBore)*share)
	c.Volume = v
	c.Seed += uint64(r.n)
	if err := c.Validate(); err != nil {
		return wrong("choose another part", "%w", err)
	}
	r.n++
	script := rig.DefaultScript()
	script.Ready = 1500 * time.Millisecond // the ninety seconds of a clerk are counted
	script.Hold = time.Hour
	next := rig.NewSource(c, &script)
	r.mu.Lock()
	defer r.mu.Unlock()
	r.src.Close() // its Next ends, and the next one is asked
	r.src, r.base = next, r.last
	return nil
}

func (r *benchRig) now() (src *rig.Source, base time.Duration, closed bool) {
	r.mu.Lock()
	defer r.mu.Unlock()
	return r.src, r.base, r.closed
}

// Next implements [sensor.Source].
func (r *benchRig) Next(ctx context.Context) (sensor.Item, error) {
	for {
		src, base, _ := r.now()
		it, err := src.Next(ctx)
		if errors.Is(err, sensor.ErrClosed) {
			if again, _, closed := r.now(); again != src && !closed {
				continue // another part was fitted meanwhile
			}
		}
		if err != nil {
			return it, err
		}
		it.At += base
		r.mu.Lock()
		fresh := r.src == src
		if fresh {
			r.last = it.At
		}
		r.mu.Unlock()
		if fresh {
			return it, nil
		}
	}
}

// About implements [sensor.Source].
func (r *benchRig) About() sensor.About {
	src, _, _ := r.now()
	return src.About()
}

// Close implements [sensor.Source].
func (r *benchRig) Close() error {
	r.mu.Lock()
	defer r.mu.Unlock()
	r.closed = true
	return r.src.Close()
}

// Release lets the air out.
func (r *benchRig) Release() {
	src, _, _ := r.now()
	src.Release()
}
