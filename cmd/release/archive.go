package main

import (
	"archive/tar"
	"archive/zip"
	"bytes"
	"cmp"
	"compress/gzip"
	"debug/elf"
	"errors"
	"fmt"
	"io/fs"
	"slices"
	"time"
)

// file is one file of an archive.
type file struct {
	name    string // with slashes, in the archive's folder
	data    []byte
	program bool // may be run
}

func (f file) mode() fs.FileMode {
	if f.program {
		return 0o755
	}
	return 0o644
}

// pack puts the files into one folder of an archive, sorted and all of one time,
// so that the same files give the same bytes.
func pack(files []file, folder string, when time.Time, form func([]file, time.Time) ([]byte, error)) ([]byte, error) {
	files = slices.Clone(files)
	slices.SortFunc(files, func(a, b file) int { return cmp.Compare(a.name, b.name) })
	for i := range files {
		files[i].name = folder + "/" + files[i].name
		if i > 0 && files[i].name == files[i-1].name {
			return nil, fmt.Errorf("two files are called %s", files[i].name)
		}
	}
	return form(files, when.UTC().Truncate(time.Second))
}

// tarred packs as .tar.gz, owned by nobody in particular.
func tarred(files []file, when time.Time) ([]byte, error) {
	var out bytes.Buffer
	z, err := gzip.NewWriterLevel(&out, gzip.BestCompression)
	if err != nil {
		return nil, err
	}
	w := tar.NewWriter(z)
	for _, f := range files {
		if err := w.WriteHeader(&tar.Header{Typeflag: tar.TypeReg, Name: f.name, Size: int64(len(f.data)), Mode: int64(f.mode()), ModTime: when}); err != nil {
			return nil, err
		}
		if _, err := w.Write(f.data); err != nil {
			return nil, err
		}
	}
	err = errors.Join(w.Close(), z.Close())
	return out.Bytes(), err
}

// zipped packs as .zip.
func zipped(files []file, when time.Time) ([]byte, error) {
	var out bytes.Buffer
	w := zip.NewWriter(&out)
	for _, f := range files {
		h := &zip.FileHeader{Name: f.name, Method: zip.Deflate, Modified: when}
		h.SetMode(f.mode())
		part, err := w.CreateHeader(h)
		if err != nil {
			return nil, err
		}
		if _, err := part.Write(f.data); err != nil {
			return nil, err
		}
	}
	err := w.Close()
	return out.Bytes(), err
}

// needsOnlyAKernel refuses a Linux program that a loader or a library has to be
// found for.
func needsOnlyAKernel(program string) error {
	f, err := elf.Open(program)
	if err != nil {
		return err
	}
	defer f.Close()
	for _, p := range f.Progs {
		if p.Type == elf.PT_INTERP {
			return fmt.Errorf("%s needs a loader on the machine that runs it: build it with CGO_ENABLED=0", program)
		}
	}
	needs, err := f.ImportedLibraries()
	if err == nil && len(needs) > 0 {
		err = fmt.Errorf("%s needs the libraries %v: build it with CGO_ENABLED=0", program, needs)
	}
	return err
}
