package tui

import (
	"context"
	"sync"
	"time"

	"ebbline/decay"
	"ebbline/sensor"
)

// hose is a source that a test feeds by hand.
type hose struct {
	items chan sensor.Item
	about sensor.About
	once  sync.Once
	shut  chan struct{}
}

func newHose() *hose {
	return &hose{items: make(chan sensor.Item, 1000), shut: make(chan struct{}), about: sensor.About{Name: "hose", Simulated: true}}
}

func (h *hose) Next(ctx context.Context) (sensor.Item, error) {
	select {
	case it := <-h.items:
		if it.Raw == "panic" {
			panic("a fault of our own")
		}
		return it, nil
	case <-ctx.Done():
		return sensor.Item{}, ctx.Err()
	case <-h.shut:
		return sensor.Item{}, sensor.ErrClosed
	}
}
func (h *hose) About() sensor.About { return h.about }
func (h *hose) Close() error        { h.once.Do(func() { close(h.shut) }); return nil }

func (h *hose) read(at time.Duration, p decay.Gauge) {
	h.items <- sensor.Item{Reading: sensor.Reading{Sample: decay.Sample{At: at, P: p.Absolute(decay.DefaultAmbient)}}}
}
