// Package trace reads recorded traces: tables as loggers and spreadsheets
// write them, lines as boards print them, and this program's own captures and
// records.
package trace

import (
	"bytes"
	"errors"
	"fmt"
	"io"
	"os"
	"strings"
	"time"

	"ebbline/decay"
	"ebbline/decay/record"
	"ebbline/sensor/calib"
	"ebbline/sensor/replay"
	"ebbline/sensor/wire"
)

// Options state what a file may leave out. What the file says wins.
type Options struct {
	Unit    string           // of the pressures, when the header names none: "psi", "kPa abs"
	Reads   *decay.Reference // what the transducer read against; nil: not stated
	Ambient decay.Pressure   // absolute, added to gauge readings; 0: [decay.DefaultAmbient]

	Calibration *calib.Calibration // of volts and counts; nil: not stated
	Yields      bool               // what a capture carries wins over Calibration and Lines

	// Lines is the form of a board's lines. Its Unit and Reference count where
	// neither Unit and Reads nor the file say it; with Yields, volts and counts do
	// not, and a capture that carries a unit has said both.
	Lines wire.Options
}

// Trace is a recorded trace in SI units, in order of time, without doubled
// stamps. Time counts from the first sample.
type Trace struct {
	Samples     []decay.Sample
	Reads       decay.Reference
	ReadsStated bool           // by the file or the options; otherwise gauge was assumed
	Unit        string         // the file's, canonical; of readings made by a calibration, and in records, kPa
	Shown       string         // the unit pressures were shown in while a capture or a record was made; "": not said
	Ambient     decay.Pressure // by which gauge readings were made absolute, when a capture or the options say it; else 0
	Simulated   bool           // a capture or a record says that no real duct was tested
	Calibrated  bool           // the file held volts or counts
	Flags       []decay.Flag
	Warnings    []decay.Warning
	Rows        int           // lines that held or should have held a reading
	BadRows     int           // of these, the ones that could not be read
	Quantum     float64       // smallest step between neighbouring readings that differ, Pa; 0: none
	Start       float64       // the first sample's stamp on the file's own clock, s
	Setup       *decay.Setup  // of a record: the set-up it was made with; else nil
	Marks       []record.Mark // of a record: made while hunting

	// Judge adds to a result what the file says was wrong while it was
	// recorded; nil: nothing was, or the file cannot say.
	Judge func(decay.Result) decay.Result
}

// Error says why a file gives no trace.
type Error struct {
	File string
	Line int // from 1; 0: the file as a whole
	Msg  string
	Hint string // what to do; may be empty
}

func (e *Error) Error() string {
	if e.Line > 0 {
		return fmt.Sprintf("%s:%d: %s", e.File, e.Line, e.Msg)
	}
	return e.File + ": " + e.Msg
}

// What one file may hold, so that no file fills the memory: ten million readings
// are almost three hours at 1 kHz. Records are read as they come and may be longer.
const (
	maxSize = 1 << 28  // bytes
	maxRows = 10000000 // readings
	maxLine = 64 << 10 // bytes of a row of a table
)

const cutHint = "cut the file to the hold and the minutes around it"

// Read reads the trace in r; name stands for it in messages. Errors about the
// content are of type *[Error].
func Read(r io.Reader, name string, opt Options) (Trace, error) {
	head, err := readHead(r)
	data, streamed := head, bytes.HasPrefix(head, []byte(record.Magic))
	if err == nil && !streamed {
		data, err = readAll(head, r)
	}
	var binary *noText
	switch {
	case errors.Is(err, errTooLong):
		return Trace{}, &Error{File: name, Msg: err.Error(), Hint: cutHint}
	case errors.As(err, &binary):
		return Trace{}, &Error{File: name, Msg: binary.Error(), Hint: binary.hint}
	case err != nil:
		return Trace{}, &Error{File: name, Msg: "cannot be read: " + err.Error()}
	}
	data = plainText(data)
	f := &file{name: name, opt: opt, lines: lines{data: data}}
	f.profiled.Unit, f.profiled.Reference, f.unitStated = opt.Lines.Unit, opt.Lines.Reference, opt.Unit != ""
	f.opt.Lines.Unit, f.opt.Lines.Reference = "", ""
	capture := bytes.HasPrefix(data, []byte(replay.Magic))
	if !capture || !opt.Yields {
		f.fallBack()
	}
	if f.opt.Unit != "" {
		u, ref, ok := wire.ParseUnit(f.opt.Unit)
		if !ok {
			return Trace{}, &Error{File: name, Msg: fmt.Sprintf("unit %.40q is not a pressure unit known here", f.opt.Unit),
				Hint: "known are psi, bar, mbar, hPa, kPa, Pa, inHg and kgf/cm2, each with gauge or abs after it if wanted, and V, mV and counts with a calibration"}
		}
		f.opt.Unit, f.unitRef = u, ref
	}
	if bytes.HasPrefix(data, []byte(strings.TrimSpace(record.Magic))) {
		if streamed {
			return f.record(io.MultiReader(bytes.NewReader(head), r))
		}
		return f.record(bytes.NewReader(data))
	}
	if capture {
		return f.capture()
	}
	if first := bytes.TrimLeft(data, " \t\r\n"); len(first) > 0 && first[0] == '{' {
		return f.printed()
	}
	return f.table()
}

// fallBack takes the unit and the reference of lines that name none from what
// a profile says, where the options do not state them.
func (f *file) fallBack() {
	// A file that names no unit may be anybody's: only who asked for the profile
	// has said that its numbers are volts or counts.
	if f.opt.Unit == "" && !(f.opt.Yields && calib.IsRaw(f.profiled.Unit)) {
		f.opt.Unit = f.profiled.Unit
	}
	if f.opt.Reads == nil && f.profiled.Reference != "" {
		reads := decay.ReadsGauge
		if f.profiled.Reference == decay.ReadsAbsolute.String() {
			reads = decay.ReadsAbsolute
		}
		f.opt.Reads = &reads
	}
}

var errTooLong = fmt.Errorf("longer than %d MiB", maxSize>>20)

// readHead reads the beginning of a file, by which what is no text is refused: a
// device may never end.
func readHead(r io.Reader) ([]byte, error) {
	head := make([]byte, headSize)
	n, err := io.ReadFull(r, head)
	if err != nil && err != io.EOF && err != io.ErrUnexpectedEOF {
		return nil, err
	}
	return head[:n], checkText(head[:n])
}

// readAll reads what comes after the head.
func readAll(head []byte, r io.Reader) ([]byte, error) {
	size := 64 << 10
	if s, ok := r.(*os.File); ok {
		if st, err := s.Stat(); err == nil && st.Mode().IsRegular() {
			if st.Size() > maxSize {
				return nil, errTooLong
			}
			size = int(st.Size())
		}
	} else if s, ok := r.(interface{ Len() int }); ok {
		size = min(len(head)+s.Len(), maxSize)
	}
	var b bytes.Buffer
	b.Grow(size + bytes.MinRead)
	b.Write(head)
	if _, err := b.ReadFrom(io.LimitReader(r, maxSize+1-int64(b.Len()))); err != nil {
		return nil, err
	}
	if b.Len() > maxSize {
		return nil, errTooLong
	}
	return b.Bytes(), nil
}

// lines cuts data at LF, CRLF or CR.
type lines struct {
	data []byte
	pos  int
	lf   int // where the next LF is; valid when >= pos
	no   int // number of the line last returned
}

func (l *lines) next() ([]byte, bool) {
	if l.pos >= len(l.data) {
		return nil, false
	}
	if l.lf < l.pos || l.no == 0 {
		if i := bytes.IndexByte(l.data[l.pos:], '\n'); i >= 0 {
			l.lf = l.pos + i
		} else {
			l.lf = len(l.data)
		}
	}
	line := l.data[l.pos:l.lf]
	next := l.lf + 1
	if i := bytes.IndexByte(line, '\r'); i >= 0 {
		if l.pos+i+1 != l.lf || l.lf == len(l.data) {
			next = l.pos + i + 1
		}
		line = line[:i]
	}
	l.pos = next
	l.no++
	return line, true
}

// content returns the next line that is not blank and no comment, and its
// number.
func (l *lines) content() ([]byte, bool) {
	for {
		line, ok := l.next()
		if !ok {
			return nil, false
		}
		for _, c := range line {
			if c == ' ' || c == '\t' || c == '"' || c == ',' || c == ';' {
				continue
			}
			if c == '#' {
				break
			}
			return line, true
		}
	}
}

// file is one reading of a file.
type file struct {
	lines
	name    string
	opt     Options
	unitRef string // gauge or absolute, as said with Options.Unit

	unitStated bool          // in Options.Unit
	profiled   wire.Options  // unit and reference as a profile has them
	cutBefore  time.Duration // a first line of a capture that came before may lack its beginning

	raw     []float64 // stamps as written, when numbers
	stamps  []int64   // stamps in ns, when clock times
	values  []float64 // pressures as written
	shared  bool      // lines that came together carry one stamp, and each counts
	bad     int
	badLine int
	badWhy  string
	warn    []decay.Warning
	made    bool                // pressures were made of a signal
	rails   map[calib.Range]int // readings outside the transducer's range
}

func (f *file) fail(line int, hint, format string, args ...any) error {
	return &Error{File: f.name, Line: line, Msg: fmt.Sprintf(format, args...), Hint: hint}
}

func (f *file) warning(code, format string, args ...any) {
	f.warn = append(f.warn, decay.Warning{Code: code, Text: fmt.Sprintf(format, args...)})
}

// badRow counts a row that cannot be read.
func (f *file) badRow(line int, why string) {
	f.bad++
	if f.badWhy == "" || f.badLine == 0 && line > 0 {
		f.badLine, f.badWhy = line, why
	}
}
