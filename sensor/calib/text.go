package calib

import (
	"errors"
	"fmt"
	"math"
	"strconv"
	"strings"

	"ebbline/decay"
)

// String writes the calibration on one line, for the head of a capture:
// "ratiometric gauge low=0.5V@0Pa high=4.5V@206842.7Pa range=0Pa..206842.7Pa
// supply=5V". [Parse] reads it back without loss.
func (c *Calibration) String() string {
	num := func(v float64) string { return strconv.FormatFloat(v, 'g', -1, 64) }
	point := func(p Point) string { return num(p.Signal) + c.Kind.SignalUnit() + "@" + num(p.Pressure) + "Pa" }
	s := fmt.Sprintf("%s %s low=%s high=%s", c.Kind, c.Reads, point(c.Low), point(c.High))
	if c.Top > c.Bottom {
		s += " range=" + num(c.Bottom) + "Pa.." + num(c.Top) + "Pa"
	}
	if c.Zero != 0 {
		s += " zero=" + num(c.Zero) + "Pa"
	}
	if c.Supply != 0 {
		s += " supply=" + num(c.Supply) + "V"
	}
	if c.Bits != 0 {
		s += " bits=" + strconv.Itoa(c.Bits)
	}
	if c.Reference != 0 {
		s += " reference=" + num(c.Reference) + "V"
	}
	if c.Divider != 0 {
		s += " divider=" + num(c.Divider)
	}
	return s
}

// Parse reads what [Calibration.String] writes.
func Parse(s string) (*Calibration, error) {
	words := strings.Fields(s)
	if len(words) < 4 || len(s) > 1000 {
		return nil, errors.New("a calibration is its kind, gauge or absolute, and two points: ratiometric gauge low=0.5V@0Pa high=4.5V@200000Pa supply=5V")
	}
	c := &Calibration{}
	var err error
	if c.Kind, err = ParseKind(words[0]); err != nil {
		return nil, err
	}
	switch words[1] {
	case "gauge":
	case "absolute":
		c.Reads = decay.ReadsAbsolute
	default:
		return nil, fmt.Errorf("%.40q is neither gauge nor absolute", words[1])
	}
	seen := map[string]bool{}
	for _, w := range words[2:] {
		key, text, ok := strings.Cut(w, "=")
		if !ok || seen[key] {
			return nil, fmt.Errorf("%.40q is not a key and a value, or is there twice", w)
		}
		seen[key] = true
		switch key {
		case "low":
			c.Low, err = c.point(text)
		case "high":
			c.High, err = c.point(text)
		case "range":
			a, b, ok := strings.Cut(text, "..")
			if !ok {
				return nil, fmt.Errorf("%.60q is not a range, as 0Pa..200000Pa", text)
			}
			if c.Bottom, err = number(a, "Pa"); err == nil {
				c.Top, err = number(b, "Pa")
			}
		case "zero":
			c.Zero, err = number(text, "Pa")
		case "supply":
			c.Supply, err = number(text, "V")
		case "bits":
			c.Bits, err = strconv.Atoi(text)
			if err != nil {
				err = fmt.Errorf("%.40q is not a number of bits", text)
			}
		case "reference":
			c.Reference, err = number(text, "V")
		case "divider":
			c.Divider, err = number(text, "")
		default:
			err = fmt.Errorf("%.40q is not part of a calibration known here", key)
		}
		if err != nil {
			return nil, err
		}
	}
	if !seen["low"] || !seen["high"] {
		return nil, errors.New("a point of the line is missing (low=… high=…)")
	}
	return c, c.Check()
}

// point reads a signal and the pressure at it.
func (c *Calibration) point(text string) (p Point, err error) {
	x, pa, ok := strings.Cut(text, "@")
	if !ok {
		return p, fmt.Errorf("%.60q is not a point, as 0.5V@0Pa", text)
	}
	if p.Signal, err = number(x, c.Kind.SignalUnit()); err != nil {
		return p, err
	}
	p.Pressure, err = number(pa, "Pa")
	return p, err
}

func number(text, unit string) (float64, error) {
	v, err := strconv.ParseFloat(strings.TrimSuffix(text, unit), 64)
	if err != nil || math.IsNaN(v) || math.IsInf(v, 0) || !strings.HasSuffix(text, unit) {
		return 0, fmt.Errorf("%.40q is not a number in %s", text, unit)
	}
	return v, nil
}

// ParseVolts reads "0.5V" or "512 mV".
func ParseVolts(s string) (float64, error) {
	text := strings.TrimSpace(s)
	scale := 1.0
	switch {
	case strings.HasSuffix(text, "mV"):
		text, scale = strings.TrimSuffix(text, "mV"), 1e-3
	case strings.HasSuffix(text, "V"):
		text = strings.TrimSuffix(text, "V")
	default:
		return 0, fmt.Errorf("%.40q is not in volts (write for example 0.5V)", s)
	}
	v, err := plain(text)
	if err != nil {
		return 0, fmt.Errorf("%.40q is not in volts (write for example 0.5V)", s)
	}
	return v * scale, nil
}

// ParseCounts reads "512 counts".
func ParseCounts(s string) (float64, error) {
	text, ok := strings.CutSuffix(strings.TrimSpace(s), "counts")
	v, err := plain(text)
	if err != nil || !ok {
		return 0, fmt.Errorf("%.40q is not in counts (write for example 102 counts)", s)
	}
	return v, nil
}

// ParseSignal reads a signal of the kind k.
func (k Kind) ParseSignal(s string) (float64, error) {
	if k == Counts {
		return ParseCounts(s)
	}
	return ParseVolts(s)
}

// FormatSignal writes a signal so that [Kind.ParseSignal] reads it back, to
// the last digit that matters to anybody.
func (k Kind) FormatSignal(v float64) string {
	return strconv.FormatFloat(v, 'g', 8, 64) + map[bool]string{true: " counts", false: "V"}[k == Counts]
}

func plain(text string) (float64, error) {
	v, err := strconv.ParseFloat(strings.Replace(strings.TrimSpace(text), ",", ".", 1), 64)
	if err != nil || math.IsNaN(v) || math.IsInf(v, 0) {
		return 0, errors.New("not a number")
	}
	return v, nil
}
