package main

import (
	"runtime/debug"
	"testing"
)

func TestVersionTellsWhatWasBuilt(t *testing.T) {
	vcs := []debug.BuildSetting{
		{Key: "GOOS", Value: "linux"}, {Key: "GOARCH", Value: "arm"},
		{Key: "vcs.revision", Value: "0123456789abcdef0123"}, {Key: "vcs.time", Value: "2026-11-25T23:30:00-01:00"},
	}
	changed := append(vcs[:4:4], debug.BuildSetting{Key: "vcs.modified", Value: "true"})
	for _, c := range []struct {
		version  string
		settings []debug.BuildSetting
		want     string
	}{
		{"v1.2.3", vcs, "v1.2.3, commit 0123456789ab of 2026-11-26 00:30:00 UTC; go1.26 linux/arm"},
		{"v1.2.3+dirty", changed, "v1.2.3+dirty, commit 0123456789ab of 2026-11-26 00:30:00 UTC, tree modified; go1.26 linux/arm"},
		{"", vcs[:2], "(devel), built without its commit; go1.26 linux/arm"},
		{"v1.2.3", vcs[:2], "v1.2.3; go1.26 linux/arm"}, // as a module, whose version says it all
		{"(devel)", vcs[:3], "(devel), commit 0123456789ab; go1.26 linux/arm"},
	} {
		info := &debug.BuildInfo{GoVersion: "go1.26", Main: debug.Module{Version: c.version}, Settings: c.settings}
		if got := versionOf(info); got != c.want {
			t.Errorf("got  %s\nwant %s", got, c.want)
		}
	}
}
