//go:build unix

package tui

import (
	"bytes"
	"context"
	"image/color"
	"io"
	"os"
	"strings"
	"sync"
	"testing"
	"time"

	"github.com/charmbracelet/x/ansi"
	"github.com/charmbracelet/x/vt"
	"github.com/creack/pty"

	uv "github.com/charmbracelet/ultraviolet"

	"ebbline/decay"
	"ebbline/sensor"
)

// glass is a terminal: a pseudo-terminal with an emulator that keeps the cells.
type glass struct {
	tty *os.File
	ptm *os.File
	mu  sync.Mutex
	em  *vt.Emulator
	raw strings.Builder
}

func newGlass(t *testing.T, w, h int) *glass {
	t.Helper()
	ptm, tty, err := pty.Open()
	if err != nil {
		t.Fatal("no pseudo-terminal: ", err)
	}
	if err := pty.Setsize(ptm, &pty.Winsize{Cols: uint16(w), Rows: uint16(h)}); err != nil {
		t.Fatal(err)
	}
	g := &glass{tty: tty, ptm: ptm, em: vt.NewEmulator(w, h)}
	// The answers of the emulator must be read or it stops. Its Close races
	// with that reader, so this one goroutine is left behind.
	go io.Copy(io.Discard, g.em)
	done := make(chan struct{})
	go func() {
		defer close(done)
		b, pending := make([]byte, 1<<16), []byte(nil)
		for {
			n, err := ptm.Read(b)
			g.mu.Lock()
			// Only whole frames are shown, or a look could fall into half of one.
			pending = append(pending, b[:n]...)
			if k := bytes.LastIndex(pending, []byte(frameEnd)); k >= 0 {
				k += len(frameEnd)
				g.em.Write(pending[:k])
				pending = append(pending[:0], pending[k:]...)
			}
			g.raw.Write(b[:n])
			g.mu.Unlock()
			if err != nil {
				return
			}
		}
	}()
	t.Cleanup(func() { tty.Close(); ptm.Close(); <-done })
	return g
}

func (g *glass) text() string {
	g.mu.Lock()
	defer g.mu.Unlock()
	return g.em.String()
}

func (g *glass) cell(x, y int) uv.Cell {
	g.mu.Lock()
	defer g.mu.Unlock()
	if c := g.em.CellAt(x, y); c != nil {
		return *c
	}
	return uv.Cell{}
}

// wait looks until the screen says words, at most five seconds.
func (g *glass) wait(t *testing.T, words string) {
	t.Helper()
	for end := time.Now().Add(5 * time.Second); time.Now().Before(end); time.Sleep(5 * time.Millisecond) {
		if strings.Contains(g.text(), words) {
			return
		}
	}
	t.Fatalf("the screen never said %q:\n%s", words, g.text())
}

type ending struct {
	r   decay.Result
	err error
}

func (g *glass) run(o Options) chan ending {
	o.Input, o.Output = g.tty, g.tty
	end := make(chan ending, 1)
	go func() {
		r, err := Run(context.Background(), o)
		end <- ending{r, err}
	}()
	return end
}

func finished(t *testing.T, end chan ending) ending {
	t.Helper()
	select {
	case e := <-end:
		return e
	case <-time.After(5 * time.Second):
		t.Fatal("the screen did not end")
	}
	return ending{}
}

// TestAlarmCellByCell runs a whole screen: normal, in the band, past the
// ceiling, below it again, and quit.
func TestAlarmCellByCell(t *testing.T) {
	g := newGlass(t, 80, 24)
	h := newHose()
	saves := 0
	end := g.run(Options{Source: h, Bell: true, Save: func(decay.Result) (string, error) { saves++; return "there", nil }})

	for k := range 10 {
		h.read(time.Duration(k)*20*time.Millisecond, 0)
	}
	g.wait(t, "ceiling 30.00 psi gauge")
	// Grey when normal: the hatch stands under the ceiling all the time.
	row := func(words string) int {
		for y, l := range strings.Split(g.text(), "\n") {
			if strings.Contains(l, words) {
				return y
			}
		}
		t.Fatalf("no row says %q", words)
		return 0
	}
	y := row("ceiling 30.00") + 1
	c := g.cell(12, y)
	if r := []rune(c.Content); len(r) != 1 || r[0] < 0x2801 || r[0] > 0x28ff {
		t.Errorf("the band shows %q under the ceiling", c.Content)
	}
	if !sameColour(c.Style.Fg, 244) || c.Style.Bg != nil {
		t.Errorf("the band's colours are %v on %v when normal", c.Style.Fg, c.Style.Bg)
	}

	h.read(300*time.Millisecond, 28*psi)
	g.wait(t, "WARNING BAND")
	if c := g.cell(40, row("ceiling 30.00")+1); !sameColour(c.Style.Fg, 172) {
		t.Errorf("the band's colour is %v with the pressure in it", c.Style.Fg)
	}

	h.read(400*time.Millisecond, 31*psi)
	g.wait(t, "ceiling 30.00 psi gauge     ") // the alarm's own line
	g.wait(t, "╱ ╱ ╱ ╱ ╱ ╱ ╱ ╱ ╱ ╱")
	for y := range 24 {
		for x := range 80 {
			c := g.cell(x, y)
			if c.Style.Attrs&uv.AttrReverse == 0 || !sameColour(c.Style.Fg, 160) {
				t.Fatalf("cell %d,%d %q is not part of the alarm: %+v", x, y, c.Content, c.Style)
			}
		}
	}
	h.read(500*time.Millisecond, 20*psi)
	g.wait(t, "warning band")
	if c := g.cell(0, 23); c.Style.Attrs&uv.AttrReverse != 0 {
		t.Error("the alarm stays after the pressure fell")
	}

	g.ptm.Write([]byte("q"))
	e := finished(t, end)
	if e.err != nil || saves != 1 || e.r.Samples != 13 {
		t.Errorf("error %v, %d saves, %d readings; want none, 1, 13", e.err, saves, e.r.Samples)
	}
	g.mu.Lock()
	defer g.mu.Unlock()
	raw := g.raw.String()
	if !strings.Contains(raw, "\a") {
		t.Error("no bell was rung")
	}
	if strings.Count(raw, frameBegin) == 0 || strings.Count(raw, frameBegin) != strings.Count(raw, frameEnd) {
		t.Error("frames are not bracketed")
	}
}

func sameColour(c color.Color, index int) bool {
	if c == nil {
		return false
	}
	r, g, b, _ := c.RGBA()
	wr, wg, wb, _ := ansi.IndexedColor(index).RGBA()
	return r == wr && g == wg && b == wb
}

func TestPanicOfTheReaderIsToldAndSaved(t *testing.T) {
	g := newGlass(t, 80, 24)
	h := newHose()
	saves := 0
	end := g.run(Options{Source: h, Save: func(decay.Result) (string, error) { saves++; return "", nil }})
	h.read(0, 5*psi)
	g.wait(t, "gauge")
	h.items <- sensor.Item{Reading: sensor.Reading{Raw: "panic"}}
	g.wait(t, "the readings have ended")
	g.ptm.Write([]byte("q"))
	e := finished(t, end)
	if e.err == nil || !strings.Contains(e.err.Error(), "a fault of our own") {
		t.Errorf("error %v does not name the panic", e.err)
	}
	if saves != 1 || e.r.Samples != 1 {
		t.Errorf("%d saves of %d readings, want 1 of 1", saves, e.r.Samples)
	}
	g.leftAltScreen(t)
}

// brokenValve panics inside the screen's own loop.
type brokenValve struct{ noControls }

func (brokenValve) Fill() { panic("a valve of our own") }

func TestPanicOfTheScreenRestoresTheTerminal(t *testing.T) {
	if testing.Short() {
		t.Skip("the terminal library closes its reader while it reads when it recovers, which the race detector sees now and then")
	}
	g := newGlass(t, 80, 24)
	h := newHose()
	h.read(0, 5*psi)
	saves := 0
	end := g.run(Options{Source: h, Controls: brokenValve{}, Save: func(decay.Result) (string, error) { saves++; return "", nil }})
	g.wait(t, "f fill")
	g.ptm.Write([]byte("f"))
	if e := finished(t, end); e.err == nil || !strings.Contains(e.err.Error(), "the screen failed") {
		t.Errorf("error %v does not say that the screen failed", e.err)
	}
	if saves != 1 {
		t.Errorf("%d saves after a panic, want 1", saves)
	}
	g.leftAltScreen(t)
}

func (g *glass) leftAltScreen(t *testing.T) {
	t.Helper()
	for end := time.Now().Add(2 * time.Second); time.Now().Before(end); time.Sleep(5 * time.Millisecond) {
		g.mu.Lock()
		raw := g.raw.String()
		g.mu.Unlock()
		if strings.LastIndex(raw, "\x1b[?1049l") > strings.LastIndex(raw, "\x1b[?1049h") && strings.LastIndex(raw, "\x1b[?25h") > strings.LastIndex(raw, "\x1b[?25l") {
			return
		}
	}
	t.Error("the terminal was left on the other screen or without a cursor")
}

func TestEndOfTheReadingsSavesAndStays(t *testing.T) {
	g := newGlass(t, 80, 24)
	h := newHose()
	end := g.run(Options{Source: h, Save: func(decay.Result) (string, error) { return "/book/one", nil }})
	h.read(0, 1*psi)
	g.wait(t, "gauge")
	h.Close()
	g.wait(t, "q leaves")
	g.ptm.Write([]byte("\x03"))
	if e := finished(t, end); e.err != nil {
		t.Errorf("error %v", e.err)
	}
	g.leftAltScreen(t)
}
