package main

import (
	"archive/tar"
	"archive/zip"
	"bytes"
	"compress/gzip"
	"io"
	"os"
	"path/filepath"
	"runtime"
	"slices"
	"strings"
	"testing"
	"time"
)

var (
	sample = []file{{name: "README.md", data: []byte("read")}, {name: "ebbline", data: []byte("run"), program: true}, {name: "man/ebbline.1", data: []byte("man")}}
	when   = time.Date(2026, 1, 31, 12, 0, 1, 7, time.FixedZone("", 3600))
)

// The order of the files and the zone of the machine change no byte.
func TestTheSameFilesGiveTheSameBytes(t *testing.T) {
	other := slices.Clone(sample)
	slices.Reverse(other)
	for name, form := range map[string]func([]file, time.Time) ([]byte, error){"tar": tarred, "zip": zipped} {
		a, errA := pack(sample, "ebbline-v1", when, form)
		b, errB := pack(other, "ebbline-v1", when.UTC(), form)
		if errA != nil || errB != nil || !bytes.Equal(a, b) {
			t.Errorf("%s: two archives of the same files differ (%v, %v)", name, errA, errB)
		}
	}
	if _, err := pack(append(other, other[0]), "ebbline-v1", when, tarred); err == nil {
		t.Error("two files of one name were packed")
	}
}

func TestArchivesHoldTheFiles(t *testing.T) {
	b, err := pack(sample, "ebbline-v1", when, tarred)
	if err != nil {
		t.Fatal(err)
	}
	z, err := gzip.NewReader(bytes.NewReader(b))
	if err != nil {
		t.Fatal(err)
	}
	var got []string
	for r := tar.NewReader(z); ; {
		h, err := r.Next()
		if err == io.EOF {
			break
		}
		if err != nil {
			t.Fatal(err)
		}
		text, err := io.ReadAll(r)
		if err != nil {
			t.Fatal(err)
		}
		if !h.ModTime.Equal(when.Truncate(time.Second)) || h.Uid != 0 || h.Gid != 0 || h.Uname != "" {
			t.Errorf("%s: time %v, owner %d:%d %q", h.Name, h.ModTime, h.Uid, h.Gid, h.Uname)
		}
		got = append(got, h.FileInfo().Mode().String()+" "+h.Name+" "+string(text))
	}
	want := []string{"-rw-r--r-- ebbline-v1/README.md read", "-rwxr-xr-x ebbline-v1/ebbline run", "-rw-r--r-- ebbline-v1/man/ebbline.1 man"}
	if !slices.Equal(got, want) {
		t.Errorf("tar: got %q, want %q", got, want)
	}
	if b, err = pack(sample, "ebbline-v1", when, zipped); err != nil {
		t.Fatal(err)
	}
	r, err := zip.NewReader(bytes.NewReader(b), int64(len(b)))
	if err != nil {
		t.Fatal(err)
	}
	got = nil
	for _, f := range r.File {
		in, err := f.Open()
		if err != nil {
			t.Fatal(err)
		}
		text, err := io.ReadAll(in)
		if err != nil {
			t.Fatal(err)
		}
		if !f.Modified.Equal(when.Truncate(time.Second)) {
			t.Errorf("%s: time %v", f.Name, f.Modified)
		}
		got = append(got, f.Mode().String()+" "+f.Name+" "+string(text))
	}
	if !slices.Equal(got, want) {
		t.Errorf("zip: got %q, want %q", got, want)
	}
}

// A linked module without a licence stops the release; one below a package, a
// notice and other people's licences are taken along.
func TestEveryModuleHasItsLicence(t *testing.T) {
	dir := t.TempDir()
	write := func(name string) {
		name = filepath.Join(dir, name)
		if err := os.MkdirAll(filepath.Dir(name), 0o755); err != nil {
			t.Fatal(err)
		}
		if err := os.WriteFile(name, []byte("text"), 0o644); err != nil {
			t.Fatal(err)
		}
	}
	deep := filepath.Join(dir, "a/b")
	for _, name := range []string{"NOTICE", "licence.go", "a/b/b.go", "other/LICENSE"} {
		write(name)
	}
	if _, err := licenceOf("example.test/m@v1", dir, deep); err == nil || !strings.Contains(err.Error(), "example.test/m@v1 has no licence file") {
		t.Errorf("a module without a licence: %v", err)
	}
	for _, name := range []string{"LICENCE.txt", "THIRD_PARTY_LICENSES/Other", "a/b/COPYING"} {
		write(name)
	}
	got, err := licenceOf("example.test/m@v1", dir, deep, deep)
	if err != nil {
		t.Fatal(err)
	}
	var names []string
	for _, f := range got {
		names = append(names, strings.TrimPrefix(f.name, "licences/example.test/m@v1/"))
	}
	if want := []string{"LICENCE.txt", "NOTICE", "THIRD_PARTY_LICENSES/Other", "a/b/COPYING"}; !slices.Equal(names, want) {
		t.Errorf("got %q, want %q", names, want)
	}
	for module := range stated { // which has to be needed still
		name, version, _ := strings.Cut(module, "@")
		if v, err := run(".", nil, "go", "list", "-m", "-f", "{{.Version}}", name); err != nil || v != version {
			t.Errorf("a licence is stated for %s, and %q is what is linked (%v)", module, v, err)
		}
	}
}

func TestNeedsOnlyAKernel(t *testing.T) {
	if runtime.GOOS != "linux" {
		return
	}
	dir := t.TempDir()
	if err := os.WriteFile(filepath.Join(dir, "x.go"), []byte("package main\n\nfunc main() {}\n"), 0o644); err != nil {
		t.Fatal(err)
	}
	program := filepath.Join(dir, "x")
	if _, err := run(dir, append(os.Environ(), "CGO_ENABLED=0"), "go", "build", "-o", program, "x.go"); err != nil {
		t.Fatal(err)
	}
	if err := needsOnlyAKernel(program); err != nil {
		t.Error(err)
	}
	if err := needsOnlyAKernel("/bin/sh"); err == nil || !strings.Contains(err.Error(), "needs a loader") {
		t.Errorf("a program with a loader: %v", err)
	}
}

func TestUnknownTarget(t *testing.T) {
	if err := release(t.TempDir(), []string{"plan9/amd64"}); err == nil || !strings.Contains(err.Error(), "no target") {
		t.Error(err)
	}
}
