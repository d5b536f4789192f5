package record

import (
	"strings"
	"testing"
	"time"

	"ebbline/decay"
)

// A test of more readings than are held gives the means of neighbours, and its
// digests and its count are of the readings all the same.
func TestLongRecordIsReadAsMeans(t *testing.T) {
	var b strings.Builder
	w, err := NewWriter(&b, Record{Label: "overnight", Program: "test"})
	if err != nil {
		t.Fatal(err)
	}
	const n = 37
	for i := range n {
		w.Add(decay.Sample{At: time.Duration(i) * 10 * time.Millisecond, P: decay.Pressure(200e3 - 10*float64(i))})
	}
	if err := w.Finish(decay.Result{}); err != nil {
		t.Fatal(err)
	}
	text := b.String()
	p := newParser()
	p.room = 8
	for line := range strings.Lines(text) {
		if err := p.take([]byte(strings.TrimSuffix(line, "\n"))); err != nil {
			t.Fatal(err)
		}
	}
	if !p.ended || p.rec.Digest != DigestFits || p.rec.MeanOf != 8 || len(p.rec.Samples) != n/8 {
		t.Fatalf("ended %v, digest %v, %d samples of %d readings each", p.ended, p.rec.Digest, len(p.rec.Samples), p.rec.MeanOf)
	}
	for k, s := range p.rec.Samples { // of a straight line the mean is the middle
		at := 8*float64(k) + 3.5
		if d := s.At.Seconds() - 0.01*at; d > 1e-6 || d < -1e-6 {
			t.Errorf("sample %d is of %v", k, s.At)
		}
		if d := float64(s.P) - (200e3 - 10*at); d > 0.1 || d < -0.1 {
			t.Errorf("sample %d is %v", k, s.P)
		}
	}
	whole, err := Read(strings.NewReader(text))
	if err != nil || whole.MeanOf != 0 || len(whole.Samples) != n {
		t.Errorf("%v: %d samples of %d readings each", err, len(whole.Samples), whole.MeanOf)
	}
}
