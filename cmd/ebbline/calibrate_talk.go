package main

import (
	"context"
	"errors"
	"fmt"
	"io"
	"math"
	"strconv"
	"strings"
	"sync"
	"time"

	"ebbline/decay"
	"ebbline/sensor"
	"ebbline/sensor/calib"
	"ebbline/sensor/profile"
	"ebbline/sensor/wire"
)

// talk is the conversation of a calibration.
type talk struct {
	app     *app
	p       *profile.Profile
	c       *calib.Calibration
	known   bool // c has a line already
	average time.Duration
	ambient decay.Pressure
	unit    string // of values whose line names none
	assumed bool   // the lines name none

	lines chan answer
	raws  chan heard
	fault chan sensor.Fault

	mu     sync.Mutex
	latest heard
	count  int

	points []calib.Point // the first is the zero
	noise  float64       // of one reading, signal, of what was averaged while it stood still
	rest   calib.Mean    // at the zero
	person bool          // who answers can be asked again
	old    calib.Calibration
}

// heard is a value of the board.
type heard struct {
	at  time.Duration
	raw calib.Raw
}

// firstWait is how long a board may take until its first line.
const firstWait = 20 * time.Second

// seen takes a line of the board; it runs in the reading goroutine.
func (t *talk) seen(at time.Duration, _ string, f wire.Fields) {
	h := heard{at, calib.Raw{Value: f.Value, Unit: f.Unit, HasSupply: f.HasSupply, Supply: f.Supply}}
	t.mu.Lock()
	t.latest = h
	t.count++
	t.mu.Unlock()
	select {
	case t.raws <- h:
	default: // nobody averages now
	}
}

// now is the latest value.
func (t *talk) now() (heard, int) {
	t.mu.Lock()
	defer t.mu.Unlock()
	h := t.latest
	if h.raw.Unit == "" {
		h.raw.Unit = t.unit
	}
	return h, t.count
}

// errQuit ends the conversation with nothing written.
var errQuit = wrong("nothing was written; start again when you like", "the calibration was not finished")

func (t *talk) run(ctx context.Context, src sensor.Source, in io.Reader) error {
	ctx, stop := context.WithCancel(ctx)
	defer stop()
	t.listen(ctx, src, in)
	t.old = *t.c
	t.app.say("%s", strings.TrimSpace(caution))
	t.app.say("")
	if err := t.first(ctx); err != nil {
		return err
	}
	if err := t.zero(ctx); err != nil {
		return err
	}
	return t.more(ctx)
}

// answer is a line of the person.
type answer struct {
	text string
	cut  bool // it was too long
}

// listen starts the goroutines that read the person's lines and the faults.
func (t *talk) listen(ctx context.Context, src sensor.Source, in io.Reader) {
	t.lines = make(chan answer)
	go func() {
		defer close(t.lines)
		// What ends the lines with an error ends them: nobody is there to ask.
		_ = typedLines(in, func(text string, cut bool) bool {
			select {
			case t.lines <- answer{strings.TrimSpace(text), cut}:
				return true
			case <-ctx.Done():
				return false
			}
		})
	}()
	t.fault = make(chan sensor.Fault, 16)
	go func() {
		for {
			it, err := src.Next(ctx)
			if err != nil {
				return
			}
			if it.Fault != nil && it.Fault.Code != sensor.FaultUncalibrated && it.Fault.State != sensor.Ends {
				select {
				case t.fault <- *it.Fault:
				default:
				}
			}
		}
	}()
}

func (t *talk) tellFault(f sensor.Fault) {
	t.app.say("fault: %s: %s", f.Text, f.Hint)
}

// first waits for the board, and settles what it sends.
func (t *talk) first(ctx context.Context) error {
	began := time.Now()
	tick := time.NewTicker(50 * time.Millisecond)
	defer tick.Stop()
	for {
		if _, n := t.now(); n > 0 {
			break
		}
		select {
		case <-ctx.Done():
			return errQuit
		case f := <-t.fault:
			t.tellFault(f)
		case <-tick.C:
		}
		if time.Since(began) > firstWait {
			return wrong("check the cable, the baud rate (--baud) and what the board prints", "%s sent nothing that can be read in %.0f s", t.p.Port, firstWait.Seconds())
		}
	}
	h, _ := t.now()
	t.mu.Lock()
	t.assumed = t.latest.raw.Unit == ""
	t.mu.Unlock()
	for h.raw.Unit == "" {
		line, err := t.ask(ctx, fmt.Sprintf("The lines name no unit, such as %g. Is that V, mV or counts?", h.raw.Value))
		if err != nil {
			return err
		}
		if !calib.IsRaw(line) {
			t.app.say("please write V, mV or counts")
			continue
		}
		t.unit = line
		h.raw.Unit = line
	}
	if !calib.IsRaw(h.raw.Unit) {
		return wrong("to correct its zero, measure and hold take the readings before the fill; only volts and counts are calibrated",
			"%s sends a pressure in %s, which needs no calibration", t.p.Port, h.raw.Unit)
	}
	if b := t.c.Bits; h.raw.Unit == "counts" && b > 0 && h.raw.Value > math.Exp2(float64(b))-1 {
		return wrong("state the bits of this board's converter, for example --bits 12", "%s sends %g counts, more than the %d bits stated can make", t.p.Port, h.raw.Value, b)
	}
	settleKind(t.c, h.raw, t.p.FullScale)
	if _, err := t.c.Signal(h.raw); err != nil {
		return wrong("say --kind volts or --kind counts, or state --bits and --reference of the converter", "%w", err)
	}
	t.app.say("The board sends %s; the line will be of %s.", h.raw.Unit, map[calib.Kind]string{
		calib.Counts: "counts", calib.Volts: "volts", calib.Ratiometric: fmt.Sprintf("volts brought to a supply of %g V", t.c.Supply)}[t.c.Kind])
	if t.known {
		t.app.say("So far the profile has: %s.", t.old.Sense(t.in()))
	}
	return nil
}

// zero is step 1.
func (t *talk) zero(ctx context.Context) error {
	pa := 0.0
	if t.p.Reads == decay.ReadsAbsolute {
		for t.ambient == 0 {
			line, err := t.ask(ctx, "The transducer is absolute. What is the pressure around, from a barometer that is not corrected to sea level, as 98.2kPa?")
			if err != nil {
				return err
			}
			set, err := (&setupFlags{ambient: line}).over(decay.Setup{})
			if err != nil || line == "" {
				t.complain(err, "write for example 98.2kPa")
				continue
			}
			t.ambient = set.Ambient
		}
		pa = float64(t.ambient)
	}
	if _, err := t.ask(ctx, "Step 1, zero. Open the duct to the air, so that nothing is under pressure, and press Enter."); err != nil {
		return err
	}
	m, still, err := t.stands(ctx)
	if err != nil {
		return err
	}
	t.rest = m
	if still {
		t.noise = m.Quiet()
	}
	t.points = []calib.Point{{Signal: m.Value(), Pressure: pa}}
	t.app.say("point 1: %s at %s, %s", t.pressure(pa), t.signal(m.Value()), t.about(m))
	if t.known {
		t.app.say("the profile so far reads this as %s", t.pressure(t.old.At(m.Value())))
	}
	return nil
}

const pointsHelp = `Step 2, points. Bring the duct to a pressure, slowly and below the ceiling, shut
the valve, let it settle, and type what the reference gauge reads, as 10psi. Or:
list, drop 2 (leaves point 2 out), done (writes the profile), quit.`

// more is step 2.
func (t *talk) more(ctx context.Context) error {
	t.app.say("")
	t.app.say("%s", pointsHelp)
	for {
		line, err := t.ask(ctx, "")
		if err != nil {
			return err
		}
		word, rest, _ := strings.Cut(strings.ToLower(line), " ")
		switch word {
		case "":
			h, _ := t.now()
			if x, err := t.c.Signal(h.raw); err == nil {
				t.app.say("now %s; type the reference gauge's reading, or done", t.signal(x))
			}
		case "list":
			t.table()
		case "help", "?":
			t.app.say("%s", pointsHelp)
		case "quit", "q", "exit":
			return errQuit
		case "drop":
			t.drop(rest)
		case "done":
			err := t.finish()
			if err == nil {
				return nil
			}
			t.complain(err, "")
		default:
			if err := t.add(ctx, line); err != nil {
				if errors.Is(err, errQuit) {
					return err
				}
				t.complain(err, "type a pressure with its unit, as 10psi or 70 kPa; or list, drop 2, done, quit")
			}
		}
	}
}

// complain prints what is wrong and goes on.
func (t *talk) complain(err error, hint string) {
	var h *hinted
	if errors.As(err, &h) {
		hint = h.hint
	}
	if err != nil {
		t.app.say("not taken: %v", err)
	}
	if hint != "" {
		t.app.say("  %s", hint)
	}
}

// gap is how far two points have to be apart, Pa: 5 % of full scale, or 5 kPa
// where that is not known (common practice, no source).
func (t *talk) gap() float64 {
	if t.p.FullScale > 0 {
		return 0.05 * t.p.FullScale
	}
	return 5 * decay.Kilopascal
}

// add takes a point at the pressure that the reference gauge reads.
func (t *talk) add(ctx context.Context, text string) error {
	pa, in, err := pressureAs(text, t.p.Reads, t.ambient)
	if err != nil {
		return err
	}
	if in.Pascal > 0 && t.p.In.Pascal == 0 {
		t.p.In = in
	}
	if full := t.p.FullScale; full > 0 && pa > full*1.01 {
		return wrong("the reference gauge may be in another unit", "%s is above the transducer's full scale of %s", text, t.pressure(full))
	}
	for i, q := range t.points {
		if d := math.Abs(q.Pressure - pa); d < t.gap() {
			return wrong(fmt.Sprintf("move at least %s %s away from it, or drop %d first", decay.Gauge(t.gap()).Number(t.in()), t.in().Name, i+1),
				"too close to point %d: %s %s apart tells no slope", i+1, decay.Gauge(d).Number(t.in()), t.in().Name)
		}
	}
	m, still, err := t.stands(ctx)
	if err != nil {
		return err
	}
	q := calib.Point{Signal: m.Value(), Pressure: pa}
	near, apart := 0, math.Inf(1)
	for i, o := range t.points {
		if d := math.Abs(o.Signal - q.Signal); d < apart {
			near, apart = i, d
		}
	}
	if apart <= 6*math.Max(m.Noise(), t.noise)/math.Sqrt(float64(max(1, m.Count()))) || apart == 0 {
		return wrong("check that the transducer is on the duct, and its wires; then type the reading again",
			"the signal did not follow: %s here, %s at point %d", t.signal(q.Signal), t.signal(t.points[near].Signal), near+1)
	}
	if rest := t.rest.Quiet(); rest > 0 && m.Quiet() > 3*rest {
		// The noise of the profile stays that at rest: more hides faults later.
		t.app.say("warning: it is %.0f times as noisy as at zero: look for what shakes the air or disturbs the wires; drop the point and take it again when it stands", m.Quiet()/rest)
	} else if still {
		t.noise = math.Max(t.noise, m.Quiet())
	}
	t.points = append(t.points, q)
	t.app.say("point %d: %s at %s, %s", len(t.points), t.pressure(pa), t.signal(q.Signal), t.about(m))
	if t.known {
		v := t.old.At(q.Signal)
		t.app.say("the profile so far reads this as %s: off by %s", t.pressure(v), t.difference(v-pa))
	}
	t.table()
	return nil
}

// drop leaves a point out.
func (t *talk) drop(text string) {
	n, err := strconv.Atoi(strings.TrimSpace(text))
	switch {
	case err != nil || n < 1 || n > len(t.points):
		t.app.say("not taken: write drop and the number of a point, 1 to %d", len(t.points))
	case n == 1:
		t.app.say("not taken: point 1 is the zero; quit and start again to take it anew")
	default:
		t.points = append(t.points[:n-1], t.points[n:]...)
		t.app.say("point %d is left out", n)
		t.table()
	}
}

// tolerance is by how much a point may be off the line, Pa: the transducer's
// span tolerance, else 1 % (common practice, no source), of the full scale, or
// of the points' span.
func (t *talk) tolerance() (pa, scale float64, of string) {
	scale, of = t.p.FullScale, "full scale"
	if scale == 0 {
		lo, hi := math.Inf(1), math.Inf(-1)
		for _, q := range t.points {
			lo, hi = min(lo, q.Pressure), max(hi, q.Pressure)
		}
		scale, of = hi-lo, "the points' span"
	}
	share := t.p.SpanTolerance
	if share == 0 {
		share = 0.01
	}
	return share * scale, scale, of
}

// table shows the points and by how much each is off the line.
func (t *talk) table() {
	l, err := calib.Fit(t.points)
	if err != nil {
		t.app.say("so far there is the zero only")
		return
	}
	in := t.in()
	t.app.say("%6s %14s %14s %14s", "point", "reference", "line", "off by")
	for i, q := range t.points {
		t.app.say("%6d %10s %s %10s %s %10s %s", i+1, decay.Gauge(q.Pressure).Number(in), in.Name,
			decay.Gauge(l.At(q.Signal)).Number(in), in.Name, signed(l.Residuals[i], in), in.Name)
	}
	if len(t.points) == 2 {
		t.app.say("two points always meet their line: a third one tells how good it is")
	}
	tol, scale, of := t.tolerance()
	for i, r := range l.Residuals {
		if math.Abs(r) > tol {
			t.app.say("warning: point %d is off the line by %s, %.1f %% of %s", i+1, t.difference(r), 100*math.Abs(r)/scale, of)
		}
	}
	if w := l.Worst(); math.Abs(l.Residuals[w]) > tol {
		if len(t.points) == 3 {
			t.app.say("  of three points it cannot be told which one is wrong: take one more, or drop one and take it anew")
		} else {
			t.app.say("  read the gauge again there: drop %d, then type it anew", w+1)
		}
	}
	if l.Slope < 0 {
		t.app.say("warning: the signal falls as the pressure rises, which few transducers do: check the wires and the readings typed")
	}
}

// finish makes the calibration of the points.
func (t *talk) finish() error {
	c, top := t.c, t.p.FullScale
	if len(t.points) < 2 {
		switch {
		case t.known:
		case usual(c, top):
			t.app.say("no points: the usual line was taken, %s", c.Sense(t.in()))
		default:
			return wrong("bring the duct to a pressure and type the gauge's reading; or start again with --full-scale (and --bits for counts) for the usual transducer",
				"a line needs two points, and there is the zero only")
		}
		off := c.SetZero(t.points[0].Signal, t.points[0].Pressure)
		t.app.say("the zero is off by %s, which is taken off from now on", t.difference(off))
		if full := c.Top - c.Bottom; full > 0 && math.Abs(off) > 0.05*full {
			t.app.say("warning: that is %.0f %% of full scale: is the duct open to the air, is it this transducer, and are --bits and --supply right?", 100*math.Abs(off)/full)
		}
	} else {
		l, err := calib.Fit(t.points)
		if err != nil {
			return wrong("check the transducer's wires, and drop the points", "%w", err)
		}
		lo, hi := t.points[0].Pressure, t.points[0].Pressure
		for _, q := range t.points {
			lo, hi = min(lo, q.Pressure), max(hi, q.Pressure)
		}
		if c.Top = top; c.Bottom >= top {
			c.Bottom = 0
		}
		if top > 0 {
			lo, hi = min(lo, c.Bottom), top
		}
		if err := c.SetLine(l, lo, hi); err != nil {
			return err
		}
		t.p.Points = append([]calib.Point(nil), t.points...)
	}
	// Three digits of a noise are all there is.
	t.p.Noise = math.Abs((c.High.Pressure-c.Low.Pressure)/(c.High.Signal-c.Low.Signal)) * t.noise
	t.p.Noise, _ = strconv.ParseFloat(strconv.FormatFloat(t.p.Noise/t.in().Pascal, 'g', 3, 64), 64)
	t.p.Noise *= t.in().Pascal
	t.app.say("calibration: %s", c.Sense(t.in()))
	return nil
}

// stands averages the signal while it stands still. One that moves is averaged
// again when a person says so, or kept; a script's is refused. What moved is no
// measure of the noise.
func (t *talk) stands(ctx context.Context) (m calib.Mean, still bool, err error) {
	for {
		m, moved, err := t.mean(ctx)
		if err != nil || moved == 0 {
			return m, true, err
		}
		words := fmt.Sprintf("the signal moved by %s while it was averaged", t.signal(moved))
		if !t.person {
			return m, false, wrong("let the pressure settle, and look for a leak; then begin this step again", "%s", words)
		}
		switch line, err := t.ask(ctx, "warning: "+words+".\nLet it settle and press Enter to average again; keep takes it as it is, leave does not."); {
		case err != nil:
			return m, false, err
		case strings.EqualFold(line, "keep"):
			return m, false, nil
		case strings.EqualFold(line, "quit"), strings.EqualFold(line, "q"):
			return m, false, errQuit
		case line != "":
			return m, false, wrong("take it again when the pressure stands", "%s", words)
		}
	}
}

// mean averages the signal for a while, and tells by how much it moved
// meanwhile, 0 when it stood still.
func (t *talk) mean(ctx context.Context) (m calib.Mean, moved float64, err error) {
	for len(t.raws) > 0 { // of before
		<-t.raws
	}
	t.app.say("averaging for %v: keep everything still", t.average)
	patience := time.NewTimer(firstWait)
	defer patience.Stop()
	var halves [2]calib.Mean
	var began time.Duration
	rails := 0
	for {
		select {
		case <-ctx.Done():
			return m, 0, errQuit
		case f := <-t.fault:
			t.tellFault(f)
		case <-patience.C:
			return m, 0, fmt.Errorf("no reading came for %.0f s", firstWait.Seconds())
		case h := <-t.raws:
			patience.Reset(firstWait)
			if h.raw.Unit == "" {
				h.raw.Unit = t.unit
			}
			x, err := t.c.Signal(h.raw)
			if err != nil {
				return m, 0, err
			}
			if m.Count() == 0 {
				began = h.at
			}
			m.Add(x)
			since := h.at - began
			halves[min(1, int(2*since/t.average))].Add(x)
			if b := t.c.Bits; h.raw.Unit == "counts" && b > 0 && (h.raw.Value <= 0 || h.raw.Value >= math.Exp2(float64(b))-1) {
				rails++
			}
			if since >= t.average && m.Count() >= 3 {
				if rails > 0 {
					t.app.say("warning: %d of %d readings stand at an end of the converter: a wire is off, or the signal is too high for the board", rails, m.Count())
				}
				return m, t.moved(m, halves), nil
			}
		}
	}
}

// moved is by how much the signal moved, 0 when it stood still as far as can be
// told and matters: 0.2 % of its value from one half to the other, or to and fro
// (our own choice).
func (t *talk) moved(m calib.Mean, halves [2]calib.Mean) float64 {
	drift := halves[1].Value() - halves[0].Value()
	spread := math.Hypot(halves[0].Noise()/math.Sqrt(float64(max(1, halves[0].Count()))), halves[1].Noise()/math.Sqrt(float64(max(1, halves[1].Count()))))
	if halves[0].Count() > 1 && halves[1].Count() > 1 && math.Abs(drift) > 5*spread && math.Abs(drift) > 0.002*math.Abs(m.Value()) {
		return drift
	}
	// A board that smooths its values has little noise from one to the next, and
	// the share of it was seen at the zero.
	share := 1.0
	if t.rest.Steady() > 0 {
		share = math.Max(1, t.rest.Noise()/t.rest.Steady())
	}
	if t.rest.Count() > 0 && m.Swing() > 0.001*math.Abs(m.Value()) && m.Noise() > (1+5/math.Sqrt(float64(m.Count())))*share*m.Steady() {
		low, high := m.Ends()
		return high - low
	}
	return 0
}

// ask prints a question and waits for a line. On a terminal the present value
// is shown above the line that is typed.
func (t *talk) ask(ctx context.Context, question string) (string, error) {
	if question != "" {
		t.app.say("%s", question)
	}
	live := isTerminal(t.app.out)
	if live {
		fmt.Fprintf(t.app.out, "%s\n> ", printable(t.status()))
	}
	tick := time.NewTicker(300 * time.Millisecond)
	defer tick.Stop()
	for {
		select {
		case <-ctx.Done():
			if live {
				t.app.say("")
			}
			return "", errQuit
		case f := <-t.fault:
			if live {
				t.app.say("")
			}
			t.tellFault(f)
			if live {
				fmt.Fprintf(t.app.out, "%s\n> ", printable(t.status()))
			}
		case line, ok := <-t.lines:
			if !ok {
				return "", errQuit
			}
			if line.cut {
				t.complain(fmt.Errorf("a line of more than %d characters", longestLine), "type it again, shorter")
				if live {
					fmt.Fprintf(t.app.out, "%s\n> ", printable(t.status()))
				}
				continue
			}
			return line.text, nil
		case <-tick.C:
			if live { // save the cursor, rewrite the line above, go back
				fmt.Fprintf(t.app.out, "\x1b7\x1b[1A\r%s\x1b[K\x1b8", printable(t.status()))
			}
		}
	}
}

// status is the present value in a few words.
func (t *talk) status() string {
	h, n := t.now()
	if n == 0 {
		return "now: nothing yet"
	}
	if h.raw.Unit == "" || t.c.Kind == 0 {
		return fmt.Sprintf("now: %g", h.raw.Value)
	}
	x, err := t.c.Signal(h.raw)
	if err != nil {
		return "now: " + err.Error()
	}
	s := "now: " + t.signal(x)
	if l, err := calib.Fit(t.points); err == nil {
		s += ", " + t.pressure(l.At(x))
	}
	return s
}

// about says how a mean was had.
func (t *talk) about(m calib.Mean) string {
	return fmt.Sprintf("noise %s, %d readings", t.signal(m.Quiet()), m.Count())
}

// signal writes a signal with its unit, in digits that a small board resolves.
func (t *talk) signal(x float64) string {
	if t.c.Kind == calib.Counts {
		return strconv.FormatFloat(x, 'f', 2, 64) + " counts"
	}
	return strconv.FormatFloat(x, 'f', 4, 64) + " V"
}

// in is the unit pressures are shown in: the one the person types.
func (t *talk) in() decay.PressureUnit {
	if t.p.In.Pascal > 0 {
		return t.p.In
	}
	return decay.PressureUnit{Name: "kPa", Pascal: decay.Kilopascal}
}

// pressure writes a pressure of the transducer, with its reference.
func (t *talk) pressure(pa float64) string {
	if t.p.Reads == decay.ReadsAbsolute {
		return decay.Pressure(pa).Format(t.in())
	}
	return decay.Gauge(pa).Format(t.in())
}

// difference writes a difference of two pressures, which is neither gauge nor
// absolute.
func (t *talk) difference(pa float64) string {
	return signed(pa, t.in()) + " " + t.in().Name
}

// signed is a difference with its sign.
func signed(pa float64, in decay.PressureUnit) string {
	s := decay.Gauge(pa).Number(in)
	if pa > 0 && strings.Trim(s, "0.") != "" {
		s = "+" + s
	}
	return s
}
