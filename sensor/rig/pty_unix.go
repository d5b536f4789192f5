//go:build unix

package rig

import (
	"context"
	"fmt"
	"os"
	"path/filepath"
	"strconv"
	"strings"
	"sync"
	"time"
)

// Board is a rig behind a pseudo-terminal, which behaves as a transducer board
// does on USB. Its methods may be called while it runs.
type Board struct {
	mu    sync.Mutex
	board *board
	slave slave
	dev   *device // nil while it is unplugged
	stem  string  // of the port's names
	count int     // in the port's present name
	bare  bool    // the first name has no number
	dir   string  // made for the port, "" when the caller named it
	shut  bool

	writes, dropped int
}

// Open starts a board on a new pseudo-terminal, whose name it makes up. The
// configuration must be valid. Run serves it, and Close ends it.
func Open(c Config, s *Script) (*Board, error) {
	dir, err := os.MkdirTemp("", "ebbline-rig")
	if err != nil {
		return nil, fmt.Errorf("no folder for the port is to be had: %w", err)
	}
	b, err := OpenAt(filepath.Join(dir, "board0"), c, s)
	if err != nil {
		os.Remove(dir) // empty
		return nil, err
	}
	b.dir = dir
	return b, nil
}

// OpenAt is Open with a name for the port. Nothing may have the name yet. A
// port that comes back under another name gets the next number at its end.
func OpenAt(name string, c Config, s *Script) (*Board, error) {
	b := &Board{board: newBoard(c, s), slave: slave{unit: c.ModbusUnit}}
	if b.slave.unit == 0 {
		b.slave.unit = DefaultModbusUnit
	}
	b.stem = strings.TrimRight(name, "0123456789")
	if b.bare = b.stem == name; !b.bare {
		n, err := strconv.Atoi(name[len(b.stem):])
		if err != nil {
			return nil, fmt.Errorf("%s ends in too large a number", name)
		}
		b.count = n
	}
	if err := b.plug(); err != nil {
		return nil, err
	}
	return b, nil
}

// Name is the port to read, or that will be there when the board is plugged in
// again.
func (b *Board) Name() string {
	b.mu.Lock()
	defer b.mu.Unlock()
	return b.name()
}

func (b *Board) name() string {
	if b.bare && b.count == 0 {
		return b.stem
	}
	return b.stem + strconv.Itoa(b.count)
}

func (b *Board) plug() error {
	keep := min(max(int(0.5*b.board.rig.cfg.Rate)*16, 256), 2048) // bytes; a line has some 16
	var heard func([]byte) []byte
	if b.board.format.line == nil {
		heard = b.asked
	}
	dev, err := plug(b.name(), keep, heard)
	if err != nil {
		return err
	}
	b.dev = dev
	return nil
}

func (b *Board) unplug() {
	if b.dev != nil {
		b.dev.unplug()
		b.dropped += int(b.dev.dropped.Load())
		b.dev = nil
	}
}

// asked takes what a Modbus master sends.
func (b *Board) asked(data []byte) []byte {
	b.mu.Lock()
	defer b.mu.Unlock()
	frames := b.slave.take(time.Now(), data, b.board.latest.registers)
	return b.board.answers(frames)
}

// answers are the bytes that arrive of a Modbus slave's answers.
func (b *board) answers(frames [][]byte) (out []byte) {
	on := b.faults.on
	if on.has(Silence) || b.down {
		return nil
	}
	for _, f := range frames {
		if on.has(Unsorted) && b.stream.rng.Float64() < 0.1 {
			f = append(f, f...)
		}
		out = append(out, b.stream.send(f, on, b.now)...)
	}
	return out
}

// Close takes the port away for good. It may be called more than once.
func (b *Board) Close() error {
	b.mu.Lock()
	defer b.mu.Unlock()
	b.shut = true
	b.unplug()
	if b.dir != "" {
		os.Remove(b.dir) // empty, unless somebody put a file there
	}
	return nil
}

// Run prints readings at the rig's rate until the context ends, the script is
// over or the board is closed, and closes the board. What nobody reads is
// dropped, as a board's USB stack does.
func (b *Board) Run(ctx context.Context) error {
	defer b.Close()
	step := time.Duration(float64(time.Second) / b.board.rig.cfg.Rate)
	tick := time.NewTicker(min(max(step, time.Millisecond), 10*time.Millisecond))
	defer tick.Stop()
	next := time.Now().Add(step)
	for {
		select {
		case <-ctx.Done():
			return nil
		case <-tick.C:
		}
		now := time.Now()
		if now.Sub(next) > time.Second {
			next = now // the machine slept: do not rush after it
		}
		b.mu.Lock()
		more, err := b.catchUp(&next, now, step)
		b.mu.Unlock()
		if !more || err != nil {
			return err
		}
	}
}

// catchUp makes the readings that are due by now.
func (b *Board) catchUp(next *time.Time, now time.Time, step time.Duration) (more bool, err error) {
	for !next.After(now) {
		if b.shut {
			return false, nil
		}
		*next = next.Add(step)
		out, more := b.board.bytes(step)
		if !more {
			return false, nil
		}
		if err := b.plugAsFaultsSay(); err != nil {
			return false, err
		}
		if b.dev == nil || len(out) == 0 {
			continue
		}
		select {
		case err := <-b.dev.failure:
			return false, err
		default:
		}
		b.dev.send(out)
		b.writes++
	}
	return true, nil
}

// plugAsFaultsSay takes the port away or brings it back.
func (b *Board) plugAsFaultsSay() error {
	on := b.board.faults.on
	out := on.has(Unplug) || on.has(Rename)
	switch {
	case out && b.dev != nil:
		b.unplug()
		if on.has(Rename) {
			b.count++
		}
	case !out && b.dev == nil:
		return b.plug()
	}
	return nil
}

// Inject switches a fault on for a time; 0: until it is cleared.
func (b *Board) Inject(f Fault, long time.Duration) {
	b.mu.Lock()
	defer b.mu.Unlock()
	b.board.inject(f, long)
}

// Clear switches a fault off.
func (b *Board) Clear(f Fault) {
	b.mu.Lock()
	defer b.mu.Unlock()
	b.board.faults.on &^= 1 << f
}

// State is how the rig stands.
func (b *Board) State() State {
	b.mu.Lock()
	defer b.mu.Unlock()
	return b.board.state()
}

// Sent is how many times the board printed a reading or a part of one, and
// how many of these were dropped because nobody had taken the ones before.
func (b *Board) Sent() (sent, dropped int) {
	b.mu.Lock()
	defer b.mu.Unlock()
	dropped = b.dropped
	if b.dev != nil {
		dropped += int(b.dev.dropped.Load())
	}
	return b.writes, dropped
}

func (b *Board) byHand(work func(*Rig)) {
	b.mu.Lock()
	defer b.mu.Unlock()
	b.board.script = nil
	work(b.board.rig)
}

// Change works on the rig between two readings: its leak or volume, say.
func (b *Board) Change(work func(*Rig) error) error {
	b.mu.Lock()
	defer b.mu.Unlock()
	return work(b.board.rig)
}

// Fill opens the supply valve.
func (b *Board) Fill() { b.byHand((*Rig).Fill) }

// Isolate shuts both valves.
func (b *Board) Isolate() { b.byHand((*Rig).Isolate) }

// Release opens the vent.
func (b *Board) Release() { b.byHand((*Rig).Release) }
