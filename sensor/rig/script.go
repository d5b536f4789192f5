package rig

import "time"

// Script works the valves by itself: a test from ready to release.
type Script struct {
	Ready   time.Duration // at ambient before the fill
	FillMax time.Duration // the fill ends at 98 % of the supply, or after this
	Hold    time.Duration
	Release time.Duration
	Repeat  bool // start over after the release, else end
}

// DefaultScript is one ordinary test.
func DefaultScript() Script {
	return Script{Ready: 3 * time.Second, FillMax: 20 * time.Second, Hold: 45 * time.Second, Release: 8 * time.Second}
}

// follow works the valves as the script says.
func (b *board) follow() {
	s := b.script
	if s == nil {
		return
	}
	in := b.now - b.since
	next := false
	switch b.stage {
	case 0:
		if next = in >= s.Ready; next {
			b.rig.Fill()
		}
	case 1:
		full := b.rig.Pressure().Gauge(b.rig.cfg.Ambient) >= 0.98*b.rig.cfg.Supply
		if next = full || in >= s.FillMax; next {
			b.rig.Isolate()
		}
	case 2:
		if next = in >= s.Hold; next {
			b.rig.Release()
		}
	case 3:
		if next = in >= s.Release; next && s.Repeat {
			b.rig.Isolate()
			b.stage, b.since = 0, b.now
			return
		}
	}
	if next {
		b.stage, b.since = b.stage+1, b.now
	}
}
