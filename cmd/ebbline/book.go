package main

import (
	"cmp"
	"crypto/rand"
	"encoding/hex"
	"errors"
	"fmt"
	"os"
	"path/filepath"
	"runtime"
	"strconv"
	"strings"
	"sync"
	"time"

	"ebbline/decay"
	"ebbline/decay/record"
	"ebbline/sensor"
	"ebbline/sensor/replay"
)

// bookDir is the folder records are kept in when none is named.
func bookDir() (string, error) {
	if d := os.Getenv("XDG_DATA_HOME"); d != "" && filepath.IsAbs(d) {
		return filepath.Join(d, "ebbline"), nil
	}
	if runtime.GOOS == "windows" || runtime.GOOS == "darwin" {
		d, err := os.UserConfigDir()
		if err != nil {
			return "", wrong("name a folder with --book", "no folder for records: %w", err)
		}
		return filepath.Join(d, "ebbline"), nil
	}
	home, err := os.UserHomeDir()
	if err != nil {
		return "", wrong("name a folder with --book", "no folder for records: %w", err)
	}
	return filepath.Join(home, ".local", "share", "ebbline"), nil
}

// page keeps one test in the book: the capture, byte by byte as received, and
// the record, which grows with the test. Under a fault of the disk the test
// goes on and err tells of the fault, until all that came is written after all.
type page struct {
	recordPath, capturePath string
	recordFile, captureFile *bookFile
	fromLines               bool // the source has no bytes of its own: its lines are captured

	ambient decay.Pressure
	ceiling decay.Gauge

	mu   sync.Mutex // readings and bytes come from different goroutines
	rec  *record.Writer
	tape *replay.Writer
	err  error       // why the test is not being kept; nil: it is
	tell func(error) // gets an error at once, and nil when it is over; may be nil
	stop chan struct{}
	done sync.WaitGroup
}

// openPage makes the files of a test begun at when, of lines whose values are
// in unit where they name none.
func openPage(dir, label, unit string, when time.Time, about sensor.About, set decay.Setup) (*page, error) {
	return openPageHead(dir, label, when, about, set, map[string]string{"unit": unit})
}

// openPageHead is openPage with more in the head of the capture.
func openPageHead(dir, label string, when time.Time, about sensor.About, set decay.Setup, more map[string]string) (*page, error) {
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
	p := &page{stop: make(chan struct{})}
	var err error
	stem := pageStem(dir, when, label)
	p.recordPath, p.capturePath = stem+record.Extension, stem+".capture"
	if p.recordFile, err = openBookFile(p.recordPath); err != nil {
		return nil, wrong(hint, "book: %w", err)
	}
	if p.captureFile, err = openBookFile(p.capturePath); err != nil {
		p.recordFile.file.Close()
		os.Remove(p.recordPath)
		return nil, wrong(hint, "book: %w", err)
	}
	var extra []record.KeyValue
	for _, k := range []string{"sensor", "calibrated", "shown", timesFrom, goesOn} { // for the sheet, measure, --reopen and the list
		if v := oneLine(more[k]); v != "" {
			extra = append(extra, record.KeyValue{Key: k, Value: v})
		}
	}
	p.rec, err = record.NewWriter(p.recordFile, record.Record{
		Label: label, Source: about.Name, When: when, Program: "ebbline " + version(), Simulated: about.Simulated, Setup: set, Extra: extra,
	})
	if err != nil {
		p.discard()
		return nil, err
	}
	head := map[string]string{"date": when.Format(time.RFC3339Nano), "source": oneLine(about.Name), "simulated": "no"}
	if about.Simulated {
		head["simulated"] = "yes"
	}
	if label != "" {
		head["label"] = oneLine(label)
	}
	for k, v := range more {
		if v != "" {
			head[k] = oneLine(v)
		}
	}
	if set.Ambient != 0 {
		head["ambient_pa"] = strconv.FormatFloat(float64(set.Ambient), 'g', -1, 64)
	}
	if about.Reads == decay.ReadsAbsolute || set.Reads == decay.ReadsAbsolute {
		head["reads"] = "absolute"
	}
	if p.tape, err = replay.NewWriter(p.captureFile, head); err == nil {
		if err = p.rec.Flush(); err == nil {
			err = p.check()
		}
	}
	if err != nil { // no test begins that is not kept
		p.discard()
		todo, _ := diskFault(err)
		return nil, wrong(todo+", or "+hint, "book: %w", err)
	}
	p.ambient, p.ceiling = set.NominalAmbient(), set.WithDefaults().Ceiling
	p.done.Go(p.flushing)
	for _, f := range []*bookFile{p.recordFile, p.captureFile} {
		p.done.Go(func() {
			f.keep(p.stop, func() {
				p.mu.Lock()
				p.note(nil)
				p.mu.Unlock()
			})
		})
	}
	return p, nil
}

// pageStem is the path of a new record without its extension. Machines that
// write into one synced folder do not see each other's files in time, so the
// name ends in eight random digits.
func pageStem(dir string, when time.Time, label string) string {
	var b [4]byte
	rand.Read(b[:]) // never fails: crypto/rand ends the program instead
	return filepath.Join(dir, record.Stem(when, label)+"-"+hex.EncodeToString(b[:]))
}

// oneLine is s without line ends.
func oneLine(s string) string { return strings.Join(strings.Fields(s), " ") }

// createNew creates a file that was not there before, adding a number to the
// stem when it was.
func createNew(stem, ext string) (string, *os.File, error) {
	for i := 1; ; i++ {
		name := stem + ext
		if i > 1 {
			name = fmt.Sprintf("%s-%d%s", stem, i, ext)
		}
		f, err := os.OpenFile(name, os.O_WRONLY|os.O_CREATE|os.O_EXCL, 0o600)
		if !errors.Is(err, os.ErrExist) || i == 1000 {
			return name, f, err
		}
	}
}

// add keeps a reading.
func (p *page) add(it sensor.Item) {
	if f := it.Fault; f != nil {
		p.mu.Lock()
		p.note(p.tape.Note(replay.Note{At: f.At, Code: f.Code, State: f.State.String(), Text: f.Text + "; " + f.Hint}))
		p.mu.Unlock()
		return
	}
	if p.fromLines {
		p.chunk(it.At, []byte(it.Raw+"\n"))
	}
	p.mu.Lock()
	p.rec.Add(it.Sample)
	p.rec.Unended = it.P.Gauge(p.ambient) > p.ceiling/20
	p.mu.Unlock()
}

// mark keeps a mark, and hands it to the system at once.
func (p *page) mark(m record.Mark) {
	p.mu.Lock()
	defer p.mu.Unlock()
	p.rec.Mark(m)
	p.note(p.rec.Flush())
}

// chunk keeps bytes as received.
func (p *page) chunk(at time.Duration, data []byte) {
	p.mu.Lock()
	defer p.mu.Unlock()
	p.note(p.tape.Chunk(at, data))
}

// note tells of a fault of the disk, of the files' own or one that a writer
// gave up with, and that it is over; the mutex is held.
func (p *page) note(err error) {
	if err = cmp.Or(err, p.captureFile.fault(), p.recordFile.fault()); (err == nil) != (p.err == nil) && p.tell != nil {
		p.tell(err)
	}
	p.err = err
}

// check makes up for faults of the disk as far as that can be done now.
func (p *page) check() error { return cmp.Or(p.recordFile.check(), p.captureFile.check()) }

// trouble says why the test is not being kept, "" while it is, or of no page.
func (p *page) trouble() string {
	if p == nil {
		return ""
	}
	p.mu.Lock()
	defer p.mu.Unlock()
	if p.err == nil {
		return ""
	}
	return troubleWords(p.err)
}

// troubleWords tell of a test that cannot be kept now, while it goes on. They
// fit into a line of a screen.
func troubleWords(err error) string {
	todo, what := diskFault(err)
	return "NOT BEING KEPT: " + what.Error() + "; " + todo
}

// flushEvery is a quarter of what may be lost when the program is killed: a busy
// machine may be late.
const flushEvery = 250 * time.Millisecond

// flushing hands what is buffered to the files.
func (p *page) flushing() {
	t := time.NewTicker(flushEvery)
	defer t.Stop()
	for {
		select {
		case <-p.stop:
			return
		case <-t.C:
			p.mu.Lock()
			p.note(cmp.Or(p.rec.Flush(), p.tape.Flush()))
			p.mu.Unlock()
		}
	}
}

// discard removes the files of a test that never began.
func (p *page) discard() {
	close(p.stop)
	p.done.Wait()
	for _, f := range []*bookFile{p.recordFile, p.captureFile} {
		f.file.Close()
		os.Remove(f.path)
	}
}

// close writes the result and syncs both files to the disk.
func (p *page) close(r decay.Result) error {
	close(p.stop)
	p.done.Wait()
	p.mu.Lock()
	defer p.mu.Unlock()
	err := cmp.Or(p.rec.Finish(r), p.tape.Flush(), p.recordFile.close(), p.captureFile.close())
	p.err = err
	if err == nil {
		return nil
	}
	todo, what := diskFault(err)
	return wrong(todo+", then test again: what was written until then is in "+p.recordPath+" and "+p.capturePath, "book: not all of the test was kept: %w", what)
}
