package trace

import (
	"bytes"
	"errors"
	"time"

	"ebbline/decay"
	"ebbline/sensor/replay"
	"ebbline/sensor/wire"
)

// capture decodes the bytes of a port as they were written down.
func (f *file) capture() (Trace, error) {
	c, err := replay.ReadCapture(bytes.NewReader(f.data))
	if err != nil {
		return Trace{}, f.fail(0, "captures can be copied anew from where they are kept", "%v", err)
	}
	if err := f.captureHeader(c.Header); err != nil {
		return Trace{}, err
	}
	if c.Torn {
		f.warning("torn", "the end of the capture is missing; what is whole was read")
	}
	return f.chunks(c.Chunks)
}

// captureHeader takes from the header what the options do not state.
func (f *file) captureHeader(h map[string]string) error {
	if f.opt.Unit == "" && h["unit"] != "" {
		u, ref, ok := wire.ParseUnit(h["unit"])
		if !ok {
			return f.fail(0, noUnitHint, "the capture's unit %.30q is not known here", h["unit"])
		}
		f.opt.Unit, f.unitRef = u, ref
	}
	if f.opt.Reads == nil {
		switch reads := decay.ReadsGauge; h["reads"] {
		case "absolute":
			reads = decay.ReadsAbsolute
			f.opt.Reads = &reads
		case "gauge":
			f.opt.Reads = &reads
		}
	}
	if text := h["ambient_pa"]; f.opt.Ambient == 0 && text != "" {
		pa, ok := wire.Number(text, false)
		if !ok || pa <= 0 || pa > 1e6 {
			return f.fail(0, "state the ambient with --ambient", "the capture's ambient %.30q is not a pressure in Pa", text)
		}
		f.opt.Ambient = decay.Pressure(pa)
	}
	return nil
}

// arrivals turns the board's clock, where lines have it, and the moments of
// arrival, where not, into one run of time.
type arrivals struct {
	timed  bool
	offset time.Duration // arrival less the board's clock, since its last start
	board  time.Duration
}

func (a *arrivals) stamp(at time.Duration, got wire.Fields) time.Duration {
	if !got.HasTime || got.Time > maxStamp || got.Time < -maxStamp {
		return at
	}
	board := time.Duration(got.Time * 1e9)
	// A board that starts anew counts from zero again.
	if !a.timed || board < a.board {
		a.timed, a.offset = true, at-board
	}
	a.board = board
	return board + a.offset
}

// chunks decodes what arrived.
func (f *file) chunks(in []replay.Chunk) (Trace, error) {
	s := wire.NewStream(wire.Options{Unit: f.opt.Unit})
	var clock arrivals
	var unit, ref string
	var failed error
	n := 0
	line := func(l wire.Line) {
		n++
		if failed != nil {
			return
		}
		got, err := l.Fields, l.Err
		switch {
		case errors.Is(err, wire.ErrSkip):
		case err != nil:
			f.badRow(n, err.Error())
		default:
			if failed = f.sameUnit(&unit, &ref, got, 0); failed == nil {
				f.stamps = append(f.stamps, int64(clock.stamp(l.At, got)))
				f.values = append(f.values, got.Value)
			}
		}
	}
	for _, c := range in {
		s.Feed(c.At, c.Data, line)
	}
	s.Flush(false, line)
	// A last line without its end may be cut in the middle of a number, so it is left.
	switch {
	case failed != nil:
		return Trace{}, failed
	case len(f.values) == 0 && f.bad == 0:
		return Trace{}, f.fail(0, "check the cable and the board's program", "the capture holds no readings")
	case len(f.values) == 0:
		return Trace{}, f.fail(0, "check the speed of the port and what the board prints", "none of the %d lines in the capture could be read; in line %d of what arrived, %s", f.bad, f.badLine, f.badWhy)
	}
	f.shared = true
	return f.finish(unit, ref, 1)
}
