package decaytest

import (
	"flag"
	"fmt"
	"os"
	"strings"
	"testing"

	"ebbline/decay"
)

var update = flag.Bool("update", false, "write the sample traces anew")

// jetDuct is a duct of 9.8 L that leaks like a hole of 0.3 mm. A drilled jet of
// 1 mm bore whose Cd is 0.65 adds 0.5105 mm² to it.
var jetDuct = Rig{
	Volume: 9.8e-3, Area: HoleArea(0.3), IdleSeconds: 3, FillSeconds: 6, HoldSeconds: 40,
	ReleaseSeconds: 3, Rate: 20, Noise: 50, Seed: 803,
}

func with(r Rig, area float64, seed uint64) Rig {
	r.Area, r.Seed = r.Area+area, seed
	return r
}

// samples are the traces under testdata/captures that the README uses.
var samples = map[string]struct {
	about string
	rig   Rig
}{
	"jet_without.csv": {"9.8 L that leak like a sharp-edged hole of 0.3 mm, ambient 101.325 kPa", jetDuct},
	"jet_1mm.csv":     {"the same 9.8 L with a jet of 1.0 mm open (Cd 0.65)", with(jetDuct, 0.5105e-6, 804)},
	"bottle_2L.csv": {"8.2 L that leak like a hole of 0.4 mm, a bottle of 2 L opened after 24 s of hold", Rig{
		Volume: 8.2e-3, Area: HoleArea(0.4), IdleSeconds: 3, FillSeconds: 6, HoldSeconds: 50,
		ReleaseSeconds: 3, Rate: 20, Noise: 50, Seed: 805,
	}},
	"known_0p8mm_10L.csv": {"a sharp-edged hole of 0.8 mm (Cd 0.62) in 10 L, ambient 101.325 kPa", Rig{
		Volume: 10e-3, Area: HoleArea(0.8), Tau: 7, IdleSeconds: 3, FillSeconds: 8, HoldSeconds: 40,
		ReleaseSeconds: 4, Rate: 20, Noise: 60, Seed: 801,
	}},
	"known_tight_10L.csv": {"no leak in 10 L, the air cooling after a quick fill, ambient 101.325 kPa", Rig{
		Volume: 10e-3, Tau: 7, IdleSeconds: 3, FillSeconds: 4, FillReach: 0.95, HoldSeconds: 40,
		ReleaseSeconds: 4, Rate: 20, Noise: 60, Seed: 802,
	}},
}

// The sample traces are what the generator makes: refresh them with
// go test ./decay/decaytest -run Sample -update.
func TestSampleTraces(t *testing.T) {
	for name, s := range samples {
		tr := Make(s.rig)
		if strings.HasPrefix(name, "bottle") {
			tr = MakeTap(Tap{Rig: s.rig, Bottle: 2e-3, OpenAfter: 24})
		}
		var b strings.Builder
		fmt.Fprintf(&b, "# Synthetic: %s. Made by decay/decaytest, no measurement.\n", s.about)
		fmt.Fprintf(&b, "# Licence: as this repository. Isolated at %.2f s, released at %.2f s.\ntime_s,pressure_psi\n", tr.IsolatedAt.Seconds(), tr.HoldEnd.Seconds())
		for _, x := range tr.Samples {
			fmt.Fprintf(&b, "%.2f,%.3f\n", x.At.Seconds(), float64(x.P.Gauge(tr.Setup.NominalAmbient()))/decay.PSI)
		}
		path := "../../testdata/captures/" + name
		if *update {
			if err := os.WriteFile(path, []byte(b.String()), 0o644); err != nil {
				t.Fatal(err)
			}
		}
		got, err := os.ReadFile(path)
		if err != nil {
			t.Fatal(err)
		}
		if string(got) != b.String() {
			t.Errorf("%s is not what the generator makes; refresh it with -update", name)
		}
	}
}
