package main

import (
	"debug/buildinfo"
	_ "embed"
	"fmt"
	"io/fs"
	"os"
	"path/filepath"
	"regexp"
	"slices"
	"strings"
)

var (
	// licenceName are the files that state what a work may be used for.
	licenceName = regexp.MustCompile(`(?i)^(un)?licen[cs]e|^copying`)
	// noticeName are files and folders that have to go with a licence.
	noticeName = regexp.MustCompile(`(?i)^notice|^patents|^third.?party`)
)

//go:embed go-localereader.txt
var localereader []byte

// stated are the licences of versions that were published without the file.
var stated = map[string][]byte{"github.com/mattn/go-localereader@v0.0.1": localereader}

// licences are the texts of all that is linked into the program which the go
// command builds in the folder tree: of Go itself and of every module. A module
// without one is an error.
func licences(tree string, env []string, program string) ([]file, error) {
	goroot, err := run(tree, env, "go", "env", "GOROOT")
	if err != nil {
		return nil, err
	}
	out, err := licenceOf("go", goroot, goroot)
	if err != nil {
		return nil, err
	}
	list, err := run(tree, env, "go", "list", "-deps", "-f",
		`{{with .Module}}{{if not .Main}}{{.Path}}@{{.Version}}{{"\t"}}{{.Dir}}{{"\t"}}{{$.Dir}}{{end}}{{end}}`, "./cmd/ebbline")
	if err != nil {
		return nil, err
	}
	folders := map[string][]string{} // of the linked packages, after that of their module
	for line := range strings.Lines(list) {
		module, dirs, ok := strings.Cut(strings.TrimSuffix(line, "\n"), "\t")
		if !ok {
			continue // of Go or of this module
		}
		folders[module] = append(folders[module], strings.Split(dirs, "\t")...)
	}
	info, err := buildinfo.ReadFile(program)
	if err != nil {
		return nil, err
	}
	for _, d := range info.Deps {
		dirs := folders[d.Path+"@"+d.Version]
		if dirs == nil {
			return nil, fmt.Errorf("%s@%s is in the program, but not in go list", d.Path, d.Version)
		}
		texts, err := licenceOf(d.Path+"@"+d.Version, dirs[0], dirs...)
		if err != nil {
			return nil, err
		}
		out = append(out, texts...)
	}
	return out, nil
}

// licenceOf are the texts of one module, whose folder is root: those beside its
// packages and in each folder above them.
func licenceOf(module, root string, packages ...string) ([]file, error) {
	looked := map[string]bool{}
	var out []file
	found := false
	for _, dir := range packages {
		for ; !looked[dir]; dir = filepath.Dir(dir) {
			looked[dir] = true
			entries, err := os.ReadDir(dir)
			if err != nil {
				return nil, err
			}
			for _, e := range entries {
				is := licenceName.MatchString(e.Name()) && !e.IsDir()
				if strings.HasSuffix(e.Name(), ".go") || !is && !noticeName.MatchString(e.Name()) {
					continue
				}
				texts, err := below(module, root, filepath.Join(dir, e.Name()))
				if err != nil {
					return nil, err
				}
				out, found = append(out, texts...), found || is
			}
			if dir == root {
				break
			}
		}
	}
	if text := stated[module]; !found && text != nil {
		return append(out, file{name: "licences/" + module + "/LICENSE", data: text}), nil
	}
	if !found {
		return nil, fmt.Errorf("%s has no licence file in %s: take another version of it, or state its licence in cmd/release/licences.go", module, root)
	}
	slices.SortFunc(out, func(a, b file) int { return strings.Compare(a.name, b.name) })
	return out, nil
}

// below are a file, or all files in a folder, under the module's name.
func below(module, root, name string) ([]file, error) {
	var out []file
	err := filepath.WalkDir(name, func(name string, d fs.DirEntry, err error) error {
		if err != nil || d.IsDir() {
			return err
		}
		rel, err := filepath.Rel(root, name)
		if err != nil {
			return err
		}
		b, err := os.ReadFile(name)
		out = append(out, file{name: "licences/" + module + "/" + filepath.ToSlash(rel), data: b})
		return err
	})
	return out, err
}
