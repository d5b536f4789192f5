//go:build unix && !(linux || darwin || dragonfly || freebsd || netbsd || openbsd)

package rig

// unread is not known on this system.
func unread(int) int { return 0 }

func discard(int) {}
