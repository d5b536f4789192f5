package main

import (
	"context"
	"errors"
	"fmt"
	"io"
	"os"
	"os/signal"
	"strings"
	"time"

	"ebbline/sensor/trace"

	"github.com/mattn/go-isatty"
	"github.com/spf13/cobra"
)

// Exit statuses.
const (
	exitHolds     = 0
	exitLeaks     = 1
	exitTrouble   = 2 // usage, file or port error
	exitUndecided = 3
)

// app is what the commands share.
type app struct {
	in       io.Reader
	out, err io.Writer
	status   int
}

// hinted is an error with what to do about it.
type hinted struct {
	err  error
	hint string
}

func (h *hinted) Error() string { return h.err.Error() }
func (h *hinted) Unwrap() error { return h.err }

// wrong makes an error with a hint.
func wrong(hint, format string, a ...any) error {
	return &hinted{fmt.Errorf(format, a...), hint}
}

// withHint is an error with its hint in its words, for a screen.
func withHint(err error) error {
	var h *hinted
	if errors.As(err, &h) {
		return fmt.Errorf("%s; %s", strings.TrimPrefix(h.Error(), "--"), h.hint)
	}
	return err
}

// run runs the program and returns its exit status.
func run(args []string, in io.Reader, out, errOut io.Writer) int {
	ctx, stop := signal.NotifyContext(context.Background(), endings...)
	defer stop()
	over := make(chan struct{})
	defer close(over)
	go endAnyway(ctx, over)
	a := &app{in: in, out: out, err: forPeople(errOut)}
	cmd := a.rootCommand()
	cmd.SetArgs(args)
	cmd.SetIn(in)
	cmd.SetOut(out)
	cmd.SetErr(errOut)
	refuseUnknown(cmd)
	wrapHelp(cmd, out)
	if err := cmd.ExecuteContext(ctx); err != nil {
		a.complain(err)
		return exitTrouble
	}
	return a.status
}

// signalGrace is how long a program that was told to stop may take. What it has to
// save it has saved long before.
const signalGrace = 8 * time.Second

// endAnyway ends a program that was told to stop and cannot, since its terminal or
// pipe takes nothing.
func endAnyway(ctx context.Context, over <-chan struct{}) {
	select {
	case <-ctx.Done():
	case <-over:
		return
	}
	select {
	case <-time.After(signalGrace):
		os.Exit(exitTrouble)
	case <-over:
	}
}

// complain prints an error and what to do about it.
func (a *app) complain(err error) {
	text, more := strings.TrimSpace(err.Error()), ""
	if strings.HasPrefix(text, "unknown command") {
		text, more, _ = strings.Cut(text, "\n") // what else there is
	}
	fmt.Fprintf(a.err, "ebbline: error: %s\n", printable(strings.ReplaceAll(text, "\n", "; ")))
	hint := ""
	var h *hinted
	var te *trace.Error
	switch {
	case errors.As(err, &h):
		hint = h.hint
	case errors.As(err, &te):
		hint = te.Hint
	case strings.HasPrefix(text, "unknown command"):
		if hint = strings.Join(strings.Fields(more), " "); hint == "" {
			hint = "see ebbline --help for the commands"
		}
	case strings.Contains(text, "flag") || strings.Contains(text, "arg"):
		hint = "see ebbline --help, or --help after a command"
	}
	if hint != "" {
		fmt.Fprintf(a.err, "ebbline: hint: %s\n", printable(hint))
	}
}

// worse keeps the more telling of two exit statuses: trouble, then leaks, then
// undecided.
func worse(a, b int) int {
	rank := [...]int{exitHolds: 0, exitUndecided: 1, exitLeaks: 2, exitTrouble: 3}
	if rank[b] > rank[a] {
		return b
	}
	return a
}

// isTerminal reports whether x is a terminal.
func isTerminal(x any) bool {
	f, ok := x.(*os.File)
	return ok && (isatty.IsTerminal(f.Fd()) || isatty.IsCygwinTerminal(f.Fd()))
}

func noArguments(cmd *cobra.Command, args []string) error {
	if len(args) > 0 {
		return wrong("see "+cmd.CommandPath()+" --help", "%s takes no argument, but got %q", cmd.CommandPath(), args[0])
	}
	return nil
}
