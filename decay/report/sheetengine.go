package report

import (
	"fmt"
	"strings"

	"ebbline/decay"
)

// EngineView is what the leak of a sheet's first test means for an engine.
type EngineView struct {
	Engine    decay.Engine
	Complaint decay.Complaint
	Meaning   decay.Meaning      // beside the complaint
	Only      *decay.ChargePoint // where no actual pressure is known: speed and requested pressure
	Share     decay.Interval     // of the engine's air there
	Hole      decay.Interval     // measured, m
	Cd        float64            // of the holes
	Unit      decay.PressureUnit // of the complaint
}

// engineRow is a line of the table over the speeds.
type engineRow struct{ Speed, Requested, Actual, Share, Left, Hole string }

// mostEngineRows keeps the sheet on its two pages.
const mostEngineRows = 5

// Sentences say in plain words what the leak means.
func (v *EngineView) Sentences() []string {
	if v.Only != nil {
		return []string{fmt.Sprintf("At %s and a charge pressure of %s the leak takes about %s of the engine's air. A leak is worth repairing from %s on, our own choice: there that is a hole of %s.",
			rpm(v.Only.Speed), v.Only.Requested.Format(v.Unit), shares(v.Share), percent(decay.WorthRepairing),
			Millimetres(float64(decay.EquivalentHole(v.Engine.AreaOfShare(decay.WorthRepairing, v.Only.Requested, v.Only.Speed, v.Only.Ambient), v.Cd))))}
	}
	c := v.Complaint
	out := []string{"Missing charge pressure: " + ShortfallHeadline(c, v.Unit) + "."}
	if c.Worst >= 0 && c.Next != decay.NextAsk {
		x := v.Meaning.At[c.Worst]
		text := sentence(MeaningVerdict(v.Meaning))
		if finite(float64(x.Hole)) && x.Hole > 0 {
			text += " The hole that would explain what is missing there is " + Hundredths(float64(x.Hole)) + "; measured was " + Hundredths(v.Hole.Value) + " (" + slipSpan(v.Hole) + ")."
		}
		out = append(out, text)
	}
	for _, f := range c.Findings {
		if f.Stops {
			out = append(out, sentence("first to clear up: "+FindingText(f, v.Unit)))
		}
	}
	return out
}

// shares prints a share with its interval, with a decimal where it is small.
func shares(iv decay.Interval) string {
	p := func(v float64) string { return percent1(v) }
	return p(iv.Value) + " (" + p(iv.Low) + " to " + p(iv.High) + ")"
}

// Rows are the complaint's points, the worst among them, as a table.
func (v *EngineView) Rows() []engineRow {
	var out []engineRow
	n := len(v.Complaint.Points)
	if v.Only != nil || n < 2 || v.Complaint.Next == decay.NextAsk {
		return nil
	}
	picked := map[int]bool{v.Complaint.Worst: true}
	for k := range mostEngineRows - 1 {
		picked[k*(n-1)/(mostEngineRows-2)] = true
	}
	for i, p := range v.Complaint.Points {
		if !picked[i] {
			continue
		}
		x := v.Meaning.At[i]
		out = append(out, engineRow{
			fmt.Sprintf("%.0f", p.Speed.RPM()), plain(p.Requested, v.Unit), plain(p.Actual, v.Unit), percent1(x.Share.Value),
			plain(decay.Pressure(x.Left.Value), v.Unit), engineHole(x.Hole, p),
		})
	}
	return out
}

func engineHole(d decay.Length, p decay.ChargePoint) string {
	t := holeCell(d, p)
	if t != "-" && t != "none" {
		t += " mm"
	}
	return t
}

// Assumed are the assumptions of the estimate.
func (v *EngineView) Assumed() string {
	return sentence("engine, " + strings.Join(Assumptions(v.Engine), "; "))
}
