package sensor

import (
	"fmt"
	"math"
	"testing"
	"time"

	"ebbline/decay"
	"ebbline/sensor/calib"
)

// The first lines of a board that repeats its heading are read as the heading
// says, however late it comes within its second.
func TestFirstLinesWaitForAHeading(t *testing.T) {
	for _, before := range []int{0, 1, 49, -1} {
		opt := PortOptions{Name: "p", Ambient: decay.DefaultAmbient}
		if before < 0 { // with a profile of another board
			before, opt.Unit, opt.Calibration = 49, "counts", calib.Preset(decay.ReadsGauge, 30*decay.PSI)
			opt.Calibration.Bits = 10
		}
		l := newLineReader(opt, or(opt.Unit, "psi"))
		n := 0
		for i := range 150 {
			text := fmt.Sprintf("%d,%.3f\n", 20*i, 101.325+0.001*float64(i%3))
			if i%50 == before {
				text = "time_ms,pressure_kPa_abs\n" + text
			}
			for _, it := range l.feed(time.Duration(i)*20*time.Millisecond, []byte(text)) {
				if it.Fault != nil {
					t.Errorf("heading after %d lines: %+v", before, it.Fault)
					continue
				}
				if math.Abs(float64(it.P)-101325) > 10 || math.Abs(it.At.Seconds()-0.02*float64(n)) > 0.03 {
					t.Fatalf("heading after %d lines: reading %d of %v at %v", before, n, it.P, it.At)
				}
				n++
			}
		}
		if n != 150 {
			t.Errorf("heading after %d lines: %d readings of 150", before, n)
		}
	}
}

// Lines wait no longer than that, and not where the unit is known.
func TestLinesWithoutAHeadingWaitAtTheStartOnly(t *testing.T) {
	for name, c := range map[string]struct {
		opt  PortOptions
		line string
		late time.Duration
	}{
		"no unit":    {PortOptions{}, "%d,14.5", headingFor},
		"stated":     {PortOptions{Unit: "kPa"}, "%d,101.3", 0},
		"named":      {PortOptions{}, "%d,101.3 kPa", 0},
		"one number": {PortOptions{}, "14.5", 0},
	} {
		c.opt.Name, c.opt.Ambient = "p", decay.DefaultAmbient
		l := newLineReader(c.opt, or(c.opt.Unit, "psi"))
		n, worst := 0, time.Duration(0)
		for i := range 300 {
			at := time.Duration(i) * 20 * time.Millisecond
			line := c.line
			if name != "one number" {
				line = fmt.Sprintf(line, 20*i)
			}
			for _, it := range l.feed(at, []byte(line+"\n")) {
				if it.Fault == nil {
					n++
					worst = max(worst, at-it.At)
				}
			}
		}
		// The clock of a line without names is known after a few lines.
		if n != 300 || worst < c.late-100*time.Millisecond || worst > c.late+300*time.Millisecond {
			t.Errorf("%s: %d readings of 300, the latest %v after its line", name, n, worst)
		}
	}
}
