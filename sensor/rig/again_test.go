package rig_test

import (
	"bytes"
	"math"
	"reflect"
	"slices"
	"testing"
	"time"

	"ebbline/decay"
	"ebbline/decay/record"
	"ebbline/decay/report"
	"ebbline/sensor"
	"ebbline/sensor/rig"
	"ebbline/sensor/trace"
)

// A record says the same when the version that wrote it judges it again, also
// where the readings alone would not: readings that were no pressures are left
// out, lines that made none are told, and so is a valve that was said to be shut.
func TestRecordSaysTheSameAgain(t *testing.T) {
	begins := func(code string, at float64) sensor.Fault {
		return sensor.Fault{At: time.Duration(at * 1e9), Code: code, State: sensor.Begins}
	}
	ends := func(code string, at float64) sensor.Fault {
		return sensor.Fault{At: time.Duration(at * 1e9), Code: code, State: sensor.Ends}
	}
	for _, c := range []struct {
		name     string
		hole     decay.Length
		factor   float64 // of the readings of seconds 20 to 23
		faults   []sensor.Fault
		fed      bool          // the supply stays on
		shut     time.Duration // the operator's word
		outcome  decay.Outcome
		flags    []decay.Flag
		left     int  // readings that are no part of it, three after the end among them
		analysed bool // the verdict or flags of the readings alone differ
	}{
		{name: "sound", hole: decay.Millimetre, factor: 1, outcome: decay.Leaks, left: 3, analysed: true},
		{name: "unit jump", hole: decay.Millimetre, factor: 14.5, faults: []sensor.Fault{begins(sensor.FaultUnitJump, 20.3), ends(sensor.FaultUnitJump, 23.1)},
			outcome: decay.Unusable, flags: []decay.Flag{decay.FlagGaps}, left: 168, analysed: true},
		{name: "to the end", hole: 0.3 * decay.Millimetre, factor: 1, faults: []sensor.Fault{begins(sensor.FaultReference, 25)},
			outcome: decay.Unusable, left: 778, analysed: true},
		{name: "bad lines", hole: decay.Millimetre, factor: 1, faults: []sensor.Fault{{At: 18 * time.Second, Code: sensor.FaultBadLine}},
			outcome: decay.Leaks, flags: []decay.Flag{decay.FlagBadRows}, left: 3, analysed: true},
		{name: "fed", factor: 1, fed: true, outcome: decay.Undecided, left: 3},
		{name: "said to be shut", factor: 1, fed: true, shut: 14 * time.Second, outcome: decay.Holds, left: 3, analysed: true},
	} {
		t.Run(c.name, func(t *testing.T) {
			cfg := rig.Default()
			cfg.Hole = c.hole
			set := decay.Setup{Volume: cfg.Volume, Ambient: cfg.Ambient}
			r, p := rig.New(cfg), decay.NewNetProcedure(set)
			var faults sensor.Faults
			var b bytes.Buffer
			w, err := record.NewWriter(&b, record.Record{Program: "test", Setup: set})
			if err != nil {
				t.Fatal(err)
			}
			next := c.faults
			for at := time.Duration(0); at < 40*time.Second; at += 20 * time.Millisecond {
				switch {
				case at == 3*time.Second:
					r.Fill()
				case at == 9*time.Second && !c.fed:
					r.Isolate()
				case at == c.shut && at > 0:
					p.Step(decay.Shut{At: at})
				}
				r.Advance(20 * time.Millisecond)
				if len(next) > 0 && next[0].At <= at {
					faults.Take(next[0])
					p.Step(faults.Event(next[0].At))
					next = next[1:]
				}
				g := float64(r.Read())
				if at >= 20*time.Second && at < 23*time.Second {
					g *= c.factor
				}
				s := decay.Sample{At: at, P: decay.Gauge(g).Absolute(cfg.Ambient)}
				w.Add(s)
				p.Step(decay.Taken{Sample: s})
				if at%(200*time.Millisecond) == 0 {
					p.Step(decay.Look{At: at})
				}
			}
			p.Step(decay.Finish{At: 40 * time.Second})
			for i := range 3 { // a board does not wait for the record's end
				w.Add(decay.Sample{At: 40*time.Second + time.Duration(i)*20*time.Millisecond, P: decay.Gauge(100e3).Absolute(cfg.Ambient)})
			}
			was := faults.Judge(p.State().Result, 0)
			if err := w.Finish(was); err != nil {
				t.Fatal(err)
			}
			if was.Outcome != c.outcome || !slices.Equal(was.Flags, c.flags) {
				t.Fatalf("the test said %v with %v, want %v with %v", was.Outcome, was.Flags, c.outcome, c.flags)
			}
			rec, err := record.Read(bytes.NewReader(b.Bytes()))
			if err != nil || rec.Digest != record.DigestFits {
				t.Fatal(err, rec.Digest)
			}
			if n := len(rec.Samples) - len(rec.Judged()); n != c.left {
				t.Errorf("%d readings are left out, want %d", n, c.left)
			}
			type said struct {
				Outcome          decay.Outcome
				Flags            []decay.Flag
				Hold             decay.Hold
				Area, Hole, Rate decay.Interval
				Law              decay.Law
				Shut             time.Duration
			}
			of := func(r decay.Result) said {
				return said{r.Outcome, append([]decay.Flag{}, r.Flags...), r.Hold, r.Area, r.Hole, r.Rate, r.Law, r.Shut}
			}
			for name, got := range map[string]decay.Result{"book": rec.Again(), "sheet": report.NewTest(rec, "", "").Result} {
				if !reflect.DeepEqual(of(got), of(was)) {
					t.Errorf("%s: %+v\nwas %+v", name, of(got), of(was))
				}
			}
			tr, err := trace.Read(&b, "again", trace.Options{})
			if err != nil {
				t.Fatal(err)
			}
			got := tr.Judge(decay.Analyse(*tr.Setup, tr.Samples))
			if got.Outcome != was.Outcome || !slices.Equal(got.Flags, was.Flags) || math.Abs(got.Area.Value-was.Area.Value) > 1e-12 {
				t.Errorf("measure: %+v\nwas %+v", of(got), of(was))
			}
			plain := set
			if blind := decay.Analyse(plain, rec.Samples); (blind.Outcome != was.Outcome || !slices.Equal(blind.Flags, was.Flags)) != c.analysed {
				t.Errorf("the readings alone say %v with %v", blind.Outcome, blind.Flags)
			}
		})
	}
}
