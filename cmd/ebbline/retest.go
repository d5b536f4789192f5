package main

import (
	"fmt"

	"ebbline/decay"
	"ebbline/decay/report"
	"ebbline/tui"
)

// past reads the records a test refers to: the fittings' leak goes into the
// set-up, the test before a repair is returned, nil when none was named.
func (f *holdFlags) past(set *decay.Setup) (*tui.Past, error) {
	if f.rigCheck != "" {
		rec, err := openRecord(f.rigCheck)
		if err != nil {
			return nil, err
		}
		if of := rec.Setup.Of; of != decay.PartFittings {
			return nil, wrong("test the fittings alone: ebbline hold --of fittings --volume 0.3L",
				"--rig-check: %s is not a test of the fittings (its part is %v)", f.rigCheck, of)
		}
		r := rec.Again()
		if !r.HasFit || !r.HasVolume {
			return nil, wrong("test the fittings again, with their volume: ebbline hold --of fittings --volume 0.3L",
				"--rig-check: %s gives no leak to subtract: %s", f.rigCheck, report.Verdict(r))
		}
		d := set.WithDefaults()
		if !decay.RigFits(r.Area, d.Limit, d.Cd) {
			return nil, wrong("mend the fittings and check them again, or test against a larger --limit",
				"--rig-check: the fittings may leak like a hole of %s, more than a third of the area of the limit of %s",
				report.Millimetres(r.Hole.High), report.Millimetres(float64(d.Limit)))
		}
		set.RigLeak = r.Area
	}
	if f.retest == "" {
		return nil, nil
	}
	rec, err := openRecord(f.retest)
	if err != nil {
		return nil, err
	}
	r := rec.Again()
	if !r.HasFit {
		return nil, wrong("name a record of a test that had a hold", "--retest: %s gives nothing to compare with: %s", f.retest, report.Verdict(r))
	}
	// The same duct again, where nothing else was said.
	if f.label == "" {
		f.label = rec.Label
	}
	if set.Of == decay.PartUnstated {
		set.Of = rec.Setup.Of
		if set.Limit == 0 {
			set.Limit = rec.Setup.Limit
		}
	}
	return &tui.Past{Title: rec.Label, Setup: rec.Setup, Simulated: rec.Simulated, Result: r, Samples: rec.Samples}, nil
}

// repair prints what the test says of a repair since the one before.
func (s *session) repair(after decay.Result) {
	if s.before == nil {
		return
	}
	c, ok := decay.Compare(s.before.Result, after)
	if !ok {
		return // the result says that there was no hold
	}
	words := report.Repair(c, s.before.Result.Cd)
	why := report.NotSame(s.before.Setup, s.set, s.before.Simulated, s.src.About().Simulated)
	if why != "" {
		words = why
	}
	if !s.asJSON {
		fmt.Fprintf(s.lines, "  %-10s %s\n", "repair", words)
		return
	}
	if why != "" {
		s.object(repairJSON{Repair: "not-told", Text: why})
		return
	}
	s.object(repairOf(c, words))
}

// repairJSON is what a repair did, as JSON prints it.
type repairJSON struct {
	Repair string  `json:"repair"` // "not-told" of records that prove nothing
	Left   bounds  `json:"share_left"`
	Less   *bounds `json:"smaller_by_mm2"` // null without volumes
	Text   string  `json:"text"`
}

func repairOf(c decay.Change, words string) repairJSON {
	out := repairJSON{Repair: c.Repair.String(), Left: boundsOf(c.Left, 1), Text: words}
	if c.HasArea {
		less := boundsOf(c.Less, decay.SquareMM)
		out.Less = &less
	}
	return out
}
