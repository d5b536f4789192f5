package record

import (
	"bytes"
	"math"
	"reflect"
	"strings"
	"testing"
	"time"

	"ebbline/decay"

	"pgregory.net/rapid"
)

func sample() Record {
	return Record{
		Label: "left hose: \"upper\"\nsecond line", Source: "/dev/ttyUSB0", When: time.Date(2026, 3, 4, 5, 6, 7, 8, time.UTC),
		Program: "ebbline devel", Simulated: true, Unended: true,
		Setup: decay.Setup{Ambient: 95000, Volume: 0.0101, VolumeTolerance: 0.03, Limit: 0.0005, Rigid: true, Reads: decay.ReadsAbsolute,
			Of: decay.PartHose, RigLeak: decay.Interval{Value: 1e-8, High: 2e-8, Level: 0.95}},
		Samples: []decay.Sample{{At: 0, P: 101325}, {At: 1234567, P: 101325.1234567}, {At: 3 * time.Hour, P: -12}},
		Result: decay.Result{Outcome: decay.Leaks, Flags: []decay.Flag{decay.FlagGaps, decay.FlagNoZero}, HasFit: true, Law: decay.LawSeep,
			Rate: decay.Interval{Value: 0.01, Low: 0, High: math.Inf(1), Level: 0.95}, Hold: decay.Hold{Span: decay.Span{Start: 5 * time.Second, End: time.Minute}}},
		Marks: []Mark{{12500 * time.Millisecond, 151000, -153.25, "lower cooler hose: \"wet\""}, {time.Minute, -3, 0, ""}},
		Extra: []KeyValue{{"colour", "blue"}, {derivedKey, "wonder=7"}},
	}
}

func write(t testing.TB, r Record) string {
	t.Helper()
	var b strings.Builder
	if err := Write(&b, r); err != nil {
		t.Fatal(err)
	}
	return b.String()
}

func TestRoundTrip(t *testing.T) {
	want := sample()
	text := write(t, want)
	got, err := Read(strings.NewReader(text))
	if err != nil {
		t.Fatalf("%v in\n%s", err, text)
	}
	if got.Digest != DigestFits || len(got.Sum) != 64 {
		t.Errorf("digest %v %q", got.Digest, got.Sum)
	}
	want.Digest, want.Sum = got.Digest, got.Sum
	if !reflect.DeepEqual(got, want) {
		t.Errorf("got  %+v\nwant %+v", got, want)
	}
	if again := write(t, got); again != text {
		t.Errorf("written again:\n%s\nfirst:\n%s", again, text)
	}
}

func TestEveryNumberComesBack(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		want := decay.Sample{At: time.Duration(rapid.Int64Range(-8e18, 8e18).Draw(t, "at")), P: decay.Pressure(rapid.Float64().Draw(t, "p"))}
		var b bytes.Buffer
		if err := Write(&b, Record{Samples: []decay.Sample{want}}); err != nil {
			t.Fatal(err)
		}
		got, err := Read(&b)
		if err != nil || got.Torn || len(got.Samples) != 1 || got.Samples[0] != want {
			t.Fatalf("%+v became %+v, %v", want, got.Samples, err)
		}
	})
}

func TestTornTailIsRepairedAndSaid(t *testing.T) {
	text := write(t, sample())
	whole, _ := Read(strings.NewReader(text))
	for cut := len("ebbline-record 2\n"); cut < len(text); cut++ {
		got, err := Read(strings.NewReader(text[:cut]))
		if err != nil {
			t.Fatalf("cut at %d: %v", cut, err)
		}
		if !got.Torn {
			t.Fatalf("cut at %d is not called torn", cut)
		}
		for i, s := range got.Samples {
			if s != whole.Samples[i] {
				t.Fatalf("cut at %d: reading %d is %+v", cut, i, s)
			}
		}
	}
	again := write(t, must(Read(strings.NewReader(text[:strings.Index(text, "derived")]))))
	if got := must(Read(strings.NewReader(again))); got.Torn || len(got.Samples) != 3 {
		t.Errorf("a repaired record is %+v", got)
	}
}

func must(r Record, err error) Record {
	if err != nil {
		panic(err)
	}
	return r
}

func TestWrongRecordsNameTheLine(t *testing.T) {
	for text, want := range map[string]string{
		"":                                     "not a record",
		"time_s,pressure_kpa\n":                "line 1",
		"ebbline-record 3\n":                   "newer",
		"ebbline-record 1\nlimit_m: x\na: b\n": "line 2: limit_m",
		"ebbline-record 1\ntime_s,pressure_kpa_abs\nhello\n1,2\n":               "line 3",
		"ebbline-record 1\nlabel: a\nlabel: b\n\n":                              "twice",
		"ebbline-record 1\ntime_s,pressure_kpa_abs\n1,2\nend: 1 samples\n1,2\n": "line 5",
	} {
		if _, err := Read(strings.NewReader(text)); err == nil || !strings.Contains(err.Error(), want) {
			t.Errorf("%q: error %v, want one with %q", text, err, want)
		}
	}
}

func TestFileNamesSortByTime(t *testing.T) {
	when := time.Date(2026, 1, 2, 3, 4, 5, 6000, time.UTC)
	a, b := Stem(when, "Left hose / upper"), Stem(when.Add(time.Microsecond), "")
	if got, ok := NameTime(a); !ok || !got.Equal(when) {
		t.Errorf("%q is of %v", a, got)
	}
	if _, ok := NameTime("notes"); ok {
		t.Error("a name without a time has one")
	}
	if a != "20260102T030405.000006Z-left-hose-upper" || b <= a[:len("20260102T030405.000006Z")] {
		t.Errorf("names %q, %q", a, b)
	}
}

func FuzzRead(f *testing.F) {
	text := write(f, sample())
	f.Add(text)
	f.Add(text[:len(text)/2])
	f.Fuzz(func(t *testing.T, s string) {
		r, err := Read(strings.NewReader(s))
		if err != nil {
			return
		}
		sameHead(t, s, r)
		first := write(t, r)
		back, err := Read(strings.NewReader(first))
		if err != nil {
			t.Fatalf("what was read cannot be read again: %v\n%s", err, first)
		}
		if second := write(t, back); second != first {
			t.Fatalf("rewriting changed\n%s\nto\n%s", first, second)
		}
	})
}
