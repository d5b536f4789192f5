package sensor

import (
	"fmt"
	"math"
	"math/rand/v2"
	"strconv"
	"strings"
	"testing"
	"time"

	"ebbline/sensor/wire"
)

// guarded reads lines as a port does and returns those that the guard refuses.
func guarded(t *testing.T, g *shapeGuard, d *wire.LineDecoder, lines ...string) (refused []string) {
	t.Helper()
	for _, l := range lines {
		f, err := d.Decode(l)
		if err != nil {
			t.Fatalf("%q: %v", l, err)
		}
		if !g.fits(l, f) {
			refused = append(refused, l)
		}
	}
	return refused
}

func TestShapeGuard(t *testing.T) {
	usual := func(i int) string { return fmt.Sprintf("%d,%.3f", 1200+20*i, 13.1+0.01*float64(i)) }
	pairs := func(i int) string { return fmt.Sprintf("t=%dms p=%.3fpsi", 1200+20*i, 13.1+0.01*float64(i)) }
	sentence := func(int) string { return "$YXXDR,P,1.00639,B,DUCT,C,19.2,C,DUCT*6A" }
	for _, c := range []struct {
		name    string
		usual   func(int) string
		line    string
		times   int
		refused int
	}{
		{"a digit less before the point", usual, "2300,3.822", 1, 0}, // nothing shows that it is torn
		{"a minus", usual, "2300,-3.822", 1, 0},
		{"a comma gone", usual, "230013.822", 1, 1},
		{"a digit gone after the point", usual, "2300,13.82", 2, 2},
		{"the point gone", pairs, "t=2300ms p=13822psi", 2, 2},
		{"a cell gone", usual, "13.822", 2, 2},
		{"another format from now on", usual, "13.82", 10, 2},
		{"the unit gone", pairs, "t=2300ms p=13.822", 2, 2},
		{"a digit gone before the unit", pairs, "t=2300ms p=13.82psi", 2, 2},
		{"the checksum gone", sentence, "$YXXDR,P,1.00639,B,DUCT,C,19.2,C,DUCT", 2, 2},
	} {
		var g shapeGuard
		d := wire.NewLineDecoder(wire.Options{})
		for i := range 2 * shapeSure {
			if no := guarded(t, &g, d, c.usual(i)); no != nil {
				t.Fatalf("%s: the usual line %q is refused", c.name, no)
			}
		}
		if no := guarded(t, &g, d, repeat(c.times, c.line)...); len(no) != c.refused {
			t.Errorf("%s: %d of %d refused, want %d", c.name, len(no), c.times, c.refused)
		}
		if no := guarded(t, &g, d, c.usual(100)); no != nil {
			t.Errorf("%s: the usual line %q is refused after it", c.name, no)
		}
	}
}

// No line that is whole is refused, whatever a board prints and however long.
func TestShapeGuardTakesEveryWholeLine(t *testing.T) {
	shortest := func(v float64) string { return strconv.FormatFloat(v, 'g', -1, 64) }
	round := func(v float64, n int) float64 { p := math.Pow10(n); return math.Round(v*p) / p }
	// psi has 4 figures in all, as meters show it.
	figures := func(v float64) string {
		return fmt.Sprintf("%.*f", max(0, 3-max(0, int(math.Floor(math.Log10(math.Max(math.Abs(v), 1)))))), v)
	}
	nmea := func(body string) string { return fmt.Sprintf("$%s*%02X", body, wire.NMEAChecksum(body)) }
	sometimes := func(r *rand.Rand, share float64, text string) string {
		if r.Float64() < share {
			return text
		}
		return ""
	}
	boards := map[string]func(r *rand.Rand, ms uint32, psi, celsius float64) string{
		"number": func(_ *rand.Rand, _ uint32, p, _ float64) string { return fmt.Sprintf("%.3f", p) },
		"unit":   func(_ *rand.Rand, _ uint32, p, _ float64) string { return fmt.Sprintf("%.3f psi", p) },
		"millis": func(_ *rand.Rand, ms uint32, p, _ float64) string { return fmt.Sprintf("%d,%.3f", ms, p) },
		"tabs":   func(_ *rand.Rand, ms uint32, p, _ float64) string { return fmt.Sprintf("%d\t%.3f", ms, p) },
		"blanks": func(_ *rand.Rand, ms uint32, p, _ float64) string { return fmt.Sprintf("%10d %8.3f", ms, p) },
		"decimal commas": func(_ *rand.Rand, ms uint32, p, _ float64) string {
			return strings.ReplaceAll(fmt.Sprintf("%.3f;%.3f", float64(ms)/1000, p), ".", ",")
		},
		"pairs": func(_ *rand.Rand, ms uint32, p, _ float64) string { return fmt.Sprintf("t=%dms p=%.3fpsi", ms, p) },
		"colons": func(_ *rand.Rand, ms uint32, p, c float64) string {
			return fmt.Sprintf("pressure: %.3f psi, temp: %.1f", p, c)
		},
		"json": func(_ *rand.Rand, ms uint32, p, _ float64) string {
			return fmt.Sprintf(`{"time_ms":%d,"pressure_psi":%.3f}`, ms, p)
		},
		"volts":       func(_ *rand.Rand, _ uint32, p, _ float64) string { return fmt.Sprintf("%.4f V", 0.5+0.08*p) },
		"counts":      func(_ *rand.Rand, ms uint32, p, _ float64) string { return fmt.Sprintf("%d,%.0f", ms, 400+64*p) },
		"pascal":      func(_ *rand.Rand, ms uint32, p, _ float64) string { return fmt.Sprintf("%d,%.0f Pa", ms, 6894.757*p) },
		"temperature": func(_ *rand.Rand, ms uint32, p, c float64) string { return fmt.Sprintf("%d,%.3f,%.1f", ms, p, c) },
		"nmea-bar": func(_ *rand.Rand, _ uint32, p, c float64) string {
			return nmea(fmt.Sprintf("YXXDR,P,%.5f,B,DUCT,C,%.1f,C,DUCT", p/14.5, c))
		},
		"nmea-pascal": func(_ *rand.Rand, _ uint32, p, c float64) string {
			return nmea(fmt.Sprintf("YXXDR,P,%.0f,P,DUCT,C,%.1f,C,DUCT", p*6895, c))
		},
		"shortest": func(_ *rand.Rand, ms uint32, p, _ float64) string { return fmt.Sprintf("%d,%s", ms, shortest(p)) },
		"shortest, rounded": func(_ *rand.Rand, ms uint32, p, _ float64) string {
			return fmt.Sprintf("%d,%s", ms, shortest(round(p, 4)))
		},
		"shortest, 1 digit": func(_ *rand.Rand, ms uint32, p, _ float64) string {
			return fmt.Sprintf("%d,%s", ms, shortest(round(p, 1)))
		},
		"exponents":    func(_ *rand.Rand, ms uint32, p, _ float64) string { return fmt.Sprintf("%d,%.4e psi", ms, p) },
		"four figures": func(_ *rand.Rand, ms uint32, p, _ float64) string { return fmt.Sprintf("%d,%s psi", ms, figures(p)) },
		"no nought": func(_ *rand.Rand, ms uint32, p, _ float64) string {
			return fmt.Sprintf("%d,%s psi", ms, strings.Replace(fmt.Sprintf("%.2f", math.Abs(p)), "0.", ".", 1))
		},
		"a clock time": func(_ *rand.Rand, ms uint32, p, _ float64) string {
			return fmt.Sprintf("%s,%.3f", strings.TrimSuffix(time.UnixMilli(int64(ms)).UTC().Format("15:04:05.000"), ".000"), p)
		},
		"a counter in hexadecimal": func(_ *rand.Rand, ms uint32, p, _ float64) string {
			return fmt.Sprintf("%d,%.3f,%02X", ms, p, ms/20&255)
		},
		"a temperature that fails": func(r *rand.Rand, ms uint32, p, c float64) string {
			if r.Float64() < 0.01 {
				return fmt.Sprintf("%d,%.3f,nan", ms, p)
			}
			return fmt.Sprintf("%d,%.3f,%.1f", ms, p, c)
		},
		"an empty temperature": func(r *rand.Rand, ms uint32, p, c float64) string {
			return fmt.Sprintf("%d,%.3f,", ms, p) + sometimes(r, 0.99, fmt.Sprintf("%.1f", c))
		},
		"a word at times": func(r *rand.Rand, ms uint32, p, _ float64) string {
			return fmt.Sprintf("%d,%.3f", ms, p) + sometimes(r, 0.01, ",LOW BATTERY")
		},
		"a word that changes": func(r *rand.Rand, ms uint32, p, _ float64) string {
			return fmt.Sprintf("%d,%.3f,%s", ms, p, []string{"OK", "valve open", "E12"}[int(math.Abs(p))%3])
		},
		"json with keys in any order": func(r *rand.Rand, ms uint32, p, c float64) string {
			keys := []string{fmt.Sprintf(`"time_ms":%d`, ms), fmt.Sprintf(`"pressure_psi":%.3f`, p)}
			if r.Float64() < 0.02 {
				keys = append(keys, fmt.Sprintf(`"temperature_C":%.1f`, c))
			}
			r.Shuffle(len(keys), func(i, j int) { keys[i], keys[j] = keys[j], keys[i] })
			return "{" + strings.Join(keys, ",") + "}"
		},
		"json with null": func(r *rand.Rand, ms uint32, p, c float64) string {
			temp := "null"
			if r.Float64() < 0.98 {
				temp = shortest(round(c, 2))
			}
			return fmt.Sprintf(`{"t_ms":%d,"pressure_psi":%s,"temperature_C":%s}`, ms, shortest(round(p, 3)), temp)
		},
		"pairs with an optional one": func(r *rand.Rand, ms uint32, p, _ float64) string {
			return fmt.Sprintf("t=%dms p=%.3fpsi", ms, p) + sometimes(r, 0.02, " batt=3.7V")
		},
		"a unit that follows the value": func(_ *rand.Rand, ms uint32, p, _ float64) string {
			if v := 0.5 + 0.08*p; v < 1 {
				return fmt.Sprintf("%d,%.1f mV", ms, 1000*v)
			} else {
				return fmt.Sprintf("%d,%.4f V", ms, v)
			}
		},
	}
	const every = 200 // ms
	for name, board := range boards {
		t.Run(name, func(t *testing.T) {
			t.Parallel()
			for seed := range uint64(4) {
				r := rand.New(rand.NewPCG(seed, 9))
				var g shapeGuard
				d := wire.NewLineDecoder(wire.Options{Unit: "psi"})
				clock := uint32(math.MaxUint32 - 600_000) // turns over after ten minutes
				if seed > 1 {
					clock = 90_000
				}
				noise := 0.01 * float64(seed)
				for i := range 3600 * 1000 / every {
					// A minute of rest, fill, hold and release; and a day that grows cold.
					at := float64(i) * every / 1000
					p := 0.0
					switch s := math.Mod(at, 60); {
					case s > 50:
						p = 25 * math.Exp(-(s-50)/1.5)
					case s > 20:
						p = 25 * math.Exp(-(s-20)/200)
					case s > 15:
						p = 5 * (s - 15)
					}
					if seed == 3 {
						p *= 0.05 // a board that reads something small
					}
					p += noise * r.NormFloat64()
					l := board(r, clock, p, 4-at/600+0.05*r.NormFloat64())
					clock += every
					f, err := d.DecodeAt(time.Duration(i)*every*time.Millisecond, l)
					if err != nil {
						continue // the decoder's own business
					}
					if !g.fits(l, f) {
						t.Fatalf("seed %d, line %d: %q (%+v) is refused: %q", seed, i, l, f, g.odd)
					}
				}
			}
		})
	}
}

// Of lines that lost a piece few pass with a wrong value: those that lost only
// digits before a point.
func TestShapeGuardStopsTornLines(t *testing.T) {
	for name, board := range map[string]func(ms uint32, psi float64) string{
		"number": func(_ uint32, p float64) string { return fmt.Sprintf("%.3f", p) },
		"unit":   func(_ uint32, p float64) string { return fmt.Sprintf("%.3f psi", p) },
		"millis": func(ms uint32, p float64) string { return fmt.Sprintf("%d,%.3f", ms, p) },
		"blanks": func(ms uint32, p float64) string { return fmt.Sprintf("%d %.3f", ms, p) },
		"pairs":  func(ms uint32, p float64) string { return fmt.Sprintf("t=%dms p=%.3fpsi", ms, p) },
		"json":   func(ms uint32, p float64) string { return fmt.Sprintf(`{"time_ms":%d,"pressure_psi":%.3f}`, ms, p) },
		"volts":  func(_ uint32, p float64) string { return fmt.Sprintf("%.4f V", 0.5+0.08*p) },
	} {
		var g shapeGuard
		d := wire.NewLineDecoder(wire.Options{Unit: "psi"})
		r := rand.New(rand.NewPCG(1, 2))
		torn, wrong := 0, 0
		for i := range 20000 {
			psi := 25*math.Exp(-math.Mod(float64(i)/50, 60)/20) + 0.01*r.NormFloat64()
			line := board(uint32(12000+20*i), psi)
			whole, err := d.Decode(line)
			if err != nil {
				continue // a first line that only the next explains
			}
			if i < 500 || r.Float64() < 0.9 {
				if !g.fits(line, whole) {
					t.Errorf("%s: %q is refused", name, line)
				}
				continue
			}
			torn++
			from := r.IntN(len(line))
			piece := line[:from] + line[min(len(line), from+1+r.IntN(len(line)-from)):]
			f, err := d.Decode(piece)
			if err == nil && g.fits(piece, f) && (f.Unit != whole.Unit || math.Abs(f.Value-whole.Value) > 0.05*math.Max(1, whole.Value)) {
				wrong++
			}
		}
		if torn < 1000 || wrong > torn/10 {
			t.Errorf("%s: %d of %d torn lines pass with a wrong value", name, wrong, torn)
		}
	}
}
