//go:build unix

package main

import (
	"os"
	"os/signal"
	"syscall"
)

// endings are the signals that end a command in order, so that a test is kept
// whole. When whatever read the output has gone there is nobody to go on for.
var endings = []os.Signal{os.Interrupt, syscall.SIGTERM, syscall.SIGHUP, syscall.SIGPIPE}

// A file that may not grow any more is an error of its write, no end.
func init() { signal.Ignore(syscall.SIGXFSZ) }
