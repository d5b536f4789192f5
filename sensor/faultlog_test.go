package sensor

import (
	"slices"
	"testing"
	"time"

	"ebbline/decay"
)

func TestFaultsJudge(t *testing.T) {
	hold := decay.Result{Outcome: decay.Leaks, Hold: decay.Hold{Span: decay.Span{Start: 20 * time.Second, End: 60 * time.Second}}}
	at := func(s float64, code string, state FaultState) Fault {
		return Fault{At: time.Duration(s * 1e9), Code: code, State: state, Text: "p: text"}
	}
	for _, c := range []struct {
		name   string
		faults []Fault
		want   decay.Outcome
		codes  []string
		flags  []decay.Flag
	}{
		{"none", nil, decay.Leaks, nil, nil},
		{"a gap", []Fault{at(30, FaultUnplugged, Begins), at(32, FaultUnplugged, Ends), at(32, FaultReplugged, Moment)}, decay.Leaks, []string{FaultUnplugged}, []decay.Flag{decay.FlagGaps}},
		{"doubt within the hold", []Fault{at(30, FaultUnitJump, Begins), at(32, FaultUnitJump, Ends)}, decay.Unusable, []string{FaultUnitJump}, nil},
		{"doubt that lasts", []Fault{at(30, FaultStuck, Begins)}, decay.Unusable, []string{FaultStuck}, []decay.Flag{decay.FlagStuck}},
		{"doubt before the hold", []Fault{at(3, FaultSag, Begins), at(5, FaultSag, Ends)}, decay.Leaks, []string{FaultSag}, nil},
		{"doubt after the hold", []Fault{at(70, FaultOpenCircuit, Begins)}, decay.Leaks, []string{FaultOpenCircuit}, []decay.Flag{decay.FlagOpenCircuit}},
		{"before the test", []Fault{at(0.2, FaultStuck, Begins), at(0.5, FaultStuck, Ends)}, decay.Leaks, nil, nil},
		{"a suspicion that was wrong", []Fault{at(2, FaultReference, Begins), at(80, FaultReference, Ends)}, decay.Leaks, nil, nil},
		{"told twice", []Fault{at(30, FaultBadLine, Moment), at(40, FaultBadLine, Moment)}, decay.Leaks, []string{FaultBadLine}, []decay.Flag{decay.FlagBadRows}},
	} {
		var l Faults
		for _, f := range c.faults {
			l.Take(f)
		}
		r := l.Judge(hold, time.Second)
		var codes []string
		for _, w := range r.Warnings {
			codes = append(codes, w.Code)
		}
		if r.Outcome != c.want || !slices.Equal(codes, c.codes) || !slices.Equal(r.Flags, c.flags) {
			t.Errorf("%s: %v, %q, %q", c.name, r.Outcome, codes, r.Flags)
		}
	}
	if hold.Flags != nil || hold.Warnings != nil {
		t.Error("the result given was changed")
	}
}

// However many faults come, memory is bounded, and what is on stays known.
func TestFaultsAreBounded(t *testing.T) {
	var l Faults
	l.Take(Fault{Code: FaultStuck, State: Begins})
	for range 10 * maxFaults {
		l.Take(Fault{Code: FaultBadLine})
	}
	if len(l.spells) > maxFaults || !l.On(FaultStuck) {
		t.Errorf("%d are kept, stuck on: %v", len(l.spells), l.On(FaultStuck))
	}
	l.Take(Fault{Code: FaultUnplugged, State: Begins})
	if f, ok := l.Worst(); !ok || f.Code != FaultUnplugged || l.Doubtful() {
		t.Errorf("worst is %+v", f)
	}
}
