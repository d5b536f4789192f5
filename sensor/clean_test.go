package sensor_test

import (
	"fmt"
	"testing"
	"time"

	"ebbline/decay"
	"ebbline/sensor"
	"ebbline/sensor/rig"
)

// A sound transducer on a duct that is filled, held and let out gives no fault,
// whatever its rate, converter and noise.
func TestCleanTracesGiveNoFault(t *testing.T) {
	type duct struct {
		name   string
		volume decay.Volume
		hole   decay.Length
		feed   decay.Length
	}
	ducts := []duct{
		{"leaking", 10 * decay.Litre, 1 * decay.Millimetre, 4 * decay.Millimetre},
		{"tight", 10 * decay.Litre, 0, 4 * decay.Millimetre},
		{"one short hose, filled at once", 0.5 * decay.Litre, 0.3 * decay.Millimetre, 6 * decay.Millimetre},
		{"gross leak", 5 * decay.Litre, 6 * decay.Millimetre, 6 * decay.Millimetre},
	}
	for _, d := range ducts {
		for _, rate := range []float64{5, 50, 1000} {
			for _, bits := range []int{0, 8, 10, 12, 16} {
				for _, noise := range []decay.Gauge{0, 15, 60, 400} {
					if rate > 50 && (d.hole == 0 || bits == 8 || bits == 16 || noise == 15) {
						continue // slow to simulate, and no other than at lower rates
					}
					c := rig.Default()
					c.Volume, c.Hole, c.FeedBore, c.Rate, c.Bits, c.Noise = d.volume, d.hole, d.feed, rate, bits, noise
					c.Seed = uint64(rate) + uint64(bits)*7 + uint64(noise)
					for _, known := range []bool{false, true} {
						if known && rate > 50 {
							continue
						}
						for _, f := range faultsOf(c, known) {
							t.Errorf("%s, %g/s, %d bits, noise %g Pa, full scale known %v: %s %s at %v: %s", d.name, rate, bits, float64(noise), known, f.Code, f.State, f.At, f.Text)
						}
					}
				}
			}
		}
	}
}

// faultsOf runs a rig through a whole test and returns what its watch says.
func faultsOf(c rig.Config, known bool) (out []sensor.Fault) {
	cfg := sensor.HealthConfig{Name: "p"}
	if known {
		cfg.FullScale = float64(c.FullScale)
	}
	h := sensor.NewHealth(cfg)
	r := rig.New(c)
	step := time.Duration(float64(time.Second) / c.Rate)
	for at := time.Duration(0); at < 30*time.Second; at += step {
		switch {
		case at < 5*time.Second:
		case at < 10*time.Second:
			r.Fill()
		case at < 24*time.Second:
			r.Isolate()
		default:
			r.Release()
		}
		r.Advance(step)
		// Boards print so many digits.
		p := decay.Gauge(float64(int(float64(r.Read())/decay.PSI*1000+0.5)) / 1000 * decay.PSI)
		out = append(out, h.Add(at, p.Absolute(decay.DefaultAmbient))...)
	}
	return out
}

func ExampleHealth() {
	h := sensor.NewHealth(sensor.HealthConfig{Name: "/dev/ttyUSB0", Reads: decay.ReadsAbsolute})
	for i := range 100 {
		for _, f := range h.Add(time.Duration(i)*20*time.Millisecond, decay.Pressure(i%3)) {
			fmt.Println(f.Name(), f.State)
		}
	}
	// Output: gauge or absolute begins
}
