package main

import (
	"errors"
	"slices"
	"sync"
	"time"

	"ebbline/decay"
	"ebbline/decay/record"
	"ebbline/sensor"
)

// Before a test begins, what comes is kept for it: the zero is read there.
const (
	keptBefore = 30 * time.Second
	keptLate   = 2 * time.Second
	keptHead   = 4 << 10 // bytes, of the very first: a board's heading stands there
)

// keeper gives what a source delivers to the page of the test under way, and
// keeps the latest of it while none is.
type keeper struct {
	open func(label string, set decay.Setup) (*page, error) // makes the page of a test

	tell func(error) // of a page that cannot be written, nil when it can again; may be nil

	mu    sync.Mutex
	page  *page
	items []sensor.Item
	late  []sensor.Item // the latest of the page: who watches the test may not have seen them when it ends
	head  []kept        // the first bytes of all
	tail  []kept        // the latest
	bytes int           // in head
	paths []string      // of records that are kept, or are being so
	torn  []string      // of records that could not be written to their end
}

// kept are bytes as received.
type kept struct {
	at   time.Duration
	data []byte
}

// item takes a reading or a fault.
func (k *keeper) item(it sensor.Item) {
	k.mu.Lock()
	defer k.mu.Unlock()
	if k.page != nil {
		k.page.add(it)
		k.late = append(k.late, it)
		if n := len(k.late) / 2; it.At-k.late[n].At > keptLate {
			k.late = k.late[:copy(k.late, k.late[n:])]
		}
		return
	}
	k.items = append(k.items, it)
	if n := len(k.items) / 2; it.At-k.items[n].At > keptBefore {
		k.items = k.items[:copy(k.items, k.items[n:])]
	}
}

// chunk takes bytes as received.
func (k *keeper) chunk(at time.Duration, data []byte) {
	k.mu.Lock()
	defer k.mu.Unlock()
	if k.page != nil {
		k.page.chunk(at, data)
	}
	c := kept{at, append([]byte(nil), data...)}
	if k.bytes < keptHead {
		k.head, k.bytes = append(k.head, c), k.bytes+len(data)
		return
	}
	if k.page != nil {
		return
	}
	k.tail = append(k.tail, c)
	if n := len(k.tail) / 2; at-k.tail[n].at > keptBefore {
		k.tail = k.tail[:copy(k.tail, k.tail[n:])]
	}
}

// begin opens the page of a test and writes what was kept for it.
func (k *keeper) begin(label string, set decay.Setup) error {
	k.mu.Lock()
	defer k.mu.Unlock()
	if k.page != nil {
		return errors.New("a test is under way already")
	}
	p, err := k.open(label, set)
	if err != nil {
		return err
	}
	for _, c := range append(k.head[:len(k.head):len(k.head)], k.tail...) {
		p.chunk(c.at, c.data)
	}
	for _, it := range k.items {
		p.add(it)
	}
	if k.tell != nil {
		p.mu.Lock()
		if p.tell = k.tell; p.err != nil {
			p.tell(p.err)
		}
		p.mu.Unlock()
	}
	k.items, k.tail = nil, nil
	k.page, k.paths = p, append(k.paths, p.recordPath)
	return nil
}

// save ends the test under way, if there is one, and returns where its record
// is.
func (k *keeper) save(r decay.Result) (string, error) {
	k.mu.Lock()
	defer k.mu.Unlock()
	if k.page == nil {
		return "", nil
	}
	path := k.page.recordPath
	err := k.page.close(r)
	if err != nil {
		k.paths, k.torn = k.paths[:len(k.paths)-1], append(k.torn, path)
	}
	k.page = nil
	// What came after the last reading that the test saw belongs to the next one too.
	seen := r.Until
	if n := len(r.LeftOut); n > 0 {
		seen = max(seen, r.LeftOut[n-1].End)
	}
	k.items = slices.DeleteFunc(k.late, func(it sensor.Item) bool { return it.Fault != nil || seen == 0 || it.At <= seen })
	k.late = nil
	return path, err
}

// earlier writes a reading of a test that is gone on with; its bytes are in
// that one's capture.
func (k *keeper) earlier(s decay.Sample) {
	k.mu.Lock()
	defer k.mu.Unlock()
	if k.page != nil {
		k.page.mu.Lock()
		k.page.rec.Add(s)
		k.page.mu.Unlock()
	}
}

// mark keeps a mark in the record of the test under way.
func (k *keeper) mark(m record.Mark) {
	k.mu.Lock()
	defer k.mu.Unlock()
	if k.page != nil {
		k.page.mark(m)
	}
}

// discard removes the page of a test that never began.
func (k *keeper) discard() {
	k.mu.Lock()
	defer k.mu.Unlock()
	if k.page != nil {
		k.page.discard()
		k.page, k.paths = nil, k.paths[:len(k.paths)-1]
	}
}

// trouble says why the test under way is not being kept, "" while it is.
func (k *keeper) trouble() string {
	k.mu.Lock()
	defer k.mu.Unlock()
	return k.page.trouble()
}
