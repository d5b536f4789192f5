package sensor

import (
	"path/filepath"
	"slices"
	"strings"
)

// byIDFolder is where Linux keeps a link for each serial device that is named
// after the device, and so is the same wherever it is plugged in.
const byIDFolder = "/dev/serial/by-id"

// identity is what is known of a device while it is plugged in, so that it can
// be found again under another name.
type identity struct {
	name string   // it was opened by
	info PortInfo // as the system listed it; zero when it did not
	link string   // in byIDFolder; "" when there is none
	kin  []string // names that differ by their number only, and were there
}

// remember takes down what is known of the device that is open under a name.
func remember(name string, list []PortInfo, folder string) identity {
	id := identity{name: name, kin: kin(name)}
	real := name
	if r, err := filepath.EvalSymlinks(name); err == nil {
		real = r
	}
	for _, p := range list {
		if p.Name == real || p.Name == name {
			id.info = p
		}
	}
	links, _ := filepath.Glob(filepath.Join(folder, "*")) // the pattern is sound
	for _, l := range links {
		if r, err := filepath.EvalSymlinks(l); err == nil && r == real && l != name {
			id.link = l
		}
	}
	return id
}

// kin lists the names that are there now and differ from name by the number at
// its end only, name itself among them.
func kin(name string) []string {
	stem := strings.TrimRight(name, "0123456789")
	if stem == "" || strings.ContainsAny(stem, `*?[\`) {
		return nil
	}
	found, _ := filepath.Glob(stem + "*")
	return slices.DeleteFunc(found, func(s string) bool {
		return strings.Trim(s[len(stem):], "0123456789") != ""
	})
}

// candidates are the names under which the device may be back, the surest
// first: its own, unless another device has that now; its link by identity; the
// one port with the same USB identity; and, for a device that the system tells
// nothing of, the one port of its kind that was not there before.
func (id identity) candidates(list []PortInfo, now []string) []string {
	var out []string
	known := id.info.VID != ""
	taken := false
	var same []string
	for _, p := range list {
		if known && p.VID == id.info.VID && p.PID == id.info.PID && p.Serial == id.info.Serial {
			same = append(same, p.Name)
		} else if known && p.VID != "" && p.Name == id.info.Name {
			taken = true
		}
	}
	if !taken {
		out = append(out, id.name)
	}
	if id.link != "" {
		out = append(out, id.link)
	}
	// Two devices without a serial number cannot be told apart.
	if len(same) == 1 && same[0] != id.name {
		out = append(out, same[0])
	}
	if !known {
		fresh := slices.DeleteFunc(slices.Clone(now), func(s string) bool { return slices.Contains(id.kin, s) })
		if len(fresh) == 1 && fresh[0] != id.name {
			out = append(out, fresh[0])
		}
	}
	return out
}

// other reports whether the system says that another device than this has a
// name now.
func (id identity) other(name string, list []PortInfo) bool {
	if id.info.VID == "" {
		return false
	}
	if r, err := filepath.EvalSymlinks(name); err == nil {
		name = r
	}
	for _, p := range list {
		if p.Name == name && p.VID != "" && (p.VID != id.info.VID || p.PID != id.info.PID || p.Serial != id.info.Serial) {
			return true
		}
	}
	return false
}
