package wire

import (
	"encoding/csv"
	"errors"
	"fmt"
	"math"
	"os"
	"strconv"
	"strings"
	"testing"
	"time"

	"pgregory.net/rapid"
)

// sent reports whether a number that means v stands in the line.
func sent(line string, v float64) bool {
	for i := 0; i < len(line); i++ {
		if strings.IndexByte("+-.,0123456789", line[i]) < 0 {
			continue
		}
		for j := i + 1; j <= len(line); j++ {
			if got, ok := Number(line[i:j], true); ok && got == v {
				return true
			}
			if strings.IndexByte("+-.,0123456789eE", line[j-1]) < 0 {
				break
			}
		}
	}
	return false
}

// through sends text through a stream, cut into chunks that all arrive at once
// or every so often, and returns what came out.
func through(opt Options, every time.Duration, chunks ...string) (out []Line) {
	s := NewStream(opt)
	keep := func(l Line) { out = append(out, l) }
	for i, c := range chunks {
		s.Feed(time.Duration(i)*every, []byte(c), keep)
	}
	s.Flush(true, keep)
	return out
}

// told writes lines so that tests can compare them: the time, the value, the
// unit, or the fault.
func told(lines []Line) string {
	var b strings.Builder
	for _, l := range lines {
		switch {
		case errors.Is(l.Err, ErrSkip):
			continue
		case l.Err != nil:
			b.WriteString("! ")
			continue
		case l.Fields.Reset:
			b.WriteString("reset ")
		}
		if l.Fields.HasTime {
			fmt.Fprintf(&b, "%g:", math.Round(l.Fields.Time*1e9)/1e9)
		}
		fmt.Fprintf(&b, "%g%s ", l.Fields.Value, l.Fields.Unit)
	}
	return strings.TrimSpace(b.String())
}

// clockLines are lines of a board with a counter that turns at 2^bits.
func clockLines(format string, bits int, from, step uint64, n int) (out []string) {
	for i := range n {
		out = append(out, fmt.Sprintf(format, (from+uint64(i)*step)&(1<<bits-1), 100+i)+"\n")
	}
	return out
}

func TestFirstLinesGetTheirTimes(t *testing.T) {
	for name, c := range map[string]struct {
		opt   Options
		every time.Duration
		lines []string
		want  string
		says  string
	}{
		"milliseconds":       {Options{}, 100 * time.Millisecond, []string{"1000,101.5\n", "1100,101.6\n", "1200,101.7\n"}, "1:101.5 1.1:101.6 1.2:101.7", "milliseconds"},
		"whole values":       {Options{}, 100 * time.Millisecond, []string{"1000,512\n", "1100,511\n", "1200,510\n"}, "1:512 1.1:511 1.2:510", "milliseconds"},
		"fast microseconds":  {Options{}, time.Millisecond, clockLines("%d,%d.5", 32, 1e6, 1000, 4), "1:100.5 1.001:101.5 1.002:102.5 1.003:103.5", "microseconds, as the times of arrival show"},
		"slow milliseconds":  {Options{}, time.Second, clockLines("%d,%d.5", 32, 5000, 1000, 3), "5:100.5 6:101.5 7:102.5", "milliseconds, as the times of arrival show"},
		"whole seconds":      {Options{}, time.Second, clockLines("%d,%d.5", 32, 7, 1, 3), "7:100.5 8:101.5 9:102.5", "seconds, as the times of arrival show"},
		"very slow":          {Options{}, 10 * time.Second, clockLines("%d,%d.5", 32, 5000, 10000, 3), "5:100.5 15:101.5 25:102.5", "milliseconds"},
		"stated":             {Options{TimeUnit: "us"}, time.Second, clockLines("%d,%d.5", 32, 5000, 1000, 2), "0.005:100.5 0.006:101.5", "in us, as stated"},
		"name without unit":  {Options{}, 100 * time.Millisecond, []string{"time,p_kPa\n", "1000,101.5\n", "1100,101.6\n"}, "1:101.5kPa 1.1:101.6kPa", "milliseconds"},
		"key without unit":   {Options{}, 100 * time.Millisecond, []string{"t=1000 p=1 bar\n", "t=1100 p=2 bar\n"}, "1:1bar 1.1:2bar", "milliseconds"},
		"json without unit":  {Options{}, 100 * time.Millisecond, []string{`{"time":1000,"p_bar":1}` + "\n", `{"time":1100,"p_bar":2}` + "\n"}, "1:1bar 1.1:2bar", "milliseconds"},
		"decimal comma":      {Options{}, 100 * time.Millisecond, []string{"29,81\n", "29,79\n", "29,5\n"}, "29.81 29.79 29.5", "one number"},
		"comma, both stated": {Options{DecimalPoint: true}, 100 * time.Millisecond, []string{"29,81\n", "30,79\n", "31,5\n"}, "29:81 30:79 31:5", "time and value"},
		"noise between":      {Options{}, 100 * time.Millisecond, []string{"1000,1.5\n", "\xff\n", "1100,1.6\n"}, "1:1.5 ! 1.1:1.6", "milliseconds"},
		"no clock":           {Options{}, 100 * time.Millisecond, []string{"20 29.8\n", "20 29.7\n", "20 29.8\n", "20 29.7\n", "20 29.6\n"}, "! ! ! ! !", "until"},
		"one line":           {Options{}, 0, []string{"1000,1.5\n"}, "1.5", "until the next lines show it"},
	} {
		var out []Line
		s := NewStream(c.opt)
		for i, l := range c.lines {
			s.Feed(time.Duration(i)*c.every, []byte(l), func(l Line) { out = append(out, l) })
		}
		s.Flush(true, func(l Line) { out = append(out, l) })
		if got := told(out); name == "comma, both stated" {
			if got != "0.029:81 0.03:79 0.031:5" {
				t.Errorf("%s: got %s", name, got)
			}
		} else if got != c.want {
			t.Errorf("%s: got %s, want %s", name, got, c.want)
		}
		if !strings.Contains(s.Detected(), c.says) {
			t.Errorf("%s: Detected() = %q, want it to say %q", name, s.Detected(), c.says)
		}
		for i, l := range out {
			if l.At != time.Duration(i)*c.every && len(out) == len(c.lines) || l.Partial != (i == 0) {
				t.Errorf("%s: line %d arrived at %v, partial %v", name, i, l.At, l.Partial)
			}
		}
	}
}

func TestClocksRollOver(t *testing.T) {
	const ms, us = 1 << 32 * 1e-3, 1 << 32 * 1e-6
	for name, c := range map[string]struct {
		lines []string
		step  float64 // s between lines
		says  string
	}{
		// 2^32 ms is 49.7 days, 2^32 us is 71.6 minutes, 2^16 ms is 65.5 seconds.
		"32 bits of ms, headed":   {append([]string{"time_ms,p_kPa\n"}, clockLines("%d,%d", 32, 1<<32-50, 20, 8)...), .02, "4294967296"},
		"32 bits of us, headed":   {append([]string{"time_us,p_kPa\n"}, clockLines("%d,%d", 32, 1<<32-2500, 1000, 8)...), .001, "4294967296"},
		"16 bits of ms, headed":   {append([]string{"ms;p_kPa\n"}, clockLines("%d;%d", 16, 1<<16-50, 20, 8)...), .02, "65536"},
		"32 bits of ms, by key":   {clockLines("t_ms=%d p=%d kPa", 32, 1<<32-50, 20, 8), .02, "once"},
		"32 bits of us, JSON":     {clockLines(`{"micros":%d,"p_kpa":%d}`, 32, 1<<32-50000, 20000, 8), .02, "once"},
		"32 bits of ms, no names": {clockLines("%d,%d.5", 32, 1<<32-50, 20, 8), .02, "once"},
		"32 bits of us, no names": {clockLines("%d %d", 32, 1<<32-60000, 20000, 8), .02, "once"},
		"signed 16 bits":          {[]string{"t_ms=32740 p=1 kPa\n", "t_ms=32760 p=1 kPa\n", "t_ms=-32756 p=1 kPa\n", "t_ms=-32736 p=1 kPa\n"}, .02, "once"},
		"ms printed in seconds":   {[]string{"t=4294967.250 p=1 kPa\n", "t=4294967.270 p=1 kPa\n", "t=4294967.290 p=1 kPa\n", "t=0.014 p=1 kPa\n", "t=0.034 p=1 kPa\n"}, .02, "once"},
		"midnight":                {[]string{"23:59:59.98,1 kPa\n", "23:59:59.99,1 kPa\n", "00:00:00.00,1 kPa\n", "00:00:00.01,1 kPa\n"}, .01, "86400"},
		"twice":                   {append(append([]string{"ms,p_kPa\n"}, clockLines("%d,%d", 16, 100, 500, 140)...), clockLines("%d,%d", 16, 100+140*500, 500, 140)...), .5, "2 times"},
	} {
		d := NewLineDecoder(Options{})
		last, n := math.NaN(), 0
		for _, l := range c.lines {
			f, err := d.Decode(strings.TrimSpace(l))
			if errors.Is(err, ErrSkip) {
				continue
			}
			if err != nil {
				t.Fatalf("%s: %q: %v", name, l, err)
			}
			if f.Reset {
				t.Errorf("%s: %q is called a reset", name, l)
			}
			if !f.HasTime {
				continue
			}
			if n++; n > 1 && math.Abs(f.Time-last-c.step) > 1e-6 {
				t.Errorf("%s: %q comes %g s after the line before, want %g", name, l, f.Time-last, c.step)
			}
			last = f.Time
		}
		if n < 3 {
			t.Errorf("%s: %d lines with a time", name, n)
		}
		if !strings.Contains(d.Detected(), c.says) {
			t.Errorf("%s: Detected() = %q, want it to say %q", name, d.Detected(), c.says)
		}
	}
	if ms < 49.7*86400 || ms > 49.8*86400 || us < 71.5*60 || us > 71.7*60 {
		t.Errorf("32 bits last %g s of ms and %g s of us", ms, us)
	}
}

func TestResetOfABoardIsNoRollOver(t *testing.T) {
	for name, lines := range map[string][]string{
		"by milliseconds": {"t_ms=50000 p=1 kPa", "t_ms=50020 p=1 kPa", "t_ms=12 p=1 kPa", "t_ms=32 p=1 kPa"},
		"by microseconds": {"t_us=50000000 p=1 kPa", "t_us=50020000 p=1 kPa", "t_us=900 p=1 kPa", "t_us=20900 p=1 kPa"},
		"soon":            {"t_ms=300 p=1 kPa", "t_ms=320 p=1 kPa", "t_ms=12 p=1 kPa", "t_ms=32 p=1 kPa"},
		"after 16 bits":   {"t_ms=131060 p=1 kPa", "t_ms=131071 p=1 kPa", "t_ms=10 p=1 kPa", "t_ms=21 p=1 kPa"},
		"clock time":      {"12:00:00 1 kPa", "12:00:01 1 kPa", "09:00:00 1 kPa", "09:00:01 1 kPa"},
	} {
		d := NewLineDecoder(Options{})
		for i, l := range lines {
			if strings.Contains(name, "clock") {
				l = strings.Replace(l, " ", ";", 1)
			}
			f, err := d.Decode(l)
			if err != nil || !f.HasTime {
				t.Fatalf("%s: %q: %+v, %v", name, l, f, err)
			}
			if f.Reset != (i == 2) {
				t.Errorf("%s: %q: reset %v", name, l, f.Reset)
			}
			if i == 2 && f.Time > 1 && !strings.Contains(name, "clock") {
				t.Errorf("%s: after the reset the time is %g", name, f.Time)
			}
		}
	}
	// Lines that come in the wrong order are no reset.
	d := NewLineDecoder(Options{})
	for _, l := range []string{"t_ms=5000 p=1 kPa", "t_ms=5020 p=1 kPa", "t_ms=5010 p=1 kPa", "t_ms=5030 p=1 kPa"} {
		if f, err := d.Decode(l); err != nil || f.Reset {
			t.Errorf("%q: %+v, %v", l, f, err)
		}
	}
}

// However long a counter of either width runs, at whatever rate, the time goes
// on as it should.
func TestRollOversAddUp(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		bits := rapid.SampledFrom([]int{16, 32}).Draw(t, "bits")
		scale := rapid.SampledFrom([]float64{1e-3, 1e-6}).Draw(t, "scale")
		step := rapid.Uint64Range(1, 2000).Draw(t, "step")
		now := rapid.Uint64Range(0, 1<<bits-1).Draw(t, "from")
		if bits == 32 {
			now = 1<<32 - rapid.Uint64Range(1, 100_000).Draw(t, "before")
		}
		var c boardClock
		first, _ := c.next(float64(now), scale, counterTurns)
		gone := uint64(0)
		for range 200 {
			k := step + rapid.Uint64Range(0, step/4).Draw(t, "jitter")
			now, gone = now+k, gone+k
			s, reset := c.next(float64(now&(1<<bits-1)), scale, counterTurns)
			if reset || math.Abs(s-first-float64(gone)*scale) > 1e-6 {
				t.Fatalf("after %d the clock says %g s more, reset %v", gone, s-first, reset)
			}
		}
	})
}

func TestRawSignalsInEveryFormat(t *testing.T) {
	for name, c := range map[string]struct {
		opt   Options
		lines string
		want  Fields
		says  string
	}{
		"volts":               {Options{}, "2.51 V", Fields{Value: 2.51, Unit: "V"}, "in V"},
		"millivolts":          {Options{}, "2510mV", Fields{Value: 2510, Unit: "mV"}, "in mV"},
		"counts":              {Options{}, "512 counts", Fields{Value: 512, Unit: "counts"}, "in counts"},
		"counts, stated":      {Options{Unit: "counts", Reference: "gauge"}, "512", Fields{Value: 512, Unit: "counts"}, "in counts"},
		"millis and counts":   {Options{Unit: "counts"}, "1000,512\n1020,512\n1040,512", Fields{HasTime: true, Time: 1.04, Value: 512, Unit: "counts"}, "time and value"},
		"header":              {Options{}, "millis,adc,vcc\n40,512,5.02", Fields{HasTime: true, Time: .04, Value: 512, Unit: "counts", HasSupply: true, Supply: 5.02}, `supply voltage from "vcc"`},
		"header, mV":          {Options{}, "ms;sensor_mV;supply_mV;temp_C\n40;2510;4980;21,5", Fields{HasTime: true, Time: .04, Value: 2510, Unit: "mV", HasSupply: true, Supply: 4.98, HasTemp: true, Temp: 21.5}, "parted by semicolons"},
		"header, V":           {Options{Unit: "kPa"}, "t_s\tvoltage\n1.5\t2.51", Fields{HasTime: true, Time: 1.5, Value: 2.51, Unit: "V"}, "parted by tabs"},
		"keys":                {Options{}, "t_ms=40 raw=512 vcc=5.02V temp=21.5C", Fields{HasTime: true, Time: .04, Value: 512, Unit: "counts", HasSupply: true, Supply: 5.02, HasTemp: true, Temp: 21.5}, "temperature from"},
		"keys, mV":            {Options{}, "mv=2510 supply=4980mV", Fields{Value: 2510, Unit: "mV", HasSupply: true, Supply: 4.98}, "supply voltage"},
		"analog pin":          {Options{}, "A0:512", Fields{Value: 512, Unit: "counts"}, "A0"},
		"json":                {Options{}, `{"ms":40,"counts":512,"vcc":5.02,"temp_c":21.5}`, Fields{HasTime: true, Time: .04, Value: 512, Unit: "counts", HasSupply: true, Supply: 5.02, HasTemp: true, Temp: 21.5}, "JSON"},
		"json, volts":         {Options{}, `{"voltage":2.51,"supply_mV":5020}`, Fields{Value: 2.51, Unit: "V", HasSupply: true, Supply: 5.02}, "in V"},
		"json, unit beside":   {Options{}, `{"value":512,"unit":"counts"}`, Fields{Value: 512, Unit: "counts"}, "in counts"},
		"pressure before raw": {Options{}, "adc,pressure_kPa\n512,150", Fields{Value: 150, Unit: "kPa"}, "pressure_kPa"},
		"the stated column":   {Options{Value: "p2_bar"}, "p1_bar,p2_bar\n1,2", Fields{Value: 2, Unit: "bar"}, "p2_bar"},
		"the stated key":      {Options{Value: "adc"}, "adc=512 p=150 kPa", Fields{Value: 512, Unit: "counts"}, "adc"},
		"an unknown column":   {Options{Value: "x", Unit: "psi"}, "a,x\n1,2", Fields{Value: 2, Unit: "psi"}, `"x"`},
		"first of two":        {Options{}, "p1_bar,p2_bar\n1,2", Fields{Value: 1, Unit: "bar"}, "first of 2 that may be meant"},
		"air's supply":        {Options{}, "p=1.5 bar supply=6 bar vcc=5 V", Fields{Value: 1.5, Unit: "bar", HasSupply: true, Supply: 5}, "vcc"},
		"stated delimiter":    {Options{Header: "t_s,p_bar,note", Delim: ","}, "1,2,a;b", Fields{HasTime: true, Time: 1, Value: 2, Unit: "bar"}, "commas"},
	} {
		if err := c.opt.Validate(); err != nil {
			t.Errorf("%s: %v", name, err)
		}
		d := NewLineDecoder(c.opt)
		var got Fields
		var err error
		for l := range strings.Lines(c.lines) {
			got, err = d.Decode(strings.TrimSpace(l))
		}
		if math.Abs(got.Time-c.want.Time) < 1e-12 {
			got.Time = c.want.Time
		}
		if math.Abs(got.Supply-c.want.Supply) < 1e-12 {
			got.Supply = c.want.Supply
		}
		if err != nil || got != c.want {
			t.Errorf("%s: got %+v, %v; want %+v", name, got, err, c.want)
		}
		if !strings.Contains(d.Detected(), c.says) || !strings.Contains(d.Detected(), "because") {
			t.Errorf("%s: Detected() = %q, want it to say %q and why", name, d.Detected(), c.says)
		}
	}
}

func TestOptionsThatCannotBe(t *testing.T) {
	for says, o := range map[string]Options{
		"not a unit": {Unit: "furlong"}, "neither gauge nor absolute": {Reference: "both"}, "only a comma": {Delim: "|"}, "s, ms nor us": {TimeUnit: "h"},
		"decimal mark": {DecimalComma: true, DecimalPoint: true}, "is a pressure": {Header: "a,b"}, "was stated as the value": {Header: "t_s,p_bar", Value: "x"},
	} {
		if err := o.Validate(); err == nil || !strings.Contains(err.Error(), says) {
			t.Errorf("%+v: %v, want it to say %q", o, err, says)
		}
	}
	for _, o := range []Options{{}, {Header: "t_s,p_bar", Unit: "psi", Reference: "gauge", Delim: ";", TimeUnit: "us", DecimalComma: true}, {Header: "a,b", Value: "b"}} {
		if err := o.Validate(); err != nil {
			t.Errorf("%+v: %v", o, err)
		}
	}
}

// Rows are cut into the same cells as encoding/csv cuts them.
func TestRowsAgreeWithEncodingCSV(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		delim := rapid.SampledFrom([]rune(",;\t")).Draw(t, "delim")
		names := []string{"time_ms", "pressure_kPa", "note", "vcc"}
		order := rapid.Permutation(names).Draw(t, "order")
		comma := delim != ',' && rapid.Bool().Draw(t, "decimal comma")
		var text strings.Builder
		w := csv.NewWriter(&text)
		w.Comma = delim
		write := func(cells []string) {
			if err := w.Write(cells); err != nil {
				t.Fatal(err)
			}
		}
		write(order)
		decimals := func(v float64) string {
			s := strconv.FormatFloat(v, 'f', 3, 64)
			if comma {
				s = strings.Replace(s, ".", ",", 1)
			}
			return s
		}
		n := rapid.IntRange(1, 5).Draw(t, "rows")
		for i := range n {
			cells := make([]string, len(order))
			for j, name := range order {
				switch name {
				case "time_ms":
					cells[j] = strconv.Itoa(1000 + 20*i)
				case "pressure_kPa":
					cells[j] = decimals(rapid.Float64Range(-100, 500).Draw(t, "p"))
				case "vcc":
					cells[j] = decimals(rapid.Float64Range(4, 6).Draw(t, "vcc"))
				default:
					cells[j] = rapid.StringOf(rapid.SampledFrom([]rune(`abc "12.,;`+"\t"))).Draw(t, "note")
				}
			}
			write(cells)
		}
		w.Flush()
		r := csv.NewReader(strings.NewReader(text.String()))
		r.Comma = delim
		rows, err := r.ReadAll()
		if err != nil {
			t.Fatal(err)
		}
		lines := through(Options{}, 0, text.String())
		if len(lines) != len(rows) {
			t.Fatalf("%d lines, %d rows of %q", len(lines), len(rows), text.String())
		}
		number := func(s string) float64 {
			v, err := strconv.ParseFloat(strings.Replace(s, ",", ".", 1), 64)
			if err != nil {
				t.Fatal(err)
			}
			return v
		}
		for i, row := range rows[1:] {
			var want Fields
			for j, name := range order {
				switch name {
				case "time_ms":
					want.HasTime, want.Time = true, number(row[j])*1e-3
				case "pressure_kPa":
					want.Value, want.Unit = number(row[j]), "kPa"
				case "vcc":
					want.HasSupply, want.Supply = true, number(row[j])
				}
			}
			if got := lines[i+1]; got.Err != nil || got.Fields != want {
				t.Fatalf("%q: got %+v, %v; encoding/csv says %+v", got.Text, got.Fields, got.Err, want)
			}
		}
	})
}

// boards are texts that boards send, of every format, some with noise.
var boards = []string{
	"29.8\n29.7\n29.6\n", "29,8\n29,7\n30,1\n", "29.8 psi\r\n29.7 psi\r\n", "1000,512\n1020,511\n1040,510\n", "1000;29,8\n1020;29,7\n",
	"time_ms,p_kPa,vcc\n10,150.1,5.01\n30,150.0,5.02\n", "\ufefft_s\tp_bar\n0.1\t1.5\n0.2\t1.6\n", "t_ms=65530 p=1 bar\nt_ms=14 p=2 bar\n",
	`{"ms":1,"p":2,"unit":"psi"}` + "\n{}\n{\n", "$WIXDR,C,24.59,C,TEMP,P,1.02412,B,BARO*5E\r\n$GPGGA,1\r\n", "boot\xff\xfe\r\n\r\n12:00:01;1,5 bar\n",
	"ready v2\r\n5 V\n5,1 V\n", "# remark\n// another\n1\n",
}

// Wherever bytes are cut or joined, and however often empty reads come
// between, the lines and their meaning are the same.
func TestAnyCutGivesTheSameReadings(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		text := ""
		for range rapid.IntRange(1, 4).Draw(t, "boards") {
			text += rapid.SampledFrom(boards).Draw(t, "board")
		}
		if rapid.Bool().Draw(t, "damage") && len(text) > 0 {
			i := rapid.IntRange(0, len(text)-1).Draw(t, "at")
			text = text[:i] + string(rapid.SliceOfN(rapid.Byte(), 0, 3).Draw(t, "bytes")) + text[i+rapid.IntRange(0, 1).Draw(t, "lost"):]
		}
		whole := through(Options{}, 0, text)
		var chunks []string
		for rest := text; rest != ""; {
			n := rapid.IntRange(0, min(9, len(rest))).Draw(t, "cut")
			chunks, rest = append(chunks, rest[:n]), rest[n:]
		}
		cut := through(Options{}, 0, chunks...)
		if len(whole) != len(cut) {
			t.Fatalf("%q: %d lines in one piece, %d when cut", text, len(whole), len(cut))
		}
		for i := range whole {
			a, b := whole[i], cut[i]
			if a.Text != b.Text || a.Fields != b.Fields || fmt.Sprint(a.Err) != fmt.Sprint(b.Err) || a.Partial != b.Partial {
				t.Fatalf("%q: line %d is %+v in one piece, %+v when cut", text, i, a, b)
			}
		}
	})
}

var fuzzEvery = []time.Duration{0, time.Millisecond, 20 * time.Millisecond, time.Second, time.Minute}
var fuzzOptions = []Options{{}, {Unit: "kPa", Reference: "gauge"}, {Header: "time,p_bar"}, {TimeUnit: "us", DecimalPoint: true}, {DecimalComma: true, Value: "p"}}

func FuzzStream(f *testing.F) {
	for i, s := range boards {
		f.Add([]byte(s), uint8(i), uint8(i%5))
	}
	f.Fuzz(func(t *testing.T, b []byte, cut, how uint8) { checkStream(t, b, cut, how) })
}

func checkStream(t testing.TB, b []byte, cut, how uint8) {
	t.Helper()
	opt := fuzzOptions[int(how/5)%len(fuzzOptions)]
	whole := through(opt, 0, string(b))
	var chunks []string
	for rest := string(b); rest != ""; {
		k := min(int(cut%11)+1, len(rest))
		chunks, rest = append(chunks, rest[:k]), rest[k:]
	}
	for i, l := range through(opt, 0, chunks...) {
		if i >= len(whole) || l.Text != whole[i].Text || l.Fields != whole[i].Fields || (l.Err == nil) != (whole[i].Err == nil) {
			t.Fatalf("line %d is %+v when cut", i, l)
		}
	}
	out := through(opt, fuzzEvery[how%5], chunks...)
	if len(out) != len(whole) {
		t.Fatalf("%d lines, %d when they come one by one", len(whole), len(out))
	}
	last := time.Duration(-1)
	for i, l := range out {
		if l.Text != whole[i].Text || l.At < last || l.Err != nil && l.Fields != (Fields{}) {
			t.Fatalf("line %d is %+v, in one piece %+v", i, l, whole[i])
		}
		last = l.At
		if l.Err == nil && len(l.Text) <= 80 && !strings.Contains(l.Text, `\`) && !sent(l.Text, l.Fields.Value) {
			t.Fatalf("%q gave %v, which was not sent", l.Text, l.Fields.Value)
		}
	}
}

func BenchmarkStream(b *testing.B) {
	for name, line := range map[string]string{
		"number": "29.81\n", "millis": "%d,29.81\n", "keys": "t_ms=%d p=29.81 psi\n", "json": `{"t_ms":%d,"p_psi":29.81}` + "\n",
		"nmea": "$WIXDR,C,24.59,C,TEMP,P,1.02412,B,BARO*5E\r\n",
	} {
		b.Run(name, func(b *testing.B) {
			s := NewStream(Options{})
			n := 0
			b.ReportAllocs()
			for i := 0; b.Loop(); i++ {
				text := line
				if strings.Contains(line, "%d") {
					text = fmt.Sprintf(line, i)
				}
				s.Feed(time.Duration(i)*time.Millisecond, []byte(text), func(l Line) {
					if l.Err == nil {
						n++
					}
				})
			}
			if n == 0 {
				b.Fatal("nothing was read")
			}
		})
	}
}

// Every line that the README shows is read, and as it says there.
func TestReadmeLines(t *testing.T) {
	b, err := os.ReadFile("../../README.md")
	if err != nil {
		t.Fatal(err)
	}
	_, text, _ := strings.Cut(string(b), "## What a board may print")
	text, _, _ = strings.Cut(text, "\n## ")
	values := map[string]int{}
	for l := range strings.Lines(text) {
		line, ok := strings.CutPrefix(l, "| `")
		if !ok {
			continue
		}
		line, _, _ = strings.Cut(line, "` |")
		f, err := NewLineDecoder(Options{}).Decode(line)
		switch {
		case strings.HasPrefix(line, "#"), strings.HasPrefix(line, "time_ms"):
			if !errors.Is(err, ErrSkip) {
				t.Errorf("%q: %+v, %v", line, f, err)
			}
		case err != nil:
			t.Errorf("%q: %v", line, err)
		default:
			values[fmt.Sprint(f.Value, f.Unit)]++
		}
	}
	for _, v := range []string{"29.8", "29.8psi", "2.51V", "512counts", "1.02412bar"} {
		if values[v] == 0 {
			t.Errorf("no line gives %s: %v", v, values)
		}
	}
}
