package trace

import (
	"io"
	"math"

	"ebbline/decay"
	"ebbline/decay/record"
)

// record reads a record of this program. What it says of its set-up wins over
// the options.
func (f *file) record(r io.Reader) (Trace, error) {
	rec, err := record.Read(r)
	if err != nil {
		return Trace{}, f.fail(0, "records can be copied anew from where they are kept", "%v", err)
	}
	tr := Trace{Reads: rec.Setup.Reads, ReadsStated: true, Unit: "kPa", Shown: shownIn(rec.Extra), Simulated: rec.Simulated, Rows: len(rec.Samples), Setup: &rec.Setup, Marks: rec.Marks}
	if rec.Torn {
		f.warning("torn", "the end of the record is missing; what is whole was read, up to line %d", rec.TornLine)
	}
	if rec.MeanOf > 1 {
		f.warning("thinned", "the test is so long that the means of each %d readings were taken", rec.MeanOf)
	}
	if rec.Digest == record.DigestDiffers {
		f.warning("changed", "the record was changed after it was written: its digest differs")
	}
	if f.opt.Reads != nil && *f.opt.Reads != tr.Reads {
		f.warning("reference-from-header", "the record says %s, so %s as stated is not used", tr.Reads, *f.opt.Reads)
	}
	// Gauge readings were made absolute with the record's ambient; when it
	// states none, the one stated now is the better.
	shift := decay.Pressure(0)
	if f.opt.Ambient != 0 && f.opt.Ambient != rec.Setup.Ambient {
		if rec.Setup.Ambient != 0 {
			f.warning("ambient-from-header", "the record says its ambient was %s, so %s as stated is not used",
				kilopascals(rec.Setup.Ambient), kilopascals(f.opt.Ambient))
		} else {
			if tr.Reads == decay.ReadsGauge {
				shift = f.opt.Ambient - rec.Setup.NominalAmbient()
			}
			rec.Setup.Ambient = f.opt.Ambient
		}
	}
	quantum, last := math.Inf(1), math.NaN()
	samples := rec.Samples[:0:0]
	for _, s := range rec.Judged() {
		p := float64(s.P + shift)
		if math.IsNaN(p) || math.IsInf(p, 0) || math.Abs(s.At.Seconds()) > maxStamp {
			f.badRow(0, "the reading is not a number, or its time is far off")
			continue
		}
		// Below a thousandth of a pascal a step is only the rounding of sums.
		if d := math.Abs(p - last); d > 1e-3 && d < quantum {
			quantum = d
		}
		last = p
		samples = append(samples, decay.Sample{At: s.At, P: decay.Pressure(p)})
	}
	if out := rec.Result.LeftOut; len(out) > 0 {
		f.warning("left-out", "readings that were not taken for the duct's pressure when they came are left out, the first of them at %.1f s", out[0].Start.Seconds())
	}
	if len(samples) == 0 && len(rec.Samples) > 0 {
		return Trace{}, f.fail(0, "the capture beside it has the details", "none of the record's readings was taken for the duct's pressure")
	}
	if len(samples) == 0 {
		return Trace{}, f.fail(0, "the test ended before a reading came", "the record holds no readings")
	}
	if !math.IsInf(quantum, 0) {
		tr.Quantum = quantum
	}
	tr.Judge = rec.AsTold
	f.close(&tr, samples)
	return tr, nil
}

// shownIn is the unit that the lines of a record say its pressures were shown
// in; "" when none does.
func shownIn(lines []record.KeyValue) string {
	for _, kv := range lines {
		if kv.Key == shownKey {
			return knownUnit(kv.Value)
		}
	}
	return ""
}

// shownKey is the line of a record, and of a capture's head, that says in which
// unit pressures were shown.
const shownKey = "shown"

// knownUnit is name if it is a unit of pressure, else "".
func knownUnit(name string) string {
	if _, err := decay.ParsePressureUnit(name); err != nil {
		return ""
	}
	return name
}

func kilopascals(p decay.Pressure) string {
	return p.Format(decay.PressureUnit{Name: "kPa", Pascal: decay.Kilopascal})
}
