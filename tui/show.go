package tui

import (
	"context"
	"errors"
	"fmt"
	"io"
	"os"
	"os/signal"
	"syscall"

	tea "github.com/charmbracelet/bubbletea"
)

// show runs a screen until it quits, ctx ends or the program is told to stop,
// all of which are an ordinary end. It calls start once the terminal was asked
// for and before the first message.
func show(ctx context.Context, m tea.Model, term terminal, in io.Reader, fps int, start func()) error {
	if fps <= 0 {
		fps = 30
	}
	opts := []tea.ProgramOption{tea.WithAltScreen(), tea.WithFPS(fps), tea.WithOutput(term), tea.WithContext(ctx)}
	if in != nil {
		opts = append(opts, tea.WithInput(in))
	}
	p := tea.NewProgram(m, opts...)
	if start != nil {
		start()
	}
	// bubbletea leaves a hang-up alone, which would end the program at once.
	hup := make(chan os.Signal, 1)
	signal.Notify(hup, syscall.SIGHUP)
	over, gone := make(chan struct{}), make(chan struct{})
	go func() {
		defer close(gone)
		select {
		case <-hup:
			p.Quit()
		case <-over:
		}
	}()
	_, err := p.Run()
	close(over)
	signal.Stop(hup)
	<-gone
	switch {
	case errors.Is(err, tea.ErrProgramPanic):
		return fmt.Errorf("the screen failed: %w", err)
	case ctx.Err() != nil, errors.Is(err, tea.ErrInterrupted):
		return nil
	}
	return err
}
