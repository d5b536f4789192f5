//go:build linux

package main

import (
	"fmt"
	"io"
	"math"
	"math/rand/v2"
	"os"
	"path/filepath"
	"regexp"
	"strings"
	"sync"
	"testing"
	"time"

	"github.com/creack/pty"

	"ebbline/decay"
	"ebbline/sensor/calib"
	"ebbline/sensor/profile"
)

// signalBoard is a board whose signal a test sets, on a pseudo-terminal.
type signalBoard struct {
	name  string
	mu    sync.Mutex
	level string        // what it prints after the time
	wrote chan struct{} // a line was written
}

func newSignalBoard(t *testing.T, level string) *signalBoard {
	t.Helper()
	master, slave, err := pty.Open()
	if err != nil {
		t.Fatal("no pseudo-terminals here:", err)
	}
	b := &signalBoard{name: slave.Name(), level: level, wrote: make(chan struct{})}
	stop, done := make(chan struct{}), make(chan struct{})
	go func() {
		defer close(done)
		tick := time.NewTicker(time.Millisecond)
		defer tick.Stop()
		for i := 0; ; i++ {
			select {
			case <-stop:
				return
			case <-tick.C:
			}
			b.mu.Lock()
			text := b.level
			b.mu.Unlock()
			if _, err := fmt.Fprintf(master, "%d,%s\r\n", i, text); err != nil {
				return
			}
			select {
			case b.wrote <- struct{}{}:
			default:
			}
		}
	}()
	t.Cleanup(func() { close(stop); master.Close(); <-done; slave.Close() })
	return b
}

// set changes the signal, and waits until the old one is out of every buffer.
func (b *signalBoard) set(level string) {
	b.mu.Lock()
	b.level = level
	b.mu.Unlock()
	for range 150 {
		<-b.wrote
	}
}

// screen collects what is said and lets a test wait for it.
type screen struct {
	mu   sync.Mutex
	text strings.Builder
	came chan struct{}
}

func (s *screen) Write(b []byte) (int, error) {
	s.mu.Lock()
	s.text.Write(b)
	s.mu.Unlock()
	select {
	case s.came <- struct{}{}:
	default:
	}
	return len(b), nil
}

func (s *screen) String() string {
	s.mu.Lock()
	defer s.mu.Unlock()
	return s.text.String()
}

// person is a calibration under way, and the one who sits before it.
type person struct {
	t      *testing.T
	out    *screen
	in     *io.PipeWriter
	read   int // of out
	ended  chan int
	errOut strings.Builder
	board  *signalBoard
	path   string // of the profiles
}

// sits starts ebbline calibrate on the board.
func sits(t *testing.T, b *signalBoard, args ...string) *person {
	p := &person{t: t, out: &screen{came: make(chan struct{}, 1)}, ended: make(chan int, 1), board: b, path: filepath.Join(t.TempDir(), "profiles.toml")}
	if old := os.Getenv("EBBLINE_PROFILES"); strings.HasSuffix(old, "profiles.toml") {
		p.path = old
	}
	t.Setenv("EBBLINE_PROFILES", p.path)
	in, w := io.Pipe()
	p.in = w
	go func() {
		p.ended <- run(append([]string{"calibrate", "--port", b.name, "--average", "200ms"}, args...), in, p.out, &p.errOut)
	}()
	return p
}

// hears waits until the program has said something that matches.
func (p *person) hears(pattern string) {
	p.t.Helper()
	re := regexp.MustCompile(pattern)
	late := time.NewTimer(30 * time.Second)
	defer late.Stop()
	for {
		if at := re.FindStringIndex(p.out.String()[p.read:]); at != nil {
			p.read += at[1]
			return
		}
		select {
		case <-p.out.came:
		case status := <-p.ended:
			if re.MatchString(p.out.String()[p.read:]) {
				p.ended <- status
				p.read = len(p.out.String())
				return
			}
			p.t.Fatalf("ended with %d before it said %q:\n%s%s", status, pattern, p.out, p.errOut.String())
		case <-late.C:
			p.t.Fatalf("never said %q:\n%s", pattern, p.out)
		}
	}
}

func (p *person) types(line string) {
	p.t.Helper()
	if _, err := io.WriteString(p.in, line+"\n"); err != nil {
		p.t.Fatal(err)
	}
}

func (p *person) ends(want int) {
	p.t.Helper()
	select {
	case status := <-p.ended:
		if status != want {
			p.t.Errorf("status %d, want %d:\n%s%s", status, want, p.out, p.errOut.String())
		}
	case <-time.After(30 * time.Second):
		p.t.Fatalf("does not end:\n%s", p.out)
	}
}

func (p *person) profile(name string) *profile.Profile {
	p.t.Helper()
	set, err := profile.Load(p.path)
	if err != nil {
		p.t.Fatal(err)
	}
	got := set.Get(name)
	if got == nil {
		p.t.Fatalf("no profile %q in %s", name, set.Bytes())
	}
	return got
}

// A line that is too long to be meant is refused, and ends nothing.
func TestCalibrateRefusesALongLine(t *testing.T) {
	b := newSignalBoard(t, "420")
	p := sits(t, b, "--profile", "b", "--full-scale", "30psi", "--bits", "12", "--unit", "counts")
	p.hears("press Enter")
	for range 2 {
		p.types(strings.Repeat("10psi ", 1<<15))
		p.hears("not taken: a line of more than 4096 characters")
	}
	p.types("")
	p.hears("point 1")
	p.types("done")
	p.ends(0)
}

// A wrong profile becomes a right one.
func TestCalibrateMendsAProfile(t *testing.T) {
	path := filepath.Join(t.TempDir(), "profiles.toml")
	t.Setenv("EBBLINE_PROFILES", path)
	bad := `# keep
[profile.bench]
full_scale = "100psi"
ceiling = "25psi"
[profile.bench.calibration] # of some other transducer
kind = "counts"
low = { signal = "0 counts", pressure = "0psi" }
high = { signal = "1000 counts", pressure = "30psi" }
[profile.other]
baud = 9600
`
	if err := os.WriteFile(path, []byte(bad), 0o600); err != nil {
		t.Fatal(err)
	}
	b := newSignalBoard(t, "102")
	p := sits(t, b, "--profile", "bench", "--default")
	p.hears("V, mV or counts")
	p.types("counts")
	p.hears("So far the profile has: counts, 0 counts at 0.00 psi to 1000 counts at 30.00 psi")
	p.hears("press Enter")
	p.types("")
	p.hears(`point 1: 0.00 psi gauge at 102.00 counts, noise 0.00 counts, \d+ readings`)
	p.hears("so far reads this as 3.06 psi gauge")
	p.hears("Step 2")
	b.set("306") // 4 psi and 20.4 counts for 1 psi: 306 is 10 psi
	p.types("10")
	p.hears("has no unit")
	p.types("2 psi")
	p.hears("too close to point 1: 2.00 psi apart.*\n.*at least 5.00 psi")
	p.types("150psi")
	p.hears("above the transducer's full scale")
	p.types("10 psi")
	p.hears("point 2: 10.00 psi gauge at 306.00 counts")
	p.hears(`off by -0.82 psi`)
	p.hears("two points always meet their line")
	b.set("612") // 25 psi, and the person misreads it
	p.types("29psi")
	p.hears("point 3: 29.00 psi gauge at 612.00 counts")
	p.hears("warning: point 2 is off the line by .1.05 psi, 1.1 % of full scale")
	p.hears("of three points it cannot be told which one is wrong")
	p.types("drop 3")
	p.hears("point 3 is left out")
	p.types("25psi")
	p.hears("point 3: 25.00 psi gauge")
	p.hears(`3\s+25.00 psi\s+25.00 psi\s+0.00 psi`)
	p.types("done")
	p.hears("wrote profile \"bench\", which is used when none is named, to .*profiles.toml")
	p.ends(0)

	got := p.profile("bench")
	for psi, counts := range map[float64]float64{0: 102, 10: 306, 25: 612} {
		r, err := got.Calibration.Read(calib.Raw{Value: counts, Unit: "counts"})
		if err != nil || r.Range != calib.Within {
			t.Errorf("%v counts: %+v, %v", counts, r, err)
		}
		if d := r.Value/decay.PSI - psi; d < -0.001 || d > 0.001 {
			t.Errorf("%v counts read %v psi, want %v", counts, r.Value/decay.PSI, psi)
		}
	}
	if got.Port != b.name || got.Unit != "counts" || got.Ceiling == 0 || len(got.Points) != 3 || got.Calibrated.IsZero() {
		t.Errorf("got %+v", got)
	}
	if p.profile("other").Baud != 9600 {
		t.Error("the other profile was changed")
	}
	if text, _ := os.ReadFile(path); !strings.HasPrefix(string(text), "# keep\ndefault = \"bench\"\n") {
		t.Errorf("got\n%s", text)
	}

	// The profile is found by the port, and its calibration goes into the capture.
	status, out, errOut := ebbline(t, "", "hold", "--port", b.name, "--json", "--for", "4s", "--book", t.TempDir())
	if status != exitUndecided || !strings.Contains(out, `"kpa_gauge":172.3`) || !strings.Contains(errOut, `profile "bench" (the default)`) {
		t.Errorf("status %d\n%s%s", status, out, errOut)
	}
}

func TestCalibrateZeroOnly(t *testing.T) {
	b := newSignalBoard(t, "420")
	p := sits(t, b, "--profile", "b", "--full-scale", "30psi", "--bits", "12", "--unit", "counts")
	p.hears("volts brought to a supply of 5 V")
	p.types("")
	p.hears("point 1: 0.00 psi gauge at 0.5127 V") // 420·5/4096
	p.types("done")
	p.hears("the usual line was taken, ratiometric, 0.5 V at 0.00 psi to 4.5 V at 30.00 psi gauge")
	p.hears(`the zero is off by \+0.10 psi`) // 0.0127/4·30
	p.ends(0)
	c := p.profile("b").Calibration
	if r, err := c.Read(calib.Raw{Value: 420, Unit: "counts"}); err != nil || r.Value > 1 || r.Value < -1 {
		t.Errorf("at ambient: %+v, %v", r, err)
	}
	if r, err := c.Read(calib.Raw{Value: 0, Unit: "counts"}); err != nil || r.Range != calib.OpenCircuit {
		t.Errorf("a wire off: %+v, %v", r, err)
	}

	// Again, with the zero elsewhere: the line stays, the zero moves.
	b.set("430")
	p = sits(t, b, "--profile", "b")
	p.hears("press Enter")
	p.types("")
	p.hears("Step 2")
	p.types("done")
	p.ends(0)
	if again := p.profile("b").Calibration; again.Low != c.Low || again.High != c.High || again.Zero <= c.Zero {
		t.Errorf("got %s, was %s", again, c)
	}
}

func TestCalibrateAbsoluteVolts(t *testing.T) {
	b := newSignalBoard(t, "1.000 V")
	p := sits(t, b, "--reads", "absolute")
	p.hears("What is the pressure around")
	p.types("9.5kPa")
	p.hears("not taken")
	p.types("95kPa")
	p.hears("press Enter")
	p.types("")
	p.hears("point 1: 95.0 kPa absolute at 1.0000 V")
	b.set("3.000 V")
	p.types("200kPa") // a gauge's reading, above the 95 kPa
	p.hears("point 2: 295.0 kPa absolute")
	p.types("done")
	p.ends(0)
	r, err := p.profile("sensor").Calibration.Read(calib.Raw{Value: 2, Unit: "V"})
	if err != nil || r.Reads != decay.ReadsAbsolute || r.Value < 194.99e3 || r.Value > 195.01e3 {
		t.Errorf("got %+v, %v", r, err)
	}
}

// moves has the signal follow a path, line by line, until stop is called. It
// returns when the old signal is out of every buffer.
func (b *signalBoard) moves(path func(i int) float64) (stop func()) {
	quit, done, ready := make(chan struct{}), make(chan struct{}), make(chan struct{})
	go func() {
		defer close(done)
		for i := 0; ; i++ {
			if i == 150 {
				close(ready)
			}
			b.mu.Lock()
			b.level = fmt.Sprintf("%.4f V", path(i))
			b.mu.Unlock()
			select {
			case <-quit:
				return
			case <-b.wrote:
			}
		}
	}()
	<-ready
	return func() { close(quit); <-done }
}

// hiss is noise of 2 mV.
func hiss() float64 { return 0.002 * rand.NormFloat64() }

// A script's point is refused while the pressure moves, and its movement is no
// noise of the transducer.
func TestCalibrateRefusesAMovingPointOfAScript(t *testing.T) {
	b := newSignalBoard(t, "0.5 V")
	p := sits(t, b, "--profile", "b", "--full-scale", "30psi", "--kind", "volts", "--average", "500ms")
	still := b.moves(func(int) float64 { return 0.5 + hiss() })
	p.hears("press Enter")
	p.types("")
	p.hears("Step 2")
	still()
	for _, path := range []func(i int) float64{
		func(i int) float64 { return 3 - 0.0002*float64(i) + hiss() },           // falls by some 0.1 V in half a second
		func(i int) float64 { return 3 + 0.05*math.Sin(float64(i)/6) + hiss() }, // to and fro
	} {
		stop := b.moves(path)
		p.types("19psi")
		p.hears(`not taken: the signal moved by .?[0-9.]+ V while it was averaged\n.*let the pressure settle`)
		stop()
	}
	still = b.moves(func(int) float64 { return 3 + hiss() })
	p.types("18.75psi")
	p.hears("point 2: 18.75 psi")
	p.types("done")
	p.ends(0)
	still()
	got := p.profile("b")
	// 2 mV of 4 V are 0.015 psi of 30 psi.
	if psi := got.Noise / decay.PSI; len(got.Points) != 2 || psi < 0.010 || psi > 0.020 {
		t.Errorf("%d points, noise %.4f psi", len(got.Points), psi)
	}
}

// A person is asked again, and may keep a point that cannot stand still; the
// noise is then that of the zero.
func TestCalibrateAsksAPersonAgain(t *testing.T) {
	b := newSignalBoard(t, "0.5 V")
	keyboard, tty, err := pty.Open()
	if err != nil {
		t.Fatal(err)
	}
	defer keyboard.Close()
	defer tty.Close()
	p := &person{t: t, out: &screen{came: make(chan struct{}, 1)}, ended: make(chan int, 1), board: b, path: filepath.Join(t.TempDir(), "profiles.toml")}
	t.Setenv("EBBLINE_PROFILES", p.path)
	go func() {
		p.ended <- run([]string{"calibrate", "--port", b.name, "--average", "500ms", "--profile", "b", "--full-scale", "30psi", "--kind", "volts"}, tty, p.out, &p.errOut)
	}()
	types := func(line string) {
		if _, err := io.WriteString(keyboard, line+"\n"); err != nil {
			t.Fatal(err)
		}
	}
	falls := func(from float64) func() {
		return b.moves(func(i int) float64 { return from - 0.0002*float64(i) + hiss() })
	}
	stop := falls(0.6)
	p.hears("press Enter")
	types("")
	p.hears("warning: the signal moved by .* V while it was averaged.\n.*press Enter to average again; keep")
	stop()
	stop = b.moves(func(int) float64 { return 0.5 + hiss() })
	types("")
	p.hears("point 1: 0.00 psi")
	p.hears("Step 2")
	stop()
	stop = falls(3)
	types("19psi")
	p.hears("warning: the signal moved")
	types("leave")
	p.hears("not taken: the signal moved")
	types("19psi")
	p.hears("warning: the signal moved")
	types("keep")
	p.hears("point 2: 19.00 psi")
	stop()
	types("done")
	p.ends(0)
	if psi := p.profile("b").Noise / decay.PSI; psi < 0.010 || psi > 0.020 {
		t.Errorf("noise %.4f psi, want that of the zero, 0.015", psi)
	}
}

func TestCalibrateRefuses(t *testing.T) {
	// The signal does not follow.
	b := newSignalBoard(t, "2.500 V")
	p := sits(t, b)
	p.hears("press Enter")
	p.types("")
	p.hears("Step 2")
	p.types("done")
	p.hears("a line needs two points")
	p.types("10psi")
	p.hears("the signal did not follow")
	p.types("quit")
	p.ends(exitTrouble)
	if _, err := os.Stat(p.path); err == nil {
		t.Error("something was written")
	}
	// The end of the input is no "done".
	p = sits(t, b)
	p.hears("press Enter")
	p.in.Close()
	p.ends(exitTrouble)
	if _, err := os.Stat(p.path); err == nil {
		t.Error("something was written")
	}
	// More counts than the stated bits can make.
	p = sits(t, newSignalBoard(t, "3000 counts"), "--bits", "10")
	p.ends(exitTrouble)
	if s := p.errOut.String(); !strings.Contains(s, "3000 counts, more than the 10 bits stated can make") {
		t.Errorf("got %s", s)
	}
	// A board that sends pressures.
	psi := newSignalBoard(t, "12.5 psi")
	p = sits(t, psi)
	p.ends(exitTrouble)
	if s := p.errOut.String(); !strings.Contains(s, "sends a pressure in psi, which needs no calibration") {
		t.Errorf("got %s", s)
	}
}

// A hold on volts with no calibration ends with a fault that says what to do,
// and its capture can be judged later with a profile.
func TestHoldOfVoltsAsksForACalibration(t *testing.T) {
	t.Setenv("EBBLINE_PROFILES", filepath.Join(t.TempDir(), "profiles.toml"))
	b := newSignalBoard(t, "2.5 V")
	book := t.TempDir()
	_, out, _ := ebbline(t, "", "hold", "--port", b.name, "--plain", "--for", "1s", "--book", book)
	if !strings.Contains(out, "no calibration says what pressure that is") || !strings.Contains(out, "ebbline calibrate --port "+b.name) {
		t.Errorf("got %s", out)
	}
	captures, _ := filepath.Glob(filepath.Join(book, "*.capture"))
	if len(captures) != 1 {
		t.Fatal(captures)
	}
	status, _, errOut := ebbline(t, "", "measure", captures[0])
	if status != exitTrouble || !strings.Contains(errOut, "no calibration is at hand") || !strings.Contains(errOut, "--profile") {
		t.Errorf("status %d, %s", status, errOut)
	}
	if _, err := profile.Update(os.Getenv("EBBLINE_PROFILES"), &profile.Profile{Name: "x", FullScale: 30 * decay.PSI, Calibration: calib.Preset(decay.ReadsGauge, 30*decay.PSI)}, false); err != nil {
		t.Fatal(err)
	}
	status, out, errOut = ebbline(t, "", "measure", "--profile", "x", captures[0])
	if status != exitUndecided || !strings.Contains(out, "peak       15.00 psi gauge") && !strings.Contains(out, "peak       103.4 kPa gauge") {
		t.Errorf("status %d, %s%s", status, out, errOut)
	}
}

// A wire that comes off a full duct must not read as an empty one.
func TestOpenCircuitIsNoEmptyDuct(t *testing.T) {
	t.Setenv("EBBLINE_PROFILES", filepath.Join(t.TempDir(), "profiles.toml"))
	if _, err := profile.Update(os.Getenv("EBBLINE_PROFILES"), &profile.Profile{Name: "x", FullScale: 30 * decay.PSI, Calibration: calib.Preset(decay.ReadsGauge, 30*decay.PSI)}, false); err != nil {
		t.Fatal(err)
	}
	b := newSignalBoard(t, "3.3 V")
	in, w := io.Pipe()
	defer w.Close()
	out, ended := &screen{came: make(chan struct{}, 1)}, make(chan int, 1)
	p := &person{t: t, out: out, ended: ended, board: b}
	go func() {
		ended <- run([]string{"hold", "--port", b.name, "--plain", "--for", "5s", "--book", t.TempDir()}, in, out, &p.errOut)
	}()
	p.hears(`144.8 kPa gauge`)
	b.set("0 V")
	p.hears(`FAULT  open circuit`)
	p.hears(`Do not trust the readings \(open circuit\), the duct may be under pressure: check the transducer's three wires`)
	<-ended
	if s := out.String(); strings.Contains(s, "Done:") {
		t.Errorf("a duct whose wire came off is called empty:\n%s", s)
	}
}

// The profile in the README is one.
func TestReadmeProfile(t *testing.T) {
	b, err := os.ReadFile(filepath.Join(root, "README.md"))
	if err != nil {
		t.Fatal(err)
	}
	_, rest, ok := strings.Cut(string(b), "```toml\n")
	text, _, _ := strings.Cut(rest, "```")
	set, err := profile.Parse("README.md", []byte(text))
	if !ok || err != nil || len(set.Profiles) != 1 || set.Profiles[0].Calibration == nil {
		t.Errorf("got %+v, %v", set, err)
	}
}
