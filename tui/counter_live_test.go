//go:build unix

package tui

import (
	"context"
	"math"
	"strings"
	"testing"
	"time"

	uv "github.com/charmbracelet/ultraviolet"

	"ebbline/decay"
)

// TestCounterOnATerminal runs the whole screen on a pseudo-terminal: keys in,
// cells out, and a test that is under way when the program is told to stop.
func TestCounterOnATerminal(t *testing.T) {
	g := newGlass(t, 80, 24)
	h := newHose()
	begun := make(chan Part, 4)
	type ended struct {
		r       decay.Result
		stopped bool
	}
	saves := make(chan ended, 4)
	ctx, stop := context.WithCancel(context.Background())
	over := make(chan error, 1)
	go func() {
		over <- RunCounter(ctx, CounterOptions{
			Source: h, Parts: shop, Find: findInShop, Bell: true, Input: g.tty, Output: g.tty,
			Tally: func() (Tally, error) { return Tally{Leaks: 7}, nil },
			Begin: func(p Part) (CounterTest, error) {
				begun <- p
				return CounterTest{
					Setup: decay.Setup{Volume: p.Volume, Limit: .2 * decay.Millimetre, Ambient: decay.DefaultAmbient, Rigid: true},
					Save: func(run *CounterRun, _ decay.PressureUnit) (Kept, error) {
						saves <- ended{run.Result(), run.Stopped()}
						return Kept{Slip: []string{"the slip"}, SlipPath: "there.slip.txt", RecordPath: "there.ebbline"}, nil
					},
				}, nil
			},
		})
	}()
	key := func(s string) {
		t.Helper()
		if _, err := g.ptm.WriteString(s); err != nil {
			t.Fatal(err)
		}
	}
	got := func(c chan ended) ended {
		t.Helper()
		select {
		case e := <-c:
			return e
		case <-time.After(5 * time.Second):
			t.Fatal("no record was saved")
		}
		return ended{}
	}

	g.wait(t, "today: holds 0, leaks 7, undecided 0")
	key("51x600")
	g.wait(t, "> 51x600_")
	key("\r")
	g.wait(t, "Before you fill")
	for began := false; !began; { // Enter counts once the cautions have stood for a moment
		key("\r")
		select {
		case p := <-begun:
			begun <- p
			began = true
		case <-time.After(100 * time.Millisecond):
		}
	}
	if p := <-begun; p.Label != "hose 51x600 mm" {
		t.Errorf("the part is %q", p.Label)
	}
	g.wait(t, "hose 51x600 mm   limit 0.20 mm")
	// Two minutes of a leaking hose, all at once: the screen has its own clock.
	feed := func(from, to float64) {
		for k := int(from * 10); k < int(to*10); k++ {
			s := float64(k) / 10
			p := 40 * math.Sin(s*s*97)
			switch {
			case s > 10:
				p += 25 * decay.PSI * math.Exp(-(s-10)/15)
			case s > 5:
				p += 5 * decay.PSI * (s - 5)
			}
			h.read(time.Duration(k)*100*time.Millisecond, decay.Gauge(p))
		}
	}
	feed(0.1, 98)
	if e := got(saves); e.r.Outcome != decay.Leaks || e.stopped {
		t.Errorf("%v, stopped %v", e.r.Outcome, e.stopped)
	}
	g.wait(t, "It leaks: more than a 0.20 mm hole would.")
	row := -1
	for y, l := range strings.Split(g.text(), "\n") {
		if strings.HasPrefix(strings.TrimSpace(l), "████████████") {
			row = y
			break
		}
	}
	if row < 0 {
		t.Fatalf("no wall:\n%s", g.text())
	}
	if c := g.cell(10, row); c.Content != "█" || !sameColour(c.Style.Fg, 172) || c.Style.Attrs&uv.AttrBold == 0 || c.Style.Bg != nil {
		t.Errorf("the wall's cell is %q in %v on %v", c.Content, c.Style.Fg, c.Style.Bg)
	}
	if c := g.cell(40, row); c.Content != " " && c.Content != "" {
		t.Errorf("the wall is not torn in the middle: %q", c.Content)
	}

	key("a")
	<-begun
	g.wait(t, "Esc stop")
	h.read(99*time.Second, 0)
	stop() // the program is told to stop in the middle of a test
	if e := got(saves); !e.stopped {
		t.Error("the test under way was not kept as stopped")
	}
	select {
	case err := <-over:
		if err != nil {
			t.Error(err)
		}
	case <-time.After(5 * time.Second):
		t.Fatal("the screen did not end")
	}
}
