package sensor

import (
	"fmt"
	"math"
	"slices"
	"time"

	"ebbline/decay"
)

// HealthConfig is what is known of a transducer whose readings are watched.
type HealthConfig struct {
	Name      string // of the port, for the texts
	Reads     decay.Reference
	Ambient   decay.Pressure // 0: not stated, taken as 101.325 kPa
	FullScale float64        // Pa, in its own reference; 0: unknown
	Noise     float64        // Pa rms, as its profile states; 0: not stated
}

// Health finds from the readings alone, each a time and a value, what is wrong
// with the transducer: a value that is stuck or at a rail, a sagging supply,
// noise, a change of unit, the wrong reference. It changes no reading. Its
// memory and the cost of a reading are constant.
type Health struct {
	cfg    HealthConfig
	ranged bool
	active map[string]Fault
	out    []Fault

	n         int
	last, max float64 // in the transducer's own reference, Pa
	at        time.Duration
	grain     float64 // smallest difference of two readings in a row, Pa; 0: none seen

	run      int // readings in a row that were exactly equal
	runAt    time.Duration
	runRose  bool // the value was being approached from below
	runStep  bool // it was reached by a jump upwards
	zero     float64
	hasZero  bool // zero is the reading at rest, at the start
	sunk     int  // calm blocks in a row below it
	lastAt   time.Duration
	longest  int // such run that ended by itself
	block    [blockLen]float64
	filled   int
	noise    float64 // rms of the latest calm block, Pa
	calm     int     // readings in calm blocks whose noise was seen
	jumps    int     // of them that differed from the one before by two grains or more
	rests    []float64
	loud     int // calm blocks in a row that were too loud
	quiet    int
	beyond   int // readings in a row at the top of the range, below the bottom, …
	below    int
	fine     int
	atRail   int
	inside   float64 // latest value within the range
	ratio    float64 // of the unit jump that is on
	drop     float64 // of the sag that is on, Pa
	stood    span    // the latest run of one value that was long
	trail    []timed // a thinned past without such runs, for slopes
	suspect  suspect
	steps    []timed // a thinned past, for jumps
	firsts   []timed // the readings of the first seconds
	referred bool    // the reference was judged
}

type timed struct {
	at time.Duration
	v  float64
}

type span struct{ from, to time.Duration }

// suspect is a fall after a long run of one value: a sag of the supply, or the
// end of a reading that was stuck while the pressure fell.
type suspect struct {
	stood    span
	slope    float64 // before it stood, Pa/s
	decide   time.Duration
	share    float64 // by which it fell
	drop, at float64 // Pa, and the level after it
}

// Constants of the checks. Where they are not plain counts, they were set so
// that clean simulated traces give no fault; see the tests.
const (
	blockLen    = 32
	restBlocks  = 8   // of which the median is the noise at rest
	restNeeded  = 4   // before it is used
	noisyRatio  = 5.0 // of the noise at rest or stated
	quietRatio  = 3.0
	stuckLen    = 50 // equal readings: below 1e-9 by chance where noise spans half a step
	stuckSpan   = 2 * time.Second
	jumpShare   = 0.05 // of differences of two steps: noise spans about half a step or more
	jumpNeeded  = 4 * blockLen
	topShare    = 0.998
	aboveShare  = 1.06 // a ratiometric signal at the supply reads 1.125 of full scale
	bottomShare = 0.05
	bottomLeast = 10 * decay.Kilopascal
	thinEvery   = 10 * time.Millisecond
	stepAcross  = 60 * time.Millisecond // air takes longer for a share of its pressure
	sideLen     = 6                     // readings on either side of a jump
	middleMost  = 4
	sagLeast    = 0.03
	sagMost     = 0.4
	ratioSlack  = 0.02
	liveZero    = 0.125 // of full scale: 0.5 V of a span of 4 V
	firstSpan   = 1500 * time.Millisecond
	railStep    = 20 * decay.Kilopascal
	stoodLeast  = time.Second
	trailEvery  = 100 * time.Millisecond
	trailLen    = 32
	sunkShare   = 0.01 // of full scale, by which the zero may move
	sunkUnknown = 2 * decay.Kilopascal
)

// unitRatios are what values change by when a board's unit is changed.
var unitRatios = []struct {
	ratio float64
	text  string
}{
	{decay.PSI / decay.Kilopascal, "psi and kPa"},
	{decay.Bar / decay.PSI, "bar and psi"},
	{10, "a factor of 10, as between kPa and mbar"},
	{100, "bar and kPa"},
	{1000, "bar and mbar"},
}

// NewHealth returns a watch that has seen nothing.
func NewHealth(cfg HealthConfig) *Health {
	return &Health{cfg: cfg, active: map[string]Fault{}, max: math.Inf(-1)}
}

// ambient is the one stated or the standard one.
func (h *Health) ambient() decay.Pressure {
	if h.cfg.Ambient > 0 {
		return h.cfg.Ambient
	}
	return decay.DefaultAmbient
}

// Noise is the standard deviation, Pa, of the latest readings that stood still
// for long enough; 0 when there were none.
func (h *Health) Noise() float64 { return h.noise }

// Resolution is the smallest step, Pa, that was seen between readings; 0 when
// all were equal.
func (h *Health) Resolution() float64 { return h.grain }

// Ranged says whether a calibration tells of readings beyond the range, so that
// Health need not.
func (h *Health) Ranged(yes bool) { h.ranged = yes }

// Gap says that readings are missing, so that those to come have no neighbours.
func (h *Health) Gap() {
	h.run, h.filled, h.steps = 0, 0, h.steps[:0]
	h.trail, h.suspect = h.trail[:0], suspect{}
}

// Restart says that another board may be there, or the same one anew: what
// was found ends, and what was learned is forgotten.
func (h *Health) Restart(at time.Duration) []Fault {
	h.out = h.out[:0]
	h.at = at
	for _, code := range h.codes() {
		h.end(code, "the board was plugged in again")
	}
	out := h.out
	*h = Health{cfg: h.cfg, ranged: h.ranged, active: h.active, max: math.Inf(-1), steps: h.steps[:0], rests: h.rests[:0], firsts: h.firsts[:0]}
	return out
}

func (h *Health) codes() []string {
	var out []string
	for c := range h.active {
		out = append(out, c)
	}
	slices.Sort(out)
	return out
}

func (h *Health) on(code string) bool { _, ok := h.active[code]; return ok }

func (h *Health) begin(code, text, hint string) {
	if h.on(code) {
		return
	}
	f := Fault{At: h.at, Code: code, State: Begins, Text: h.cfg.Name + ": " + text, Hint: hint}
	h.active[code] = f
	h.out = append(h.out, f)
	h.steps = h.steps[:0] // a jump that a fault explains is no other fault
}

func (h *Health) end(code, text string) {
	if !h.on(code) {
		return
	}
	delete(h.active, code)
	h.steps = h.steps[:0]
	f := Fault{At: h.at, Code: code, State: Ends, Text: h.cfg.Name + ": " + text, Hint: "the test goes on; the readings in between were not sound"}
	h.out = append(h.out, f)
}

// Add takes a reading, absolute as all are, and returns the faults that begin
// or end with it. The result is valid until the next call.
func (h *Health) Add(at time.Duration, p decay.Pressure) []Fault {
	h.out = h.out[:0]
	v := float64(p)
	if h.cfg.Reads == decay.ReadsGauge {
		v = float64(p.Gauge(h.ambient()))
	}
	h.at = at
	if math.IsNaN(v) || math.IsInf(v, 0) {
		h.Gap()
		return h.out
	}
	d := v - h.last
	if h.n > 0 && math.Abs(d) > 1e-7*math.Max(1, math.Abs(v)) && (h.grain == 0 || math.Abs(d) < h.grain) {
		h.grain = math.Abs(d)
	}
	h.limits(v)
	h.stuck(v)
	h.blocks(v)
	h.remember(v)
	h.jump(v)
	h.reference(v)
	h.n++
	h.last, h.lastAt = v, at
	h.max = math.Max(h.max, v)
	return h.out
}

// limits looks for readings outside what the transducer can read.
func (h *Health) limits(v float64) {
	fs := h.cfg.FullScale
	if h.ranged {
		return
	}
	bottom := -math.Max(bottomLeast, bottomShare*fs)
	// An absolute sensor that reads about zero from the start is a gauge sensor.
	if h.cfg.Reads == decay.ReadsAbsolute && h.referred && !h.on(FaultReference) {
		bottom = 20 * decay.Kilopascal
	}
	// The air around in psi, taken for kPa, is about 14.7: a change of unit, no open wire.
	inPSI := h.cfg.Reads == decay.ReadsAbsolute && h.hasZero && math.Abs(v*unitRatios[0].ratio/h.zero-1) < ratioSlack
	if v < bottom && !inPSI {
		if h.below++; h.below == 4 {
			switch {
			case fs > 0 && v == h.last && v > -0.1*fs && v < 0:
				h.begin(FaultRailLow, "the signal stands still, below the transducer's zero and above 0 V",
					"the signal wire touches ground through something, or the transducer is broken: check its three wires")
			default:
				h.begin(FaultOpenCircuit, "the signal is below the transducer's zero",
					"a wire is off, or the signal touches ground: check supply, ground and signal at the plug")
			}
		}
	} else {
		h.below = 0
	}
	rail := fs > 0 && v > aboveShare*fs
	top := fs > 0 && v >= topShare*fs && !rail
	if h.on(FaultUnitJump) {
		rail, top = false, false // the value is in another unit
	}
	if !rail && !top {
		h.inside = v
	}
	// A number that is exactly so many times larger, and moves, is at no rail.
	if (rail && h.atRail == 2 || top && h.beyond == 2) && v != h.last && h.inside > 5*decay.Kilopascal {
		for _, u := range unitRatios {
			if math.Abs(v/h.inside/u.ratio-1) < ratioSlack && h.ratio == 0 {
				h.ratio = u.ratio
				h.begin(FaultUnitJump, fmt.Sprintf(unitText, u.ratio, u.text), unitHint)
				h.atRail, h.beyond, rail, top = 0, 0, false, false
				break
			}
		}
	}
	if top {
		if h.beyond++; h.beyond == 3 && !h.on(FaultRailHigh) {
			h.begin(FaultSaturated, "the reading is at the transducer's full scale: the pressure may be higher than is shown",
				"let air out; use a transducer of a higher range")
		}
	} else {
		h.beyond = 0
	}
	if rail {
		if h.atRail++; h.atRail == 3 {
			h.begin(FaultRailHigh, "the signal stands far above the transducer's full scale", railHighHint)
		}
	} else {
		h.atRail = 0
	}
	if (v >= bottom || inPSI) && !top && !rail {
		if h.fine++; h.fine >= 5 {
			h.end(FaultRailLow, backInRange)
			h.end(FaultOpenCircuit, backInRange)
			if fs > 0 {
				h.end(FaultSaturated, backInRange)
				h.end(FaultRailHigh, backInRange)
			}
		}
	} else {
		h.fine = 0
	}
}

const (
	unitText     = "the values changed from one reading to the next by the ratio %.3g of %s"
	unitHint     = "let air out by hand; the board prints another unit than before: set it back, and start the test again"
	railHighHint = "the signal wire touches the supply, or the transducer's ground is off: check its three wires"
	backInRange  = "the signal is within the transducer's range again"
)

// stuck looks for one value where noise would not let it stay.
func (h *Health) stuck(v float64) {
	if h.n == 0 || v != h.last {
		if h.run > 0 && !h.on(FaultStuck) {
			h.longest = max(h.longest, h.run)
		}
		if h.run >= sideLen && h.lastAt-h.runAt >= stoodLeast {
			h.stood = span{h.runAt, h.lastAt}
		}
		h.runRose = h.n > 0 && v > h.last && v >= h.max
		h.runStep = h.n > 0 && v-h.last > railStep && h.at-h.lastAt <= stepAcross
		h.run, h.runAt = 1, h.at
		if h.on(FaultStuck) {
			h.steps = h.steps[:0] // what the pressure did meanwhile is no jump
		}
		h.end(FaultStuck, "the reading moves again")
		if h.cfg.FullScale == 0 && !h.ranged {
			h.end(FaultSaturated, "the reading moves again")
			h.end(FaultRailHigh, "the reading moves again")
		}
		return
	}
	h.run++
	if h.runStep && h.run >= 10 && h.at-h.runAt >= 200*time.Millisecond && h.cfg.FullScale == 0 && !h.ranged && h.resolved() && h.run > 4*h.longest {
		h.begin(FaultRailHigh, "the reading jumped up and stays at exactly one value", railHighHint)
	}
	// An exact zero may be a board that cuts off what is below it.
	if v == 0 || h.run < max(stuckLen, 4*h.longest) || h.at-h.runAt < stuckSpan || !h.resolved() || h.outside() {
		return
	}
	if h.runRose && v > 20*decay.Kilopascal && h.cfg.FullScale == 0 {
		h.begin(FaultSaturated, "the reading rose and then stayed at exactly one value: the top of its range",
			"let air out; the pressure may be higher than is shown; use a transducer of a higher range")
		return
	}
	h.begin(FaultStuck, fmt.Sprintf("the reading has not changed at all for %.1f s, and it had noise before", (h.at-h.runAt).Seconds()),
		"let air out by hand; restart the board, and check the transducer's plug")
}

// resolved reports whether noise was seen that spans more than half a step of
// the converter; a coarser one stands still by itself.
func (h *Health) resolved() bool {
	return h.calm >= jumpNeeded && float64(h.jumps) >= jumpShare*float64(h.calm)
}

// outside reports whether a fault of the range is on, or about to be.
func (h *Health) outside() bool {
	return h.on(FaultSaturated) || h.on(FaultOpenCircuit) || h.on(FaultRailHigh) || h.on(FaultRailLow) || h.below > 0 || h.beyond > 0 || h.atRail > 0
}

// blocks measures the noise in stretches of 32 readings, by second differences,
// which a steady slope does not enter.
func (h *Health) blocks(v float64) {
	h.block[h.filled] = v
	if h.filled++; h.filled < blockLen {
		return
	}
	h.filled = 0
	b := &h.block
	var e [blockLen - 2]float64
	equal, jumps := 0, 0
	var lo, hi float64
	for i, x := range b {
		if i < blockLen/2 {
			lo += x
		} else {
			hi += x
		}
		if i > 0 {
			if x == b[i-1] {
				equal++
			} else if math.Abs(x-b[i-1]) > 1.5*h.grain {
				jumps++
			}
		}
		if i > 0 && i < blockLen-1 {
			e[i-1] = math.Abs(x - (b[i-1]+b[i+1])/2)
		}
	}
	// A spike is no noise, and two of them make six differences large.
	slices.Sort(e[:])
	sum := 0.0
	for _, x := range e[:len(e)-6] {
		sum += x
	}
	// E|e| = sqrt(2/π)·sqrt(3/2)·σ; without the largest fifth it is 0.70 of that,
	// by the mean of a half-normal cut off at its 80th percentile.
	sigma := sum / float64(len(e)-6) / (0.70 * math.Sqrt(2/math.Pi) * math.Sqrt(1.5))
	if math.Abs(hi-lo)/(blockLen/2) > sigma+100 {
		return // not calm
	}
	if equal == blockLen-1 {
		return // stuck or coarse: no noise is to be seen
	}
	if h.outside() || h.on(FaultUnitJump) || h.on(FaultStuck) {
		return
	}
	h.noise = sigma
	h.sink((lo+hi)/blockLen, sigma)
	h.calm += blockLen
	h.jumps += jumps
	// Counts that old ones do not outweigh for ever.
	if h.calm > 1<<16 {
		h.calm, h.jumps = h.calm/2, h.jumps/2
	}
	h.noisy(sigma, equal)
}

// sink looks at a level that stood still: one below the reading at rest is no
// pressure of a duct that is filled.
func (h *Health) sink(level, sigma float64) {
	if !h.hasZero {
		return
	}
	limit := sunkUnknown
	if h.cfg.FullScale > 0 {
		limit = sunkShare * h.cfg.FullScale
	}
	limit = math.Max(limit, math.Max(3*h.grain, 4*sigma))
	switch {
	case level < h.zero-limit:
		if h.sunk++; h.sunk == 2 && !h.on(FaultSag) {
			h.drop = math.Inf(1) // only a level at rest ends it
			h.begin(FaultSag, fmt.Sprintf("at rest it reads %.2f kPa less than at the start, below any pressure of the duct", (h.zero-level)/1000),
				"the transducer's supply sags, or its zero has moved with warmth: check the board's power, then start anew")
		}
	case math.Abs(level-h.zero) < limit/2:
		h.sunk = 0
		h.end(FaultSag, "the reading at rest is as it was at the start")
	default:
		h.sunk = 0
	}
}

// noisy compares a block's noise with that at rest and with what is stated.
func (h *Health) noisy(sigma float64, equal int) {
	var allowed float64
	what := ""
	switch {
	case h.cfg.Noise > 0:
		allowed, what = h.cfg.Noise, "the profile states"
	case len(h.rests) >= restNeeded:
		allowed, what = median(h.rests), "it was at first"
	}
	allowed = math.Max(allowed, 0.5*h.grain)
	if what != "" && sigma > noisyRatio*allowed {
		h.quiet = 0
		if h.loud++; h.loud == 2 {
			h.begin(FaultNoisy, fmt.Sprintf("the noise is %s, and %s %s", pa(sigma), what, pa(allowed)),
				"keep the cable away from motors and ignition, check ground and screen; the answer takes longer")
		}
		return
	}
	h.loud = 0
	if sigma < quietRatio*allowed {
		if h.quiet++; h.quiet == 2 {
			h.end(FaultNoisy, "the noise is as it was")
		}
	}
	// Most values equal: a cut-off or coarse signal tells no noise.
	if len(h.rests) < restBlocks && equal < blockLen/2 && !h.on(FaultNoisy) {
		h.rests = append(h.rests, sigma)
	}
}

// pa prints a small difference of pressure.
func pa(v float64) string {
	if v >= 1000 {
		return fmt.Sprintf("%.2f kPa rms", v/1000)
	}
	return fmt.Sprintf("%.0f Pa rms", v)
}

// jump looks for a step, level before and level after, that air cannot make.
func (h *Health) jump(v float64) {
	if k := len(h.steps); k > 0 && h.at-h.steps[k-1].at < thinEvery {
		return
	}
	if len(h.steps) == 2*sideLen+middleMost {
		h.steps = slices.Delete(h.steps, 0, 1)
	}
	h.steps = append(h.steps, timed{h.at, v})
	s := h.steps
	if len(s) < 2*sideLen {
		return
	}
	after := s[len(s)-sideLen:]
	am, ar := meanRange(after)
	for middle := 0; middle <= middleMost && 2*sideLen+middle <= len(s); middle++ {
		before := s[len(s)-2*sideLen-middle : len(s)-sideLen-middle]
		bm, br := meanRange(before)
		step := math.Abs(am - bm)
		if step < math.Max(500, math.Max(4*h.grain, 8*h.noise)) || math.Max(ar, br) > 0.15*step {
			continue
		}
		if after[0].at-before[sideLen-1].at > max(stepAcross, 2*(before[sideLen-1].at-before[sideLen-2].at)*time.Duration(btoi(middle == 0))) {
			continue
		}
		level := br <= 0.1*math.Abs(bm)+6*h.noise && ar <= 0.1*math.Abs(am)+6*h.noise
		if middle == 0 && level && h.unitJump(before[sideLen-1].v, after[0].v, bm, am) || h.sag(bm, am, after[0].at-before[sideLen-1].at) {
			h.steps = append(h.steps[:0], after...)
			return
		}
	}
}

func btoi(b bool) int {
	if b {
		return 1
	}
	return 0
}

// unitJump reports whether the values changed by the ratio of two units.
func (h *Health) unitJump(b, a, bm, am float64) bool {
	near := func(r float64) bool {
		return math.Abs(a/b/r-1) < ratioSlack || math.Abs(am/bm/r-1) < ratioSlack
	}
	least, most := math.Min(math.Abs(b), math.Abs(a)), math.Max(math.Abs(b), math.Abs(a))
	if least < math.Max(decay.Kilopascal, math.Max(10*h.noise, 5*h.grain)) || most < 5*decay.Kilopascal || a*b < 0 {
		return false
	}
	// A small hose that is let out is nearly empty from one reading to the next.
	if h.cfg.Reads == decay.ReadsGauge && math.Abs(a) < math.Min(5*decay.Kilopascal, math.Abs(b)) {
		return false
	}
	for _, u := range unitRatios {
		for _, r := range []float64{u.ratio, 1 / u.ratio} {
			if !near(r) {
				continue
			}
			if h.on(FaultUnitJump) && math.Abs(h.ratio*r-1) < 1e-6 {
				h.end(FaultUnitJump, "the values are in the first unit again")
				h.ratio = 0
				return true
			}
			h.begin(FaultUnitJump, fmt.Sprintf(unitText, r, u.text), unitHint)
			if h.ratio == 0 {
				h.ratio = r
			}
			return true
		}
	}
	return false
}

// remember keeps the past that slopes are taken from, and decides on a suspect
// when enough has come after it.
func (h *Health) remember(v float64) {
	if k := len(h.trail); (k == 0 || h.at-h.trail[k-1].at >= trailEvery) && h.at-h.runAt < stoodLeast {
		if k == trailLen {
			h.trail = slices.Delete(h.trail, 0, 1)
		}
		h.trail = append(h.trail, timed{h.at, v})
	}
	s := h.suspect
	if s.decide == 0 || h.at < s.decide {
		return
	}
	h.suspect = suspect{}
	slope := math.Max(math.Abs(s.slope), math.Abs(slopeOf(h.trail, s.stood.to, h.at)))
	if slope*(s.stood.to-s.stood.from).Seconds() < 0.5*s.drop && math.Abs(v-s.at) < 0.5*s.drop {
		h.sagged(s.drop, s.share)
	}
}

// slopeOf is the slope, Pa/s, of the points after one time and up to another; 0
// when they are too few.
func slopeOf(s []timed, after, until time.Duration) float64 {
	var n, st, sv, stt, stv float64
	for _, p := range s {
		if p.at > after && p.at <= until {
			t := (p.at - after).Seconds()
			n, st, sv, stt, stv = n+1, st+t, sv+p.v, stt+t*t, stv+t*p.v
		}
	}
	if d := n*stt - st*st; n >= 5 && d > 0 {
		return (n*stv - st*sv) / d
	}
	return 0
}

// sagged raises the fault of a supply that sags.
func (h *Health) sagged(drop, share float64) {
	h.drop = drop
	h.begin(FaultSag, fmt.Sprintf("all values fell by %.0f %% at one moment, faster than air can", 100*share),
		"the transducer's supply sags: check the board's power and the supply wire; take the supply as the converter's reference")
}

// sag reports whether all values fell by a share at one moment, or rose again.
func (h *Health) sag(bm, am float64, across time.Duration) bool {
	if across > stepAcross || h.outside() || h.on(FaultStuck) || h.resolved() && h.run >= sideLen {
		return false
	}
	if h.on(FaultSag) && am > bm && am-bm > 0.5*h.drop {
		h.end(FaultSag, "the values are back at once, as the supply is")
		return true
	}
	if s := h.suspect; s.decide != 0 && am > bm && am-bm > 0.5*s.drop {
		h.suspect = suspect{}
		h.sagged(s.drop, s.share)
		h.end(FaultSag, "the values are back at once, as the supply is")
		return true
	}
	off := liveZero * h.cfg.FullScale
	k := (am + off) / (bm + off)
	gone := am < 0.1*bm && bm > 2*decay.Kilopascal // let out altogether
	if !(bm+off > 2*decay.Kilopascal) || k > 1-sagLeast || k < 1-sagMost || gone {
		return false
	}
	// A coarse converter shows one value for long, and so does a board that hangs:
	// a fall that the leak explains is no sag.
	if stood := h.stood; stood.to > 0 && h.at-stood.to < stoodLeast {
		wait := max(stoodLeast, min(3*time.Second, (stood.to-stood.from)/2))
		h.suspect = suspect{stood: stood, slope: slopeOf(h.trail, 0, stood.from), decide: stood.to + wait, share: 1 - k, drop: bm - am, at: am}
		return true
	}
	h.sagged(bm-am, 1-k)
	return true
}

func meanRange(s []timed) (mean, span float64) {
	lo, hi := s[0].v, s[0].v
	for _, x := range s {
		mean += x.v / float64(len(s))
		lo, hi = math.Min(lo, x.v), math.Max(hi, x.v)
	}
	return mean, hi - lo
}

// reference looks at the first readings: an absolute sensor at rest reads the
// ambient, a gauge sensor zero.
func (h *Health) reference(v float64) {
	if h.on(FaultReference) && h.cfg.Reads == decay.ReadsGauge && v < 0.6*float64(h.ambient()) {
		h.end(FaultReference, "it reads far less than the ambient: a gauge sensor, as stated")
	}
	if h.referred {
		return
	}
	if len(h.firsts) < 256 {
		h.firsts = append(h.firsts, timed{h.at, v})
	}
	if span := h.at - h.firsts[0].at; span < firstSpan || len(h.firsts) < 8 {
		return
	}
	h.referred = true
	m, r := meanRange(h.firsts)
	h.firsts = nil
	if r > math.Max(2*decay.Kilopascal, 2*h.grain) || h.outside() {
		return
	}
	rest := 0.0
	if h.cfg.Reads == decay.ReadsAbsolute {
		rest = float64(h.ambient())
	}
	h.zero, h.hasZero = m, math.Abs(m-rest) < 10*decay.Kilopascal
	near := 1.5 * decay.Kilopascal
	if h.ambient() == decay.DefaultAmbient {
		near = 5 * decay.Kilopascal
	}
	switch {
	case h.cfg.Reads == decay.ReadsAbsolute && math.Abs(m) < 8*decay.Kilopascal:
		h.begin(FaultReference, "at rest it reads about zero, not the absolute pressure of the air around: this is a gauge sensor",
			fmt.Sprintf("quit and start again with --port %s --reads gauge, or with the profile of this sensor", h.cfg.Name))
	case h.cfg.Reads == decay.ReadsGauge && math.Abs(m-float64(h.ambient())) < near:
		h.begin(FaultReference, fmt.Sprintf("the first readings are %.1f kPa gauge, which is the absolute pressure of the air around: this looks like an absolute sensor, or the duct is under pressure already", m/1000),
			fmt.Sprintf("if the duct is open, quit and start again with --port %s --reads absolute, or with the profile of this sensor", h.cfg.Name))
	}
}

func median(s []float64) float64 {
	c := slices.Clone(s)
	slices.Sort(c)
	return c[len(c)/2]
}
