package main

import (
	"bufio"
	"context"
	"fmt"
	"io"
	"math"
	"os"
	"strings"
	"sync"
	"time"

	"ebbline/decay"
	"ebbline/sensor/rig"

	"github.com/charmbracelet/x/ansi"
	"github.com/charmbracelet/x/term"
)

// Times between two looks at the simulated rig.
const (
	rigLookEvery = 250 * time.Millisecond // on a terminal, where one line is written over
	rigSayEvery  = time.Second            // elsewhere, where each is a line of its own
)

// serveRig runs the board until it is told to stop.
func (a *app) serveRig(ctx context.Context, c rig.Config, script *rig.Script, name string) error {
	open := func() (*rig.Board, error) { return rig.Open(c, script) }
	if name != "" {
		open = func() (*rig.Board, error) { return rig.OpenAt(name, c, script) }
	}
	b, err := open()
	if err != nil {
		return wrong("ebbline hold without --port simulates the rig inside", "%w", err)
	}
	ctx, stop := context.WithCancel(ctx)
	defer stop()
	desk := &rigDesk{board: b, ports: a.out, stop: stop, say: console{out: bare(a.err)}}
	desk.portChanged()
	keys := false
	if f, ok := a.in.(*os.File); ok && isTerminal(a.in) {
		if old, err := term.MakeRaw(f.Fd()); err == nil {
			defer term.Restore(f.Fd(), old)
			keys = true
			desk.say.end = "\r\n"
		}
	}
	every := rigSayEvery
	if f, ok := bare(a.err).(*os.File); ok && isTerminal(f) {
		every = rigLookEvery
		desk.say.width = func() int {
			w, _, err := term.GetSize(f.Fd())
			if err != nil || w <= 0 {
				return 80
			}
			return w
		}
	}
	desk.introduce(keys)
	go desk.orders(bufio.NewReader(a.in), keys)
	watched := make(chan struct{})
	go func() {
		defer close(watched)
		tick := time.NewTicker(every)
		defer tick.Stop()
		for {
			select {
			case <-ctx.Done():
				return
			case <-tick.C:
				desk.portChanged()
				desk.say.state(stateLine(b.State()))
			}
		}
	}()
	err = b.Run(ctx)
	stop()
	<-watched
	sent, dropped := b.Sent()
	desk.say.line(fmt.Sprintf("simulated board: %d lines sent, %d of them dropped because nobody read", sent, dropped))
	return err
}

// console is where a person is told of the rig: lines, and one line that is
// written over where width is set.
type console struct {
	mu    sync.Mutex
	out   io.Writer
	end   string     // of a line; "": a line feed
	width func() int // of the terminal; nil: not one
	shown int        // cells that the state line takes
}

// line prints a line for good.
func (c *console) line(text string) {
	c.mu.Lock()
	defer c.mu.Unlock()
	end := c.end
	if end == "" {
		end = "\n"
	}
	fmt.Fprintf(c.out, "%s%s%s", c.wipe(), strings.ReplaceAll(text, "\n", end), end)
}

// wipe clears the state line with blanks, which every terminal understands.
func (c *console) wipe() string {
	if c.shown == 0 {
		return ""
	}
	blank := "\r" + strings.Repeat(" ", c.shown) + "\r"
	c.shown = 0
	return blank
}

// state prints how the rig stands, over the line before where that can be.
func (c *console) state(text string) {
	if c.width == nil {
		c.line(text)
		return
	}
	w := c.width()
	c.mu.Lock()
	defer c.mu.Unlock()
	text = ansi.Truncate(text, max(w-1, 1), "…") // the last cell would wrap
	was := min(c.shown, max(w-1, 0))
	c.shown = ansi.StringWidth(text)
	fmt.Fprintf(c.out, "\r%s%s", text, strings.Repeat(" ", max(was-c.shown, 0)))
}

// rigDesk works a board as a person asks.
type rigDesk struct {
	board *rig.Board
	ports io.Writer // gets the port's name, each time it is another
	port  string
	stop  func()
	say   console
}

// portChanged says which port to read, at first and each time it is another.
func (d *rigDesk) portChanged() {
	n := d.board.Name()
	if n == d.port {
		return
	}
	if first := d.port == ""; first || !isTerminal(d.ports) {
		fmt.Fprintln(d.ports, n)
	}
	if d.port != "" {
		d.say.line("the port is now " + n)
	}
	d.port = n
}

// introduce says what to do with the board, and with which keys.
func (d *rigDesk) introduce(keys bool) {
	d.say.line("simulated board; read it, in another terminal, with\n  " +
		strings.Join(readWith(d.port, d.board.State().Config), "\n  "))
	if !keys {
		return
	}
	var b strings.Builder
	b.WriteString("valves   f fill   i isolate   r release   q quit\n")
	b.WriteString("leak     [ ] hole smaller, larger   { } seep smaller, larger   0 tight\n")
	b.WriteString("faults   a key switches, c ends all:")
	for i, f := range rig.Faults() {
		if i%4 == 0 {
			b.WriteString("\n        ")
		}
		fmt.Fprintf(&b, " %c %-14s", f.Key, f.Name)
	}
	d.say.line(b.String())
}

// readWith are the commands that read the board: their flags say what its lines
// do not.
func readWith(port string, c rig.Config) []string {
	hold := fmt.Sprintf("ebbline hold --port %s --volume %gL", port, float64(c.Volume)/decay.Litre)
	absolute := ""
	if c.Absolute {
		absolute = " --reads absolute"
	}
	switch c.Format {
	case "number", "millis", "micros":
		if c.Unit.Pascal != 0 && c.Unit != decay.PressureUnits[0] {
			hold += " --unit " + c.Unit.Name
		}
		return []string{hold + absolute}
	case "nmea-bar", "nmea-pascal":
		return []string{hold + absolute}
	case "modbus":
		return []string{fmt.Sprintf(`%s --modbus "address=%d register=6 type=float32 unit=kPa"%s`, hold, c.ModbusUnit, absolute)}
	case "volts", "counts", "supply":
		learn := fmt.Sprintf("ebbline calibrate --port %s --profile rig-%s --full-scale %.6gpsi%s", port, c.Format, c.FullScale/decay.PSI, absolute)
		if c.Format == "counts" && c.Bits > 0 {
			learn += fmt.Sprintf(" --unit counts --bits %d", c.Bits)
		}
		return []string{learn, hold + " --profile rig-" + c.Format}
	}
	return []string{hold}
}

// stateLine is how the rig stands, in words.
func stateLine(s rig.State) string {
	valves := "both valves shut"
	switch {
	case s.Supply:
		valves = "supply open"
	case s.Vent:
		valves = "vent open"
	}
	unit := s.Config.Unit
	if unit.Pascal == 0 {
		unit = decay.PressureUnits[0]
	}
	leak := fmt.Sprintf("hole %.2f mm", float64(s.Config.Hole)/decay.Millimetre)
	if s.Config.Hole == 0 {
		leak = "no hole"
	}
	if s.Config.Seep > 0 {
		leak += fmt.Sprintf(", seep like %.2f mm", float64(s.Config.HoleLike())/decay.Millimetre)
	}
	faults := "no fault"
	if len(s.Faults) > 0 {
		names := make([]string, len(s.Faults))
		for i, f := range s.Faults {
			names[i] = f.String()
		}
		faults = "FAULT " + strings.Join(names, " ")
	}
	return fmt.Sprintf("%6.1f s  %s  %s  %s  %s", s.At.Seconds(), valves, s.Pressure.Format(unit), leak, faults)
}

// orders follows what a person asks until there is no more to come: the board
// then goes on.
func (d *rigDesk) orders(in *bufio.Reader, keys bool) {
	for {
		order, err := nextOrder(in, keys)
		if err != nil {
			return
		}
		if order == "" {
			continue
		}
		if order == "q" || order == "quit" || order == "\x03" || order == "\x04" {
			d.stop()
			return
		}
		text, err := d.order(order)
		if err != nil {
			hint := "fill, isolate, release, quit, hole 0.5mm, seep 0.3mm, volume 8L, clear, or the name of a fault"
			if keys {
				hint = "the keys are listed above"
			}
			d.say.line(fmt.Sprintf("ebbline: error: %v\nebbline: hint: %s", err, hint))
			continue
		}
		d.say.line(fmt.Sprintf("%6.1f s  %s", d.board.State().At.Seconds(), text))
	}
}

// order does what a person asks and says what was done.
func (d *rigDesk) order(order string) (string, error) {
	word, rest, _ := strings.Cut(order, " ")
	rest = strings.TrimSpace(rest)
	switch word {
	case "f", "fill":
		d.board.Fill()
		return "fill: the supply is open", nil
	case "i", "isolate":
		d.board.Isolate()
		return "isolate: both valves are shut", nil
	case "r", "release":
		d.board.Release()
		return "release: the vent is open", nil
	case "c", "clear":
		for _, f := range d.board.State().Faults {
			d.board.Clear(f)
		}
		return "no fault", nil
	case "0":
		return "tight", d.board.Change(func(r *rig.Rig) error { return firstError(r.SetHole(0), r.SetSeep(0)) })
	case "[", "]", "{", "}":
		return d.leakByKey(word)
	case "hole", "seep":
		size, err := parseHole(rest)
		if err != nil {
			return "", err
		}
		return d.leak(word, size)
	case "volume":
		v, _, err := decay.ParseVolume(rest)
		if err != nil {
			return "", err
		}
		return fmt.Sprintf("volume %g L", float64(v)/decay.Litre), d.board.Change(func(r *rig.Rig) error { return r.SetVolume(v) })
	}
	for _, f := range rig.Faults() {
		if word == string(f.Key) || word == f.Name {
			return d.fault(f, rest)
		}
	}
	return "", fmt.Errorf("no such order: %.20q", order)
}

func firstError(a, b error) error {
	if a != nil {
		return a
	}
	return b
}

// fault switches a fault: on for a time where one is given, else on, or off when
// it is on.
func (d *rigDesk) fault(f rig.FaultInfo, long string) (string, error) {
	if long != "" {
		p, err := rig.ParsePlan(f.Name + "@0+" + long)
		if err != nil {
			return "", err
		}
		d.board.Inject(f.Fault, p.For)
		return fmt.Sprintf("%s for %v: %s", f.Name, p.For, f.About), nil
	}
	for _, on := range d.board.State().Faults {
		if on == f.Fault {
			d.board.Clear(f.Fault)
			return f.Name + " has ended", nil
		}
	}
	d.board.Inject(f.Fault, 0)
	return f.Name + ": " + f.About, nil
}

// leakByKey makes a leak a quarter larger or smaller. It starts at 0.1 mm and
// below 0.05 mm it is none.
func (d *rigDesk) leakByKey(key string) (string, error) {
	c := d.board.State().Config
	which, size := "hole", float64(c.Hole)/decay.Millimetre
	if key == "{" || key == "}" {
		which, size = "seep", float64(c.HoleLike())/decay.Millimetre
	}
	if key == "]" || key == "}" {
		size = math.Max(size*1.25, 0.1)
	} else if size /= 1.25; size < 0.05 {
		size = 0
	}
	return d.leak(which, decay.Length(size)*decay.Millimetre)
}

// leak sets the hole, or the seep that passes as much as a hole.
func (d *rigDesk) leak(which string, size decay.Length) (string, error) {
	c := d.board.State().Config
	set := func(r *rig.Rig) error { return r.SetHole(size) }
	if which == "seep" {
		set = func(r *rig.Rig) error { return r.SetSeep(c.SeepLike(size)) }
	}
	return fmt.Sprintf("%s %.2f mm", which, float64(size)/decay.Millimetre), d.board.Change(set)
}

// nextOrder reads a key, or a line where there are no keys.
func nextOrder(in *bufio.Reader, keys bool) (string, error) {
	if keys {
		c, err := in.ReadByte()
		return strings.TrimSpace(string(rune(c))), err
	}
	text, err := in.ReadString('\n')
	if text = strings.ToLower(strings.TrimSpace(text)); text != "" {
		return text, nil
	}
	return "", err
}
