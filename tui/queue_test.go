package tui

import (
	"bytes"
	"strings"
	"sync"
	"testing"
	"testing/synctest"
	"time"

	tea "github.com/charmbracelet/bubbletea"
)

// taken is what Linux takes for a pseudo-terminal that is not read, nearly.
const taken = 16 << 10

// line is a terminal at the end of a slow line: it takes what there is room for at
// once, and when there is none the next only when most was shown, as Linux does.
type line struct {
	rate, room float64 // bytes a second, bytes

	mu   sync.Mutex
	on   float64 // bytes that are not shown yet
	full bool
	at   time.Time
	text bytes.Buffer
}

func (l *line) waiting(now time.Time) float64 {
	l.on, l.at = max(0, l.on-l.rate*now.Sub(l.at).Seconds()), now
	return l.on
}

func (l *line) Write(p []byte) (int, error) {
	for {
		l.mu.Lock()
		on := l.waiting(time.Now())
		l.full = on+float64(len(p)) > l.room || l.full && on > l.room/8
		if !l.full {
			l.on += float64(len(p))
			l.text.Write(p)
			l.mu.Unlock()
			return len(p), nil
		}
		l.mu.Unlock()
		time.Sleep(10 * time.Millisecond)
	}
}

func (l *line) behind() float64 {
	l.mu.Lock()
	defer l.mu.Unlock()
	return l.waiting(time.Now())
}

// flicker is a screen whose every frame is another, of a thousand bytes.
type flicker struct {
	n    int
	over bool
}

func (p *flicker) Init() tea.Cmd                       { return nil }
func (p *flicker) Update(tea.Msg) (tea.Model, tea.Cmd) { p.n++; return p, nil }
func (p *flicker) View() string                        { return strings.Repeat(string(rune('a'+p.n%26)), 1000) }
func (p *flicker) alarmed() bool                       { return p.over }

// However slow the terminal is, a screen never waits for it, and once it was seen
// to be slow little is on the way to it when an alarm comes.
func TestSlowTerminalGetsFewFramesAndNoOldOnes(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		slow := &line{rate: 1000, room: taken, at: time.Now()}
		term := newTerminal(slow)
		pic := &flicker{}
		p := &paced{Model: pic, term: term, every: 33 * time.Millisecond, now: time.Now}
		frames, last, sum, worst, looks := 0, "", 0.0, 0.0, 0
		step := func() {
			p.Update(tickMsg(time.Now()))
			if v := p.View(); v != last {
				last = v
				term.Write([]byte(v))
				frames++
			}
			time.Sleep(10 * time.Millisecond)
			synctest.Wait()
		}
		began := time.Now()
		for time.Since(began) < 20*time.Minute {
			step()
			if time.Since(began) > time.Minute {
				b := slow.behind()
				sum, worst, looks = sum+b, max(worst, b), looks+1
			}
		}
		mean := sum / float64(looks)
		t.Logf("%d frames of 1000 bytes in twenty minutes at 1000 bytes a second; %.0f bytes on the way in the mean, %.0f at worst", frames, mean, worst)
		if frames < 900 {
			t.Errorf("only %d frames were sent: the line takes 1200", frames)
		}
		if mean > taken/5 {
			t.Errorf("%.0f bytes were on the way in the mean: %d would be so without pace", mean, taken)
		}
		for term.behind() {
			step()
		}
		pic.over = true
		p.Update(tickMsg(time.Now()))
		if v := p.View(); v == last {
			t.Error("the alarm waited for its turn")
		}
		term.close()
	})
}

// A terminal that takes nothing delays nobody; the end waits for it, not for ever.
func TestStoppedTerminalDelaysNobody(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		r, w := newStop()
		term := newTerminal(w)
		began := time.Now()
		for range 1000 {
			term.Write(make([]byte, 1000))
			term.bell()
		}
		if d := time.Since(began); d > 0 {
			t.Errorf("writing took %v", d)
		}
		if n := term.(frames).q.Waiting(); n > 2 {
			t.Errorf("%d frames wait; one is enough", n)
		}
		term.close()
		if d := time.Since(began); d < giveUp || d > 2*giveUp {
			t.Errorf("the end took %v", d)
		}
		r()
	})
}

// newStop is a writer that takes nothing until it is let go.
func newStop() (release func(), w stop) {
	c := make(chan struct{})
	return func() { close(c) }, stop(c)
}

type stop chan struct{}

func (s stop) Write(p []byte) (int, error) {
	<-s
	return len(p), nil
}

// All that was written comes, in order, frames in their brackets and bells between.
func TestQueueKeepsOrder(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		var b bytes.Buffer
		term := newTerminal(&b)
		for _, s := range []string{"one", "two"} {
			term.Write([]byte(s))
			synctest.Wait()
			term.bell()
			synctest.Wait()
		}
		term.WriteString("end")
		term.close()
		if want := frameBegin + "one" + frameEnd + "\a" + frameBegin + "two" + frameEnd + "\aend"; b.String() != want {
			t.Errorf("%q, want %q", b.String(), want)
		}
	})
}
