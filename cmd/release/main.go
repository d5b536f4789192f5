// Release builds the archives that are handed out, one for each system, and
// the checksums over them. What it builds is the last commit, not the work
// tree, and the same commit gives the same bytes with the same Go in any folder.
//
//	go run ./cmd/release [-o dist] [-only linux/amd64,windows/amd64]
package main

import (
	"bytes"
	"crypto/sha256"
	"debug/buildinfo"
	"flag"
	"fmt"
	"os"
	"os/exec"
	"path/filepath"
	"runtime"
	"slices"
	"strings"
	"time"
)

// targets are the systems that archives are made for, as GOOS/GOARCH.
var targets = []string{"linux/amd64", "linux/arm64", "linux/arm", "windows/amd64", "windows/arm64", "darwin/arm64", "darwin/amd64"}

// sums is the file of checksums beside the archives.
const sums = "SHA256SUMS"

func main() {
	out := flag.String("o", "dist", "folder that the archives are written to")
	only := flag.String("only", strings.Join(targets, ","), "systems to build for")
	flag.Parse()
	if err := release(*out, strings.Split(*only, ",")); err != nil {
		fmt.Fprintln(os.Stderr, "release: error:", err)
		os.Exit(1)
	}
}

// release builds the last commit for each target into the folder out.
func release(out string, only []string) error {
	for _, t := range only {
		if !slices.Contains(targets, t) {
			return fmt.Errorf("-only: there is no target %q (known: %s)", t, strings.Join(targets, ", "))
		}
	}
	if err := os.MkdirAll(out, 0o755); err != nil {
		return err
	}
	if changed, err := run(".", nil, "git", "status", "--porcelain"); err != nil {
		return err
	} else if changed != "" {
		fmt.Fprintln(os.Stderr, "release: what is not committed is left out; git status names it")
	}
	tmp, err := os.MkdirTemp("", "ebbline-release")
	if err != nil {
		return err
	}
	defer os.RemoveAll(tmp)
	s := source{tree: filepath.Join(tmp, "tree"), tmp: tmp}
	if err := s.clone(); err != nil {
		return err
	}
	common, err := s.documents()
	if err != nil {
		return err
	}
	fmt.Printf("ebbline %s, commit %s\n", s.version, s.commit)
	var list bytes.Buffer
	for _, t := range only {
		name, archive, err := s.archive(t, common)
		if err != nil {
			return fmt.Errorf("%s: %w", t, err)
		}
		if err := os.WriteFile(filepath.Join(out, name), archive, 0o644); err != nil {
			return err
		}
		fmt.Fprintf(&list, "%x  %s\n", sha256.Sum256(archive), name)
		fmt.Printf("%s  %.1f MB\n", filepath.Join(out, name), float64(len(archive))/1e6)
	}
	return os.WriteFile(filepath.Join(out, sums), list.Bytes(), 0o644)
}

// source is a clone of the last commit.
type source struct {
	tree, tmp string
	commit    string
	when      time.Time // of the commit
	version   string    // as the program says it
}

func (s *source) clone() error {
	top, err := run(".", nil, "git", "rev-parse", "--show-toplevel")
	if err != nil {
		return err
	}
	if s.commit, err = run(".", nil, "git", "rev-parse", "HEAD"); err != nil {
		return err
	}
	// Line ends as they were committed, whatever the machine's git is set to.
	if _, err := run(s.tmp, nil, "git", "clone", "-q", "--no-checkout", "-c", "core.autocrlf=false", top, s.tree); err != nil {
		return err
	}
	if _, err := run(s.tree, nil, "git", "checkout", "-q", "--detach", s.commit); err != nil {
		return err
	}
	when, err := run(s.tree, nil, "git", "show", "-s", "--format=%cI", "HEAD")
	if err != nil {
		return err
	}
	s.when, err = time.Parse(time.RFC3339, when)
	return err
}

// documents are the files that every archive holds. Those that follow from the
// commands are asked of a program for this machine.
func (s *source) documents() ([]file, error) {
	program, err := s.build(runtime.GOOS + "/" + runtime.GOARCH)
	if err != nil {
		return nil, err
	}
	info, err := buildinfo.ReadFile(program)
	if err != nil {
		return nil, err
	}
	s.version = info.Main.Version
	var out []file
	for _, name := range []string{"README.md", "LICENSE"} {
		b, err := os.ReadFile(filepath.Join(s.tree, name))
		if err != nil {
			return nil, err
		}
		out = append(out, file{name: name, data: b})
	}
	for _, g := range []struct {
		name string
		args []string
	}{
		{"completions/ebbline.bash", []string{"completion", "bash"}},
		{"completions/_ebbline", []string{"completion", "zsh"}},
		{"completions/ebbline.fish", []string{"completion", "fish"}},
		{"completions/ebbline.ps1", []string{"completion", "powershell"}},
		{"man/ebbline.1", []string{"man"}},
	} {
		text, err := run(s.tmp, nil, program, g.args...)
		if err != nil {
			return nil, err
		}
		out = append(out, file{name: g.name, data: []byte(text + "\n")})
	}
	return out, nil
}

// environment is what the go command needs to build for a target: nothing of
// this machine's settings may change the bytes.
func environment(target string) []string {
	system, arch, _ := strings.Cut(target, "/")
	return append(os.Environ(), "CGO_ENABLED=0", "GOOS="+system, "GOARCH="+arch,
		"GOAMD64=v1", "GOARM=7", "GOARM64=v8.0", "GOFLAGS=", "GOEXPERIMENT=", "GOFIPS140=off", "GOWORK=off")
}

// build makes the program for a target and returns its path.
func (s *source) build(target string) (string, error) {
	program := filepath.Join(s.tmp, strings.ReplaceAll(target, "/", "-"), "ebbline")
	if strings.HasPrefix(target, "windows/") {
		program += ".exe"
	}
	if _, err := run(s.tree, environment(target), "go", "build", "-trimpath", "-buildvcs=true", "-ldflags=-s -w", "-o", program, "./cmd/ebbline"); err != nil {
		return "", err
	}
	info, err := buildinfo.ReadFile(program)
	if err != nil {
		return "", err
	}
	built := map[string]string{}
	for _, set := range info.Settings {
		built[set.Key] = set.Value
	}
	if built["vcs.revision"] != s.commit || built["vcs.modified"] != "false" {
		return "", fmt.Errorf("the program says it is of commit %q (modified: %q), not %s: look at the tree %s", built["vcs.revision"], built["vcs.modified"], s.commit, s.tree)
	}
	if strings.HasPrefix(target, "linux/") {
		if err := needsOnlyAKernel(program); err != nil {
			return "", err
		}
	}
	return program, nil
}

// archive builds for a target and packs what belongs to it.
func (s *source) archive(target string, common []file) (name string, packed []byte, err error) {
	program, err := s.build(target)
	if err != nil {
		return "", nil, err
	}
	b, err := os.ReadFile(program)
	if err != nil {
		return "", nil, err
	}
	texts, err := licences(s.tree, environment(target), program)
	if err != nil {
		return "", nil, err
	}
	name = "ebbline-" + s.version + "-" + strings.ReplaceAll(target, "/", "-")
	if target == "linux/arm" {
		name += "v7"
	}
	files := append(slices.Concat(common, texts), file{name: filepath.Base(program), data: b, program: true})
	if strings.HasPrefix(target, "windows/") {
		packed, err = pack(files, name, s.when, zipped)
		return name + ".zip", packed, err
	}
	packed, err = pack(files, name, s.when, tarred)
	return name + ".tar.gz", packed, err
}

// run returns what a command prints, without its last line end.
func run(folder string, env []string, name string, args ...string) (string, error) {
	cmd := exec.Command(name, args...)
	cmd.Dir, cmd.Env = folder, env
	var out, trouble bytes.Buffer
	cmd.Stdout, cmd.Stderr = &out, &trouble
	if err := cmd.Run(); err != nil {
		return "", fmt.Errorf("%s: %w\n%s", cmd, err, trouble.String())
	}
	return strings.TrimSuffix(out.String(), "\n"), nil
}
