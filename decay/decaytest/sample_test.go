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

// samples are the traces under testdata/captures that the README uses.
var samples = map[string]struct {
	about string
	rig   Rig
}{
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
