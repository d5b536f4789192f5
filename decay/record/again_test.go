package record

import (
	"strings"
	"testing"
	"time"

	"ebbline/decay"
)

// What only the record knows stays with it when its readings are judged anew,
// and nothing else does.
func TestResultIsAsTold(t *testing.T) {
	now := decay.Result{Outcome: decay.Leaks, HasDecide: true, Flags: []decay.Flag{decay.FlagShortHold}}
	rec := Record{Result: decay.Result{Outcome: decay.Unusable, Flags: []decay.Flag{decay.FlagOpenCircuit, decay.FlagDisturbed}}}
	r := rec.AsTold(now)
	if r.Outcome != decay.Unusable || r.HasDecide || len(r.Flags) != 2 || !r.HasFlag(decay.FlagOpenCircuit) || len(r.Warnings) != 1 || len(now.Flags) != 1 {
		t.Errorf("judged %+v", r)
	}
	rec.Result = decay.Result{Outcome: decay.Holds, Flags: []decay.Flag{decay.FlagBadRows}}
	if r := rec.AsTold(now); r.Outcome != decay.Leaks || !r.HasDecide || len(r.Flags) != 2 || !r.HasFlag(decay.FlagBadRows) {
		t.Errorf("a sound record: %+v", r)
	}
	rec.Torn = true
	if r := rec.AsTold(now); len(r.Flags) != 1 {
		t.Errorf("a torn record says nothing: %+v", r)
	}
}

// The readings that were left out are those from the first to the last of each
// stretch, and both survive the file.
func TestLeftOutReadings(t *testing.T) {
	rec := Record{Result: decay.Result{Until: 5 * time.Second, LeftOut: []decay.Span{{Start: 0, End: time.Second}, {Start: 3 * time.Second, End: 3 * time.Second}}}}
	for i := range 8 {
		rec.Samples = append(rec.Samples, decay.Sample{At: time.Duration(i) * time.Second, P: 2e5})
	}
	var b strings.Builder
	if err := Write(&b, rec); err != nil {
		t.Fatal(err)
	}
	if !strings.Contains(b.String(), "derived: until_s=5\nderived: left_out_s=0,1 3,3\n") {
		t.Error(b.String())
	}
	got, err := Read(strings.NewReader(b.String()))
	if err != nil {
		t.Fatal(err)
	}
	if j := got.Judged(); len(j) != 3 || j[0].At != 2*time.Second || j[1].At != 4*time.Second || j[2].At != 5*time.Second {
		t.Errorf("%v", j)
	}
	got.Result.LeftOut = nil
	if j := got.Judged(); len(j) != 6 || j[5].At != 5*time.Second {
		t.Errorf("those after the end of the test too: %v", j)
	}
	for _, bad := range []string{"1", "2,1", "1,2 0,3", "a,b", "1,2,3"} {
		if err := readLeftOut(&Record{}, bad); err == nil {
			t.Errorf("%q is taken for stretches", bad)
		}
	}
}
