package rig

import (
	"fmt"
	"math"
	"time"

	"ebbline/decay"
)

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

// board is a rig with its script and its line format; time comes in steps.
type board struct {
	cfg    Config
	rig    *Rig
	script *Script // nil: the valves are worked by hand
	stage  int     // of the script: 0 ready, 1 fill, 2 hold, 3 release, 4 over
	since  time.Duration
	now    time.Duration
}

func newBoard(c Config, s *Script) *board { return &board{cfg: c, rig: New(c), script: s} }

// step goes on by d and returns the line the board prints then, and its value
// as printed. more is false when the script is over.
func (b *board) step(d time.Duration) (line string, g decay.Gauge, more bool) {
	b.follow()
	if b.script != nil && b.stage == 4 {
		return "", 0, false
	}
	b.rig.Advance(d)
	b.now += d
	// Zero is added so that no "-0.000" is printed.
	shown := math.Round(float64(b.rig.Read())/decay.PSI*1000)/1000 + 0
	line = fmt.Sprintf("%d,%.3f", b.now.Milliseconds(), shown)
	return line, decay.Gauge(shown * decay.PSI), true
}

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
		full := b.rig.Pressure().Gauge(b.cfg.Ambient) >= 0.98*b.cfg.Supply
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
