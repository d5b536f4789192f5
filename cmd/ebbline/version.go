package main

import (
	"runtime/debug"
	"strings"
	"time"
)

// version says what the program was built from.
func version() string {
	info, ok := debug.ReadBuildInfo()
	if !ok {
		return "(devel), built without module information"
	}
	return versionOf(info)
}

// versionOf is the module's version, the commit with its date and whether the
// tree was changed since, and what built it for which system.
func versionOf(info *debug.BuildInfo) string {
	built := map[string]string{}
	for _, s := range info.Settings {
		built[s.Key] = s.Value
	}
	out := info.Main.Version
	if out == "" {
		out = "(devel)"
	}
	switch revision := built["vcs.revision"]; {
	case revision != "":
		out += ", commit " + revision[:min(12, len(revision))] + dateOf(built["vcs.time"], " of ", "2006-01-02 15:04:05 UTC")
		if built["vcs.modified"] == "true" {
			out += ", tree modified"
		}
	case strings.HasPrefix(out, "("):
		out += ", built without its commit"
	}
	return out + "; " + info.GoVersion + " " + built["GOOS"] + "/" + built["GOARCH"]
}

// dateOf is the time of a commit in UTC after the word before, or nothing.
func dateOf(text, before, layout string) string {
	t, err := time.Parse(time.RFC3339, text)
	if err != nil {
		return ""
	}
	return before + t.UTC().Format(layout)
}
