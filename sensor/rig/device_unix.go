//go:build unix

package rig

import (
	"errors"
	"fmt"
	"os"
	"sync"
	"sync/atomic"
	"syscall"
	"time"

	"github.com/charmbracelet/x/term"
	"github.com/creack/pty"
)

// staleAfter is how long what was printed waits for a reader who takes nothing.
const staleAfter = 500 * time.Millisecond

// outbox is how many writes may wait. A terminal keeps some 64 kB by itself,
// so that more than a few wait only while nobody reads at all.
const outbox = 1024

// device is one plugging-in of a board: a pseudo-terminal and a link to it.
type device struct {
	master, slave *os.File
	link          string
	out           chan []byte
	gone          chan struct{}
	once          sync.Once
	keep          int // bytes
	dropped       atomic.Int64
	failure       chan error // why writing ended, when not by close
}

// plug makes a device whose link must not exist. heard, if not nil, gets what
// is sent to the board and returns the answer.
func plug(link string, keep int, heard func([]byte) []byte) (*device, error) {
	master, slave, err := pty.Open()
	if err != nil {
		return nil, fmt.Errorf("no pseudo-terminal is to be had: %w", err)
	}
	d := &device{master: master, slave: slave, link: link, keep: keep,
		out: make(chan []byte, outbox), gone: make(chan struct{}), failure: make(chan error, 1)}
	fail := func(what string, err error) (*device, error) {
		master.Close()
		slave.Close()
		return nil, fmt.Errorf("%s: %w", what, err)
	}
	// Raw, and the slave end kept open, so that readers may come and go.
	if _, err := term.MakeRaw(slave.Fd()); err != nil {
		return fail("cannot make the pseudo-terminal raw", err)
	}
	// The pty package leaves the master blocking, and Close would then wait for a
	// read or write that may never end.
	if err := syscall.SetNonblock(int(master.Fd()), true); err != nil {
		return fail("cannot set up the pseudo-terminal", err)
	}
	// Not Fd: the writer may outlast the file, and its number be another's by then.
	raw, err := slave.SyscallConn()
	if err != nil {
		return fail("cannot use the pseudo-terminal", err)
	}
	if err := os.Symlink(slave.Name(), link); err != nil {
		return fail("cannot name the pseudo-terminal", err)
	}
	go d.read(heard)
	go d.write(raw)
	return d, nil
}

// read takes what is sent to the board, or its sender would block.
func (d *device) read(heard func([]byte) []byte) {
	buf := make([]byte, 1024)
	for {
		n, err := d.master.Read(buf)
		if err != nil {
			return
		}
		if heard != nil {
			d.send(heard(buf[:n]))
		}
	}
}

// write is a writer of its own: the master blocks once the terminal is full.
func (d *device) write(slave syscall.RawConn) {
	last, taken := 0, time.Now() // bytes unread, and when a reader last took some
	for {
		var b []byte
		select {
		case b = <-d.out:
		case <-d.gone:
			return
		}
		// What nobody read is stale: a reader who comes later is to see the present.
		_ = slave.Control(func(fd uintptr) {
			n := unread(int(fd))
			if n < last || n == 0 {
				taken = time.Now()
			}
			if last = n; n > d.keep && time.Since(taken) > staleAfter {
				discard(int(fd))
				last = 0
			}
		}) // fails once closed, as the write below then does
		if _, err := d.master.Write(b); err != nil {
			if !errors.Is(err, os.ErrClosed) {
				d.failure <- fmt.Errorf("writing to %s: %w", d.link, err)
			}
			return
		}
	}
}

// send queues bytes; what finds no room is dropped and counted, as a board's
// USB stack drops it.
func (d *device) send(b []byte) {
	if len(b) == 0 {
		return
	}
	select {
	case d.out <- b:
	default:
		d.dropped.Add(1)
	}
}

// unplug takes the device away from whoever has it open.
func (d *device) unplug() {
	d.once.Do(func() {
		close(d.gone)
		os.Remove(d.link) // somebody may have removed it before
		d.slave.Close()
		d.master.Close()
	})
}
