package tui

import (
	"context"
	"errors"
	"io"
	"math"
	"time"

	"ebbline/decay"
	"ebbline/sensor"
)

// Duct is what the simulated duct of a lesson is like.
type Duct struct {
	Hole        decay.Length      // equivalent hole, Cd 0.62; 0: tight
	Seep        bool              // the leak is many fine paths and not one hole
	Volume      decay.Volume      // m³
	Ambient     decay.Pressure    // around the duct, absolute
	Temperature decay.Temperature // of ambient, wall and supply; K
	Supply      decay.Gauge       // what the regulator is set to
}

// SeepCoefficient is the coefficient, kg/(s·Pa²), of a laminar leak
// ṁ = c·(p² − pa²) that passes at pressure p what the hole would.
func (d Duct) SeepCoefficient(p decay.Pressure) float64 {
	area := decay.Area(decay.DefaultCd * float64(decay.CircleArea(d.Hole)))
	drop := float64(p*p - d.Ambient*d.Ambient)
	if drop <= 0 {
		return 0
	}
	return float64(decay.NozzleFlow(area, p, d.Temperature, d.Ambient)) / drop
}

// unchokes is the gauge pressure below which a hole in d is no longer choked.
func (d Duct) unchokes() decay.Gauge {
	return decay.Gauge(float64(d.Ambient) * (1/decay.CriticalRatio - 1))
}

// Rig is a simulated rig whose time a lesson makes go by, so that it can be
// faster than life, and stand still. It starts at ambient with its valves shut.
type Rig interface {
	sensor.Controls
	SetHole(decay.Length) error // of a hole, Cd 0.62; 0: none
	SetSeep(float64) error      // kg/(s·Pa²), see [Duct.SeepCoefficient]; 0: none
	Advance(time.Duration)
	Read() decay.Gauge              // what the transducer shows
	Pressure() decay.Pressure       // the true one, absolute
	Temperature() decay.Temperature // of the air inside, true
}

// LessonOptions is what a lesson is given: NewRig, or the Source of real
// hardware with drilled jets. The zero value of every other field is fine.
type LessonOptions struct {
	NewRig func(Duct) (Rig, error) // makes a simulated rig for a trace
	Source sensor.Source           // real hardware; then NewRig is not used

	Sizes  []decay.Length     // at most six, chosen by the keys 1 to 6; 0 is a tight duct. Empty: DefaultLessonSizes
	Setup  decay.Setup        // ceiling, ambient and, on the rig, the larger of its two volumes
	Supply decay.Gauge        // of the simulated rig; 0: 25 psi
	Hold   time.Duration      // how long a trace is watched; 0: one minute
	Unit   decay.PressureUnit // shown at first; zero: psi
	Title  string
	Seed   uint64            // of the hidden holes
	OnItem func(sensor.Item) // of real hardware: gets every item, on the reader's goroutine
	// Save is called for each test on real hardware once its air is out, or the
	// lesson ends; more says that another test may follow. The result is nil when
	// nothing was filled. It may be nil.
	Save func(r *decay.Result, more bool) error
	// Trouble says why the test under way is not being kept, "" while it is; it is
	// asked all the time, and may be nil.
	Trouble func() string
	Bell    bool

	FPS    int       // frames a second written at most; 0: 30
	Input  io.Reader // nil: the terminal
	Output io.Writer // nil: standard output
	Look   Look      // of the terminal
}

// DefaultLessonSizes are the holes of the keys 1 to 6: a tight duct, and 0.3
// to 3 mm.
func DefaultLessonSizes() []decay.Length {
	return []decay.Length{0, 0.3e-3, 0.5e-3, 1e-3, 2e-3, 3e-3}
}

const (
	maxTraces    = 6
	lessonSupply = decay.Gauge(25 * decay.PSI)
	lessonVolume = decay.Volume(10 * decay.Litre)
	lessonHold   = time.Minute

	lessonVolumeTolerance = 0.03

	smallShare = 0.3 // of the volume: the small one
)

func (o LessonOptions) withDefaults() LessonOptions {
	if len(o.Sizes) == 0 {
		o.Sizes = DefaultLessonSizes()
	}
	o.Sizes = o.Sizes[:min(len(o.Sizes), maxTraces)]
	if o.Supply == 0 {
		o.Supply = lessonSupply
	}
	if o.Hold <= 0 {
		o.Hold = lessonHold
	}
	if o.Unit.Pascal <= 0 {
		o.Unit = decay.PressureUnits[0]
	}
	if o.Setup.Volume == 0 && o.Source == nil {
		o.Setup.Volume = lessonVolume
	}
	if o.Setup.VolumeTolerance == 0 && o.Source == nil {
		// As in a workshop: the estimate is not told the volume exactly.
		o.Setup.VolumeTolerance = lessonVolumeTolerance
	}
	if o.FPS <= 0 {
		o.FPS = 30
	}
	return o
}

// RunLesson shows the trainer's screen until the trainer leaves it, ctx ends
// or the program is told to stop. It returns what was shown, as lines of
// text. An error says that the readings of real hardware ended with a fault or
// the program failed; the terminal is restored in every case. RunLesson closes
// the source.
func RunLesson(ctx context.Context, o LessonOptions) ([]string, error) {
	if o.NewRig == nil && o.Source == nil {
		return nil, errors.New("tui: a lesson needs a simulated rig or a source of readings")
	}
	o = o.withDefaults()
	term := newTerminal(o.Output)
	defer term.close()
	m := newLesson(o, term)
	if o.Source != nil {
		m.pump = sensor.NewPump(o.Source, o.OnItem)
	}
	err := runScreen(ctx, m, term, o.FPS, o.Input)
	if m.pump != nil {
		m.pump.Stop()
		for _, it := range m.pump.Drain(nil) {
			m.take(it, m.heard)
		}
	}
	m.finish()
	return m.summary(), errors.Join(err, m.failure)
}

// setLeak gives a rig the leak of d, while it runs.
func (d Duct) setLeak(r Rig) error {
	if d.Seep {
		return errors.Join(r.SetHole(0), r.SetSeep(d.SeepCoefficient(r.Pressure())))
	}
	return errors.Join(r.SetSeep(0), r.SetHole(d.Hole))
}

// lessonSize is a size in words: "tight", "1.00 mm".
func lessonSize(d decay.Length) string {
	if d == 0 {
		return "tight"
	}
	return mm(float64(d)) + " mm"
}

// altitudes at which the simulated duct can stand, m.
var altitudes = [...]decay.Length{0, 1500, 3000}

// ambientAt is the ambient at an altitude, or the stated one at the first.
func (o LessonOptions) ambientAt(i int) decay.Pressure {
	if i == 0 {
		return o.Setup.NominalAmbient()
	}
	return decay.StandardAtmosphere(altitudes[i])
}

func finite(v float64) bool { return !math.IsNaN(v) && !math.IsInf(v, 0) }
