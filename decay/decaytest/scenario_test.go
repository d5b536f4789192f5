package decaytest

import (
	"fmt"
	"math"
	"math/rand/v2"
	"os"
	"strings"
	"testing"
	"time"

	"ebbline/decay"
	"ebbline/decay/record"
)

// The scenario under testdata/scenario: an invented engine of 1.2 L whose duct
// has a hole of 4.5 mm, and a second cause that costs 25 hPa at any speed. The
// complaint comes from the engine's balance of air, written here a second time
// over the Mach number; the hold before the repair has the same hole, the one
// after it a hole of 0.1 mm.
const (
	scenarioHole   = 4.5 // mm, Cd 0.62
	scenarioSecond = 2500.0
	scenarioAir    = 98600.0 // ambient, Pa
	scenarioDuct   = 6e-3
)

// leftOf is the charge pressure of an engine of 1.2 L with the hole: the supply
// of air is that for the requested pressure, engine and leak share it.
func leftOf(requested, rpm float64) float64 {
	const displacement, filling, charge = 1.2e-3, 0.9, 318.15
	volume := displacement * filling * rpm / 120 // m³/s
	lo, hi := scenarioAir, requested
	for range 80 {
		p := (lo + hi) / 2
		engine := p * volume / (gasR * charge)
		leak := HoleArea(scenarioHole) * p / math.Sqrt(gasR*charge) * machFlow(p, scenarioAir)
		if engine+leak > requested*volume/(gasR*charge) {
			hi = p
		} else {
			lo = p
		}
	}
	return lo
}

func scenarioComplaint() string {
	rng := rand.New(rand.NewPCG(45, 12))
	var b strings.Builder
	b.WriteString("# Invented: an engine of 1.2 L with a hole of 4.5 mm in its duct and a second, small cause. No measurement.\n")
	b.WriteString("# Licence: as this repository. Made by decay/decaytest.\n")
	b.WriteString("Drehzahl (1/min);p soll [hPa];p ist [hPa];Luftdruck [hPa];Last [%]\n")
	row := func(rpm, requested, actual, load float64) {
		n := func(v float64, dec int) string {
			return strings.Replace(fmt.Sprintf("%.*f", dec, v), ".", ",", 1)
		}
		fmt.Fprintf(&b, "%s;%s;%s;%s;%s\n", n(rpm, 0), n(requested/100, 0), n((actual+rng.NormFloat64()*600)/100, 1), n(scenarioAir/100, 0), n(load, 0))
	}
	for range 3 {
		row(0, scenarioAir, scenarioAir, 0)
	}
	for range 4 {
		row(820+10*rng.NormFloat64(), scenarioAir+500, scenarioAir+800, 14)
	}
	b.WriteString(";;;;\n") // the logger stopped for a moment
	for rpm := 1500.0; rpm <= 4500; rpm += 60 {
		requested := 215000.0
		if rpm < 1800 {
			requested = 185000 + (rpm-1500)*100
		}
		actual := leftOf(requested, rpm) - scenarioSecond
		switch {
		case rpm > 2000 && rpm < 2050:
			b.WriteString("2040;2150;----;986;98\n")
		case rpm > 3000 && rpm < 3050:
			row(rpm, requested, actual+40000, 35) // the foot came off
		default:
			row(rpm, requested, actual, 96)
		}
	}
	return b.String()
}

func scenarioRecord(label string, hole float64, when time.Time, seed uint64) (string, error) {
	tr := Make(Rig{
		Volume: scenarioDuct, Area: HoleArea(hole), Tau: 6, IdleSeconds: 3, FillSeconds: 8, HoldSeconds: 30,
		Supply: 20 * decay.PSI, Ambient: scenarioAir, Rate: 50, Noise: 40, Seed: seed,
	})
	set := tr.Setup
	set.Volume, set.VolumeTolerance, set.Of = scenarioDuct, 0.03, decay.PartManifold
	rec := record.Record{
		Label: label, Source: "made by decay/decaytest", When: when, Program: "ebbline decaytest", Simulated: true,
		Setup: set, Samples: tr.Samples, Result: decay.Analyse(set, tr.Samples),
	}
	var b strings.Builder
	err := record.Write(&b, rec)
	return b.String(), err
}

// The scenario is what the generator makes, and its holds find the holes that
// were drilled: refresh it with go test ./decay/decaytest -run Scenario -update.
func TestScenario(t *testing.T) {
	when := time.Date(2026, 5, 4, 9, 30, 0, 0, time.UTC)
	before, err := scenarioRecord("before the repair", scenarioHole, when, 4501)
	if err != nil {
		t.Fatal(err)
	}
	after, err := scenarioRecord("after the repair", 0.1, when.Add(2*time.Hour), 4502)
	if err != nil {
		t.Fatal(err)
	}
	for name, text := range map[string]string{"complaint.csv": scenarioComplaint(), "before.ebbline": before, "after.ebbline": after} {
		path := "../../testdata/scenario/" + name
		if *update {
			if err := os.WriteFile(path, []byte(text), 0o644); err != nil {
				t.Fatal(err)
			}
		}
		got, err := os.ReadFile(path)
		if err != nil {
			t.Fatal(err)
		}
		if !strings.HasSuffix(name, ".ebbline") {
			if string(got) != text {
				t.Errorf("%s is not what the generator makes; refresh it with -update", name)
			}
			continue
		}
		// A record's derived lines may change with the estimator; its readings may not.
		a, errA := record.Read(strings.NewReader(string(got)))
		b, errB := record.Read(strings.NewReader(text))
		if errA != nil || errB != nil {
			t.Fatal(errA, errB)
		}
		if len(a.Samples) != len(b.Samples) || a.Setup != b.Setup {
			t.Fatalf("%s is not what the generator makes; refresh it with -update", name)
		}
		for i := range a.Samples {
			if a.Samples[i] != b.Samples[i] {
				t.Fatalf("%s: reading %d differs; refresh it with -update", name, i)
			}
		}
		want := scenarioHole
		if name == "after.ebbline" {
			want = 0.1
		}
		r := decay.Analyse(a.Setup, a.Samples)
		if r.Hole.Low > want*1e-3 || r.Hole.High < want*1e-3 {
			t.Errorf("%s: %v, hole %.3f to %.3f mm, true %.2f mm", name, r.Outcome, r.Hole.Low*1e3, r.Hole.High*1e3, want)
		}
	}
}
