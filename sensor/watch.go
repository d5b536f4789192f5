package sensor

import "context"

// watched is a source whose readings a [Health] watches.
type watched struct {
	Source
	health *Health
	queue  []Fault
}

// Watch adds to a source the faults that its readings tell by themselves. A
// port does so already; a rig inside the program does not.
func Watch(src Source, cfg HealthConfig) Source {
	return &watched{Source: src, health: NewHealth(cfg)}
}

// Next implements [Source].
func (w *watched) Next(ctx context.Context) (Item, error) {
	if len(w.queue) > 0 {
		f := w.queue[0]
		w.queue = w.queue[1:]
		return Item{Fault: &f}, nil
	}
	it, err := w.Source.Next(ctx)
	if err == nil && it.Fault == nil {
		w.queue = append(w.queue, w.health.Add(it.At, it.P)...)
	}
	return it, err
}
