package profile

import (
	"errors"
	"fmt"
	"io"
	"io/fs"
	"os"
	"path/filepath"
	"runtime"
)

// Path is where the profiles are kept: the file that EBBLINE_PROFILES names,
// else ebbline/profiles.toml in the user's configuration folder.
func Path() (string, error) {
	if p := os.Getenv("EBBLINE_PROFILES"); p != "" {
		return p, nil
	}
	dir, err := os.UserConfigDir()
	if err != nil {
		return "", fmt.Errorf("no folder for profiles: %w", err)
	}
	return filepath.Join(dir, "ebbline", "profiles.toml"), nil
}

// Load reads a profile file. One that is not there holds no profiles.
func Load(path string) (*Set, error) {
	f, err := os.Open(path)
	if errors.Is(err, fs.ErrNotExist) {
		return &Set{}, nil
	}
	if err != nil {
		return nil, &Error{File: path, Msg: "cannot be read: " + cause(err), Hint: "check its permissions"}
	}
	defer f.Close()
	data, err := io.ReadAll(io.LimitReader(f, maxSize+1))
	if err != nil {
		return nil, &Error{File: path, Msg: "cannot be read: " + cause(err)}
	}
	return Parse(path, data)
}

// Update reads the file, puts p into it and writes it back in one step, so
// that a reader sees the old file or the new one and never half of one. Only
// the user may read the file. It returns the set as written.
func Update(path string, p *Profile, makeDefault bool) (*Set, error) {
	// A file that is a link stays one.
	if real, err := filepath.EvalSymlinks(path); err == nil {
		path = real
	}
	s, err := Load(path)
	if err != nil {
		return nil, err
	}
	if err := s.Put(p, makeDefault); err != nil {
		return nil, err
	}
	if err := os.MkdirAll(filepath.Dir(path), 0o700); err != nil {
		return nil, &Error{File: path, Msg: "its folder cannot be made: " + cause(err), Hint: "check the permissions of the folder above it"}
	}
	if err := writeAtomic(path, s.text); err != nil {
		return nil, &Error{File: path, Msg: "cannot be written: " + cause(err), Hint: "check the permissions of its folder and the room on the disk"}
	}
	return s, nil
}

// writeAtomic puts data in place of the file at path.
func writeAtomic(path string, data []byte) (err error) {
	dir := filepath.Dir(path)
	f, err := os.CreateTemp(dir, ".profiles-*") // made with mode 0600
	if err != nil {
		return err
	}
	defer func() {
		if err != nil {
			f.Close()
			os.Remove(f.Name())
		}
	}()
	if _, err = f.Write(data); err != nil {
		return err
	}
	if err = f.Sync(); err != nil {
		return err
	}
	if err = f.Close(); err != nil {
		return err
	}
	if err = os.Rename(f.Name(), path); err != nil {
		return err
	}
	if runtime.GOOS == "windows" {
		return nil // folders cannot be synced there
	}
	// The name, too, has to reach the disk.
	d, err := os.Open(dir)
	if err != nil {
		return err
	}
	return errors.Join(d.Sync(), d.Close())
}

// cause is an error without the path, which is told beside it.
func cause(err error) string {
	var pe *fs.PathError
	if errors.As(err, &pe) {
		return pe.Err.Error()
	}
	var le *os.LinkError
	if errors.As(err, &le) {
		return le.Err.Error()
	}
	return err.Error()
}
