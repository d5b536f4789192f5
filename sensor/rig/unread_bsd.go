//go:build darwin || dragonfly || freebsd || netbsd || openbsd

package rig

import "golang.org/x/sys/unix"

// fionread is FIONREAD of every BSD.
const fionread = 0x4004667f

// unread is how many bytes wait in the terminal for a reader.
func unread(fd int) int {
	n, err := unix.IoctlGetInt(fd, fionread)
	if err != nil {
		return 0
	}
	return n
}

// discard drops what waits in the terminal for a reader.
func discard(fd int) { _ = unix.IoctlSetPointerInt(fd, unix.TIOCFLUSH, 1) }
