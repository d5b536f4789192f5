package wire

import (
	"errors"
	"fmt"
	"strings"
	"testing"
)

// sentenceOf adds the frame and the checksum.
func sentenceOf(body string) string { return fmt.Sprintf("$%s*%02X", body, NMEAChecksum(body)) }

// Layout, types and units: "Update to XDR Sentence", NMEA 2019 (groups of
// type, value, unit and name; P is a pressure in B bar or P pascal; C a
// temperature in C), and the field list in the public digests of NMEA 0183.
func TestSentences(t *testing.T) {
	bar := func(v float64) Fields { return Fields{Value: v, Unit: "bar"} }
	warm := func(f Fields, c float64) Fields { f.HasTemp, f.Temp = true, c; return f }
	for name, c := range map[string]struct {
		opt  Options
		line string
		want Fields
		says string
	}{
		// The sentence and its checksum as printed in the notes of a public
		// barometer project (ingmar/nanobaro, README).
		"published": {Options{}, "$WIXDR,C,24.59,C,TEMP,P,1.02412,B,BARO*5E", warm(bar(1.02412), 24.59), `value from "BARO"`},
		"lower case checksum": {Options{}, strings.ToLower("$") + "WIXDR,C,24.59,C,TEMP,P,1.02412,B,BARO*5e",
			warm(bar(1.02412), 24.59), "every checksum was right"},
		"no checksum":   {Options{}, "$IIXDR,P,1.5,B,EngineBoost#0", bar(1.5), "without checksums"},
		"pascal":        {Options{}, sentenceOf("IIXDR,P,101325,P,Baro"), Fields{Value: 101325, Unit: "Pa"}, "in Pa, gauge or absolute not stated"},
		"vacuum":        {Options{}, sentenceOf("IIXDR,P,-0.25,B,"), bar(-.25), "in bar, gauge"},
		"reference":     {Options{Reference: "absolute"}, sentenceOf("IIXDR,P,1.0,B,Baro"), Fields{Value: 1, Unit: "bar", Reference: "absolute"}, "in bar absolute"},
		"several":       {Options{}, sentenceOf("IIXDR,P,1.0,B,Baro,A,3,D,Heel,P,1.9,B,EngineBoost#0,C,40,C,Air"), warm(bar(1), 40), "first of 2 pressures (Baro, EngineBoost#0)"},
		"chosen":        {Options{Value: "engineboost#0"}, sentenceOf("IIXDR,P,1.0,B,Baro,P,1.9,B,EngineBoost#0"), bar(1.9), "was asked for"},
		"own heat":      {Options{Value: "B"}, sentenceOf("IIXDR,C,1,C,A,P,1,B,A,C,2,C,B,P,2,B,B"), warm(bar(2), 2), `temperature from "B"`},
		"trailing":      {Options{}, "$IIXDR,P,1.5,B,X,,", bar(1.5), "XDR"},
		"nameless":      {Options{}, "$IIXDR,C,20,C,,P,1.5,B,", warm(bar(1.5), 20), "without a name"},
		"fahrenheit no": {Options{}, "$IIXDR,C,70,F,T,P,1.5,B,X", bar(1.5), "XDR"},
	} {
		d := NewLineDecoder(c.opt)
		f, err := d.Decode(c.line)
		if err != nil || f != c.want {
			t.Errorf("%s: %q: got %+v, %v; want %+v", name, c.line, f, err, c.want)
		}
		if !strings.Contains(d.Detected(), c.says) {
			t.Errorf("%s: Detected() = %q, want it to say %q", name, d.Detected(), c.says)
		}
	}
}

func TestSentencesWithoutReading(t *testing.T) {
	for _, l := range []string{sentenceOf("GPGGA,1,2"), sentenceOf("IIXDR,C,20,C,Air"), "!AIVDM,1,1,,A,x,0", sentenceOf("PABC,1")} {
		if f, err := NewLineDecoder(Options{}).Decode(l); !errors.Is(err, ErrSkip) {
			t.Errorf("%q: %+v, %v; want it passed over", l, f, err)
		}
	}
	for l, says := range map[string]string{
		"$IIXDR,P,1.5,B,X*":                "checksum of two",
		"$IIXDR,P,1.5,B,X*1":               "checksum of two",
		"$IIXDR,P,1.5,B,X*123":             "checksum of two",
		"$IIXDR,P,1.5,B,X*+1":              "checksum of two",
		"$IIXDR,P,1.5":                     "2 fields",
		"$IIXDR":                           "0 fields",
		"$IIXDR,P,1.5,B":                   "3 fields",
		"$IIXDR,P,1.5,B,X$IIXDR,P,1.5,B,X": "lost its end",
		"$IIXDR,P,1.5,K,X":                 "neither B (bar) nor P (pascal)",
		"$IIXDR,P,,B,X":                    "no value",
		"$IIXDR,P,nan,B,X":                 "no number",
		"$IIXDR,P,1,5,B,X":                 "5 fields",
		"$":                                "name of a sentence",
		"$iixdr,P,1.5,B,X":                 "name of a sentence",
		"$5.00":                            "name of a sentence",
		"$WIXDR,C,24.59,C,TEMP,P,1.02413,B,BARO*5E":         "checksum 5E, but its text makes 5F",
		"$WIXDR,C,24.59,C,TEMP,P,1.02412,B,BARO,P,1,B,X*5E": "damaged",
	} {
		f, err := NewLineDecoder(Options{}).Decode(l)
		if err == nil || errors.Is(err, ErrSkip) || !strings.Contains(err.Error(), says) {
			t.Errorf("%q: %+v, %v; want it to say %q", l, f, err, says)
		}
		var sum *ChecksumError
		if strings.Contains(l, "*5E") && (!errors.As(err, &sum) || sum.Sent != 0x5E || sum.Computed == sum.Sent) {
			t.Errorf("%q: error %#v", l, err)
		}
	}
}

// Two transducers that take turns are not read as one.
func TestSentencesKeepToOneTransducer(t *testing.T) {
	d := NewLineDecoder(Options{})
	for i, l := range []string{"IIXDR,P,1.0,B,Baro", "IIXDR,P,1.9,B,EngineBoost#0", "IIXDR,P,1.9,B,EngineBoost#0,P,1.1,B,Baro"} {
		f, err := d.Decode(sentenceOf(l))
		switch {
		case i == 1 && !errors.Is(err, ErrSkip):
			t.Errorf("%q: %+v, %v", l, f, err)
		case i != 1 && (err != nil || f.Value >= 1.9):
			t.Errorf("%q: %+v, %v", l, f, err)
		}
	}
}

func FuzzSentence(f *testing.F) {
	for _, s := range []string{"WIXDR,C,24.59,C,TEMP,P,1.02412,B,BARO", "IIXDR,P,101325,P,Baro,P,1,B,X", "GPGGA,1", "IIXDR,P,,B,", ""} {
		f.Add(s, "", true)
		f.Add(s, "BARO", false)
	}
	f.Fuzz(func(t *testing.T, body, value string, summed bool) { checkSentence(t, body, value, summed) })
}

func checkSentence(t testing.TB, body, value string, summed bool) {
	t.Helper()
	if strings.ContainsAny(body, "\r\n*") {
		return
	}
	line := "$" + body
	if summed {
		line = sentenceOf(body)
	}
	d := NewLineDecoder(Options{Value: value})
	got, err := d.Decode(line)
	if err != nil {
		if got != (Fields{}) {
			t.Fatalf("%q gave both %+v and %v", line, got, err)
		}
		return
	}
	if !sent(line, got.Value) || got.HasTemp && !sent(line, got.Temp) {
		t.Fatalf("%q gave %+v, which was not sent", line, got)
	}
	if got.Unit != "bar" && got.Unit != "Pa" || got.Reference != "" {
		t.Fatalf("%q gave %+v", line, got)
	}
	if summed {
		// Another sum is refused.
		bad := fmt.Sprintf("$%s*%02X", body, NMEAChecksum(body)^0x10)
		var sum *ChecksumError
		if _, err := NewLineDecoder(Options{}).Decode(bad); !errors.As(err, &sum) && len(bad) <= MaxLine {
			t.Fatalf("%q gave %v", bad, err)
		}
	}
}
