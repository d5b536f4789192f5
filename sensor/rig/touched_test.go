package rig_test

import (
	"bytes"
	"slices"
	"testing"
	"time"

	"ebbline/decay"
	"ebbline/decay/record"
	"ebbline/sensor/rig"
	"ebbline/sensor/trace"
)

// advance lets the rig run for a time, and gives each reading to the procedure,
// with a look five times a second, and to keep.
func advance(r *rig.Rig, p *decay.Procedure, cfg rig.Config, at *time.Duration, long time.Duration, keep func(decay.Sample)) {
	for end := *at + long; *at < end; *at += 20 * time.Millisecond {
		r.Advance(20 * time.Millisecond)
		s := decay.Sample{At: *at, P: r.Read().Absolute(cfg.Ambient)}
		keep(s)
		p.Step(decay.Taken{Sample: s})
		if *at%(200*time.Millisecond) == 0 {
			p.Step(decay.Look{At: *at})
		}
	}
}

// A joint that is mended in the hold does not change what the hold told: the
// answer at the end, in the record and when the record is judged again is that
// of the readings before.
func TestTouchedHoldKeepsItsAnswer(t *testing.T) {
	cfg := rig.Default()
	cfg.Hole = decay.Millimetre
	set := decay.Setup{Volume: cfg.Volume, Ambient: cfg.Ambient}
	r, p := rig.New(cfg), decay.NewProcedure(set)
	var b bytes.Buffer
	w, err := record.NewWriter(&b, record.Record{Program: "test", Setup: set})
	if err != nil {
		t.Fatal(err)
	}
	at := 3 * time.Second // a record's times need not begin at zero
	run := func(long time.Duration) { advance(r, p, cfg, &at, long, w.Add) }
	run(3 * time.Second)
	r.Fill()
	run(6 * time.Second)
	r.Isolate()
	run(25 * time.Second)
	if v := p.State().Verdict; v != decay.Leaks {
		t.Fatalf("a hole of 1 mm: %v", v)
	}
	for range 2 { // the second says nothing new
		p.Step(decay.Touched{At: at})
		if err := r.SetHole(0.1 * decay.Millimetre); err != nil {
			t.Fatal(err)
		}
		run(10 * time.Second)
	}
	during := p.State().Result
	r.Release()
	run(6 * time.Second)
	p.Step(decay.Finish{At: at})
	end := p.State().Result
	if err := w.Finish(end); err != nil {
		t.Fatal(err)
	}
	tr, err := trace.Read(&b, "touched", trace.Options{})
	if err != nil || tr.Setup == nil {
		t.Fatal(err)
	}
	again := decay.Analyse(*tr.Setup, tr.Samples)
	for name, got := range map[string]decay.Result{"in the hunt": during, "at the end": end, "judged again": again} {
		if got.Outcome != decay.Leaks || got.Touched == 0 || got.Hole.Low > decay.Millimetre || got.Hole.High < decay.Millimetre {
			t.Errorf("%s: %v, hole %.3f mm (%.3f to %.3f), touched at %v", name, got.Outcome, got.Hole.Value/decay.Millimetre, got.Hole.Low/decay.Millimetre, got.Hole.High/decay.Millimetre, got.Touched)
		}
	}
	if d := again.Hole.Value/end.Hole.Value - 1; d > 1e-4 || d < -1e-4 {
		t.Errorf("the hole is %v at the end and %v when judged again", end.Hole, again.Hole)
	}
}

// A leak that takes all that the supply gives stands as flat as a tight duct and
// empties as quickly, once the valve is shut, as one that is let out. It is not
// called holding, live or judged again; a tight duct is.
func TestSupplyThatMakesUpForALeak(t *testing.T) {
	for _, c := range []struct {
		hole, litres float64
		told         bool // that the valve was shut
		want         []decay.Outcome
	}{
		{4, 1.2, false, []decay.Outcome{decay.Undecided, decay.NeverBuilt, decay.Leaks}},
		{1.5, 0.5, false, []decay.Outcome{decay.Undecided, decay.NeverBuilt, decay.Leaks}},
		{4, 1.2, true, []decay.Outcome{decay.NeverBuilt, decay.Leaks}},
		{0, 1.2, false, []decay.Outcome{decay.Holds}},
	} {
		cfg := rig.Default()
		cfg.Hole, cfg.Volume = decay.Length(c.hole)*decay.Millimetre, decay.Volume(c.litres*decay.Litre)
		set := decay.Setup{Volume: cfg.Volume, Ambient: cfg.Ambient, Rigid: true}
		r, p := rig.New(cfg), decay.NewProcedure(set)
		var all []decay.Sample
		at := time.Duration(0)
		run := func(long time.Duration) {
			advance(r, p, cfg, &at, long, func(s decay.Sample) { all = append(all, s) })
		}
		run(3 * time.Second)
		r.Fill()
		run(20 * time.Second)
		r.Isolate()
		if c.told {
			p.Step(decay.Shut{At: at})
		}
		run(20 * time.Second)
		r.Release()
		run(4 * time.Second)
		p.Step(decay.Finish{At: at})
		if got := p.State().Result; !slices.Contains(c.want, got.Outcome) || got.Outcome == decay.Undecided && got.HasFit {
			t.Errorf("%g mm in %g L, told %v: %v with a fit: %v", c.hole, c.litres, c.told, got.Outcome, got.HasFit)
		}
		if got := decay.Analyse(set, all); c.hole > 0 && got.Outcome == decay.Holds {
			t.Errorf("%g mm in %g L holds when judged again", c.hole, c.litres)
		}
	}
}
