package main

import "runtime/debug"

// version is the module's version, or the revision it was built from.
func version() string {
	info, ok := debug.ReadBuildInfo()
	if !ok {
		return "unknown"
	}
	v, revision, changed := info.Main.Version, "", ""
	for _, s := range info.Settings {
		switch {
		case s.Key == "vcs.revision":
			revision = s.Value
		case s.Key == "vcs.modified" && s.Value == "true":
			changed = ", changed"
		}
	}
	if v == "" {
		v = "(devel)"
	}
	if revision != "" {
		v += " (" + revision[:min(12, len(revision))] + changed + ")"
	}
	return v + " " + info.GoVersion
}
