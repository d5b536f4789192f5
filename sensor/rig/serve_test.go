//go:build linux

package rig_test

import (
	"context"
	"testing"
	"time"

	"ebbline/decay"
	"ebbline/sensor"
	"ebbline/sensor/rig"
)

// A reader that comes late sees the present, not what was printed before it.
func TestLateReaderSeesThePresent(t *testing.T) {
	cfg := rig.Default()
	cfg.Rate = 1000
	b, err := rig.Open(cfg, nil)
	if err != nil {
		t.Skip(err)
	}
	ctx, cancel := context.WithCancel(context.Background())
	done := make(chan error)
	go func() { done <- b.Run(ctx) }()
	time.Sleep(3 * time.Second)
	b.Fill()
	time.Sleep(1500 * time.Millisecond)
	src, err := sensor.Open(sensor.PortOptions{Name: b.Name()})
	if err != nil {
		t.Fatal(err)
	}
	defer src.Close()
	for range 200 {
		it, err := src.Next(ctx)
		if err != nil {
			t.Fatal(err)
		}
		if it.Fault != nil {
			t.Fatalf("fault %+v", *it.Fault)
		}
		if g := it.P.Gauge(decay.DefaultAmbient); g < decay.PSI {
			t.Fatalf("a stale line, %q, came at %v", it.Raw, it.At)
		}
	}
	cancel()
	if err := <-done; err != nil {
		t.Error(err)
	}
}
