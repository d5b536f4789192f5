package sensor

import (
	"context"
	"errors"
	"fmt"
	"io/fs"
	"math"
	"strings"
	"sync"
	"time"

	"go.bug.st/serial"

	"ebbline/decay"
	"ebbline/sensor/calib"
	"ebbline/sensor/wire"
)

// DefaultBaud is the rate most small boards speak at.
const DefaultBaud = 115200

// DefaultModbusBaud is the rate most Modbus transmitters are delivered with
// (common practice, no source).
const DefaultModbusBaud = 9600

// Times of the watchdog.
const (
	readTimeout = 200 * time.Millisecond
	silentAfter = 2 * time.Second
	repeatAfter = 5 * time.Second
	reopenEvery = 250 * time.Millisecond

	// CutFor is how long after a port was opened a line may come that was half
	// sent before: longer than any board takes to print one line.
	CutFor = 50 * time.Millisecond

	// A fast board would wake the reader for each line; a nap lets lines come
	// together. It is the price of an alarm at most.
	nap      = 10 * time.Millisecond
	napUnder = 16 * time.Millisecond // between reads

	// What waited while nobody read (the program was stopped, the machine was
	// out of breath) comes in such pieces, after so long.
	backlogBytes = 1 << 10
	backlogAfter = time.Second
	backlogMost  = 256 << 10
)

// PortOptions say which port to read, and how its lines are meant.
type PortOptions struct {
	Name      string
	Baud      int    // 0: DefaultBaud, or DefaultModbusBaud
	Unit      string // of values whose line names none; "": psi, said in About
	Reads     decay.Reference
	Stated    bool           // somebody said what Reads is; else it is an assumption, said in About
	Ambient   decay.Pressure // by which gauge readings are made absolute; 0: 101.325 kPa
	FullScale float64        // Pa, of the transducer; 0: unknown

	// Calibration turns volts and counts into pressures; nil: a board that
	// sends those gives the fault "uncalibrated" and no readings.
	Calibration *calib.Calibration

	// Lines is what is stated about the lines of a board; its Unit and
	// Reference stay empty, since Unit and Reads say that.
	Lines wire.Options

	// Modbus polls a transmitter instead of reading a board's lines; nil: lines.
	Modbus *wire.ModbusMap

	// Seen gets each line that the decoder understood, before it is made a
	// pressure. It is called from the reading goroutine; nil: nobody asks.
	Seen func(at time.Duration, line string, f wire.Fields)

	// Noise is the transducer's own, Pa rms, as its profile states; 0: not stated.
	Noise float64

	// Tap gets the bytes as they come, before they are decoded, with the time
	// since the port was opened. It is called from the reading goroutine, and
	// data is valid only during the call.
	Tap func(at time.Duration, data []byte)
}

// OpenError says why a port could not be opened, and what to do.
type OpenError struct {
	Port, Msg, Hint string
	Err             error
}

func (e *OpenError) Error() string { return fmt.Sprintf("port %s: %s", e.Port, e.Msg) }

// Unwrap returns the cause.
func (e *OpenError) Unwrap() error { return e.Err }

func openError(name string, err error) *OpenError {
	e := &OpenError{Port: name, Msg: err.Error(), Err: err, Hint: "run `ebbline ports` to see what is connected"}
	code := serial.PortErrorCode(-1)
	var pe *serial.PortError
	if errors.As(err, &pe) {
		code = pe.Code()
	}
	switch {
	case errors.Is(err, fs.ErrNotExist) || code == serial.PortNotFound:
		e.Msg = "there is no such port"
		if list, err := ListPorts(); err == nil && len(list) > 0 {
			names := make([]string, len(list))
			for i, p := range list {
				names[i] = p.Name
			}
			e.Hint = "connected are: " + strings.Join(names, ", ")
		} else {
			e.Hint = "no serial port is connected: plug the board in, then run `ebbline ports`"
		}
	case errors.Is(err, fs.ErrPermission) || code == serial.PermissionDenied:
		e.Msg = "this user may not open it"
		e.Hint = "on Linux add yourself to the group that owns it (often `sudo usermod -aG dialout $USER`), then log in again"
	case code == serial.PortBusy, errors.Is(err, errInUse):
		e.Msg = "another program has it open"
		e.Hint = "close the other program (a serial monitor, another ebbline) and try again"
	case code == serial.InvalidSerialPort:
		e.Msg = "it is not a serial port"
	}
	return e
}

// Open opens a serial port and reads lines from it.
func Open(opt PortOptions) (Source, error) {
	if opt.Baud == 0 {
		opt.Baud = DefaultBaud
		if opt.Modbus != nil {
			opt.Baud = DefaultModbusBaud
		}
	}
	unit := opt.Unit
	if unit == "" {
		unit = assumedUnit(opt.Calibration)
	}
	if _, err := decay.ParsePressureUnit(unit); err != nil && !calib.IsRaw(unit) {
		return nil, err
	}
	if opt.Ambient == 0 {
		opt.Ambient = decay.DefaultAmbient
	}
	if opt.Modbus != nil {
		if err := opt.Modbus.Validate(); err != nil {
			return nil, fmt.Errorf("modbus: %w", err)
		}
	}
	if err := opt.Lines.Validate(); err != nil {
		return nil, err
	}
	p := newPort(opt, unit)
	dev, err := p.open(opt.Name)
	if err != nil {
		return nil, openError(opt.Name, err)
	}
	p.began = time.Now()
	p.lines.cut, p.lines.cutUntil = CutFor, CutFor
	p.start(dev)
	return p, nil
}

// newPort is a port on the machine's own devices, not open yet.
func newPort(opt PortOptions, unit string) *port {
	return &port{opt: opt, items: make(chan Item, 256), done: make(chan struct{}), began: time.Now(),
		name: opt.Name, lines: newLineReader(opt, unit), list: ListPorts, links: byIDFolder,
		open: func(name string) (device, error) { return openSerial(name, opt) }}
}

func (p *port) start(dev device) {
	p.dev = dev
	go p.run()
}

// device is what a port reads from. A read that waited in vain returns 0, nil.
type device interface {
	modbusDevice
	Close() error
}

// port is a Source on a serial device.
type port struct {
	opt   PortOptions
	began time.Time
	items chan Item
	done  chan struct{}
	once  sync.Once

	taking sync.Mutex // held while what was received is passed on

	open  func(name string) (device, error)
	list  func() ([]PortInfo, error)
	links string // folder of links by identity

	mu    sync.Mutex
	dev   device
	name  string // under which it is open
	lines *lineReader
}

// errInUse is why a port that is locked is not opened.
var errInUse = errors.New("another program has it open")

// locked is a serial port with its lock.
type locked struct {
	serial.Port
	unlock func()
}

// Close closes the port and then lets others have it.
func (l locked) Close() error {
	defer l.unlock()
	return l.Port.Close()
}

func openSerial(name string, opt PortOptions) (device, error) {
	unlock, err := lock(name)
	if err != nil {
		return nil, err
	}
	port, err := serial.Open(name, &serial.Mode{BaudRate: opt.Baud, Parity: opt.parity()})
	if err != nil {
		unlock()
		return nil, err
	}
	dev := locked{port, unlock}
	if err := dev.SetReadTimeout(readTimeout); err != nil {
		dev.Close()
		return nil, err
	}
	// What waits in the system's buffer is old: its lines would all seem to be
	// of now. A device that cannot drop it gives it to us.
	_ = dev.ResetInputBuffer()
	return dev, nil
}

// parity is what the port is opened with.
func (o PortOptions) parity() serial.Parity {
	if o.Modbus != nil {
		switch o.Modbus.Parity {
		case "even":
			return serial.EvenParity
		case "odd":
			return serial.OddParity
		}
	}
	return serial.NoParity
}

// Next implements [Source].
func (p *port) Next(ctx context.Context) (Item, error) {
	select {
	case it := <-p.items:
		return it, nil
	case <-p.done:
	case <-ctx.Done():
		if !p.closed() {
			return Item{}, ctx.Err()
		}
	}
	// What was received before Close is delivered, or the record would end
	// before the capture.
	p.taking.Lock()
	defer p.taking.Unlock()
	select {
	case it := <-p.items:
		return it, nil
	default:
		return Item{}, ErrClosed
	}
}

// About implements [Source].
func (p *port) About() About {
	p.mu.Lock()
	defer p.mu.Unlock()
	a := About{Name: p.name, Detail: p.lines.detail(), Reads: p.opt.Reads, FullScale: p.opt.FullScale,
		Rate: p.lines.stamps.Rate(), Clock: p.lines.stamps.Clock()}
	if p.opt.Modbus != nil {
		a.Detail = "Modbus RTU, since that was stated: " + p.opt.Modbus.String() + p.lines.signal.detail(p.opt.Calibration)
		a.Clock = "the moment of each poll"
	}
	return a
}

// Close implements [Source].
func (p *port) Close() error {
	p.once.Do(func() { close(p.done) })
	p.mu.Lock()
	defer p.mu.Unlock()
	if p.dev != nil {
		err := p.dev.Close()
		p.dev = nil
		return err
	}
	return nil
}

func (p *port) put(it Item) bool {
	select {
	case p.items <- it:
		return true
	default: // there is no room: rather than for room it waits for Close
	}
	select {
	case p.items <- it:
		return true
	case <-p.done:
		return false
	}
}

func (p *port) closed() bool {
	select {
	case <-p.done:
		return true
	default:
		return false
	}
}

// device is the open device, nil after Close.
func (p *port) device() device {
	p.mu.Lock()
	defer p.mu.Unlock()
	return p.dev
}

// run reads until Close. A device that goes away is waited for.
func (p *port) run() {
	defer func() {
		if x := recover(); x != nil {
			p.put(Item{Fault: &Fault{At: time.Since(p.began), Code: "reader-failed", Text: fmt.Sprintf("%s: reading failed: %v", p.opt.Name, x), Hint: "start the test again"}})
		}
	}()
	list, _ := p.list() // what cannot be listed is not known
	id := remember(p.opt.Name, list, p.links)
	if p.opt.Modbus != nil {
		p.poll(id)
		return
	}
	buf := make([]byte, 4096)
	watch := watchdog{name: p.opt.Name}
	var before time.Duration // of the latest read that brought something
	for !p.closed() {
		dev := p.device()
		if dev == nil {
			return
		}
		n, err := dev.Read(buf)
		at := time.Since(p.began)
		if p.closed() {
			return
		}
		if err != nil {
			if id, err = p.replug(at, id, err); err != nil {
				return
			}
			watch = watchdog{name: p.opt.Name, last: time.Since(p.began)}
			continue
		}
		data := buf[:n]
		if at-before > backlogAfter {
			if data = backlog(dev, data); len(data) > n {
				at = time.Since(p.began)
			}
		}
		if n > 0 {
			if !p.take(at, data, func(it Item) {
				if it.Fault == nil {
					if f := watch.heard(at); f != nil && !p.put(Item{Fault: f}) {
						return
					}
				}
			}) {
				return
			}
		}
		p.mu.Lock()
		waits := p.lines.signal.waits(at)
		p.mu.Unlock()
		if waits {
			if f := watch.heard(at); f != nil && !p.put(Item{Fault: f}) {
				return
			}
		}
		p.mu.Lock()
		f := watch.check(at, p.lines.stamps.Rate(), p.lines.watch.bytes > 0, n > 0 && p.lines.watch.active[FaultWrongBaud])
		if f != nil {
			p.lines.gap()
		}
		p.mu.Unlock()
		if f != nil && !p.put(Item{Fault: f}) {
			return
		}
		if n > 0 {
			if at-before < napUnder {
				time.Sleep(nap)
			}
			before = at
		}
	}
}

// backlog reads on while what comes are large pieces of what waited: taken one
// by one the first would seem to reach up to now, and the rest to come after it
// in no time. An error shows again at the next read.
func backlog(dev device, first []byte) []byte {
	for all, n := first, len(first); ; {
		if n < backlogBytes || len(all) >= backlogMost {
			return all
		}
		buf, err := make([]byte, 4096), error(nil)
		if n, err = dev.Read(buf); err != nil {
			return all
		}
		all = append(all[:len(all):len(all)], buf[:n]...)
	}
}

// take keeps bytes that arrived at a time and delivers what they hold; each
// item is shown to see before. It returns false after Close.
func (p *port) take(at time.Duration, data []byte, see func(Item)) bool {
	p.taking.Lock()
	defer p.taking.Unlock()
	if p.closed() {
		return false
	}
	if p.opt.Tap != nil {
		p.opt.Tap(at, data)
	}
	p.mu.Lock()
	items := p.lines.feed(at, data)
	p.mu.Unlock()
	for _, it := range items {
		see(it)
		if !p.put(it) {
			return false
		}
	}
	return true
}

// replug reports the loss of the device and waits for it to come back, under
// its own name or another, and returns what it then is. It fails after Close.
func (p *port) replug(at time.Duration, id identity, cause error) (identity, error) {
	p.mu.Lock()
	if p.dev != nil {
		p.dev.Close()
	}
	was := p.name
	p.mu.Unlock()
	if !p.put(Item{Fault: &Fault{At: at, Code: FaultUnplugged, State: Begins, Text: fmt.Sprintf("%s: the port went away (%v)", was, cause), Hint: "plug the board in again: the test goes on by itself"}}) {
		return id, ErrClosed
	}
	tick := time.NewTicker(reopenEvery)
	defer tick.Stop()
	for {
		select {
		case <-p.done:
			return id, ErrClosed
		case <-tick.C:
		}
		list, _ := p.list()
		var dev device
		name := ""
		for _, c := range id.candidates(list, kin(id.name)) {
			d, err := p.open(c)
			if err != nil {
				continue
			}
			// It may have come while the list was made.
			if list, _ = p.list(); id.other(c, list) {
				d.Close()
				continue
			}
			dev, name = d, c
			break
		}
		if dev == nil {
			continue
		}
		p.mu.Lock()
		if p.closed() {
			p.mu.Unlock()
			dev.Close()
			return id, ErrClosed
		}
		now := time.Since(p.began)
		p.dev, p.name = dev, name
		ended := p.lines.restart(now)
		p.mu.Unlock()
		text := was + ": the port is back"
		if name != was {
			text += " as " + name
		}
		gone := fmt.Sprintf("%s, after %.1f s", text, (now - at).Seconds())
		ended = append(ended,
			Fault{At: now, Code: FaultUnplugged, State: Ends, Text: gone, Hint: "the test goes on"},
			Fault{At: now, Code: FaultReplugged, Text: text, Hint: "the readings in between are missing, and marked so"})
		for i := range ended {
			if !p.put(Item{Fault: &ended[i]}) {
				return id, ErrClosed
			}
		}
		return remember(name, list, p.links), nil
	}
}

// impossible is a pressure, Pa, that no transducer of a duct sends.
const impossible = 500 * decay.Bar

// lineReader turns bytes into readings. It keeps no clock.
type lineReader struct {
	cut      time.Duration // how long after the opening a first line may have lost its beginning
	cutUntil time.Duration // until when that is so
	opt      PortOptions
	unit     string // assumed
	stream   *wire.Stream

	assumed bool // the unit was
	mute    bool // the latest reading was of a line that says neither gauge nor absolute
	signal  signalState
	watch   *lineWatch
	shapes  shapeGuard
	health  *Health
	supply  supplyWatch

	stamps Stamper
	slots  []Slot // of the batch under way
	places []int  // of their items, -1 for a line that made none

	early headingWait
}

func newLineReader(opt PortOptions, unit string) *lineReader {
	l := &lineReader{opt: opt, unit: unit, stream: wire.NewStream(opt.Lines), watch: newLineWatch(opt.Name, opt.Baud), early: opt.headingWait()}
	l.health = NewHealth(HealthConfig{Name: opt.Name, Reads: opt.Reads, Ambient: opt.Ambient, FullScale: opt.FullScale, Noise: opt.Noise})
	l.watch.polled = opt.Modbus != nil
	l.supply.name = opt.Name
	if c := opt.Calibration; c != nil && c.Kind == calib.Ratiometric {
		l.supply.nominal = c.Supply
	}
	return l
}

// restart forgets what a board that was plugged in again need not keep to, and
// returns the faults that end with that.
func (l *lineReader) restart(at time.Duration) []Fault {
	l.cutUntil = at + l.cut
	l.stream, l.early = wire.NewStream(l.opt.Lines), l.opt.headingWait()
	l.stamps.Restart()
	l.shapes = shapeGuard{}
	return append(l.watch.restart(at), l.health.Restart(at)...)
}

// gap tells that readings are missing.
func (l *lineReader) gap() { l.health.Gap() }

func (l *lineReader) detail() string {
	s := l.stream.Detected()
	if l.assumed && l.opt.Unit == "" && !l.signal.like {
		s += "; the lines name no unit: " + l.unit + " was assumed (--unit says otherwise)"
	}
	if l.mute && !l.opt.Stated {
		s += "; they do not say gauge or absolute: " + l.opt.Reads.String() + " was assumed (--reads says otherwise)"
	}
	return s + l.signal.detail(l.opt.Calibration)
}

// feed takes bytes that arrived at a time, and returns what they hold.
func (l *lineReader) feed(at time.Duration, data []byte) []Item {
	var out []Item
	tell := func(fs ...Fault) {
		for i := range fs {
			out = append(out, Item{Fault: &fs[i]})
		}
	}
	tell(l.watch.chunk(at, data)...)
	batch := at // the lines in slots arrived then
	l.slots, l.places = l.slots[:0], l.places[:0]
	l.stream.Feed(at, data, l.early.then(func(got wire.Line) {
		if got.At != batch { // lines held back until they were understood
			out = l.stamp(batch, out)
			batch = got.At
		}
		line, f, err := got.Text, got.Fields, got.Err
		if got.Partial && got.At < l.cutUntil && l.opt.Modbus == nil {
			return // 9.8 may be what is left of 29.8
		}
		if errors.Is(err, wire.ErrSkip) {
			tell(l.watch.line(at, line, err)...)
			return
		}
		var p decay.Pressure
		if err == nil {
			if l.opt.Seen != nil {
				l.opt.Seen(at, line, f)
			}
			p, err = l.pressure(f)
		}
		if err == nil && l.opt.Modbus == nil && !l.shapes.fits(line, f) {
			err = errShape
		}
		out = append(out, l.signal.faults(at, l.opt.Name, err)...)
		if errors.Is(err, errUncalibrated) {
			return
		}
		l.health.Ranged(l.signal.raw)
		tell(l.watch.line(at, line, err)...)
		if err != nil {
			if l.watch.valid {
				// Its reading is lost, its time has passed all the same.
				l.slots, l.places = append(l.slots, Slot{Lost: true}), append(l.places, -1)
			}
			return
		}
		if f.HasSupply {
			if fault := l.supply.add(at, f.Supply, l.signal.raw && l.supply.nominal > 0 && l.opt.Calibration != nil); fault != nil {
				tell(*fault)
			}
		}
		l.slots, l.places = append(l.slots, Slot{HasTime: f.HasTime, Board: f.Time}), append(l.places, len(out))
		out = append(out, Item{Reading: Reading{Sample: decay.Sample{P: p}, Raw: line}})
	}))
	return l.stamp(batch, out)
}

// stamp gives the lines that arrived together at a time theirs.
func (l *lineReader) stamp(at time.Duration, out []Item) []Item {
	if len(l.slots) == 0 {
		return out
	}
	// Faults that come with a reading stand beside it, so the list is made anew.
	var made []Item
	done := 0
	for i, st := range l.stamps.Batch(at, l.slots) {
		j := l.places[i]
		if j < 0 {
			continue
		}
		made = append(made, out[done:j]...)
		done = j + 1
		if st.Reset {
			for _, f := range l.watch.clockJumped(nil, at) {
				made = append(made, Item{Fault: &f})
			}
		}
		it := out[j]
		it.At = st.At
		made = append(made, it)
		for _, f := range l.health.Add(st.At, it.P) {
			made = append(made, Item{Fault: &f})
		}
	}
	made = append(made, out[done:]...)
	l.slots, l.places = l.slots[:0], l.places[:0]
	return made
}

// errShape is why a line that can be read is not taken for a reading.
var errShape = errors.New("it differs in shape from all lines before it, so a piece may be missing")

// pressure is the absolute pressure that a line means.
func (l *lineReader) pressure(f wire.Fields) (decay.Pressure, error) {
	unit := f.Unit
	if l.assumed = unit == ""; l.assumed {
		unit = l.unit
		if l.opt.Unit == "" && l.opt.Calibration == nil && l.signal.likeCounts(f.Value) {
			unit = "counts"
		}
	}
	if l.signal.note(unit) {
		l.mute = false
		return l.signal.pressure(l.opt, f, unit)
	}
	u, err := decay.ParsePressureUnit(unit)
	if err != nil {
		return 0, fmt.Errorf("%s is no pressure: have the board send a pressure with its unit", unit)
	}
	v := f.Value * u.Pascal
	if math.Abs(v) > impossible {
		return 0, fmt.Errorf("%g %s is no pressure that a hose can hold: two lines may have run into one", f.Value, unit)
	}
	l.mute = f.Reference == ""
	absolute := l.opt.Reads == decay.ReadsAbsolute
	switch f.Reference {
	case "absolute":
		absolute = true
	case "gauge":
		absolute = false
	}
	if absolute {
		return decay.Pressure(v), nil
	}
	return decay.Gauge(v).Absolute(l.opt.Ambient), nil
}
