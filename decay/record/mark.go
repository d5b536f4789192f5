package record

import (
	"fmt"
	"strings"
	"time"

	"ebbline/decay"
)

// Mark is a word a person typed while hunting a leak, with the leak's rate at
// that moment.
type Mark struct {
	At   time.Duration
	P    decay.Gauge // pressure at the moment
	Rate float64     // of the pressure, Pa/s, negative when losing; NaN when unknown
	Word string      // such as "lower cooler hose"
}

const markKey = "mark"

// line is the mark as a record holds it: seconds, Pa gauge, Pa/s, words.
func (m Mark) line() string {
	return fmt.Sprintf("%s %v %v %s", formatSeconds(m.At), float64(m.P), m.Rate, m.Word)
}

func parseMark(s string) (m Mark, err error) {
	parts := strings.SplitN(s, " ", 4)
	if len(parts) != 4 {
		return m, fmt.Errorf("mark: %q is not seconds, pressure, rate and words", clip(s))
	}
	if m.At, err = parseSeconds(parts[0]); err != nil {
		return m, fmt.Errorf("mark: %w", err)
	}
	var p float64
	if _, err := fmt.Sscan(parts[1], &p); err != nil {
		return m, fmt.Errorf("mark: %q is not a number", clip(parts[1]))
	}
	if _, err := fmt.Sscan(parts[2], &m.Rate); err != nil {
		return m, fmt.Errorf("mark: %q is not a number", clip(parts[2]))
	}
	m.P, m.Word = decay.Gauge(p), parts[3]
	return m, nil
}

// Mark writes a mark among the readings. An error shows at the next Flush or
// Finish.
func (w *Writer) Mark(m Mark) { w.put(false, markKey, ": ", quote(m.line())) }
