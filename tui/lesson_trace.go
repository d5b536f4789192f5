package tui

import (
	"math"
	"strconv"
	"strings"
	"time"

	"ebbline/decay"
	"ebbline/tui/chart"
)

// lessonTrace is one hold of a lesson.
type lessonTrace struct {
	cols   *chart.Columns // s of the readings' clock, Pa gauge
	iso    float64        // when the duct was isolated, on that clock; NaN before
	end    float64        // when the hold ended; NaN while it goes on
	size   decay.Length
	named  bool // size is known: it always is on the simulated rig
	hidden bool // it is not to be told yet
	duct   Duct // of the simulated rig
	slow   bool // filled slowly
	high   int  // index of its altitude
	sim    bool
	was    []decay.Length // sizes it had before its hole was changed, oldest first
	slot   int            // its letter and colour in the picture, from 0
	result decay.Result   // what the estimate made of it so far
}

func newLessonTrace() *lessonTrace {
	// 2 400 columns of 25 ms: a fill and a hold of half a minute at the best
	// resolution any screen can show.
	return &lessonTrace{cols: chart.NewColumns(2400, 0.025), iso: math.NaN(), end: math.NaN()}
}

func (t *lessonTrace) running() bool { return math.IsNaN(t.end) }

// seconds is how long the trace was watched since isolation.
func (t *lessonTrace) seconds() float64 {
	last, _ := t.cols.Last()
	if !t.running() {
		last = math.Min(last, t.end)
	}
	if s := last - t.iso; s > 0 {
		return s
	}
	return 0
}

// name is the size in words, as far as it may be told.
func (t *lessonTrace) name() string {
	switch {
	case t.hidden:
		return "hidden"
	case !t.named:
		return "jet ?"
	}
	if n := len(t.was); n > 0 {
		return strings.TrimSuffix(lessonSize(t.was[n-1]), " mm") + "→" + lessonSize(t.size)
	}
	return lessonSize(t.size)
}

// estimate is the hole the estimate gives, or "" where there is none to tell:
// that of a trace whose hole was changed would be of neither.
func (t *lessonTrace) estimate() string {
	if t.hidden || len(t.was) > 0 {
		return ""
	}
	return estimateWords(t.said())
}

// noEstimate says why a trace whose hold is over or empty has none, "" of any other.
func (t *lessonTrace) noEstimate() string {
	if t.hidden || len(t.was) > 0 || !t.sim || math.IsNaN(t.iso) || t.result.Outcome != decay.NeverBuilt {
		return ""
	}
	return "no estimate: the leak takes all that the supply gives"
}

// recognised is by how much the isolation that the estimate found may differ
// from the true one, s; before it is found at all, the estimate may be of the
// time when the supply held the pressure up.
const recognised = 1.0

// said is what the estimate says of this hold, and nothing before it has
// recognised the hold.
func (t *lessonTrace) said() decay.Result {
	if t.sim && !(math.Abs(t.result.Hold.Start.Seconds()-t.iso) <= recognised) {
		return decay.Result{}
	}
	return t.result
}

// settings are the words for what a trace was made with, in a fixed order.
func (t *lessonTrace) settings() [4]string {
	return settingWords(t.duct.Seep, t.slow, t.duct.Volume, placeWord(t.high, t.duct.Ambient))
}

func settingWords(seep, slow bool, v decay.Volume, place string) [4]string {
	w := [4]string{"orifice", "quick fill", litres(v), place}
	if seep {
		w[0] = "seep"
	}
	if slow {
		w[1] = "slow fill"
	}
	return w
}

func litres(v decay.Volume) string {
	return strconv.FormatFloat(float64(v)/decay.Litre, 'g', 3, 64) + " L"
}

// placeWord says where a duct stands: at an altitude, at the sea, or in the
// ambient that was stated.
func placeWord(high int, ambient decay.Pressure) string {
	switch {
	case high > 0:
		return strconv.Itoa(int(altitudes[high])) + " m"
	case ambient == decay.DefaultAmbient:
		return "sea"
	}
	return "ambient as stated"
}

// labels names every trace by letter and size, and by what of its settings
// not all of them share: short words, for they stand in the picture.
func labels(traces []*lessonTrace) []string {
	var differ [4]bool
	for _, t := range traces {
		for k, w := range t.settings() {
			differ[k] = differ[k] || w != traces[0].settings()[k]
		}
	}
	out := make([]string, len(traces))
	for i, t := range traces {
		out[i] = t.letter() + " " + t.name()
		for k, w := range t.settings() {
			ordinary := k == 0 && !t.duct.Seep || k == 3 && t.high == 0
			if t.sim && differ[k] && !ordinary {
				out[i] += " " + strings.TrimSuffix(w, " fill")
			}
		}
	}
	return out
}

// letter is the mark of a trace, on its line and before its name.
func (t *lessonTrace) letter() string { return string(rune('A' + t.slot)) }

// lessonRun is a simulated trace under way. It works the valves, on simulated
// time alone.
type lessonRun struct {
	rig   Rig
	tr    *lessonTrace
	proc  *decay.Procedure
	now   time.Duration // simulated
	owed  time.Duration // simulated time that has gone by and is not yet read
	since time.Duration // when the stage began
	stage decay.Phase   // ready, fill, hold or over
	hold  time.Duration
	p     decay.Gauge // the latest reading
	err   error       // of a change of the rig

	truth [slopeReadings]decay.Pressure // the true pressure at the latest readings, a ring
	reads int                           // how many there were
}

// slopeReadings is over how many readings the true fall is taken: a second.
const slopeReadings = 50

const (
	readEvery  = 20 * time.Millisecond // simulated: fifty readings a second
	restFirst  = 2 * time.Second       // at ambient, which tells the zero
	quickMost  = 15 * time.Second      // of a quick fill that does not reach the supply's pressure
	slowRise   = 20 * time.Second      // of a slow fill, in small portions
	slowRest   = 25 * time.Second      // with the supply still on, until the air has cooled
	portions   = 4                     // of a slow fill in each reading
	fullEnough = 0.98                  // of the supply's pressure
)

// advance lets d of simulated time go by and takes the readings in it.
func (b *lessonRun) advance(d time.Duration) {
	b.owed += d
	for b.owed >= readEvery && b.stage != decay.PhaseOver {
		b.owed -= readEvery
		b.valves()
		b.breathe()
		b.now += readEvery
		b.read()
	}
}

// valves goes to the next stage when it is time.
func (b *lessonRun) valves() {
	in := b.now - b.since
	g := b.rig.Pressure().Gauge(b.tr.duct.Ambient)
	next := b.stage
	switch b.stage {
	case decay.PhaseReady:
		if in >= restFirst {
			next = decay.PhaseFill
			b.rig.Fill()
		}
	case decay.PhaseFill:
		if b.tr.slow && in >= slowRise+slowRest || !b.tr.slow && (in >= quickMost || g >= fullEnough*b.tr.duct.Supply) {
			next = decay.PhaseHold
			b.rig.Isolate()
			b.tr.iso = b.now.Seconds()
			b.proc.Step(decay.Shut{At: b.now})
			if b.tr.duct.Seep {
				// Its size is that of the hole which passes as much at the start of
				// the hold, wherever that is.
				b.err = b.rig.SetSeep(b.tr.duct.SeepCoefficient(b.rig.Pressure()))
			}
		}
	case decay.PhaseHold:
		if in >= b.hold {
			next = decay.PhaseOver
		}
	}
	if next != b.stage {
		b.stage, b.since = next, b.now
	}
}

// breathe lets one reading's time go by. A slow fill opens the valve in small
// portions along a straight rise, and leaves it open at the top.
func (b *lessonRun) breathe() {
	in := b.now - b.since
	if b.stage != decay.PhaseFill || !b.tr.slow || in >= slowRise {
		if b.stage == decay.PhaseFill {
			b.rig.Fill()
		}
		b.rig.Advance(readEvery)
		return
	}
	target := float64(b.tr.duct.Supply) * in.Seconds() / slowRise.Seconds()
	for range portions {
		if float64(b.rig.Pressure().Gauge(b.tr.duct.Ambient)) < target {
			b.rig.Fill()
		} else {
			b.rig.Isolate()
		}
		b.rig.Advance(readEvery / portions)
	}
}

func (b *lessonRun) read() {
	b.p = b.rig.Read()
	b.truth[b.reads%slopeReadings] = b.rig.Pressure()
	b.reads++
	b.proc.Step(decay.Taken{Sample: decay.Sample{At: b.now, P: b.p.Absolute(b.tr.duct.Ambient)}})
	b.tr.cols.Add(b.now.Seconds(), float64(b.p))
}

// seeming is the hole that would make the pressure fall as it does if the air
// had the duct's own temperature all the time: what one reads who knows of no
// settling. It is 0 while the pressure does not fall.
//
//	CdA = V·(−dp/dt)/(p·ψ(pa/p)·√(R·Tw))
func (b *lessonRun) seeming() decay.Length {
	if b.reads < slopeReadings {
		return 0
	}
	d := b.tr.duct
	now, then := b.truth[(b.reads-1)%slopeReadings], b.truth[b.reads%slopeReadings]
	fall := float64(then-now) / ((slopeReadings - 1) * readEvery.Seconds())
	p := float64(then+now) / 2
	psi := decay.Psi(float64(d.Ambient) / p)
	if !(fall > 0) || psi == 0 {
		return 0
	}
	area := float64(d.Volume) * fall / (p * psi * math.Sqrt(decay.RAir*float64(d.Temperature)))
	return decay.EquivalentHole(decay.Area(area), decay.DefaultCd)
}

// warm is by how much the air inside is warmer than the duct, K.
func (b *lessonRun) warm() float64 {
	return float64(b.rig.Temperature() - b.tr.duct.Temperature)
}
