package sensor

import (
	"strings"
	"time"

	"ebbline/sensor/calib"
	"ebbline/sensor/wire"
)

// headingFor is how long the first lines of a board wait for a heading that may
// come again and again: the simulated board's does each second.
const headingFor = 1500 * time.Millisecond

// headingWait holds back the first lines of cells that name no unit, where
// nobody stated one of pressure: kilopascals absolute that are taken for psi gauge
// would ring the alarm, and psi that are taken for counts be an open circuit.
type headingWait struct {
	done bool // the unit is settled
	held []wire.Line
}

// headingWait is the wait that a port begins with.
func (o PortOptions) headingWait() headingWait {
	return headingWait{done: o.Unit != "" && !calib.IsRaw(o.Unit) || o.Lines.Header != "" || o.Modbus != nil}
}

// then hands lines on to next, in order: the first ones when a line has named
// their unit, or has not for long enough.
func (w *headingWait) then(next func(wire.Line)) func(wire.Line) {
	return func(l wire.Line) {
		if w.done {
			next(l)
			return
		}
		named := l.Err == nil && l.Fields.Unit != ""
		waits := l.Err != nil && len(w.held) > 0 || l.Err == nil && !named && strings.ContainsAny(l.Text, ",;\t")
		if waits && (len(w.held) == 0 || l.At-w.held[0].At < headingFor) {
			w.held = append(w.held, l)
			return
		}
		if l.Err != nil && len(w.held) == 0 {
			next(l)
			return
		}
		w.done = true
		for _, h := range w.held {
			if named && h.Err == nil && h.Fields.Unit == "" {
				h.Fields.Unit, h.Fields.Reference = l.Fields.Unit, l.Fields.Reference
			}
			next(h)
		}
		w.held = nil
		next(l)
	}
}
