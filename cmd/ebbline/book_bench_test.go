package main

import (
	"flag"
	"fmt"
	"io"
	"math"
	"math/rand/v2"
	"os"
	"path/filepath"
	"testing"
	"time"

	"ebbline/decay"
	"ebbline/decay/record"
	"ebbline/tui"
)

var (
	rowsOut      = flag.String("rows-out", "", "BenchmarkExportRows: also write the rows to this file")
	rowsN        = flag.Int("rows", 10000, "BenchmarkExportRows: how many")
	bookN        = flag.Int("book-records", 10000, "BenchmarkBookList: how many records")
	bookDirFlag  = flag.String("book-dir", "", "BenchmarkBookList: write them here and leave them")
	bookReadings = flag.Int("book-readings", 500, "BenchmarkBookList: readings in each")
)

// invented is the head of one of many tests of a chain of shops. Three in ten
// leak, and holes are spread evenly by their logarithm.
func invented(r *rand.Rand, i int) record.Record {
	parts := append([]decay.Part{decay.PartUnstated}, decay.Parts...)
	set := decay.Setup{
		Ambient: decay.Pressure(85000 + 18000*r.Float64()), Volume: decay.Volume((1 + 15*r.Float64()) * decay.Litre),
		VolumeTolerance: 0.03, Of: parts[r.IntN(len(parts))], FullScale: 344738, SpanTolerance: 0.01,
	}
	hole := decay.Millimetre * math.Exp(math.Log(0.05)+r.Float64()*math.Log(60))
	area := float64(decay.CircleArea(decay.Length(hole))) * decay.DefaultCd
	rate := area * 290 / float64(set.Volume)
	around := func(v, by float64) decay.Interval {
		return decay.Interval{Value: v, Low: v * (1 - by), High: v * (1 + by), Level: 0.95}
	}
	res := decay.Result{
		HasFit: true, HasVolume: true, Area: around(area, 0.04), AreaSD: area * 0.01, Hole: around(hole, 0.02), Rate: around(rate, 0.04),
		Cd: decay.DefaultCd, Law: decay.LawOrifice, LossRate: rate * 1e5, Flow: rate * 0.01, Settling: decay.Settling{Amplitude: 0.01 * r.Float64(), Tau: time.Duration(3e9 + r.Int64N(9e9))},
		Limit: set.WithDefaults().Limit, Smallest: 0.08 * decay.Millimetre, Peak: decay.Gauge(150000 + 30000*r.Float64()), Volume: set.Volume, Ambient: set.Ambient, Samples: 2500,
		Hold: decay.Hold{Span: decay.Span{Start: 8 * time.Second, End: time.Duration(20e9 + r.Int64N(40e9))}, StartAbs: 260000, StartGauge: 160000},
	}
	switch {
	case res.Hole.Low > float64(res.Limit):
		res.Outcome = decay.Leaks
	case res.Hole.High < float64(res.Limit):
		res.Outcome = decay.Holds
	}
	if r.IntN(20) == 0 {
		res.Flags = []decay.Flag{decay.FlagShortHold}
	}
	return record.Record{
		Label: fmt.Sprintf("job %d: hose %d", 1000+i/3, i%7), Source: "/dev/ttyUSB0", Program: "ebbline 1.0",
		When: time.Date(2026, 1, 1, 8, 0, 0, 0, time.UTC).Add(time.Duration(i) * 31 * time.Second), Setup: set, Result: res,
	}
}

// BenchmarkBookList lists a book of ten thousand records, as the command and
// the screen do.
func BenchmarkBookList(b *testing.B) {
	dir := *bookDirFlag
	if dir == "" {
		dir = b.TempDir()
	}
	r := rand.New(rand.NewPCG(1, 2))
	for i := range *bookN {
		rec := invented(r, i)
		for k := range *bookReadings {
			rec.Samples = append(rec.Samples, decay.Sample{At: time.Duration(k) * 20 * time.Millisecond, P: 260000 - decay.Pressure(k)*11.3})
		}
		folder := filepath.Join(dir, fmt.Sprintf("shop-%03d", i%200))
		if err := os.MkdirAll(folder, 0o700); err != nil {
			b.Fatal(err)
		}
		f, err := os.Create(pageStem(folder, rec.When, rec.Label) + record.Extension)
		if err != nil {
			b.Fatal(err)
		}
		if err := record.Write(f, rec); err != nil {
			b.Fatal(err)
		}
		if err := f.Close(); err != nil {
			b.Fatal(err)
		}
	}
	s := shelf{dir: dir}
	b.ReportAllocs()
	for b.Loop() {
		entries, err := s.list()
		if err != nil || len(entries) != *bookN {
			b.Fatalf("%d of %d: %v", len(entries), *bookN, err)
		}
	}
	b.ReportMetric(b.Elapsed().Seconds()/float64(b.N)/float64(*bookN)*1e6, "µs/record")
}

// counted counts what is written.
type counted struct {
	w io.Writer
	n int64
}

func (c *counted) Write(p []byte) (int, error) {
	n, err := c.w.Write(p)
	c.n += int64(n)
	return n, err
}

// BenchmarkExportRows writes rows as export does.
func BenchmarkExportRows(b *testing.B) {
	r := rand.New(rand.NewPCG(1, 2))
	entries := make([]tui.BookEntry, *rowsN)
	for i := range entries {
		rec := invented(r, i)
		rec.Digest, rec.Sum = record.DigestFits, fmt.Sprintf("%016x%016x%016x%016x", r.Uint64(), r.Uint64(), r.Uint64(), r.Uint64())
		entries[i] = tui.BookEntry{Name: fmt.Sprintf("shop-%05d/%s-%08x", i%10000, record.Stem(rec.When, rec.Label), r.Uint32()), Head: record.Head{Record: rec, Count: 2500}}
	}
	out := io.Discard
	if *rowsOut != "" {
		f, err := os.Create(*rowsOut)
		if err != nil {
			b.Fatal(err)
		}
		defer f.Close()
		out = f
	}
	c := &counted{w: out}
	for b.Loop() {
		if f, ok := out.(*os.File); ok { // the last round stays
			if _, err := f.Seek(0, io.SeekStart); err != nil {
				b.Fatal(err)
			}
		}
		c.n = 0
		if err := writeRows(c, entries); err != nil {
			b.Fatal(err)
		}
	}
	b.ReportMetric(float64(c.n)/float64(len(entries)), "B/row")
	b.ReportMetric(float64(len(entries))*float64(b.N)/b.Elapsed().Seconds(), "rows/s")
}
