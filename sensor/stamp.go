package sensor

import (
	"cmp"
	"math"
	"slices"
	"time"
)

// A Slot is one line of a batch, for a [Stamper].
type Slot struct {
	HasTime bool
	Board   float64 // the board's own clock, s, when HasTime
	Lost    bool    // the line made no reading: it is counted, and its stamp says nothing
}

// A Stamp is the time given to a line.
type Stamp struct {
	At    time.Duration // since the source was opened; later than any stamp before
	Reset bool          // the board's clock jumped just before this line: it was reset
}

// Stamper gives each line the time at which its reading was taken. Lines arrive
// in batches, since USB and the operating system pass them on in lumps, so
// arrival is not that time. Where lines carry the board's clock, that is used,
// tied to ours at the first line; elsewhere the lines are counted, and the
// constant period between them is fitted to the arrivals. A line is stamped at
// once, when it arrives. Memory is bounded. The zero value is ready.
type Stamper struct {
	line  arrivalLine
	board boardClock
	has   bool
	first bool          // in a first batch
	last  time.Duration // latest stamp
	out   []Stamp
}

// minStep keeps stamps apart where what is known would make them equal.
const minStep = time.Microsecond

// backlogSpan is how much time lines must span that come together after a
// silence to be taken for what waited while nobody read.
const backlogSpan = 500 * time.Millisecond

// Batch stamps the lines that arrived together at a time, in their order.
// Every line that held a reading, or was meant to, has to be counted in. The
// result is valid until the next call.
func (s *Stamper) Batch(at time.Duration, lines []Slot) []Stamp {
	s.out = s.out[:0]
	k := len(lines)
	if k == 0 {
		return s.out
	}
	before := s.last
	s.line.batch(at.Seconds(), k)
	gap, step := at-before, toDuration(s.line.known)
	span := time.Duration(k) * step
	backlog := s.has && gap >= time.Second && span >= backlogSpan
	s.tie(at, lines)
	s.board.waited = 0
	if first, last := times(lines); s.has && gap >= time.Second && last-first >= backlogSpan.Seconds() {
		s.board.waited = gap.Seconds() // no board that stood still sends so much at once
	}
	for j, l := range lines {
		if l.Lost {
			s.out = append(s.out, Stamp{At: s.last})
			continue
		}
		var t time.Duration
		reset := false
		use := false
		if l.HasTime {
			t, reset, use = s.board.stamp(at, l.Board)
		} else {
			s.board = boardClock{}
		}
		s.board.early = 0
		if !use {
			sec, ok := s.line.time(k - 1 - j)
			switch {
			case ok:
				t = toDuration(sec)
			case backlog && span < gap-gap/10:
				// Systems keep the oldest of what waits, so the lines that are missing
				// came after these.
				t = before + time.Duration(j+1)*step
			case backlog, s.has && gap < time.Second && !s.first:
				t = before + time.Duration(float64(gap)*float64(j+1)/float64(k))
			default:
				// After a pause, or at the start: so far before arrival as the lines
				// take, none before the start.
				step := cmp.Or(step, time.Millisecond)
				t = max(at-time.Duration(k-1)*step, 0) + time.Duration(j)*step
				s.first = j < k-1
			}
		}
		if s.has {
			t = max(t, s.last+minStep)
		} else {
			t = max(t, 0)
		}
		s.last, s.has = t, true
		s.out = append(s.out, Stamp{At: t, Reset: reset})
	}
	return s.out
}

// tie ties a board's clock by the last line of a batch: the ones before it may
// have waited.
func (s *Stamper) tie(at time.Duration, lines []Slot) {
	if s.board.has {
		return
	}
	if first, last := times(lines); last > first && last-first < tieMost {
		s.board.early = last - first
	}
}

// times are the board's first and last time in a batch, both 0 without any.
func times(lines []Slot) (first, last float64) {
	has := false
	for _, l := range lines {
		if l.HasTime && !l.Lost {
			if last = l.Board; !has {
				first, has = last, true
			}
		}
	}
	return first, last
}

// Restart tells that the board was plugged in again: the phase of its period
// and perhaps the period are new. Its clock is kept to as long as it fits: a
// board with a supply of its own has gone on counting.
func (s *Stamper) Restart() {
	known := s.line.known
	s.line = arrivalLine{known: known}
}

// Rate is the number of lines a second, 0 as long as it is not known.
func (s *Stamper) Rate() float64 {
	if s.board.usable() {
		if r := s.board.rate(); r > 0 {
			return r
		}
	}
	if s.line.period > 0 {
		return 1 / s.line.period
	}
	return 0
}

// Missing is how many lines did not arrive, as far as the count against time
// can tell, in the stretch since the last start or silence.
func (s *Stamper) Missing() int { return int(math.Round(s.line.missing)) }

// Clock says in plain words where the times come from.
func (s *Stamper) Clock() string {
	switch {
	case s.board.usable():
		return "the board's own clock"
	case s.line.period > 0:
		return "arrival, smoothed by counting the lines"
	}
	return "arrival"
}

func toDuration(sec float64) time.Duration { return time.Duration(math.Round(sec * 1e9)) }

// Constants of the line through the arrivals.
const (
	maxBlocks     = 128
	firstBlock    = 0.02 // s: length of a block at first
	longestBlock  = 1.0  // s: so the fit looks back over about two minutes
	fitBlocks     = 4    // needed for a period, over at least fitSpan
	fitSpan       = 0.3  // s
	heldSpan      = 5.0  // s: a period known from before a silence is kept until then
	silenceSpan   = 1.0  // s without a line, and silencePeriods of them
	silenceTimes  = 8.0
	shiftRuns     = 4    // batches that have to agree before the count is put right
	shiftSpan     = 0.15 // s, and 3 periods
	shiftMin      = 0.75 // of a period
	shiftFloor    = 0.01 // s: less is within the jitter of a busy machine
	lateWeight    = 0.1  // of a block above the line
	shiftsTooMany = 4    // of 64 batches: the period is not what was thought
)

// arrivalLine is a straight line through (count of lines, arrival), along the
// lower edge of the arrivals: a line can come late and cannot come early.
type arrivalLine struct {
	n       float64 // count of the latest line
	at      float64 // its arrival, s
	gap     float64 // since the batch before, s
	has     bool
	period  float64 // s a line; 0: not known
	known   float64 // the latest period that was known, s
	base    float64 // of the line through the blocks: arrival at count 0, less period·n at origin
	origin  float64 // count to which base belongs
	fitted  bool    // base is set
	held    bool    // period is from before a silence, and these blocks do not tell a better one yet
	blocks  []arrival
	length  float64 // of a block, s
	open    float64 // when the latest block began
	missing float64

	runs           int // batches in a row that came late (or early) by whole periods
	runAt, runN    float64
	runLeast       float64
	batches, shift int
}

type arrival struct{ n, a float64 }

// time is that of the line back places before the latest.
func (l *arrivalLine) time(back int) (float64, bool) {
	if !l.fitted {
		return 0, false
	}
	return l.base + l.period*(l.n-float64(back)-l.origin), true
}

func (l *arrivalLine) forget() {
	*l = arrivalLine{known: l.known, n: l.n, at: l.at, gap: l.gap, has: l.has, missing: l.missing, blocks: l.blocks[:0]}
}

// batch counts k lines that arrived at a time.
func (l *arrivalLine) batch(at float64, k int) {
	gap := at - l.at
	usual := l.period
	if usual == 0 {
		usual = l.gap
	}
	l.gap = gap
	if l.has && gap > math.Max(silenceSpan, silenceTimes*usual) {
		// After a silence only the period is still good.
		period := l.period
		l.forget()
		l.period, l.held = period, period > 0
	}
	first := !l.has
	l.n += float64(k)
	l.at, l.has = at, true
	if first && k > 1 {
		return // a first batch may be old lines that nobody had read
	}
	l.check()
	l.keep()
}

// check puts the count right when lines were lost on the way.
func (l *arrivalLine) check() {
	t, ok := l.time(0)
	if !ok {
		return
	}
	if l.batches++; l.batches%64 == 0 {
		l.shift = 0
	}
	late := l.at - t
	if math.Abs(late) > math.Max(2, 2*silenceTimes*l.period) {
		l.forget()
		return
	}
	least := math.Max(shiftMin*l.period, shiftFloor)
	if math.Abs(late) < least {
		l.runs = 0
		return
	}
	if l.runs == 0 || late*l.runLeast < 0 {
		l.runs, l.runAt, l.runN, l.runLeast = 0, l.at, l.n, late
	}
	l.runs++
	if math.Abs(late) < math.Abs(l.runLeast) {
		l.runLeast = late
	}
	if l.runs < shiftRuns || l.at-l.runAt < math.Max(shiftSpan, 3*l.period) {
		return
	}
	m := math.Round(l.runLeast / l.period)
	l.n += m
	l.missing = math.Max(0, l.missing+m)
	for i := range l.blocks {
		if l.blocks[i].n >= l.runN {
			l.blocks[i].n += m
		}
	}
	l.runs = 0
	if l.shift++; l.shift >= shiftsTooMany {
		l.forget()
	}
}

// keep takes the latest arrival into the blocks: each holds the one that came
// earliest against the line.
func (l *arrivalLine) keep() {
	p := arrival{l.n, l.at}
	if l.length == 0 {
		l.length = firstBlock
	}
	if len(l.blocks) > 0 && l.at-l.open < l.length {
		if b := &l.blocks[len(l.blocks)-1]; p.a-l.period*p.n <= b.a-l.period*b.n {
			*b = p
		}
		return
	}
	l.fit() // the block before is complete
	if len(l.blocks) == maxBlocks {
		if l.length < longestBlock {
			l.length *= 2
			half := l.blocks[:0]
			for i := 0; i+1 < maxBlocks; i += 2 {
				a, b := l.blocks[i], l.blocks[i+1]
				if b.a-l.period*b.n < a.a-l.period*a.n {
					a = b
				}
				half = append(half, a)
			}
			l.blocks = half
		} else {
			l.blocks = slices.Delete(l.blocks, 0, 1)
		}
	}
	l.blocks = append(l.blocks, p)
	l.open = l.at
}

// fit draws the line through the blocks, leaving out those far off it.
func (l *arrivalLine) fit() {
	if len(l.blocks) == 0 {
		return
	}
	first, last := l.blocks[0], l.blocks[len(l.blocks)-1]
	span := last.a - first.a
	if l.held = l.held && (span < heldSpan || len(l.blocks) < 16); l.held {
		l.level()
		return
	}
	if len(l.blocks) < fitBlocks || span < fitSpan || last.n-first.n < 3 {
		return
	}
	l.slope(math.Inf(1))
	for range 3 {
		// 4.4 robust standard deviations; the floor is what a timer resolves.
		l.slope(4.4*1.4826*l.scatter() + 2e-4)
	}
	if !(l.period > 0) {
		l.forget()
		return
	}
	l.known = l.period
}

// scatter is the median distance of the blocks from the line.
func (l *arrivalLine) scatter() float64 {
	var d [maxBlocks]float64
	for i, b := range l.blocks {
		d[i] = math.Abs(b.a - l.base - l.period*(b.n-l.origin))
	}
	s := d[:len(l.blocks)]
	slices.Sort(s)
	return s[len(s)/2]
}

// level fits the base alone.
func (l *arrivalLine) level() {
	var n, a float64
	for _, b := range l.blocks {
		n, a = n+b.n, a+b.a
	}
	w := float64(len(l.blocks))
	l.origin, l.base, l.fitted = n/w, a/w, true
}

// slope fits base and period by least squares to the blocks within limit of
// the line so far. Blocks above that line count less, so that the fit settles
// along the lower edge, where lines came without delay.
func (l *arrivalLine) slope(limit float64) {
	weigh := func(b arrival) float64 {
		r := b.a - l.base - l.period*(b.n-l.origin)
		switch {
		case math.IsInf(limit, 1):
			return 1
		case math.Abs(r) > limit:
			return 0
		case r > 0:
			return lateWeight
		}
		return 1
	}
	var w [maxBlocks]float64
	var n, a, sum float64
	for i, b := range l.blocks {
		w[i] = weigh(b)
		n, a, sum = n+w[i]*b.n, a+w[i]*b.a, sum+w[i]
	}
	if sum < 1 {
		return
	}
	n, a = n/sum, a/sum
	var nn, na float64
	for i, b := range l.blocks {
		nn += w[i] * (b.n - n) * (b.n - n)
		na += w[i] * (b.n - n) * (b.a - a)
	}
	if nn == 0 {
		return
	}
	l.origin, l.base, l.period, l.fitted = n, a, na/nn, true
}

// Constants of the board's clock.
const (
	tieMost      = 5.0  // s of lines that may have waited
	clockAhead   = 1.0  // s by which the board's time may be ahead of arrival
	clockBehind  = 5.0  // s by which arrival may be late
	clockBack    = 0.5  // s back: a reset, not a doubled line
	refSpan      = 5.0  // s over which the difference at the start is learned
	blockSpan    = 1.0  // s over which the least late arrival is looked for
	followTime   = 100  // s: time constant with which the difference is followed
	followMost   = 0.01 // s a second
	coarseLook   = 64   // lines after which a clock of equal values is given up
	coarseShare  = 0.3
	rateWindow   = 64
	rateMinLines = 8
)

// boardClock ties a board's own clock to ours. Its drift against arrival is
// followed with a time constant of 100 s, so a decay is never bent by it.
type boardClock struct {
	has          bool
	zero         float64 // board's time at the tie
	start        float64 // our time there, s
	shift        float64 // followed since, s
	last         float64 // board's latest time
	lines, equal int
	odds         int // lines in a row whose time does not fit
	odd, oddAt   float64
	coarse       bool

	early      float64 // s by which the first line of the batch came before its last
	waited     float64 // s that the first line of the batch may have waited to be read
	ref, least float64 // least lateness at the start, and in this block
	refUntil   float64 // board's times
	blockUntil float64
	drift      float64 // lateness of the last block against ref

	steps [rateWindow]float64
	n     int
}

func (c *boardClock) usable() bool { return c.has && !c.coarse }

// stamp is the time of a line with the board's time b.
func (c *boardClock) stamp(at time.Duration, b float64) (t time.Duration, reset, ok bool) {
	if c.coarse {
		return 0, false, false
	}
	a := at.Seconds()
	if c.has {
		step := b - c.last
		sec := c.start + c.shift + (b - c.zero)
		switch {
		case step < -clockBack, sec > a+clockAhead+a/100, sec < a-clockBehind-a/100-c.waited:
			// One odd time may be a torn line; a board that started anew goes on from it.
			if on := b - c.odd; c.odds == 0 || on < 0 || on > a-c.oddAt+clockAhead {
				c.odds, c.odd, c.oddAt = 1, b, a
				return 0, false, false
			}
			reset = true
		default:
			c.odds = 0
			if step > 0 {
				c.steps[c.n%rateWindow] = step
				c.n++
				move := c.drift / followTime * step
				c.shift += math.Max(-followMost*step, math.Min(followMost*step, move))
			} else {
				c.equal++
			}
			if c.lines++; c.lines == coarseLook {
				c.coarse = float64(c.equal) > coarseShare*coarseLook
				c.lines, c.equal = 0, 0
			}
			c.last = math.Max(c.last, b)
			if c.waited == 0 { // else it came late for another reason than drift
				c.follow(a, b)
			}
			return toDuration(c.start + c.shift + (b - c.zero)), false, true
		}
	}
	*c = boardClock{has: true, zero: b, start: math.Max(0, a-c.early), last: b, refUntil: b + refSpan, blockUntil: b + refSpan, ref: math.Inf(1), least: math.Inf(1)}
	return toDuration(c.start), reset, true
}

// follow keeps the least lateness of arrival against the board's clock.
func (c *boardClock) follow(a, b float64) {
	late := a - (c.start + c.shift + (b - c.zero))
	if b < c.refUntil {
		c.ref = math.Min(c.ref, late)
		return
	}
	c.least = math.Min(c.least, late)
	if b >= c.blockUntil {
		if !math.IsInf(c.ref, 1) && !math.IsInf(c.least, 1) {
			c.drift = c.least - c.ref
		}
		c.least, c.blockUntil = math.Inf(1), b+blockSpan
	}
}

// rate is from the median of the latest steps.
func (c *boardClock) rate() float64 {
	n := min(c.n, rateWindow)
	if n < rateMinLines {
		return 0
	}
	s := c.steps
	slices.Sort(s[:n])
	// A board that prints whole milliseconds has steps of two lengths, so the
	// mean of the middle half is taken.
	sum, m := 0.0, 0
	for _, v := range s[n/4 : n-n/4] {
		sum += v
		m++
	}
	if sum <= 0 {
		return 0
	}
	return float64(m) / sum
}
