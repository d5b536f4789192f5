//go:build unix

package rig_test

import (
	"context"
	"os"
	"testing"
	"time"

	"ebbline/sensor"
	"ebbline/sensor/rig"
)

// BenchmarkReplug pulls the board out and plugs it in again, in turn under its
// name and under another, and reports how long after that the first reading is
// there. With -benchtime 100x it is the figure of DEVELOPERS.md.
func BenchmarkReplug(b *testing.B) {
	board, err := rig.Open(still("millis"), nil)
	if err != nil {
		b.Fatal(err)
	}
	ctx, stop := context.WithCancel(context.Background())
	ran := make(chan error, 1)
	go func() { ran <- board.Run(ctx) }()
	defer func() {
		stop()
		if err := <-ran; err != nil {
			b.Error(err)
		}
	}()
	src, err := sensor.Open(sensor.PortOptions{Name: board.Name()})
	if err != nil {
		b.Fatal(err)
	}
	defer src.Close()
	type seen struct {
		it sensor.Item
		at time.Time
	}
	items := make(chan seen, 1<<16)
	go func() {
		defer close(items)
		for {
			it, err := src.Next(ctx)
			if err != nil {
				return
			}
			items <- seen{it, time.Now()}
		}
	}()
	// wait takes items until one is as wanted.
	wait := func(what string, wanted func(sensor.Item) bool) time.Time {
		for deadline := time.After(20 * time.Second); ; {
			select {
			case s := <-items:
				if wanted(s.it) {
					return s.at
				}
			case <-deadline:
				b.Fatalf("no %s within 20 s", what)
			}
		}
	}
	reading := func(it sensor.Item) bool { return it.Fault == nil }
	fault := func(code string) func(sensor.Item) bool {
		return func(it sensor.Item) bool { return it.Fault != nil && it.Fault.Code == code }
	}
	wait("reading", reading)
	var worst, sum time.Duration
	late := 0
	for i := 0; b.Loop(); i++ {
		f := rig.Unplug
		if i%2 == 1 {
			f = rig.Rename
		}
		board.Inject(f, 0)
		wait("unplugging", fault(sensor.FaultUnplugged))
		// Out for a time that is another each time, against the reader's rhythm.
		time.Sleep(time.Duration(50+i*37%400) * time.Millisecond)
		board.Clear(f)
		for {
			if _, err := os.Stat(board.Name()); err == nil {
				break
			}
			time.Sleep(time.Millisecond)
		}
		back := time.Now()
		wait("replugging", fault(sensor.FaultReplugged))
		took := wait("reading", reading).Sub(back)
		worst, sum = max(worst, took), sum+took
		if took > 2*time.Second {
			late++
		}
	}
	b.ReportMetric(float64(worst.Milliseconds()), "worst-ms")
	b.ReportMetric(float64(sum.Milliseconds())/float64(b.N), "mean-ms")
	b.ReportMetric(float64(late), "over-2s")
	b.ReportMetric(0, "ns/op")
}
