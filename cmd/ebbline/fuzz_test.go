package main

import (
	"bytes"
	"encoding/json"
	"errors"
	"math"
	"strings"
	"testing"
	"unicode"
	"unicode/utf8"

	"ebbline/decay"
	"ebbline/decay/record"
	"ebbline/tui"
)

// FuzzFlags: whatever is written after a flag, it is a quantity within its range,
// or an error that says so in a few words.
func FuzzFlags(f *testing.F) {
	for _, s := range []string{"10L±3%", "51x600 38x300", "1.2mm", "0", "tight,1mm", "1:20", "360000", "1e400m", "-430m", "NaN", "speed=n,requested=p soll,actual=p ist", "\"", "25psi", "100 kPa abs", "51×600", "1e308x1e308", "x", strings.Repeat("9", 400), "3000rpm", "2.0L", "\x1b[2J\u202e"} {
		f.Add(s)
	}
	psi := decay.PressureUnits[0]
	f.Fuzz(func(t *testing.T, s string) {
		taken := func(what string, err error, right bool) {
			if err == nil {
				if !right {
					t.Errorf("%s takes %.100q", what, s)
				}
				return
			}
			var h *hinted
			if errors.As(err, &h) && h.hint == "" {
				t.Errorf("%s: %.100q is refused without a hint", what, s)
			}
			var out bytes.Buffer
			(&app{err: forPeople(&out)}).complain(err)
			if text := out.String(); len(text) > 2*4*mostLetters+100 || !utf8.ValidString(text) || strings.IndexFunc(text, func(r rune) bool {
				return r != '\n' && unicode.IsControl(r) || unicode.In(r, unicode.Cf, unicode.Zl, unicode.Zp)
			}) >= 0 || strings.Count(text, "\n") > 2 {
				t.Errorf("%s: %.300q", what, text)
			}
		}
		finite := func(v float64) bool { return !math.IsNaN(v) && !math.IsInf(v, 0) }
		v, tol, err := parseDuct(s)
		taken("a duct", err, v > 0 && finite(float64(v)) && tol >= 0 && tol <= 1)
		p, err := parsePart(s)
		taken("a part", err, p.Volume > 0 && p.Bore >= minBore && p.Bore <= maxBore && p.Length <= maxLength && len(p.Label) < 80)
		d, err := parseHole(s)
		taken("a hole", err, d >= 0 && finite(float64(d)))
		list, err := parseHoles(s)
		taken("holes", err, len(list) > 0 && len(list) <= 6)
		e, err := parseEither(s)
		taken("a pressure", err, finite(e))
		a, err := parseAltitude(s)
		taken("an altitude", err, a >= -430 && a <= 6000)
		cols, err := parseColumns(s)
		taken("columns", err, len(cols) <= len(chargeColumns))
		if at, ok := parseMoment(s); ok && (at < 0 || at.Hours() > 400) {
			t.Errorf("the moment %.100q is %v", s, at)
		}
		_, _, err = parseTyped(s, psi)
		taken("a reading", err, true)
		n, err := decay.ParseSpeed(s)
		taken("a speed", err, n >= 0 && finite(float64(n)))
		disp, err := decay.ParseDisplacement(s)
		taken("a displacement", err, disp > 0 && finite(float64(disp)))
		rel, err := decay.ParseRelative(s)
		taken("a tolerance", err, rel >= 0 && rel < 1)
		_, _ = parseOutcome(s)
	})
}

// FuzzPeople: text for people is the same however it is cut into writes, never
// steers a terminal, and has no line that is too long to read.
func FuzzPeople(f *testing.F) {
	for _, s := range []string{"plain\nlines\n", "\x1b[2J\u202e", "groß\xff\xe2\x82", "\xe2\x82\xac\xf0\x9f", strings.Repeat("W", 5000) + "\nend", "e" + strings.Repeat("\u0301", 50)} {
		f.Add(s, uint8(1))
		f.Add(s, uint8(7))
	}
	f.Fuzz(func(t *testing.T, s string, cut uint8) {
		var whole, parts bytes.Buffer
		if n, err := forPeople(&whole).Write([]byte(s)); n != len(s) || err != nil {
			t.Fatal(n, err)
		}
		p := forPeople(&parts)
		for rest := []byte(s); len(rest) > 0; {
			n := min(len(rest), 1+int(cut))
			if _, err := p.Write(rest[:n]); err != nil {
				t.Fatal(err)
			}
			rest = rest[n:]
		}
		if strings.Count(s, "\u0301") == 0 && !strings.ContainsFunc(s, func(r rune) bool { return unicode.Is(unicode.M, r) }) && whole.String() != parts.String() {
			t.Errorf("%q in one, %q in parts of %d", whole.String(), parts.String(), 1+int(cut))
		}
		for l := range strings.Lines(whole.String()) {
			l = strings.TrimSuffix(l, "\n")
			if utf8.RuneCountInString(l) > mostLetters+1 || !utf8.ValidString(l) || strings.IndexFunc(l, func(r rune) bool { return unicode.IsControl(r) || unicode.In(r, unicode.Cf, unicode.Zl, unicode.Zp) }) >= 0 {
				t.Errorf("%.200q", l)
			}
		}
	})
}

// FuzzRow: whatever file lies in the book, its row is one JSON object on one
// line, and reads back as what the list shows.
func FuzzRow(f *testing.F) {
	var b bytes.Buffer
	if err := record.Write(&b, record.Record{Label: "job 1: hose\x1b[2J\xff", Program: "x\ny", Samples: []decay.Sample{{At: 0, P: 1e5}}}); err != nil {
		f.Fatal(err)
	}
	f.Add("shop/20260504T081530.123456Z-left-0123abcd", b.Bytes())
	f.Add("../\x00\u202e", []byte("ebbline-record 2\nlabel: \"\\x00\"\ndate: 2026-01-31T15:04:05+23:59\nvolume_m3: 1e308\n"))
	f.Add("", []byte("ebbline-record 1\nambient_pa: -1e-320\nlimit_m: NaN\ntime_s,pressure_kpa_abs\n0,1\nderived: hole_m=NaN Inf -Inf 0\nend: 1 samples\n"))
	f.Fuzz(func(t *testing.T, name string, file []byte) {
		h, err := record.ReadHead(bytes.NewReader(file), int64(len(file)))
		e := tui.BookEntry{Path: name, Name: name, Head: h, Err: err}
		var out bytes.Buffer
		if err := writeRows(&out, []tui.BookEntry{e}); err != nil {
			t.Fatal(err)
		}
		if !utf8.Valid(out.Bytes()) || bytes.Count(out.Bytes(), []byte("\n")) != 1 {
			t.Fatalf("%q", out.Bytes())
		}
		var back map[string]any
		if err := json.Unmarshal(out.Bytes(), &back); err != nil {
			t.Fatalf("%v: %s", err, out.Bytes())
		}
		if back["state"] != e.State().String() || len(back) < 30 {
			t.Errorf("%v", back)
		}
	})
}
