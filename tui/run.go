package tui

import (
	"context"
	"errors"
	"io"

	"ebbline/decay"
	"ebbline/decay/record"
	"ebbline/sensor"
)

// Options is what a screen is given. Source is required; the zero value of
// every other field is fine.
type Options struct {
	Source     sensor.Source
	Controls   sensor.Controls    // the valves of a simulated rig; nil on real hardware
	Setup      decay.Setup        // of the test
	Unit       decay.PressureUnit // shown at first; zero: psi
	Title      string             // the job's label
	OtherPorts []string           // connected ports to offer while the rig is simulated
	OnItem     func(sensor.Item)  // gets every item, on the reader's goroutine, before the screen
	// Card shows the start card before the test; Apply then turns what was
	// typed on it into a set-up, and Begin is called when a test begins: it opens
	// the record. An error of either is shown on the card, which stays.
	Card                   bool
	Apply                  func(Texts) (decay.Setup, error)
	Begin                  func(Start) error
	CeilingFrom, LimitFrom string         // where they come from, such as "flag"
	Before                 *Past          // a test to compare with, after a repair
	Earlier                []decay.Sample // readings of a test that is gone on with
	// Save is called once for each test, when it is over or the program quits.
	// It returns where the record is.
	Save func(decay.Result) (string, error)
	// Trouble says why the test under way is not being kept, "" while it is; it is
	// asked all the time.
	Trouble func() string
	// Pinch presses the leak of a simulated rig half shut, or lets it go.
	Pinch func(shut bool) error
	// Auto says that a simulated rig works its valves by itself, from the start of
	// a test until a key takes one over.
	Auto bool
	// OnMark gets each mark of the hunt, to be kept in the record.
	OnMark func(record.Mark)
	Bell   bool
	FPS    int       // frames a second written at most; 0: 30
	Input  io.Reader // nil: the terminal
	Output io.Writer // nil: standard output
	Look   Look      // of the terminal
}

// Run shows the screen until the operator quits, ctx ends or the program is
// told to stop, and returns the result of the test. All of those end the test
// alike: the result is saved and there is no error. An error says that the
// readings ended with a fault, the record could not be saved, or the program
// failed; the terminal is restored in every case. Run closes the source.
func Run(ctx context.Context, o Options) (decay.Result, error) {
	if o.Source == nil {
		return decay.Result{}, errors.New("tui: no source of readings")
	}
	if o.FPS <= 0 {
		o.FPS = 30
	}
	term := newTerminal(o.Output)
	defer term.close() // after the record is saved: it may be stopped
	m := newModel(o, term)
	// The pump outlives ctx, so that what was read until the very end is kept.
	m.pump = sensor.NewPump(o.Source, o.OnItem)
	err := runScreen(ctx, m, term, o.FPS, o.Input)
	m.pump.Stop()

	// What came last must not be lost, however the program ended.
	for _, it := range m.pump.Drain(nil) {
		m.take(it, m.heard)
	}
	m.finish()
	return m.result, errors.Join(err, m.failure)
}
