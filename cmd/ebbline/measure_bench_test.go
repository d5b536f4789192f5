//go:build linux

package main

import (
	"fmt"
	"io"
	"os"
	"path/filepath"
	"syscall"
	"testing"
	"time"

	"ebbline/decay"
	"ebbline/decay/decaytest"
)

// BenchmarkBudgetMeasure judges files of some 10 000 readings on all cores; the
// bar is 150 traces a second on two, which is 13.3 ms of one each. On a machine
// that is shared the latter says more.
func BenchmarkBudgetMeasure(b *testing.B) {
	var files []string
	dir := b.TempDir()
	for i := range 32 {
		tr := decaytest.Make(decaytest.Rig{
			Volume: 0.010, Area: decaytest.HoleArea(0.1 * float64(1+i%20)), Tau: 6, Supply: 172e3, IdleSeconds: 4,
			FillSeconds: 8, HoldSeconds: 60, ReleaseSeconds: 5, Rate: 130, Noise: 60, Seed: uint64(i),
		})
		text := []byte("time_s,pressure_kPa_gauge\n")
		for _, s := range tr.Samples {
			text = fmt.Appendf(text, "%.4f,%.4f\n", s.At.Seconds(), s.P.Gauge(decay.DefaultAmbient)/decay.Kilopascal)
		}
		files = append(files, filepath.Join(dir, fmt.Sprint(i, ".csv")))
		if err := os.WriteFile(files[i], text, 0o600); err != nil {
			b.Fatal(err)
		}
	}
	args := append([]string{"measure", "--json", "--volume", "10L", "--profile", "none"}, files...)
	cpu := func() time.Duration {
		var u syscall.Rusage
		if err := syscall.Getrusage(syscall.RUSAGE_SELF, &u); err != nil {
			b.Fatal(err)
		}
		return time.Duration(u.Utime.Nano() + u.Stime.Nano())
	}
	before := cpu()
	b.ReportAllocs()
	for b.Loop() {
		if status := run(args, nil, io.Discard, os.Stderr); status == exitTrouble {
			b.Fatal("status ", status)
		}
	}
	b.ReportMetric((cpu()-before).Seconds()*1000/float64(b.N*len(files)), "cpu-ms/trace")
	b.ReportMetric(float64(b.N*len(files))/b.Elapsed().Seconds(), "traces/s")
}
