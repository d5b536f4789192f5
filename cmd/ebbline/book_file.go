package main

import (
	"cmp"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"os"
	"path/filepath"
	"sync"
	"syscall"
	"time"
)

// waitsMost is how many bytes wait at most for a disk to have room again: an
// hour of a board of 200 lines a second.
const waitsMost = 32 << 20

// bookFile is a file of the book, which outlives faults of the disk under a
// test: what cannot be written waits, and is written once that is possible
// again; a file that was deleted is made again from what is still open. Who
// hands it bytes never waits for the disk, or a slow one would hold up the
// readings and the alarm.
type bookFile struct {
	path string
	wake chan struct{} // something waits

	disk sync.Mutex // held while the disk is at work
	file *os.File

	mu      sync.Mutex // of what follows, never held while the disk is at work
	waiting []byte
	full    error // why writing failed last; nil: nothing waits for want of room
	gone    error // why the file was not in its place at the latest check
}

// openBookFile creates a file that was not there before.
func openBookFile(path string) (*bookFile, error) {
	f, err := os.OpenFile(path, os.O_RDWR|os.O_CREATE|os.O_EXCL, 0o600)
	return &bookFile{path: path, file: f, wake: make(chan struct{}, 1)}, err
}

// Write takes b in every case but one: more waits than memory is kept for.
func (f *bookFile) Write(b []byte) (int, error) {
	f.mu.Lock()
	defer f.mu.Unlock()
	if len(f.waiting)+len(b) > waitsMost {
		return 0, fmt.Errorf("%s: more than %d MB wait to be written: %w", f.path, waitsMost>>20, cmp.Or(f.full, errSlow))
	}
	f.waiting = append(f.waiting, b...)
	select {
	case f.wake <- struct{}{}:
	default:
	}
	return len(b), nil
}

var errSlow = errors.New("the disk is too slow")

// write writes what waits.
func (f *bookFile) write() {
	f.disk.Lock()
	defer f.disk.Unlock()
	for {
		f.mu.Lock()
		some := f.waiting
		f.mu.Unlock()
		if len(some) == 0 {
			return
		}
		n, err := f.file.Write(some) // what is appended meanwhile comes behind it
		f.mu.Lock()
		f.waiting = f.waiting[:copy(f.waiting, f.waiting[n:])]
		f.full = err
		f.mu.Unlock()
		if err != nil {
			return
		}
	}
}

// check writes what waits, and sees that the file is still there under its name.
func (f *bookFile) check() error {
	f.write()
	f.disk.Lock()
	gone := f.inPlace()
	f.disk.Unlock()
	f.mu.Lock()
	f.gone = gone
	f.mu.Unlock()
	return f.fault()
}

// fault is why not all that came is kept now, nil while it is.
func (f *bookFile) fault() error {
	f.mu.Lock()
	defer f.mu.Unlock()
	return cmp.Or(f.full, f.gone)
}

// keep writes what comes and looks after the file until stop, and calls done
// after each time that it did.
func (f *bookFile) keep(stop <-chan struct{}, done func()) {
	look := time.NewTicker(checkEvery)
	defer look.Stop()
	for {
		select {
		case <-stop:
			return
		case <-f.wake:
			f.write()
		case <-look.C:
			f.check()
		}
		done()
	}
}

// checkEvery is how often a disk that was full is tried again.
const checkEvery = 250 * time.Millisecond

// inPlace makes a file that was deleted anew.
func (f *bookFile) inPlace() error {
	there, err := os.Stat(f.path)
	if err == nil {
		if open, err := f.file.Stat(); err != nil || os.SameFile(there, open) {
			return err
		}
		return fmt.Errorf("%s: another file has taken its place", f.path)
	}
	if !errors.Is(err, fs.ErrNotExist) {
		return err
	}
	if err := os.MkdirAll(filepath.Dir(f.path), 0o700); err != nil {
		return err
	}
	again, err := openBookFile(f.path)
	if err != nil {
		return err
	}
	const all = 1 << 62
	if _, err := io.Copy(again.file, io.NewSectionReader(f.file, 0, all)); err != nil {
		again.file.Close()
		os.Remove(f.path)
		return err
	}
	f.file.Close() // nobody can find what is in it
	f.file = again.file
	return nil
}

// close makes a last attempt, and hands the file to the disk.
func (f *bookFile) close() error {
	return cmp.Or(f.check(), f.file.Sync(), f.file.Close())
}

// diskFault is what to do about a trouble with a file, and the trouble without
// its long path.
func diskFault(err error) (todo string, what error) {
	todo = "make the folder writable again"
	switch {
	case errors.Is(err, syscall.ENOSPC), errors.Is(err, syscall.EDQUOT), errors.Is(err, syscall.EFBIG):
		todo = "make room on the disk"
	case errors.Is(err, fs.ErrNotExist), errors.Is(err, syscall.ENOTDIR):
		todo = "put the book's folder back"
	}
	var pe *fs.PathError
	if errors.As(err, &pe) {
		err = pe.Err
	}
	return todo, err
}
