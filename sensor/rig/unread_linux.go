package rig

import "golang.org/x/sys/unix"

// unread is how many bytes wait in the terminal for a reader.
func unread(fd int) int {
	n, err := unix.IoctlGetInt(fd, unix.TIOCINQ)
	if err != nil {
		return 0
	}
	return n
}

// discard drops what waits in the terminal for a reader.
func discard(fd int) { _ = unix.IoctlSetInt(fd, unix.TCFLSH, unix.TCIFLUSH) }
