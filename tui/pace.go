package tui

import (
	"sync/atomic"
	"time"

	tea "github.com/charmbracelet/bubbletea"
)

// paced draws a screen only as often as its terminal takes frames. While that is
// behind the last frame stands: bubbletea sends what differs from it, so a frame
// that is not drawn is never missed. A slow terminal sees fewer frames, none of
// them old, and nothing that takes readings waits for it.
type paced struct {
	tea.Model
	term  terminal
	every time.Duration // between frames
	now   func() time.Time

	drawn time.Time
	shown string
	fresh bool // something has to be drawn at once
	alarm bool // the last frame shows it

	away atomic.Bool // the terminal is the shell's
}

// alarms is a screen that can show the alarm, which waits for no frame's turn.
type alarms interface{ alarmed() bool }

func (p *paced) alarmed() bool {
	a, ok := p.Model.(alarms)
	return ok && a.alarmed()
}

// Update takes a message. What was typed is answered at once.
func (p *paced) Update(msg tea.Msg) (tea.Model, tea.Cmd) {
	if k, ok := msg.(tea.KeyMsg); ok && k.Type == tea.KeyCtrlL { // on every screen
		return p, tea.ClearScreen
	}
	m, cmd := p.Model.Update(msg)
	p.Model = m
	if _, ok := msg.(tickMsg); !ok || p.alarmed() != p.alarm {
		p.fresh = true
	}
	return p, cmd
}

// View is the frame to be shown.
func (p *paced) View() string {
	now := p.now()
	if p.shown != "" && (p.away.Load() || p.term.behind() || !p.fresh && (now.Sub(p.drawn) < p.every || !p.term.current(now))) {
		return p.shown
	}
	p.fresh, p.drawn, p.alarm = false, now, p.alarmed()
	p.shown = p.Model.View()
	return p.shown
}
