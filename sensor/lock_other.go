//go:build !(linux || darwin || freebsd || openbsd || netbsd || dragonfly)

package sensor

// lock does nothing where the system opens a port once only, as Windows does.
func lock(string) (unlock func(), err error) { return func() {}, nil }
