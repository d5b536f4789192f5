package tui

import (
	"io"
	"sync"
	"time"
)

// giveUp is how long a terminal that takes nothing is waited for at the end. One
// of 1 kB/s takes 4 kB at once every four seconds, as the system hands it out.
const giveUp = 5 * time.Second

// atOnce is how much goes out in one write: a slow terminal shows by it that it
// takes something.
const atOnce = 4 << 10

// Queue writes to a terminal or a pipe in a goroutine of its own, so that what
// writes to the queue never waits for one that is slow or stopped.
type Queue struct {
	w io.Writer

	mu     sync.Mutex
	wake   chan struct{} // holds one when there may be something to write
	pieces []piece
	bells  int
	busy   bool      // a write is under way
	moved  time.Time // when something was last taken
	drain  drain
	err    error // of the first write that failed
	shut   bool
	gone   chan struct{} // closed when the goroutine has ended
}

// piece is what goes out as a whole.
type piece struct {
	b     []byte
	frame bool
}

// NewQueue starts a queue to w.
func NewQueue(w io.Writer) *Queue {
	q := &Queue{w: w, wake: make(chan struct{}, 1), gone: make(chan struct{}), moved: time.Now()}
	go q.run()
	return q
}

// Write keeps p to be written. It fails when an earlier write did.
func (q *Queue) Write(p []byte) (int, error) { return len(p), q.put(p, false) }

// put keeps p. A frame takes the place of one that has not begun to go out:
// nothing but a repaint of the whole screen is drawn while a frame waits.
func (q *Queue) put(p []byte, frame bool) error {
	q.mu.Lock()
	defer q.mu.Unlock()
	if q.err != nil || q.shut {
		return q.err
	}
	if n := len(q.pieces); frame && n > 0 && q.pieces[n-1].frame {
		q.pieces = q.pieces[:n-1]
	}
	q.pieces = append(q.pieces, piece{append([]byte(nil), p...), frame})
	q.rouse()
	return nil
}

// ring rings the bell ahead of what waits. A terminal that is behind rings once
// for all that were due meanwhile.
func (q *Queue) ring() {
	q.mu.Lock()
	defer q.mu.Unlock()
	if q.bells == 0 && !q.shut {
		q.bells = 1
		q.rouse()
	}
}

// late reports whether something has not been taken yet.
func (q *Queue) late() bool {
	q.mu.Lock()
	defer q.mu.Unlock()
	return q.behind()
}

// low reports whether what is written now is soon shown.
func (q *Queue) low(now time.Time) bool {
	q.mu.Lock()
	defer q.mu.Unlock()
	return q.drain.low(now)
}

// Waiting is how many writes have not begun to go out.
func (q *Queue) Waiting() int {
	q.mu.Lock()
	defer q.mu.Unlock()
	return len(q.pieces)
}

func (q *Queue) behind() bool { return q.busy || len(q.pieces) > 0 || q.bells > 0 }

func (q *Queue) rouse() {
	select {
	case q.wake <- struct{}{}:
	default:
	}
}

func (q *Queue) run() {
	defer close(q.gone)
	for range q.wake {
		for {
			p, ok := q.next()
			if !ok {
				break
			}
			for len(p) > 0 {
				began := time.Now()
				n, err := q.w.Write(p[:min(len(p), atOnce)])
				n = min(max(n, 0), len(p))
				p = p[n:]
				q.mu.Lock()
				q.moved = time.Now()
				q.drain.wrote(n, began, q.moved)
				if err != nil {
					q.err, q.pieces, p = err, nil, nil
				}
				q.mu.Unlock()
			}
		}
		q.mu.Lock()
		over := q.shut && !q.behind()
		q.mu.Unlock()
		if over {
			return
		}
	}
}

// next is what goes out next, bells first.
func (q *Queue) next() ([]byte, bool) {
	q.mu.Lock()
	defer q.mu.Unlock()
	q.busy = q.bells > 0 || len(q.pieces) > 0
	if q.bells > 0 {
		q.bells = 0
		return []byte("\a"), true
	}
	if len(q.pieces) == 0 {
		return nil, false
	}
	p := q.pieces[0].b
	q.pieces = q.pieces[1:]
	return p, true
}

// Close waits until all was taken and ends the queue. A patience above zero is
// how long it waits for a terminal that takes nothing; what is left is then lost.
func (q *Queue) Close(patience time.Duration) {
	q.mu.Lock()
	q.shut = true
	began := time.Now()
	q.mu.Unlock()
	q.rouse()
	look := time.NewTicker(20 * time.Millisecond)
	defer look.Stop()
	for {
		select {
		case <-q.gone:
			return
		case now := <-look.C:
			q.mu.Lock()
			last := q.moved
			if last.Before(began) {
				last = began
			}
			late := patience > 0 && now.Sub(last) > patience
			if late {
				q.pieces, q.bells = nil, 0
			}
			q.mu.Unlock()
			if late {
				return
			}
		}
	}
}
