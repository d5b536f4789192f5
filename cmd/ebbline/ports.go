package main

import (
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"slices"
	"strconv"
	"strings"
	"sync"
	"time"

	"ebbline/decay"
	"ebbline/sensor"

	"github.com/spf13/cobra"
)

// portsFlags are the flags of ports.
type portsFlags struct {
	baud    int
	profile string
	length  time.Duration
	asJSON  bool
}

func (a *app) portsCommand() *cobra.Command {
	var f portsFlags
	cmd := &cobra.Command{
		Use:   "ports [flags] [PORT...]",
		Short: "Show each serial port and what it sends right now",
		Long: `Ports listens to every serial port that is plugged in, for two seconds, and
shows what it sends: the line as received, the pressure that it means, how many
readings come a second, their noise and smallest step, what was detected and
why, and with which profile the port would be read. Ports that are not listed,
such as a pseudo-terminal, can be named.

Opening a port starts many boards anew, so do not run it beside a test.`,
		Example: `  ebbline ports
  ebbline ports /dev/ttyUSB0 --baud 9600
  ebbline ports COM5 --profile bench
  ebbline ports --json /dev/pts/7`,
		RunE: func(cmd *cobra.Command, names []string) error { return a.ports(cmd.Context(), &f, names) },
	}
	fs := cmd.Flags()
	fs.IntVar(&f.baud, "baud", 0, "baud rate to listen at (default: the profile's, else "+strconv.Itoa(sensor.DefaultBaud)+")")
	fs.StringVar(&f.profile, "profile", "", profileUsage)
	fs.DurationVar(&f.length, "for", 2*time.Second, "how long to listen once readings come")
	fs.BoolVar(&f.asJSON, "json", false, "print a JSON object for each port")
	return cmd
}

// heardPort is a port and what was heard on it.
type heardPort struct {
	sensor.PortInfo
	listened bool
	heard    sensor.Heard
	reads    decay.Reference
	ambient  decay.Pressure
	profile  *chosen
	unit     decay.PressureUnit
	err      error // of the profile
}

func (a *app) ports(ctx context.Context, f *portsFlags, names []string) error {
	if f.length <= 0 {
		return wrong("for example --for 2s", "--for: %v is not above zero", f.length)
	}
	if f.baud < 0 {
		return wrong("for example --baud 9600", "--baud: %d is no rate", f.baud)
	}
	list, err := sensor.ListPorts()
	if err != nil && len(names) == 0 {
		return wrong("name the port, for example ebbline ports /dev/ttyUSB0", "the ports cannot be listed: %w", err)
	}
	var ports []heardPort
	for _, p := range list {
		if len(names) == 0 || slices.Contains(names, p.Name) {
			// A port that is built in has nothing on it, mostly, and is only named.
			builtIn := p.Detail == "" && strings.HasPrefix(p.Name, "/dev/ttyS")
			ports = append(ports, heardPort{PortInfo: p, listened: len(names) > 0 || !builtIn})
		}
	}
	for _, n := range names {
		if !slices.ContainsFunc(ports, func(p heardPort) bool { return p.Name == n }) {
			ports = append(ports, heardPort{PortInfo: sensor.PortInfo{Name: n}, listened: true})
		}
	}
	var all sync.WaitGroup
	for i := range ports {
		if p := &ports[i]; p.listened {
			all.Go(func() { p.listen(ctx, f) })
		}
	}
	all.Wait()
	for i := range ports {
		p := &ports[i]
		if p.err != nil {
			return p.err
		}
		if p.heard.Err != nil && len(names) > 0 {
			a.status = exitTrouble
		}
		if f.asJSON {
			p.json(a.out)
		} else {
			p.text(forPeople(a.out))
		}
	}
	if !f.asJSON && !slices.ContainsFunc(ports, func(p heardPort) bool { return p.listened }) {
		fmt.Fprint(a.out, noPorts)
	}
	return nil
}

const noPorts = `no board is plugged in
  plug the board in, by a cable that carries data and not only power, and run
  ebbline ports again; on Linux, dmesg says what became of the plug
  without a board: ebbline rig serves a simulated one, ebbline hold runs on it,
  and ebbline hold --by-hand takes readings from a dial
`

// listen reads the port as hold would.
func (p *heardPort) listen(ctx context.Context, f *portsFlags) {
	p.unit = decay.PressureUnits[0]
	if p.profile, p.err = loadProfile(f.profile, p.Name); p.err != nil {
		return
	}
	opt := sensor.PortOptions{Name: p.Name, Baud: f.baud}
	if c := p.profile; c != nil {
		set := c.Setup(decay.Setup{})
		opt.Reads, opt.Ambient, opt.FullScale = set.Reads, set.NominalAmbient(), set.FullScale
		c.port(&opt)
		opt.Name = p.Name
		p.unit = c.shown(&setupFlags{})
	}
	p.reads, p.ambient = opt.Reads, opt.Ambient
	if p.ambient == 0 {
		p.ambient = decay.DefaultAmbient
	}
	p.heard = sensor.Listen(ctx, opt, f.length)
}

// pressure is the latest reading in the sensor's own reference.
func (p *heardPort) pressure() string {
	if p.reads == decay.ReadsAbsolute || p.heard.Fields.Reference == "absolute" {
		return p.heard.Last.Format(p.unit)
	}
	return p.heard.Last.Gauge(p.ambient).Format(p.unit)
}

func (p *heardPort) text(w io.Writer) {
	fmt.Fprint(w, printable(p.Name))
	if p.Detail != "" {
		fmt.Fprint(w, "  ", printable(p.Detail))
	}
	fmt.Fprintln(w)
	row := func(name, format string, args ...any) {
		fmt.Fprintf(w, "  %-10s %s\n", name, printable(fmt.Sprintf(format, args...)))
	}
	h := &p.heard
	var oe *sensor.OpenError
	switch {
	case !p.listened:
		row("", "built into the machine; name it to listen to it")
		return
	case errors.As(h.Err, &oe):
		row("not open", "%s", oe.Msg)
		row("do", "%s", oe.Hint)
		return
	case h.Err != nil:
		row("not open", "%v", h.Err)
		return
	case h.Bytes == 0:
		row("sends", "nothing")
		row("do", "check the cable, the board's power, and that its program prints; a Modbus transmitter speaks only when asked: ebbline hold --modbus")
	default:
		row("sends", "%s", shownRaw(h.Raw))
	}
	switch {
	case h.Readings > 0:
		row("that is", "%s", p.pressure())
		row("because", "%s", h.About.Detail)
		if h.About.Rate > 0 {
			row("rate", "%.3g readings a second; times from %s", h.About.Rate, h.About.Clock)
		} else {
			row("rate", "%d readings heard", h.Readings)
		}
		if h.Noise > 0 {
			row("noise", "%s", gauged(h.Noise, p.unit))
		}
		if h.Resolution > 0 {
			row("step", "%s, the smallest between readings", gauged(h.Resolution, p.unit))
		}
	case h.HasLine:
		row("because", "%s", h.About.Detail)
	case h.Bytes > 0:
		row("that is", "no reading: no line of it was understood")
		row("do", "check --baud and what the board's program prints")
	}
	if p.profile != nil {
		row("read with", "%s", p.profile.note())
	} else {
		row("read with", "no profile; `ebbline calibrate --port %s` makes one", p.Name)
	}
	for _, f := range h.Faults {
		row("fault", "%s: %s; %s", f.Name(), f.Short(p.Name), f.Hint)
	}
}

// shownRaw is a line as a person can read it; what is no text is escaped.
func shownRaw(s string) string {
	q := strconv.Quote(s)
	if len(q) > 90 {
		return q[:86] + "…"
	}
	return q
}

// gauged prints a small difference in a unit and in pascals.
func gauged(pa float64, u decay.PressureUnit) string {
	return fmt.Sprintf("%.3g %s (%.3g Pa)", pa/u.Pascal, u.Name, pa)
}

func (p *heardPort) json(w io.Writer) {
	type fault struct {
		Code string `json:"fault"`
		Name string `json:"name"`
		Text string `json:"text"`
		Hint string `json:"hint"`
	}
	h := &p.heard
	out := struct {
		Port       string   `json:"port"`
		Device     string   `json:"device,omitempty"`
		Listened   bool     `json:"listened"`
		Error      string   `json:"error,omitempty"`
		Hint       string   `json:"hint,omitempty"`
		Bytes      int      `json:"bytes"`
		Raw        string   `json:"raw"`
		KPa        *float64 `json:"kpa"` // in the reference named beside it
		Reference  string   `json:"reference,omitempty"`
		Detected   string   `json:"detected,omitempty"`
		Readings   int      `json:"readings"`
		Rate       *float64 `json:"rate_hz"`
		NoisePa    *float64 `json:"noise_pa"`
		StepPa     *float64 `json:"step_pa"`
		ProfileIs  string   `json:"profile,omitempty"`
		ProfileWhy string   `json:"profile_why,omitempty"`
		Faults     []fault  `json:"faults"`
	}{Port: p.Name, Device: p.Detail, Listened: p.listened, Bytes: h.Bytes, Raw: h.Raw, Detected: h.About.Detail, Readings: h.Readings, Faults: []fault{}}
	var oe *sensor.OpenError
	if errors.As(h.Err, &oe) {
		out.Error, out.Hint = oe.Msg, oe.Hint
	} else if h.Err != nil {
		out.Error = h.Err.Error()
	}
	positive := func(v float64) *float64 {
		if v > 0 {
			return finite(v)
		}
		return nil
	}
	out.Rate, out.NoisePa, out.StepPa = positive(h.About.Rate), positive(h.Noise), positive(h.Resolution)
	if h.Readings > 0 {
		out.Reference = "gauge"
		v := float64(h.Last.Gauge(p.ambient))
		if p.reads == decay.ReadsAbsolute || h.Fields.Reference == "absolute" {
			out.Reference, v = "absolute", float64(h.Last)
		}
		out.KPa = finite(v / decay.Kilopascal)
	}
	if p.profile != nil {
		out.ProfileIs, out.ProfileWhy = p.profile.Name, p.profile.why
	}
	for _, f := range h.Faults {
		out.Faults = append(out.Faults, fault{f.Code, f.Name(), f.Text, f.Hint})
	}
	if b, err := json.Marshal(out); err == nil {
		fmt.Fprintf(w, "%s\n", b)
	}
}
