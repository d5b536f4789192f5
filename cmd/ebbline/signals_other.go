//go:build !unix

package main

import (
	"os"
	"syscall"
)

// endings are the signals that end a command in order, so that a test is kept
// whole.
var endings = []os.Signal{os.Interrupt, syscall.SIGTERM, syscall.SIGHUP}
