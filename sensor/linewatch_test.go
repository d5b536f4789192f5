package sensor

import (
	"errors"
	"slices"
	"testing"
	"time"

	"ebbline/sensor/wire"
)

// tell gives lines, a hundredth of a second apart, and returns the faults.
func (w *lineWatch) tell(at *time.Duration, lines ...string) (out []string) {
	for _, l := range lines {
		*at += 10 * time.Millisecond
		var err error
		switch {
		case l == "time_ms,psi":
			err = wire.ErrSkip
		case len(l) != 5:
			err = errors.New("no reading")
		}
		for _, f := range append(w.chunk(*at, []byte(l+"\n")), w.line(*at, l, err)...) {
			out = append(out, f.Code+" "+f.State.String())
		}
	}
	return out
}

func repeat(n int, lines ...string) (out []string) {
	for range n {
		out = append(out, lines...)
	}
	return out
}

func TestLineWatch(t *testing.T) {
	good := repeat(40, "12.34")
	for _, c := range []struct {
		name   string
		before []string
		pause  time.Duration
		after  []string
		want   []string
	}{
		{"clean", good, 0, good, nil},
		{"banner before the first reading", []string{"ready v2", "\x80\xff", "time_ms,psi"}, 0, good, nil},
		{"half lines", good, 0, append(repeat(8, "12.34", "12.34", "2.3"), good...), []string{"bad-line once", "half-lines begins", "half-lines ends"}},
		{"binary noise", good, 0, append(repeat(8, "12.34", "12.34", "1\x022.34"), good...), []string{"bad-line once", "binary-noise begins", "binary-noise ends"}},
		{"one odd line", good, 0, append([]string{"what now?"}, good...), []string{"bad-line once"}},
		{"other words among readings", good, 0, append(repeat(20, "12.34", "T: 21 C"), good...), []string{"bad-line once"}},
		{"a board that starts anew", good, time.Second, append([]string{"\xff\x00", "ready v2", "time_ms,psi"}, good...), []string{"board-reset once"}},
		{"a heading after a pause", good, time.Second, append([]string{"time_ms,psi"}, good...), []string{"board-reset once"}},
		{"a heading without a pause", good, 0, append([]string{"time_ms,psi"}, good...), nil},
		{"another baud rate", good, 0, append(repeat(200, "\xf8\x86\x1e"), good...), []string{"bad-line once", "binary-noise begins", "wrong-baud begins", "wrong-baud ends", "binary-noise ends"}},
	} {
		w := newLineWatch("p", DefaultBaud)
		at := 10 * time.Second
		got := w.tell(&at, c.before...)
		at += c.pause
		got = append(got, w.tell(&at, c.after...)...)
		if !slices.Equal(got, c.want) {
			t.Errorf("%s: %q, want %q", c.name, got, c.want)
		}
	}
}

func TestSupplyWatch(t *testing.T) {
	for corrected, code := range map[bool]string{false: FaultSag, true: FaultSupplyLow} {
		var s supplyWatch
		var got []string
		for i := range 60 {
			v := 5.0
			if i >= 20 && i < 40 {
				v = 4.3
			}
			if f := s.add(time.Duration(i)*time.Second, v, corrected); f != nil {
				got = append(got, f.Code+" "+f.State.String())
			}
		}
		if !slices.Equal(got, []string{code + " begins", code + " ends"}) {
			t.Errorf("corrected %v: %q", corrected, got)
		}
	}
}
