//go:build linux

package rig_test

import (
	"context"
	"io"
	"os"
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
		t.Fatal(err)
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

// Whoever sends to the board, more than a terminal keeps, is not held up; and
// the port goes away with the board although somebody has it open.
func TestBoardTakesWhatItIsSent(t *testing.T) {
	b, err := rig.Open(rig.Default(), nil)
	if err != nil {
		t.Fatal(err)
	}
	ctx, cancel := context.WithCancel(t.Context())
	defer cancel()
	ran := make(chan error, 1)
	go func() { ran <- b.Run(ctx) }()
	port, err := os.OpenFile(b.Name(), os.O_RDWR, 0)
	if err != nil {
		t.Fatal(err)
	}
	over := make(chan error, 1)
	go func() {
		for range 64 {
			if _, err := port.Write(make([]byte, 1024)); err != nil {
				over <- err
				return
			}
		}
		cancel()
		_, err := io.Copy(io.Discard, port)
		over <- err
	}()
	select {
	case <-over: // the end of the file or an error, by system
	case <-time.After(10 * time.Second):
		t.Fatal("the sender is held up, or the port never went away")
	}
	if err := <-ran; err != nil {
		t.Error(err)
	}
}
