package tui

import (
	"context"
	"fmt"
	"runtime/debug"
	"sync"

	"ebbline/sensor"
)

// feed reads a source on its own goroutine, so that neither the readings nor
// their record ever wait for the screen.
type feed struct {
	cancel context.CancelFunc
	done   chan struct{}

	mu    sync.Mutex
	items []sensor.Item
	err   error // why the stream ended
}

// newFeed starts reading. onItem, when set, gets each item first; dead is
// called when the goroutine panicked.
func newFeed(ctx context.Context, src sensor.Source, onItem func(sensor.Item), dead func()) *feed {
	ctx, cancel := context.WithCancel(ctx)
	f := &feed{cancel: cancel, done: make(chan struct{})}
	go func() {
		defer close(f.done)
		defer func() {
			if r := recover(); r != nil {
				f.end(fmt.Errorf("the reader of %s failed: %v\n%s", src.About().Name, r, debug.Stack()))
				dead()
			}
		}()
		for {
			it, err := src.Next(ctx)
			if err != nil {
				f.end(err)
				return
			}
			if onItem != nil {
				onItem(it)
			}
			f.mu.Lock()
			f.items = append(f.items, it)
			f.mu.Unlock()
		}
	}()
	return f
}

func (f *feed) end(err error) {
	f.mu.Lock()
	defer f.mu.Unlock()
	f.err = err
}

// drain appends what has come since the last call to dst, and tells whether
// and why the stream ended.
func (f *feed) drain(dst []sensor.Item) ([]sensor.Item, error) {
	f.mu.Lock()
	defer f.mu.Unlock()
	dst = append(dst, f.items...)
	f.items = f.items[:0]
	return dst, f.err
}
