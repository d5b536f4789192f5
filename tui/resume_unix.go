//go:build unix

package tui

import (
	"os"
	"os/signal"
	"syscall"
	"time"

	"golang.org/x/sys/unix"
)

// resumes watches for the end of a stop (SIGSTOP, SIGCONT) until over is closed.
// A shell has had the terminal meanwhile: away is called with true while it still
// has, and with false once the program is in the foreground again.
func resumes(over <-chan struct{}, away func(bool)) {
	goes := make(chan os.Signal, 1)
	signal.Notify(goes, syscall.SIGCONT)
	defer signal.Stop(goes)
	for {
		select {
		case <-goes:
		case <-over:
			return
		}
		for !foreground() {
			away(true)
			select {
			case <-time.After(100 * time.Millisecond):
			case <-over:
				return
			}
		}
		away(false)
	}
}

// foreground reports whether the terminal is ours, or there is none. From the
// background a change of its mode would stop the program.
func foreground() bool {
	group, err := unix.IoctlGetInt(0, unix.TIOCGPGRP)
	return err != nil || group == unix.Getpgrp()
}
