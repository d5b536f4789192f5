package main

import (
	"errors"
	"io"
	"io/fs"
	"os"
	"path/filepath"
)

// putFile writes a file that was asked for by name: it is there when all of it
// is, and the user alone may read it. A pipe or a device is written to; a link is
// replaced, and what it points to left alone. A record or a capture, which may be
// a test's only proof, is never written over.
func putFile(name string, write func(*os.File) error) error {
	const hint = "name a file in a folder you may write to, on a disk with room"
	st, err := os.Stat(name)
	switch {
	case err == nil && st.IsDir():
		return wrong("name a file in it", "%s: is a folder", name)
	case err == nil && !st.Mode().IsRegular():
		err = into(name, write)
	case err == nil && isProof(name):
		return wrong("give what is written a name of its own", "%s is a record or a capture, which is not written over", name)
	default:
		err = replace(name, write)
	}
	if err != nil {
		var pe *fs.PathError
		if errors.As(err, &pe) {
			err = pe.Err
		}
		return wrong(hint, "%s: %w", name, err)
	}
	return nil
}

// isProof tells of a file that begins as records and captures do.
func isProof(name string) bool {
	f, err := os.Open(name)
	if err != nil {
		return false
	}
	defer f.Close()
	head := make([]byte, len("ebbline-"))
	n, _ := io.ReadFull(f, head)
	return string(head[:n]) == "ebbline-"
}

// into writes to what is there already.
func into(name string, write func(*os.File) error) error {
	f, err := os.OpenFile(name, os.O_WRONLY, 0)
	if err != nil {
		return err
	}
	return errors.Join(write(f), f.Close())
}

// replace writes a file beside the old one and puts it in its place. The user
// alone may read it.
func replace(name string, write func(*os.File) error) error {
	f, err := os.CreateTemp(filepath.Dir(name), ".ebbline-*") // made with mode 0600
	if err != nil {
		return err
	}
	err = errors.Join(write(f), f.Sync(), f.Close())
	if err == nil {
		err = os.Rename(f.Name(), name)
	}
	if err != nil {
		os.Remove(f.Name())
	}
	return err
}
