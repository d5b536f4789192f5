package decay

import (
	"fmt"
	"math"
	"sort"
	"time"
)

// refitGrowth is by how much a hold must have grown for a new fit: a couple of
// hundredths more of it changes the answer by less than its uncertainty.
const refitGrowth = 1.03

// unknownDivision is the share of the pressure to which readings are taken to
// be rounded when nothing shows it: half a psi at 25.
const unknownDivision = 0.02

// lookWork is what one look does at most, so that none takes long: to look for the
// phases in a cell counts as much as a step of integration in a fit. A round of
// fits may need several looks.
const lookWork, leastSteps = 3200, 600

// Live follows a test reading by reading: constant cost per reading, and
// memory that grows with the logarithm of the test's length.
type Live struct {
	set  Setup
	h    *history
	last Sample

	shutAt    float64 // when the supply valve was said to be shut, s; NaN: never
	leaning   Outcome // what the interval under watching says at present
	leaningAt float64 // and how long the hold was when it began to say so, s

	touchedAt             float64 // when the leak was said to be changed, s; NaN: never
	filledAt              float64 // when the latest fill began, s; NaN: none was seen
	over, saturated, open int     // readings above the ceiling, at full scale, below zero scale
	overRun, overMost     int     // in a row
	openRun, openMost     int

	settled float64 // the start of the latest hold that had settled, s; NaN: none

	warm       *estimate // fit of the hold under way, to start the next from
	warmStart  float64
	warmLength float64 // of the hold when it was fitted, s
	warmData   holdData

	trusted, warmTrusted trust // in the hold from now on, and by warm

	round                   *estimation // a fit under way, or nil
	roundStart, roundLength float64     // of the hold it is of, s
}

// NewLive starts an estimate.
func NewLive(set Setup) *Live {
	l := &Live{set: set.WithDefaults(), h: newHistory(), shutAt: math.NaN(), settled: math.NaN(), touchedAt: math.NaN(), filledAt: math.NaN()}
	if set.Touched > 0 {
		l.touchedAt = set.Touched.Seconds()
	}
	if set.Shut > 0 {
		l.shutAt = set.Shut.Seconds()
	}
	// A sensor at rest may well read the same value for long; only under
	// pressure is that a sign of a stuck one.
	l.h.rest, l.h.restBand = float64(set.NominalAmbient()), 3*Kilopascal
	if set.Reads == ReadsAbsolute && set.Ambient == 0 {
		l.h.restBand = 20 * Kilopascal
	}
	return l
}

// Add takes a reading.
func (l *Live) Add(s Sample) {
	l.last = s
	g := float64(s.P.Gauge(l.set.NominalAmbient()))
	read := l.reads(float64(s.P))
	if g > float64(l.set.Ceiling) {
		l.overRun++
		l.over++
		l.overMost = max(l.overMost, l.overRun)
	} else {
		l.overRun = 0
	}
	if l.full(read) {
		l.saturated++
	}
	if l.below(read) {
		l.open++
		l.openRun++
		l.openMost = max(l.openMost, l.openRun)
	} else {
		l.openRun = 0
	}
	l.h.add(s.At.Seconds(), float64(s.P))
	if l.h.full() {
		sg := l.segment()
		if sg.hasHold {
			l.h.anchor = l.h.cells[sg.hold.from].t
		}
		l.h.rise = sg.firstFill
		l.h.thin()
	}
}

// full reports whether what the sensor reads, in its own reference, is the top
// of its range.
func (l *Live) full(read float64) bool { return l.set.FullScale > 0 && read >= 0.998*l.set.FullScale }

// below reports whether it is below the bottom of its range.
func (l *Live) below(read float64) bool {
	if l.set.Reads == ReadsAbsolute {
		return read < 20*Kilopascal
	}
	return read < -math.Max(10*Kilopascal, 0.05*l.set.FullScale)
}

// reads is a pressure as the sensor reads it, in its own reference.
func (l *Live) reads(p float64) float64 {
	if l.set.Reads == ReadsAbsolute {
		return p
	}
	return p - float64(l.set.NominalAmbient())
}

// touch ends the hold under way, for the leak is not what it was from then on.
// Another one in the same hold says nothing new.
func (l *Live) touch(at time.Duration) {
	if math.IsNaN(l.touchedAt) || l.filledAt > l.touchedAt {
		l.touchedAt = at.Seconds()
	}
}

// segment finds the phases. A hold that somebody touched is that of the readings
// before; what happened to the test since is told by all of them.
func (l *Live) segment() segments {
	sg := l.segmentWhole()
	l.filledAt = sg.fillAt
	all := l.h.cells
	n := sort.Search(len(all), func(i int) bool { return all[i].t1 > l.touchedAt })
	if math.IsNaN(l.touchedAt) || sg.fillAt > l.touchedAt || n == len(all) || n < 4 {
		return sg
	}
	l.h.cells = all[:n]
	before := l.segmentWhole()
	l.h.cells = all
	if before.hasHold {
		sg.hold, sg.hasHold, sg.isolated, sg.disturbed, sg.holdOpen = before.hold, true, before.isolated, before.disturbed, false
		sg.touched = true
		// A release that began before it was none: the pressed joint made the bend.
		if up := all[len(all)-1].p - float64(l.set.NominalAmbient()); sg.phase == PhaseRelease && sg.phaseAt < l.touchedAt && up > 0.2*sg.top {
			sg.phase, sg.phaseAt = PhaseHold, before.phaseAt
		}
	}
	return sg
}

func (l *Live) segmentWhole() segments {
	sg := segment(l.h, float64(l.set.NominalAmbient()), l.set.Reads, l.set.Ambient != 0, float64(l.set.Ceiling))
	if !math.IsNaN(l.shutAt) {
		sg.shut(l.h.cells, l.shutAt, float64(l.set.NominalAmbient()), max(l.h.sigma(), 1))
	}
	return sg
}

// Look returns the phase the test is in, since when, and what is known so far.
func (l *Live) Look() (Phase, time.Duration, Result) { return l.look(false) }

// look at what is known, or at a whole trace: what that says does not depend on
// how often it was looked at.
func (l *Live) look(final bool) (Phase, time.Duration, Result) {
	if final {
		return l.lookTrusting(trust{}, true)
	}
	return l.lookTrusting(l.trusted, false)
}

func (l *Live) lookTrusting(trusted trust, final bool) (Phase, time.Duration, Result) {
	set := l.set
	r := Result{Limit: set.Limit, Cd: set.Cd, Volume: set.Volume, HasVolume: set.Volume > 0, Samples: l.h.n, Ambient: set.NominalAmbient()}
	r.Until = l.last.At
	if !math.IsNaN(l.shutAt) {
		r.Shut = seconds(l.shutAt)
	}
	sg := l.segment()
	if l.h.n > 0 && !math.IsInf(l.h.peak, 0) {
		r.Peak = Pressure(l.h.peak).Gauge(r.Ambient)
	}
	warn := func(code, text string) { r.Warnings = append(r.Warnings, Warning{code, text}) }
	// Ambient and zero.
	zero := 0.0
	switch {
	case sg.hasAmbient && set.Reads == ReadsAbsolute && set.Ambient == 0:
		r.Ambient = Pressure(sg.ambient)
	case sg.hasAmbient:
		zero = sg.ambient - float64(r.Ambient)
		r.Zero = Gauge(zero)
	case sg.filled:
		r.Flags = append(r.Flags, FlagNoZero)
		if set.Reads == ReadsAbsolute && set.Ambient == 0 {
			warn("ambient-assumed", "ambient was neither stated nor seen before the fill: 101.3 kPa absolute was assumed")
		} else {
			warn("no-zero", "ambient was not seen before the fill, so the sensor's zero was taken as it is")
		}
	}
	if set.Reads == ReadsGauge && set.Ambient == 0 {
		warn("ambient-assumed", "ambient was not stated: 101.3 kPa absolute (sea level) was assumed")
	}
	r.Peak -= Gauge(zero)
	l.faults(&r)
	phase := sg.phase
	since := time.Duration(sg.phaseAt * float64(time.Second))
	if r.HasFlag(FlagOpenCircuit) || r.HasFlag(FlagStuck) {
		if !sg.hasHold || r.HasFlag(FlagStuck) || l.open > l.h.n/4 {
			r.Outcome = Unusable
			return phase, since, r
		}
	}
	if !sg.filled {
		r.Outcome = NoHold
		if sg.top > math.Max(8*l.h.sigma(), 1500) {
			r.Outcome = NeverBuilt
		}
		return phase, since, r
	}
	low := sg.top < 0.2*float64(set.Ceiling)
	if !sg.hasHold {
		r.Outcome = NoHold
		if low || sg.top < 0.35*float64(set.Ceiling) && filling(sg, l.h) > 8 {
			r.Outcome = NeverBuilt
		}
		l.h.anchor, l.warm, l.trusted = math.NaN(), nil, trust{}
		return phase, since, r
	}
	cells := l.h.cells
	t0, t1 := cells[sg.hold.from].t, cells[sg.hold.to-1].t1
	if math.IsNaN(l.h.anchor) || math.Abs(l.h.anchor-t0) > 0.5 {
		l.h.anchor, l.warm, l.trusted = t0, nil, trust{}
	}
	r.Hold.Start, r.Hold.End = seconds(t0), seconds(t1)
	if low && !math.IsNaN(sg.fillAt) {
		r.Outcome = NeverBuilt
		return phase, since, r
	}
	if sg.gone {
		r.Outcome = NeverBuilt
		warn("gone-at-once", "the pressure was gone as soon as the supply was shut: the supply alone had made up for a large leak")
		return phase, since, r
	}
	for i := sg.hold.to - 1; i >= sg.hold.from && r.HasFlag(FlagSaturated); i-- {
		if !l.full(l.reads(cells[i].p)) {
			continue
		}
		// The sensor saw the pressure only after it.
		if sg.hold.from = i + 1; sg.hold.to-sg.hold.from < 5 || t1-cells[i].t1 < 5 {
			r.Outcome = Unusable
			return phase, since, r
		}
		t0 = cells[sg.hold.from].t
		r.Hold.Start = seconds(t0)
		break
	}
	if sg.touched {
		r.Touched = seconds(l.touchedAt)
	}
	if sg.disturbed {
		r.Flags = append(r.Flags, FlagDisturbed)
		warn("disturbed", "the hold was disturbed (bled, topped up or fed); the longest clean part was used")
	}
	sigma := l.h.sigma()
	if set.Division > 0 {
		sigma = math.Max(sigma, float64(set.Division)/math.Sqrt(12))
	}
	sigma = math.Max(sigma, 0.5)
	d := newHoldData(cells, sg.hold, float64(r.Ambient), zero, float64(set.AmbientTemperature), sigma, trusted)
	switch {
	case sg.hasAmbient:
		d.zeroSD = math.Hypot(sg.ambientSD, l.h.step()/math.Sqrt(12)) // at rest they all stand on one step
	case set.ZeroTolerance > 0 && set.FullScale > 0:
		d.zeroSD = set.ZeroTolerance * set.FullScale / 1.96
	}
	if d.fresh <= 1 && l.h.quantum() == 0 && set.Division == 0 {
		// Nothing tells how finely this is read, so a coarse dial is assumed.
		d.coarsen(unknownDivision * float64(sg.top))
		warn("resolution-unknown", "all readings are equal, so nothing shows how finely the pressure was read: 2 % of it was assumed")
	}
	if !sg.hasAmbient {
		// Nobody can set a zero more finely than the readings are rounded.
		d.zeroSD = math.Hypot(d.zeroSD, math.Max(l.h.quantum(), float64(set.Division))/math.Sqrt(12))
	}
	if l.warm != nil && math.Abs(l.warmStart-t0) > 1e-9 {
		l.warm = nil
	}
	length := t1 - t0
	if l.round != nil && (final || math.Abs(l.roundStart-t0) > 1e-9) {
		l.round = nil
	}
	if l.round == nil && (final || l.warm == nil || l.warmTrusted != trusted || length > refitGrowth*l.warmLength || length < l.warmLength) {
		// Early on the answer still moves along a narrow valley.
		quick := !final && l.warm != nil && l.warmTrusted == trusted && length >= 40
		from := l.warm
		if final || l.warmTrusted != trusted {
			from = nil
		}
		if round, ok := d.begin(from, quick); ok {
			l.round, l.roundStart, l.roundLength = round, t0, length
		}
	}
	if l.round != nil {
		budget := max(lookWork-len(cells), leastSteps)
		if final {
			budget = math.MaxInt / 2
		}
		if done, ok := l.round.step(budget); done {
			if ok {
				e := l.round.e // a copy: the round itself holds on to the one before it
				l.warm, l.warmStart, l.warmLength, l.warmData, l.warmTrusted = &e, t0, l.roundLength, l.round.d, trusted
			}
			l.round = nil
			if ok {
				less, again := trusted.less(l.warm.excess)
				if again && final {
					return l.lookTrusting(less, true)
				}
				l.trusted = less
			}
		}
	}
	if l.warm == nil {
		if phase == PhaseHold {
			phase = PhaseSettle // as far as is known yet
		}
		r.Outcome = NoHold
		return phase, since, r
	}
	e := *l.warm
	if length < 5 && float64(length)*e.k < 1 {
		r.Flags = append(r.Flags, FlagShortHold)
	}
	l.report(&r, &l.warmData, &e, length, final)
	if flat := r.Outcome == Holds || r.Outcome == Undecided && !sg.holdOpen; flat && !sg.isolated && !math.IsNaN(sg.fillAt) {
		// A supply that makes up for a leak holds the pressure as flat as a tight duct does.
		r.IfShut, r.HeldUp = r.Outcome, length > 5 // nobody lets the air out as soon as the valve is shut
		r.Outcome, r.HasFit, r.HasDecide, r.Smallest = Undecided, false, false, 0
		warn("isolation-unseen", "nothing in the trace shows when the supply was shut off, so it may have held the pressure up: say when its valve was shut; if the pressure fell as soon as it was shut, the leak is that large")
	}
	// What has settled stays so: a joint that is pressed may look like it again.
	if phase == PhaseHold && !(math.Abs(l.settled-t0) < 0.5) {
		if math.Abs(r.Settling.Amplitude) > 0 && length < 2*r.Settling.Tau.Seconds() && length < 15 {
			phase = PhaseSettle
		} else {
			l.settled = t0
		}
	}
	return phase, since, r
}

// filling is how long filling has gone on, s; 0 when no fill was seen.
func filling(sg segments, h *history) float64 {
	if math.IsNaN(sg.firstFill) {
		return 0
	}
	return h.cells[len(h.cells)-1].t1 - sg.firstFill
}

// faults raises the flags that single readings tell.
func (l *Live) faults(r *Result) {
	h := l.h
	if l.overMost >= 2 {
		r.Flags = append(r.Flags, FlagOverCeiling)
	}
	if l.saturated >= 3 {
		r.Flags = append(r.Flags, FlagSaturated)
		r.Warnings = append(r.Warnings, Warning{"saturated", "the sensor stood at the top of its range; a hold is judged from where it came below"})
	}
	if l.openMost >= 3 {
		r.Flags = append(r.Flags, FlagOpenCircuit)
		r.Warnings = append(r.Warnings, Warning{"open-circuit", "readings below the bottom of the sensor's range: check wire and plug"})
	}
	if h.gaps > 0 {
		r.Flags = append(r.Flags, FlagGaps)
	}
	if h.spikes > 0 {
		r.Flags = append(r.Flags, FlagSpikes)
	}
	// A frozen value among readings that were otherwise never equal for long.
	others, steps := h.equalSteps-h.longRunN, h.steps-h.longRunN
	never := h.longRunN >= 100 && steps < 0 // not one reading that differs
	if at := l.reads(h.longRunP); l.below(at) || l.full(at) {
		return // an end of the range has a name of its own
	}
	frozen := never || steps >= 20 && float64(others) < 0.3*float64(steps)
	if q := h.coarse(); q > 0 && !never {
		// A coarse sensor repeats itself: it is stuck if the fall before should have moved it on many steps.
		frozen = -h.slopeBefore(h.longRunT0)*h.longRun > 10*q && !h.slowedTo(h.longRunP, h.longRunT0, 4*q)
	}
	if h.longRunN >= 20 && h.longRun >= 3 && frozen {
		r.Flags = append(r.Flags, FlagStuck)
		r.Warnings = append(r.Warnings, Warning{"stuck", fmt.Sprintf("the reading did not change at all for %.1f s", h.longRun)})
	}
}

// cornerDoubt is how well the moment of isolation is known, s, at 95 %; not
// better than some two thirds of the time between readings.
const cornerDoubt = 0.05

// settlingDoubt is the share of the settling still going on at the end of a
// hold by which the models of it may be wrong, at 95 %. From our simulations.
const settlingDoubt = 0.15

// report fills in what the fit says, with every stated tolerance, and judges.
func (l *Live) report(r *Result, d *holdData, e *estimate, length float64, final bool) {
	set := l.set
	p0, pa := e.best.th[parP0], d.pa
	r.HasFit = true
	// A curve that is carried back to the corner may end above every reading. The
	// duct never had that pressure, and nobody is told that it had.
	r.Hold.StartGauge = min(Pressure(p0).Gauge(r.Ambient), r.Peak)
	r.Hold.StartAbs = r.Hold.StartGauge.Absolute(r.Ambient)
	g0 := math.Max(p0-pa, 1)
	psi0 := Psi(pa / p0)
	speed := math.Sqrt(RAir * d.tw)

	k := math.Max(e.k, 0)
	// What is left of settling at the end is known no better than the model of it.
	left := math.Abs(e.settling(d.tw)) * settlingDoubt / psi0
	// Readings that stay on one step of the converter may hide a fall of almost one,
	// however many they are; a fall over many steps is seen by their edges. The
	// settling takes its time before that. Uniform at either end: √(2/12).
	tilt := 0.0
	if q := l.h.coarse(); q > 0 {
		late := math.Max(length-2*math.Exp(e.best.th[parLnTau]), length/3)
		tilt = 0.4 * l.h.step() / math.Max(1, k*psi0*p0*late/q) / (p0 * psi0 * late)
	}
	sdK := math.Hypot(e.sdK, tilt)
	// Tolerances that scale the answer, in quadrature with the trace.
	rel := set.SpanTolerance * (pa/p0 + 0.5*pa/g0*btof(psi0 < 0.999*psiChoked))
	// The area of anything but a nozzle hangs on the pressure at isolation, whose moment is not known exactly.
	g := e.best.model.gas(&e.best.th, pa, d.tw, p0)
	falling := k * psi0 // by its leak and by settling, 1/s
	if !e.best.model.still {
		falling += math.Abs(e.best.th[parDT]) / d.tw / math.Exp(e.best.th[parLnTau])
	}
	doubt := math.Max(cornerDoubt, 0.7*l.h.dt)
	if later, _ := g.moved(math.Max(p0*(1-falling*doubt), pa)); k > 0 && g.k > 0 {
		rel = math.Hypot(rel, later/g.k-1)
	}
	// A sensor that lags shows a fast leak as another one of other air; the lag is
	// some third of what had to be left out for it.
	if l.warmTrusted.doubled > 0 && d.p[len(d.p)-1]-pa < 0.6*(d.p[0]-pa) {
		rel = math.Hypot(rel, k*psi0*d.t[0]/3)
	}
	// Rubber: swelling at once acts as more volume (V + p·dV/dp, and the
	// growth itself), creeping as a leak that is not there.
	c := set.Compliance
	creep := 1.2 * c / math.Max(length, 1) / psi0
	growth := c * (1 + p0/g0)
	// bounds are those of K, for the trace's own and z/1.96 times the tolerances.
	bounds := func(low, high, z float64) (float64, float64) {
		f := z / 1.96
		other := math.Hypot(math.Hypot(f*left, z*tilt), f*k*rel)
		down, up := math.Hypot(k-low, other), math.Hypot(high-k, other)
		return k - down - creep, (k + up) * (1 + growth)
	}
	lowV, highV := bounds(e.lowK, e.hiK, 1.96)
	lowZ, highZ := bounds(e.lowWatched, e.hiWatched, watchedZ)
	r.Rate = Interval{k, math.Max(lowV, 0), math.Max(highV, 0), 0.95}
	toArea := float64(set.Volume) / speed
	if r.HasVolume {
		a := k * toArea
		area := func(low, high, z float64) (float64, float64) {
			f := z / 1.96 * a * set.VolumeTolerance
			return math.Max(a-math.Hypot(a-low*toArea, f), 0), math.Max(a+math.Hypot(high*toArea-a, f), 0)
		}
		lowA, highA := area(lowV, highV, 1.96)
		r.Area = Interval{a, lowA, highA, 0.95}
		r.watched.Value = a
		r.watched.Low, r.watched.High = area(lowZ, highZ, watchedZ)
		r.AreaSD = sdK * toArea
		hole := func(a float64) float64 { return float64(EquivalentHole(Area(a), set.Cd)) }
		r.Hole = Interval{hole(a), hole(r.Area.Low), hole(r.Area.High), 0.95}
		r.Smallest = EquivalentHole(Area((2*1.96*sdK+creep)*toArea), set.Cd)
		r.Flow = k * psi0 * p0 * float64(set.Volume) / (RAir * d.tw) / MolarMassAir
	}
	r.LossRate = k * psi0 * p0
	switch {
	case e.best.model.shape == mixing && e.best.th[parMix] < 0.1 && e.orifShare > 0.05:
		r.Law = LawOrifice
	case e.orifShare > 0.85:
		r.Law = LawOrifice
	case e.seepShare > 0.85:
		r.Law = LawSeep
	case 1-e.orifShare-e.seepShare > 0.8:
		r.Law = LawMixed
	}
	dt := e.best.th[parDT]
	if e.best.model.still {
		dt = 0
	}
	r.Settling = Settling{Amplitude: dt / (d.tw + dt), Tau: seconds(math.Exp(e.best.th[parLnTau]))}
	if c > 0 {
		r.Warnings = append(r.Warnings, Warning{"compliance", fmt.Sprintf("rubber was allowed to swell and creep by %.3g %% of the volume, which widens the interval; say --compliance 0%% for a rigid duct", 100*c)})
	}
	if !r.HasVolume {
		r.Warnings = append(r.Warnings, Warning{"no-volume", "the volume is not known, so only the rate can be given, not the hole"})
		return
	}
	lim := float64(CircleArea(set.Limit)) * set.Cd
	// clears is how many times as long a hold has to be until its bounds of K clear
	// the limit: the trace's share of the width falls as t^−fall, creep's as 1/t, the
	// rest stays.
	clears := func(low, high, z, fall float64) (float64, bool) {
		low += creep
		tolerance := z / 1.96 * k * toArea * set.VolumeTolerance
		for f := 1.05; f < 64; f *= 1.05 {
			tr := math.Pow(f, -fall)
			up := (k + (high-k)*tr + k*growth*(1-tr)) * toArea
			dn := (k - (k-low)*tr - creep/f) * toArea
			a := k * toArea
			up = a + math.Hypot(up-a, tolerance)
			dn = a - math.Hypot(a-dn, tolerance)
			if dn > lim || up < lim {
				return f, true
			}
		}
		return 0, false
	}
	if !final {
		f, ok := clears(lowZ, highZ, watchedZ, watchedFall)
		l.promise(r, length, f*length, ok)
	}
	switch {
	case r.Area.Low > lim:
		r.Outcome = Leaks
	case r.Area.High < lim:
		r.Outcome = Holds
	default:
		if final {
			f, ok := clears(lowV, highV, 1.96, 1.5)
			r.ToDecide, r.HasDecide = seconds((f-1)*length), ok
		}
		if r.Touched > 0 {
			r.ToDecide, r.HasDecide = 0, false
			r.Warnings = append(r.Warnings, Warning{"touched", "the hold ended when joints were pressed or mended: fill again for a longer one"})
		} else {
			r.Warnings = append(r.Warnings, l.help(r, sdK, creep))
		}
	}
	if s := r.Settling; r.Outcome != Holds && math.Abs(s.Amplitude) > settlingSeen && length < settledAfter*s.Tau.Seconds() {
		r.Warnings = append(r.Warnings, Warning{"unsettled", fmt.Sprintf("the air was still settling when the hold ended, with a time constant of %.0f s: the leak may be smaller than is said; hold for %.0f s to be sure",
			s.Tau.Seconds(), settledAfter*s.Tau.Seconds())})
	}
}

// promise says how much longer it is to the verdict of a test that is watched, where
// the hold clears the limit from a length on, s, if at all: the answer has to stand
// for a while after that.
func (l *Live) promise(r *Result, length, clears float64, ok bool) {
	switch v := r.sequential(); {
	case v == Undecided:
	case v == l.leaning:
		clears, ok = l.leaningAt, true
	default:
		clears, ok = length, true
	}
	left := math.Max(watchedSeconds, watchedGrowth*clears) - length
	r.ToDecide, r.HasDecide = seconds(left), ok && left > 0
}

// In a hold shorter than three time constants of air that settles by natural
// convection, settling is easily taken for a leak: see TestUnsettledIsSaid.
// Settling of less than a thousandth of the pressure does not matter.
const (
	settledAfter = 3
	settlingSeen = 1e-3
)

// help says what would settle an undecided verdict.
func (l *Live) help(r *Result, sdK, creep float64) Warning {
	switch {
	case r.HasDecide && r.ToDecide < 10*time.Minute:
		return Warning{"hold-longer", fmt.Sprintf("about %.0f s more of hold would settle it", r.ToDecide.Seconds())}
	case 1.96*sdK < creep:
		return Warning{"smaller-volume", "rubber could hide or mimic this leak: block off a smaller part and hold again"}
	}
	return Warning{"better-sensor", "more time will not settle it: a quieter sensor or a smaller volume would"}
}

// sequential reports the verdict of r when it may be shown as final under
// watching: the interval at watchedZ standard deviations clears the limit.
func (r Result) sequential() Outcome {
	if !r.HasFit || !r.HasVolume || r.HeldUp {
		return Undecided
	}
	switch lim := float64(CircleArea(r.Limit)) * r.Cd; {
	case r.watched.Low > lim:
		return Leaks
	case r.watched.High < lim:
		return Holds
	}
	return Undecided
}

func seconds(s float64) time.Duration { return time.Duration(s * float64(time.Second)) }

func btoi(b bool) int {
	if b {
		return 1
	}
	return 0
}

func btof(b bool) float64 { return float64(btoi(b)) }
