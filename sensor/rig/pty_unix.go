//go:build unix

package rig

import (
	"context"
	"errors"
	"fmt"
	"io"
	"os"
	"sync"
	"syscall"
	"time"

	"github.com/charmbracelet/x/term"
	"github.com/creack/pty"
)

// Board is a rig behind a pseudo-terminal, printing a line per reading as a
// transducer board does over USB.
type Board struct {
	mu            sync.Mutex
	board         *board
	master, slave *os.File
}

// Open starts a board on a new pseudo-terminal. The configuration must be valid.
func Open(c Config, s *Script) (*Board, error) {
	master, slave, err := pty.Open()
	if err != nil {
		return nil, fmt.Errorf("no pseudo-terminal is to be had: %w", err)
	}
	// Raw, and the slave end kept open, so that readers may come and go.
	if _, err := term.MakeRaw(slave.Fd()); err != nil {
		master.Close()
		slave.Close()
		return nil, fmt.Errorf("cannot make the pseudo-terminal raw: %w", err)
	}
	// The pty package leaves the master blocking, and Close would then wait for a
	// read or write that may never end.
	if err := syscall.SetNonblock(int(master.Fd()), true); err != nil {
		master.Close()
		slave.Close()
		return nil, fmt.Errorf("cannot set up the pseudo-terminal: %w", err)
	}
	return &Board{board: newBoard(c, s), master: master, slave: slave}, nil
}

// Name is the port to read.
func (b *Board) Name() string { return b.slave.Name() }

// Run prints readings at the rig's rate until the context ends or the script
// is over. What nobody reads is dropped, as a board's USB stack does.
func (b *Board) Run(ctx context.Context) error {
	defer b.slave.Close()
	defer b.master.Close()
	// Not Fd: the writer may outlast the file, and its number be another's by then.
	slave, err := b.slave.SyscallConn()
	if err != nil {
		return fmt.Errorf("using %s: %w", b.Name(), err)
	}
	keep := min(max(int(0.5*b.board.cfg.Rate)*16, 256), 2048) // bytes; a line has up to 16
	// A writer of its own: the master blocks once the terminal's buffer is full.
	lines := make(chan string, 64)
	broken := make(chan error, 1)
	// What is sent to the board is read and dropped, or its sender would block.
	go func() { _, _ = io.Copy(io.Discard, b.master) }()
	go func() {
		for l := range lines {
			// Half a second of lines that nobody read are stale: a reader who
			// comes later is to see the present.
			_ = slave.Control(func(fd uintptr) {
				if unread(int(fd)) > keep {
					discard(int(fd))
				}
			}) // fails once closed, as the write below then does
			if _, err := b.master.WriteString(l + "\r\n"); err != nil {
				broken <- err
				return
			}
		}
	}()
	defer close(lines)
	step := time.Duration(float64(time.Second) / b.board.cfg.Rate)
	tick := time.NewTicker(step)
	defer tick.Stop()
	for {
		select {
		case <-ctx.Done():
			return nil
		case err := <-broken:
			if errors.Is(err, os.ErrClosed) {
				return nil
			}
			return fmt.Errorf("writing to %s: %w", b.Name(), err)
		case <-tick.C:
		}
		b.mu.Lock()
		line, _, more := b.board.step(step)
		b.mu.Unlock()
		if !more {
			return nil
		}
		select {
		case lines <- line:
		default:
		}
	}
}

func (b *Board) byHand(work func(*Rig)) {
	b.mu.Lock()
	defer b.mu.Unlock()
	b.board.script = nil
	work(b.board.rig)
}

// Fill opens the supply valve.
func (b *Board) Fill() { b.byHand((*Rig).Fill) }

// Isolate shuts both valves.
func (b *Board) Isolate() { b.byHand((*Rig).Isolate) }

// Release opens the vent.
func (b *Board) Release() { b.byHand((*Rig).Release) }
