package report

import (
	"math"
	"strings"
	"testing"
	"time"

	"ebbline/decay"
	"ebbline/decay/record"
)

func TestMarksAreTold(t *testing.T) {
	in := Input{Of: decay.PartHose, Marks: []record.Mark{
		{At: 27 * time.Second, P: 120 * decay.Kilopascal, Rate: -2000, Word: "seam"}, {At: time.Minute, Rate: math.NaN(), Word: "clamp"}}}
	var text, js strings.Builder
	if err := Text(&text, in, decay.PressureUnit{Name: "kPa", Pascal: decay.Kilopascal}); err != nil {
		t.Fatal(err)
	}
	for _, w := range []string{"mark       at 27.0 s, 120.0 kPa gauge, 120 kPa/min lost: seam", "no rate: clamp", "tested     one hose"} {
		if !strings.Contains(text.String(), w) {
			t.Errorf("no %q in\n%s", w, text.String())
		}
	}
	in.Result.Hold.Start = 20 * time.Second
	text.Reset()
	if err := Text(&text, in, decay.PressureUnit{Name: "kPa", Pascal: decay.Kilopascal}); err != nil {
		t.Fatal(err)
	}
	if !strings.Contains(text.String(), "mark       held 0:07, 120.0 kPa gauge") || !strings.Contains(text.String(), "held 0:40, ") {
		t.Errorf("the time is not that of the hold in\n%s", text.String())
	}
	if err := JSON(&js, in); err != nil {
		t.Fatal(err)
	}
	if want := `"marks":[{"t_s":27,"kpa_gauge":120,"loss_kpa_per_min":120,"word":"seam"},{"t_s":60,"kpa_gauge":0,"loss_kpa_per_min":null,"word":"clamp"}]`; !strings.Contains(js.String(), want) {
		t.Errorf("%s", js.String())
	}
}
