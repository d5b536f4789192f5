package main

import (
	"encoding/json"
	"os"
	"path/filepath"
	"strings"
	"testing"
)

type planSaid struct {
	Smallest float64  `json:"smallest_hole_mm"`
	Limit    float64  `json:"limit_mm"`
	ToHold   *float64 `json:"seconds_to_hold"`
	ToLeak   *float64 `json:"seconds_to_leak"`
	Limited  []struct {
		Code string
		Hole float64 `json:"hole_mm"`
	} `json:"limited_by"`
	Changes []struct {
		Code, Flag string
		Smallest   float64 `json:"smallest_hole_mm"`
	}
}

func planOf(t *testing.T, args ...string) planSaid {
	t.Helper()
	status, out, errOut := ebbline(t, "", append([]string{"plan", "--json"}, args...)...)
	if status != 0 {
		t.Fatalf("%v: status %d: %s", args, status, errOut)
	}
	var p planSaid
	if err := json.Unmarshal([]byte(out), &p); err != nil {
		t.Fatalf("%v: %v in %q", args, err, out)
	}
	return p
}

// What plan says a change brings is what it says when the change is made.
func TestPlanChangesAreTrue(t *testing.T) {
	p := planOf(t)
	if p.Smallest < 0.01 || p.Smallest > 1 || p.Limit != 0.5 || p.ToHold == nil || p.ToLeak == nil || len(p.Limited) == 0 {
		t.Fatalf("%+v", p)
	}
	for _, c := range p.Changes {
		q := planOf(t, strings.Fields(c.Flag)...)
		if d := q.Smallest/c.Smallest - 1; d > 2e-3 || d < -2e-3 {
			t.Errorf("%s promises %.4f mm, and gives %.4f mm", c.Flag, c.Smallest, q.Smallest)
		}
	}
	if rigid := planOf(t, "--compliance", "0%"); rigid.Smallest >= p.Smallest || rigid.Limited[0].Code == "rubber" {
		t.Errorf("rigid: %+v", rigid)
	}
	for _, args := range [][]string{{"--full-scale", "100psi"}, {"--noise", "0.05psi"}, {"--bits", "8"}, {"--rate", "5"}, {"--volume", "20L"}, {"--pressure", "8psi"}, {"--seconds", "15"}} {
		if q := planOf(t, args...); q.Smallest <= p.Smallest {
			t.Errorf("%v resolves %.4f mm, better than %.4f mm", args, q.Smallest, p.Smallest)
		}
	}
	for _, args := range [][]string{{"--ambient", "80kPa"}, {"--ambient-temperature", "35C"}} {
		if q := planOf(t, args...); q.Smallest == p.Smallest {
			t.Errorf("%v changes nothing", args)
		}
	}
}

func TestPlanErrors(t *testing.T) {
	for _, c := range []struct {
		args []string
		want []string
	}{
		{[]string{"--pressure", "35psi"}, []string{"above the ceiling of 30.00 psi gauge", "--pressure"}},
		{[]string{"--pressure", "0.01psi"}, []string{"too little"}},
		{[]string{"--pressure", "25"}, []string{"no unit"}},
		{[]string{"--bits", "2"}, []string{"--bits", "10 to 16"}},
		{[]string{"--rate", "0"}, []string{"--rate", "readings per second"}},
		{[]string{"--seconds", "-4"}, []string{"--seconds", "10 to 120"}},
		{[]string{"--rate", "0.1"}, []string{"too few", "hold longer"}},
		{[]string{"--noise", "20psi"}, []string{"no sensor's noise"}},
		{[]string{"--full-scale", "15psi"}, []string{"full scale", "--pressure"}},
		{[]string{"trace.csv"}, []string{"no argument"}},
	} {
		status, out, errOut := ebbline(t, "", append([]string{"plan"}, c.args...)...)
		if status != exitTrouble || out != "" {
			t.Errorf("%v: status %d, output %q", c.args, status, out)
		}
		for _, w := range append(c.want, "ebbline: error: ", "ebbline: hint: ") {
			if !strings.Contains(errOut, w) {
				t.Errorf("%v: no %q in %q", c.args, w, errOut)
			}
		}
	}
}

// The README shows what plan and volume duct print today.
func TestReadmeShowsPlanAndVolume(t *testing.T) {
	b, err := os.ReadFile(filepath.Join(root, "README.md"))
	if err != nil {
		t.Fatal(err)
	}
	for _, args := range [][]string{{"plan"}, {"volume", "duct", "51x600mm", "63x900mm", "51-63x200mm", "+1.2L"}} {
		_, out, _ := ebbline(t, "", args...)
		if out == "" || !strings.Contains(string(b), out) {
			t.Errorf("the README does not show what ebbline %s prints:\n%s", strings.Join(args, " "), out)
		}
	}
}
