package decay_test

import (
	"math"
	"testing"

	"ebbline/decay"

	"pgregory.net/rapid"
)

func TestParsePiece(t *testing.T) {
	// Volumes worked out by hand from π/4·d²·L and π/12·L·(d₁²+d₁d₂+d₂²).
	for _, c := range []struct {
		text         string
		litres, half float64
	}{
		{"51x600mm", 1.22569, 0.0261},          // ±0.5 mm and ±5 mm assumed
		{"⌀51 x 600 mm ± 3%", 1.22569, 0.0368}, // 3 % of it
		{"51±1x600±0.001mm", 1.22569, 0.0481},  // 2·1/51 of it
		{"5.1cmx0.6m±3%", 1.22569, 0.0368},
		{"2in×24in±0%", 1.235556, 0}, // 75.398 in³
		{"51-63x200mm±0%", 0.512237, 0},
		{"+1.2L", 1.2, 0.06},
		{"1,2L±10%", 1.2, 0.12},
		{"73in3±1%", 1.196256, 0.01196},
	} {
		p, err := decay.ParsePiece(c.text)
		if err != nil {
			t.Errorf("%s: %v", c.text, err)
			continue
		}
		if math.Abs(float64(p.Volume)/decay.Litre-c.litres) > 2e-5 || math.Abs(float64(p.HalfOf)/decay.Litre-c.half) > 1e-4 {
			t.Errorf("%s: %.6f L ± %.5f, want %.6f ± %.5f", c.text, float64(p.Volume)/decay.Litre, float64(p.HalfOf)/decay.Litre, c.litres, c.half)
		}
	}
	for _, text := range []string{"", "x", "51x", "x600mm", "51x-600mm", "0x600mm", "nan x 3mm", "51x600mm±95%", "1e9x1e9m", "51--63x200mm", "51-x200mm", "51±60x600mm", "L", "-1L", "9x9mm"} {
		if p, err := decay.ParsePiece(text); err == nil {
			t.Errorf("%q was taken as %.3g L", text, float64(p.Volume)/decay.Litre)
		}
	}
}

// A cone lies between the tubes of its two bores, and any text either fails or
// gives a finite volume that is no smaller than its tolerance.
func TestParsePieceProperties(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		text := rapid.OneOf(rapid.String(), rapid.StringMatching(`[0-9.,±x%+-]{1,12}(mm|in|cm|L|%)?`)).Draw(t, "text")
		p, err := decay.ParsePiece(text)
		if err == nil && !(p.Volume > 0 && p.Volume <= 100 && p.HalfOf >= 0 && p.HalfOf <= 3*p.Volume) {
			t.Fatalf("%q gives %v ± %v", text, p.Volume, p.HalfOf)
		}
	})
}

func TestSumOfPieces(t *testing.T) {
	iv := decay.SumOfPieces([]decay.Piece{{Volume: 3, HalfOf: 0.3}, {Volume: 5, HalfOf: 0.4}})
	if want := (decay.Interval{Value: 8, Low: 7.5, High: 8.5, Level: 0.95}); iv != want {
		t.Errorf("%+v, want %+v", iv, want)
	}
}

// TestDuctWithoutUnitIsInMillimetres checks that 51x600 is what it is at a parts
// counter.
func TestDuctWithoutUnitIsInMillimetres(t *testing.T) {
	a, err := decay.ParsePiece("51x600")
	b, err2 := decay.ParsePiece("51x600mm")
	if err != nil || err2 != nil || a.Volume != b.Volume {
		t.Errorf("%v, %v: %g and %g L", err, err2, float64(a.Volume)*1e3, float64(b.Volume)*1e3)
	}
}
