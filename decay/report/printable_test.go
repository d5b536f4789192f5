package report

import (
	"bytes"
	"encoding/json"
	"strings"
	"testing"
	"time"
	"unicode"
	"unicode/utf8"

	"ebbline/decay"
	"ebbline/decay/record"
)

func TestPrintable(t *testing.T) {
	for in, want := range map[string]string{
		"left hose":                        "left hose",
		"Schlauch Ø 51, groß":              "Schlauch Ø 51, groß",
		"cafe\u0301":                       "cafe\u0301",
		"左軟管":                              "左軟管",
		"a\x1b[2Jb":                        "a·[2Jb",
		"a\nebbline: holds":                "a·ebbline: holds",
		"a\u202etxt":                       "a·txt",
		"a\u200bb\u2028c\u0085":            "a·b·c·",
		"\xff":                             "\ufffd",
		"e\u0301\u0301\u0301\u0301\u0301!": "e\u0301\u0301\u0301!",
	} {
		if got := Printable(in); got != want {
			t.Errorf("%q is shown as %q, want %q", in, got, want)
		}
	}
}

// FuzzPrintable: nothing steers a terminal, a slip or a text for people,
// whatever stands in a field, and a JSON object stays one on one line.
func FuzzPrintable(f *testing.F) {
	for _, s := range append([]string{"left hose", "cafe\u0301", "\u0301\u0301\u0301\u0301\u0301", "\ufdd0\U0001ffff\u3164", "a\r\nb", strings.Repeat("wide 左 ", 40)}, attacks...) {
		f.Add(s)
	}
	psi := decay.PressureUnits[0]
	f.Fuzz(func(t *testing.T, s string) {
		check := func(where, text string) {
			marks := 0
			for _, r := range text {
				if marks++; !unicode.Is(unicode.M, r) {
					marks = 0
				}
				if unicode.IsControl(r) || unicode.In(r, unicode.Cf, unicode.Zl, unicode.Zp) || marks > mostMarks {
					t.Fatalf("%s: %q, %d marks: %.200q", where, r, marks, text)
				}
			}
			if !utf8.ValidString(text) {
				t.Fatalf("%s: no UTF-8: %.200q", where, text)
			}
		}
		p := Printable(s)
		check("printable", p)
		if again := Printable(p); again != p {
			t.Fatalf("%q becomes %q", p, again)
		}
		for _, l := range (Slip{Part: s, Size: s, Sensor: s, Calibrated: s, By: s, Record: s, When: time.Unix(0, 0)}).Lines() {
			if check("slip", l); columns(l) > SlipWidth {
				t.Fatalf("a line of the slip is %d wide: %q", columns(l), l)
			}
		}
		in := Input{File: s, Marks: []record.Mark{{Word: s}}, Result: decay.Result{Warnings: []decay.Warning{{Code: "x", Text: s}}}}
		var b bytes.Buffer
		if err := Text(&b, in, psi); err != nil {
			t.Fatal(err)
		}
		n := strings.Count(b.String(), "\n")
		for l := range strings.Lines(b.String()) {
			check("text", strings.TrimSuffix(l, "\n"))
		}
		plain := in
		plain.File, plain.Marks, plain.Result.Warnings = "x", []record.Mark{{Word: "x"}}, []decay.Warning{{Code: "x", Text: "x"}}
		var c bytes.Buffer
		if err := Text(&c, plain, psi); err != nil || s != "" && n != strings.Count(c.String(), "\n") {
			t.Fatalf("%d lines: %v: %q", n, err, b.String())
		}
		b.Reset()
		if err := JSON(&b, in); err != nil || !json.Valid(b.Bytes()) || bytes.Count(b.Bytes(), []byte("\n")) != 1 || !utf8.Valid(b.Bytes()) {
			t.Fatalf("%v: %q", err, b.String())
		}
	})
}
