package chart

import (
	"math"
	"strings"
	"testing"

	"pgregory.net/rapid"
)

func TestScaleGivesTheCellOfAValue(t *testing.T) {
	up, down := Scale{0, 10, 5}, Scale{30, 0, 60}
	for _, c := range []struct {
		s    Scale
		v    float64
		want int
		ok   bool
	}{
		{up, 0, 0, true}, {up, 1.99, 0, true}, {up, 2, 1, true}, {up, 10, 4, true},
		{up, -0.1, 0, false}, {up, 10.1, 4, false}, {up, math.NaN(), 0, false},
		{down, 30, 0, true}, {down, 27.1, 5, true}, {down, 0, 59, true}, {down, 31, 0, false}, {down, -1, 59, false},
		{Scale{0, 1, 0}, 0.5, 0, false}, {Scale{1, 1, 4}, 1, 0, false},
	} {
		if got, ok := c.s.At(c.v); got != c.want || ok != c.ok {
			t.Errorf("%+v at %g: %d %v, want %d %v", c.s, c.v, got, ok, c.want, c.ok)
		}
	}
	rapid.Check(t, func(t *rapid.T) {
		n := rapid.IntRange(1, 500).Draw(t, "n")
		s := Scale{rapid.Float64Range(-100, 100).Draw(t, "lo"), rapid.Float64Range(101, 300).Draw(t, "hi"), n}
		k := rapid.IntRange(0, n-1).Draw(t, "k")
		if got, ok := s.At(s.Value(k)); got != k || !ok {
			t.Fatalf("the middle of step %d lies in step %d", k, got)
		}
	})
}

func TestTicksAreRoundNumbers(t *testing.T) {
	for _, c := range []struct {
		lo, hi float64
		most   int
		want   []float64
	}{
		{0, 30, 3, []float64{0, 10, 20, 30}},
		{0, 2.07, 5, []float64{0, 0.5, 1, 1.5, 2}},
		{-3, 3, 3, []float64{-2, 0, 2}},
		{5, 5, 3, nil}, {0, 1, 0, nil}, {0, math.Inf(1), 3, nil},
	} {
		got := Ticks(c.lo, c.hi, c.most)
		if len(got) != len(c.want) {
			t.Errorf("%g…%g: %v, want %v", c.lo, c.hi, got, c.want)
			continue
		}
		for i := range got {
			if math.Abs(got[i]-c.want[i]) > 1e-9 || math.Signbit(got[i]) != math.Signbit(c.want[i]) {
				t.Errorf("%g…%g: %v, want %v", c.lo, c.hi, got, c.want)
			}
		}
	}
	for _, c := range []struct{ span, want float64 }{{30, 10}, {60, 15}, {120, 30}, {3600, 900}, {28800, 7200}} {
		if got := TimeStep(c.span, 4); got != c.want {
			t.Errorf("time step of %g s is %g s, want %g s", c.span, got, c.want)
		}
	}
	for _, c := range []struct{ t, want float64 }{{0, 30}, {30, 30}, {31, 60}, {61, 120}, {1801, 3600}, {40000, 57600}} {
		if got := TimeSpan(c.t); got != c.want {
			t.Errorf("%g s are shown on %g s, want %g s", c.t, got, c.want)
		}
	}
}

// TestColumnsKeepEveryExtreme feeds random values over hours into few columns.
func TestColumnsKeepEveryExtreme(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		c := NewColumns(16, 0.05)
		at, n := 0.0, rapid.IntRange(1, 300).Draw(t, "n")
		lo, hi := math.Inf(1), math.Inf(-1)
		for range n {
			at += rapid.Float64Range(0, 60).Draw(t, "dt")
			v := rapid.Float64Range(-1e6, 1e6).Draw(t, "v")
			if !c.Add(at, v) {
				t.Fatal("a plain value was refused")
			}
			lo, hi = math.Min(lo, v), math.Max(hi, v)
		}
		got := c.Range(0, at+1e-6+c.Width())
		if got.N != n || got.Min != lo || got.Max != hi {
			t.Fatalf("kept %+v of %d values from %g to %g", got, n, lo, hi)
		}
		if len(c.cols) != 16 {
			t.Fatalf("memory grew to %d columns", len(c.cols))
		}
	})
}

func TestColumnsRefuseWhatIsNoNumberAndForgetTheStart(t *testing.T) {
	c := NewColumns(8, 1)
	for _, v := range []float64{math.NaN(), math.Inf(1)} {
		if c.Add(1, v) || c.Add(v, 1) {
			t.Errorf("%g was taken", v)
		}
	}
	for k := range 8 {
		c.Add(float64(k)+0.5, float64(k))
	}
	c.DropBefore(5.2)
	if c.Start() != 5 || c.Range(0, 8) != (Column{5, 7, 3}) || c.Width() != 1 {
		t.Errorf("start %g, %+v, width %g", c.Start(), c.Range(0, 8), c.Width())
	}
	if c.Add(4, 1) {
		t.Error("a value before the first column was taken")
	}
	c.DropBefore(100)
	if c.Start() != 100 || c.Range(0, 200).N != 0 {
		t.Errorf("start %g, %+v after everything was dropped", c.Start(), c.Range(0, 200))
	}
}

func lines(c *Canvas) string {
	var b strings.Builder
	for y := range c.H {
		for x := range c.W {
			r, _ := c.At(x, y)
			b.WriteRune(r)
		}
		b.WriteByte('\n')
	}
	return b.String()
}

func TestCanvasDrawsBraille(t *testing.T) {
	c := NewCanvas(2, 1)
	c.Dot(0, 0, Trace)
	c.Dot(1, 3, Trace)
	c.Column(2, 3, 0, Trace)
	c.Dot(-1, 0, Trace)
	c.Dot(9, 9, Trace)
	if got := lines(c); got != "⢁⡇\n" {
		t.Errorf("drew %q", got)
	}
}

func TestTraceIsNotMuddiedByTheBand(t *testing.T) {
	c := NewCanvas(4, 2)
	c.Band(0, 3)
	c.Dot(0, 0, Trace)
	if r, k := c.At(0, 0); r != '⠁' || k != Trace {
		t.Errorf("cell %q of class %d, want the trace alone", r, k)
	}
	if r, k := c.At(1, 0); k != Hatch || r == ' ' {
		t.Errorf("cell %q of class %d, want the hatch", r, k)
	}
	c.Dot(0, 1, Hatch)
	if r, _ := c.At(0, 0); r != '⠁' {
		t.Errorf("the hatch came back as %q", r)
	}
	if _, k := c.At(1, 1); k != Empty {
		t.Error("the band left its rows")
	}
}

func TestTraceJoinsAStepAndLeavesAGap(t *testing.T) {
	cs := NewColumns(64, 0.5)
	for k := range 10 {
		v := 0.0
		if k >= 5 {
			v = 10
		}
		cs.Add(float64(k)*0.5, v)
	}
	cs.Add(9.9, 10)
	c := NewCanvas(10, 2)
	c.Trace(cs, 0, 10, 0, 10)
	// The step at 2.5 s is one upright; from 5 s to 9.5 s nothing was read.
	if got := lines(c); got != "  ⢸⠉⠉    ⠈\n⣀⣀⡸      \x20\n" {
		t.Errorf("drew\n%s", got)
	}
}

func text(g []Glyph) string {
	var b strings.Builder
	for _, c := range g {
		b.WriteRune(c.R)
	}
	return b.String()
}

func TestRulerIsLogarithmic(t *testing.T) {
	r := Ruler{0.1, 10, 41}
	for _, c := range []struct {
		v      float64
		x, out int
	}{{0.1, 0, 0}, {1, 20, 0}, {10, 40, 0}, {0.5, 14, 0}, {0.05, 0, -1}, {11, 40, 1}, {0, 0, -1}, {-1, 0, -1}, {math.NaN(), 0, -1}, {math.Inf(1), 40, 1}} {
		if x, out := r.At(c.v); x != c.x || out != c.out {
			t.Errorf("%g at cell %d (%d), want %d (%d)", c.v, x, out, c.x, c.out)
		}
	}
	for _, c := range []struct{ got, want string }{
		{text(r.Line(1, 0.5, 2, 5)), "┴─────┴───┴─┴─━━━━━━●━━━━━━───┴─┴─┃─┴┴┴┴┴"},
		{text(r.Line(math.NaN(), 0, 0, 1)), "┴─────┴───┴─┴─┴─┴┴┴┴┃─────┴───┴─┴─┴─┴┴┴┴┴"},
		{text(r.Line(0.05, 0, 0.2, 1))[:len("◀")], "◀"},
		{text(r.Limit(1, "limit")), "                    ▼ limit              "},
		{text(r.Limit(9, "limit")), "                                 limit ▼ "},
		{text(r.Labels("mm")), "0.1  0.2     0.5    1     2       5 10 mm"},
	} {
		if c.got != c.want {
			t.Errorf("drew\n%s, want\n%s", c.got, c.want)
		}
	}
	if x := r.Line(20, 11, math.Inf(1), 1); x[40].R != '▶' {
		t.Errorf("an interval beyond the ruler ends in %q", x[40].R)
	}
	for _, bad := range []Ruler{{0, 5, 10}, {1, 1, 10}, {1, 5, 0}, {1, 5, -3}} {
		bad.Labels("mm")
		bad.Limit(1, "x")
		if n := len(bad.Line(1, 1, 2, 1)); n != max(0, bad.W) {
			t.Errorf("%+v draws %d cells", bad, n)
		}
	}
}

func TestBigGlyphsFillTheirPlaceAndDiffer(t *testing.T) {
	const all = "0123456789ABCDEFGHIKLNOPRSTUVY-−."
	for _, size := range [][2]int{{4, 3}, {6, 5}, {13, 11}} {
		seen := map[string]rune{}
		for _, r := range all {
			got := strings.Join(Big(string(r), size[0], size[1]), "\n")
			for _, l := range strings.Split(got, "\n") {
				if n := len([]rune(l)); n != BigWidth(string(r), size[0]) {
					t.Errorf("%c at %v: a line of %d cells", r, size, n)
				}
			}
			if strings.TrimSpace(got) == "" {
				t.Errorf("%c at %v is blank", r, size)
			}
			// The two minus signs are one glyph, and nought and O look alike.
			if old, ok := seen[got]; ok && !strings.ContainsRune("−O", r) && !(size[0] == 4 && strings.ContainsRune("DIS5", r)) {
				t.Errorf("%c and %c look alike at %v", old, r, size)
			}
			seen[got] = r
		}
	}
	if Big("1", 0, 5) != nil || Big("1", 5, 0) != nil {
		t.Error("a glyph of no size was drawn")
	}
}

func FuzzRuler(f *testing.F) {
	f.Add(0.5, 0.2, 0.9, 0.5, 40)
	f.Fuzz(func(t *testing.T, p, lo, hi, limit float64, w int) {
		r := Ruler{0.1, 5, w % 300}
		if n := len(r.Line(p, lo, hi, limit)); n != max(0, r.W) {
			t.Errorf("%d cells on a ruler of %d", n, r.W)
		}
	})
}

func BenchmarkTrace(b *testing.B) {
	cs := NewColumns(2400, 0.025)
	for k := range 100000 {
		cs.Add(float64(k)*0.01, math.Sin(float64(k)/1000))
	}
	c := NewCanvas(160, 50)
	b.ReportAllocs()
	for b.Loop() {
		c.Clear()
		c.Band(0, 20)
		c.Trace(cs, 0, 1000, -1, 1)
	}
}
