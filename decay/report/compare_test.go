package report

import (
	"math"
	"strings"
	"testing"

	"ebbline/decay"
)

func iv(v, half float64) decay.Interval {
	return decay.Interval{Value: v * decay.SquareMM, Low: (v - half) * decay.SquareMM, High: (v + half) * decay.SquareMM, Level: 0.95}
}

func TestRepairWords(t *testing.T) {
	result := func(a decay.Interval, o decay.Outcome) decay.Result {
		return decay.Result{HasFit: true, HasVolume: true, Area: a, Outcome: o}
	}
	for _, c := range []struct {
		before, after decay.Result
		want          string
	}{
		{result(iv(.31, .02), decay.Leaks), result(iv(.01, .01), decay.Holds), "MENDED: 0.798 mm before, 0.143 mm now; less by 0.300 mm² (0.278 to 0.322)"},
		{result(iv(.31, .02), decay.Leaks), result(iv(.2, .02), decay.Leaks), "SMALLER: 0.798"},
		{result(iv(.2, .02), decay.Leaks), result(iv(.31, .02), decay.Leaks), "LARGER than before"},
		{result(iv(.2, .02), decay.Leaks), result(iv(.2, .02), decay.Leaks), "no difference can be told yet"},
	} {
		ch, ok := decay.Compare(c.before, c.after)
		if got := Repair(ch, decay.DefaultCd); !ok || !strings.HasPrefix(got, c.want) {
			t.Errorf("%q, want %q", got, c.want)
		}
	}
	blind := decay.Result{HasFit: true, Rate: decay.Interval{Value: 2, Low: 1.8, High: 2.2, Level: .95}}
	half := blind
	half.Rate = decay.Interval{Value: 1, Low: .9, High: 1.1, Level: .95}
	ch, _ := decay.Compare(blind, half)
	if got := Repair(ch, decay.DefaultCd); !strings.Contains(got, "50 % (43 % to 58 %) of the leak is left") {
		t.Errorf("%q", got)
	}
}

func TestSplitTable(t *testing.T) {
	s := decay.NewSplit(iv(1, .05), []decay.Section{{Name: "upper hose", Area: iv(.1, .03)}, {Name: "cooler", Area: iv(.8, .03)}})
	var b strings.Builder
	if err := Split(&b, s, decay.DefaultCd); err != nil {
		t.Fatal(err)
	}
	for _, w := range []string{"whole", "1.000 mm² (0.950 to 1.050)", "cooler", "80 % (75 % to 85 %)", "not tested", "0.100 mm²", "Most of it is in cooler"} {
		if !strings.Contains(b.String(), w) {
			t.Errorf("the table lacks %q:\n%s", w, b.String())
		}
	}
	for step := decay.SplitWhole; step <= decay.SplitAllDone; step++ {
		if a := SplitAdvice(decay.Split{Next: step}); !strings.HasSuffix(a, ".") {
			t.Errorf("step %d: %q", step, a)
		}
	}
	if l := SplitLines(decay.NewSplit(decay.Interval{}, nil), .62); len(l) != 1 || l[0].Area != "not known" {
		t.Errorf("of nothing: %+v", l)
	}
	open := decay.Interval{Value: .1, Low: .05, High: math.Inf(1)}
	if got := percents(open); got != "10 % (from 5 % up)" {
		t.Errorf("%q", got)
	}
}
