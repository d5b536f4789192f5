package tui

import (
	"context"
	"errors"
	"fmt"
	"io"
	"os"
	"os/signal"
	"syscall"
	"time"

	tea "github.com/charmbracelet/bubbletea"
)

// rendererLooks is how often a second the renderer looks for a new frame, at most
// so often that it adds 8 ms to an alarm.
const rendererLooks = 120

// runScreen runs a model on the terminal until it quits, ctx ends or the
// program is told to stop, all of which are no error; a panic of the screen
// is one. The terminal is restored in every case.
func runScreen(ctx context.Context, m tea.Model, term terminal, fps int, in io.Reader) error {
	// Frames are made by fps; the renderer only has to look for one often.
	opts := []tea.ProgramOption{tea.WithAltScreen(), tea.WithFPS(rendererLooks), tea.WithOutput(term), tea.WithContext(ctx), tea.WithoutSignalHandler()}
	if in != nil {
		opts = append(opts, tea.WithInput(in))
	}
	screen := &paced{Model: m, term: term, every: time.Second / time.Duration(fps), now: time.Now}
	p := tea.NewProgram(screen, opts...)

	// bubbletea leaves a hang-up alone, which would end the program at once, and
	// waits for ever where ctx ends by the signal that it handles itself.
	told := make(chan os.Signal, 1)
	signal.Notify(told, os.Interrupt, syscall.SIGTERM, syscall.SIGHUP)
	over := make(chan struct{})
	go resumes(over, func(away bool) {
		screen.away.Store(away)
		if !away { // the mode of the terminal and all that it showed are the shell's
			p.Send(tea.Exec(nothing{}, nil)())
		}
	})
	gone := make(chan struct{})
	go func() {
		defer close(gone)
		select {
		case <-told:
			p.Quit()
		case <-over:
		}
	}()
	_, err := p.Run()
	close(over)
	signal.Stop(told)
	<-gone
	switch {
	case errors.Is(err, tea.ErrProgramPanic):
		return fmt.Errorf("the screen failed: %w", err)
	case ctx.Err() != nil, errors.Is(err, tea.ErrInterrupted):
		return nil
	}
	return err
}

// nothing is a command that does nothing. Around a command the library leaves the
// terminal and takes it again, its mode and a whole frame included.
type nothing struct{}

func (nothing) Run() error          { return nil }
func (nothing) SetStdin(io.Reader)  {}
func (nothing) SetStdout(io.Writer) {}
func (nothing) SetStderr(io.Writer) {}
