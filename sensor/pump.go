package sensor

import (
	"context"
	"fmt"
	"sync"
)

// maxQueued items wait for a slow drainer; older ones are then dropped and
// counted, since the recorder has had them already.
const maxQueued = 1 << 17

// Pump reads a source in a goroutine of its own and queues what comes, so that
// a slow screen never delays the recorder.
type Pump struct {
	mu      sync.Mutex
	items   []Item
	dropped int
	err     error
	cancel  context.CancelFunc
	done    chan struct{}
	src     Source
	wake    chan struct{}
}

// NewPump starts reading src. onItem, if not nil, is called in the reading
// goroutine for each item before it is queued: the recorder goes there.
func NewPump(src Source, onItem func(Item)) *Pump {
	ctx, cancel := context.WithCancel(context.Background())
	p := &Pump{cancel: cancel, done: make(chan struct{}), src: src, wake: make(chan struct{}, 1)}
	go func() {
		defer close(p.done)
		defer func() {
			if x := recover(); x != nil {
				p.fail(fmt.Errorf("sensor: reader failed: %v", x))
			}
		}()
		for {
			it, err := src.Next(ctx)
			if err != nil {
				p.fail(err)
				return
			}
			if onItem != nil {
				onItem(it)
			}
			p.mu.Lock()
			if len(p.items) >= maxQueued {
				n := copy(p.items, p.items[maxQueued/2:])
				p.items = p.items[:n]
				p.dropped += maxQueued / 2
			}
			p.items = append(p.items, it)
			p.mu.Unlock()
			p.rouse()
		}
	}()
	return p
}

func (p *Pump) fail(err error) {
	p.mu.Lock()
	p.err = err
	p.mu.Unlock()
	p.rouse()
}

func (p *Pump) rouse() {
	select {
	case p.wake <- struct{}{}:
	default: // it holds one already
	}
}

// Wake receives when something came or reading ended, for a drainer that has no
// tick of its own.
func (p *Pump) Wake() <-chan struct{} { return p.wake }

// Drain appends the queued items to dst and empties the queue.
func (p *Pump) Drain(dst []Item) []Item {
	p.mu.Lock()
	defer p.mu.Unlock()
	dst = append(dst, p.items...)
	p.items = p.items[:0]
	return dst
}

// Dropped is how many items a drainer that fell far behind did not get.
func (p *Pump) Dropped() int {
	p.mu.Lock()
	defer p.mu.Unlock()
	return p.dropped
}

// Err is why reading ended: io.EOF at the end of the stream, nil while it
// goes on. Items may still be queued when it is not nil.
func (p *Pump) Err() error {
	p.mu.Lock()
	defer p.mu.Unlock()
	return p.err
}

// Stop closes the source and waits for the reading goroutine to end. What the
// source received before that is queued.
func (p *Pump) Stop() {
	p.src.Close() // before the context ends, which a source need not wait for
	p.cancel()
	<-p.done
}
