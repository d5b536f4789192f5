//go:build linux || darwin || freebsd || openbsd || netbsd || dragonfly

package sensor

import (
	"errors"
	"sync"

	"golang.org/x/sys/unix"
)

// lock marks a port as in use, for programs that ask, until unlock is called.
// The exclusive use that the system grants does not bind root, and of two
// readers each would get a part of the bytes. A port that cannot be opened is
// left for the caller to find out about.
func lock(name string) (unlock func(), err error) {
	fd, err := unix.Open(name, unix.O_RDWR|unix.O_NOCTTY|unix.O_NONBLOCK|unix.O_CLOEXEC, 0)
	if err != nil {
		return func() {}, nil
	}
	if err := unix.Flock(fd, unix.LOCK_EX|unix.LOCK_NB); errors.Is(err, unix.EWOULDBLOCK) {
		unix.Close(fd)
		return nil, errInUse
	}
	return sync.OnceFunc(func() { unix.Close(fd) }), nil
}
