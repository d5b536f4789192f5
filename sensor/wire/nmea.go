package wire

import (
	"fmt"
	"strconv"
	"strings"
)

// ChecksumError is a sentence whose checksum does not fit its text.
type ChecksumError struct {
	Sent, Computed byte
}

func (e *ChecksumError) Error() string {
	return fmt.Sprintf("the sentence ends in checksum %02X, but its text makes %02X: it was damaged on the way", e.Sent, e.Computed)
}

// NMEAChecksum is the exclusive or of all bytes between the $ and the *
// (NMEA 0183, field checksum).
func NMEAChecksum(text string) byte {
	var sum byte
	for i := 0; i < len(text); i++ {
		sum ^= text[i]
	}
	return sum
}

// sentences is what was learned from NMEA 0183 sentences.
type sentences struct {
	locked bool
	name   string // of the transducer that is read
	bare   int    // sentences read that had no checksum
	read   int
}

var errOtherSentence = fmt.Errorf("a sentence without transducer values: %w", ErrSkip)

// sentence reads a sentence of NMEA 0183. Transducer measurements (XDR) are
// groups of four fields: type, value, unit, name. Type P is a pressure in B
// (bar) or P (pascal), type C a temperature in C. The first pressure
// transducer is kept to; the options may name another one.
func (d *LineDecoder) sentence(line string) (Fields, error) {
	body := line[1:]
	if strings.ContainsAny(body, "$!") {
		return Fields{}, fmt.Errorf("%.60q has the start of a sentence inside: the first part lost its end", line)
	}
	body, sum, summed := strings.Cut(body, "*")
	if summed {
		v, err := strconv.ParseUint(sum, 16, 8)
		if err != nil || len(sum) != 2 {
			return Fields{}, fmt.Errorf("%.20q after the * is no checksum of two hexadecimal digits", sum)
		}
		if got := NMEAChecksum(body); got != byte(v) {
			return Fields{}, &ChecksumError{Sent: byte(v), Computed: got}
		}
	}
	fields := strings.Split(body, ",")
	head := fields[0]
	if len(head) < 3 || len(head) > 8 || strings.IndexFunc(head, func(r rune) bool { return (r < 'A' || r > 'Z') && (r < '0' || r > '9') }) >= 0 {
		return Fields{}, fmt.Errorf("%.40q does not start with the name of a sentence", line)
	}
	if line[0] != '$' || len(head) != 5 || head[2:] != "XDR" {
		return Fields{}, errOtherSentence
	}
	groups := fields[1:]
	for len(groups)%4 != 0 && groups[len(groups)-1] == "" {
		groups = groups[:len(groups)-1]
	}
	if len(groups) == 0 || len(groups)%4 != 0 {
		return Fields{}, fmt.Errorf("XDR has %d fields, which is no number of groups of type, value, unit and name", len(fields)-1)
	}

	wanted, want := d.sentry.name, d.sentry.locked
	if d.opt.Value != "" {
		wanted, want = strings.TrimSpace(d.opt.Value), true
	}
	var pressure, temp []string
	var names []string
	for ; len(groups) > 0; groups = groups[4:] {
		g := groups[:4]
		name := strings.TrimSpace(g[3])
		switch strings.TrimSpace(g[0]) {
		case "P":
			names = append(names, name)
			if pressure == nil && (!want || strings.EqualFold(name, wanted)) {
				pressure = g
			}
		case "C":
			if temp == nil || strings.EqualFold(name, wanted) {
				temp = g
			}
		}
	}
	switch {
	case len(names) == 0:
		return Fields{}, fmt.Errorf("XDR without a pressure: %w", ErrSkip)
	case pressure == nil && d.opt.Value != "":
		return Fields{}, fmt.Errorf("XDR with the pressure of %.60q only, %.40q was asked for: %w", strings.Join(names, ", "), wanted, ErrSkip)
	case pressure == nil:
		return Fields{}, fmt.Errorf("XDR with the pressure of %.60q, not of %.40q which is read: %w", strings.Join(names, ", "), wanted, ErrSkip)
	}
	name := strings.TrimSpace(pressure[3])
	f := Fields{}
	switch u := strings.TrimSpace(pressure[2]); u {
	case "B":
		f.Unit = unitBar
	case "P":
		f.Unit = unitPa
	default:
		return Fields{}, fmt.Errorf("XDR gives the pressure of %.40q in unit %.20q, which is neither B (bar) nor P (pascal)", name, u)
	}
	if strings.TrimSpace(pressure[1]) == "" {
		return Fields{}, fmt.Errorf("XDR gives no value for the pressure of %.40q: the transducer has none", name)
	}
	v, ok := Number(pressure[1], false)
	if !ok {
		return Fields{}, fmt.Errorf("XDR: %.40q is no number", pressure[1])
	}
	f.Value = v
	s := said{how: "NMEA 0183 sentences of transducers (XDR)", why: "because the lines start with $" + head, value: name}
	if temp != nil && strings.TrimSpace(temp[2]) == "C" {
		if v, ok := Number(temp[1], false); ok {
			f.Temp, f.HasTemp = v, true
			s.temp = strings.TrimSpace(temp[3])
			if s.temp == "" {
				s.temp = "a transducer without a name"
			}
		}
	}
	d.sentry.locked, d.sentry.name = true, name
	d.sentry.read++
	if !summed {
		d.sentry.bare++
	}
	switch {
	case d.sentry.bare == 0:
		s.note = "; every checksum was right"
	case d.sentry.bare == d.sentry.read:
		s.note = "; without checksums, so damage on the way is not seen"
	default:
		s.note = "; some without a checksum, so damage on the way is not always seen"
	}
	switch {
	case d.opt.Value != "":
		s.note += "; this transducer was asked for"
	case len(names) > 1:
		s.note += fmt.Sprintf("; it is the first of %d pressures (%.80s)", len(names), strings.Join(names, ", "))
	}
	return d.finish(f, clock{}, s)
}
