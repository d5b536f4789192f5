// Package rig is a simulated test rig: regulator, supply valve, duct with a
// leak, wall that exchanges heat with the air, vent, and a cheap transducer on
// a board. It serves as a [sensor.Source], or on a pseudo-terminal as a board
// would.
package rig

import (
	"errors"
	"fmt"
	"math"
	"math/rand/v2"
	"slices"
	"time"

	"ebbline/decay"
)

// Config describes a rig. Default gives every field an ordinary value.
type Config struct {
	Volume      decay.Volume
	Hole        decay.Length // equivalent hole of the leak, Cd 0.62; 0: tight
	Seep        float64      // kg/(s·Pa²): a laminar leak, ṁ = Seep·(p² − pa²)
	Ambient     decay.Pressure
	Temperature decay.Temperature // of ambient, wall and supply
	Supply      decay.Gauge       // what the regulator is set to
	FeedBore    decay.Length      // of the supply valve, ideal nozzle
	VentBore    decay.Length      // of the vent, ideal nozzle
	WallTau     time.Duration     // time constant of the air's settling, at the supply pressure
	Noise       decay.Gauge       // of a reading, rms
	Bits        int               // of the converter over FullScale; 0: no steps
	Absolute    bool              // the transducer reads against vacuum, not against ambient
	FullScale   float64           // Pa in the transducer's own reference, which shows no more than that
	ZeroError   decay.Gauge
	Rate        float64 // readings a second
	Seed        uint64  // of the noise and of the faults

	Format     string             // of the lines, a name of Formats; "": DefaultFormat
	Unit       decay.PressureUnit // that the board prints; the zero value: psi
	ClockStart uint32             // of the board's clock, in its own milliseconds or microseconds
	ModbusUnit byte               // the slave's address; 0: DefaultModbusUnit
	Plans      []Plan             // faults that come by themselves
}

// Default is a duct of 10 L with a hole of 1 mm, filled to 25 psi gauge.
func Default() Config {
	return Config{
		Volume: 10 * decay.Litre, Hole: 1 * decay.Millimetre, Ambient: decay.DefaultAmbient,
		Temperature: decay.DefaultTemperature, Supply: 25 * decay.PSI, FeedBore: 4 * decay.Millimetre,
		VentBore: 8 * decay.Millimetre, WallTau: 6 * time.Second, Noise: 60, Bits: 12,
		FullScale: 50 * decay.PSI, Rate: 50, Seed: 1,
	}
}

// Validate says what of c no rig can be.
func (c Config) Validate() error {
	switch {
	case !(c.Volume >= 1e-5 && c.Volume <= 10):
		return fmt.Errorf("a simulated volume is 0.01 to 10000 L, not %g L", float64(c.Volume)/decay.Litre)
	case !(c.Hole >= 0 && c.Hole <= 50*decay.Millimetre):
		return fmt.Errorf("a simulated hole is 0 to 50 mm, not %g mm", float64(c.Hole)/decay.Millimetre)
	case !(c.Supply > 0 && c.Supply <= 10*decay.Bar):
		return fmt.Errorf("a simulated supply is above 0 and at most 10 bar gauge, not %g bar", float64(c.Supply)/decay.Bar)
	case !(c.Rate >= 0.1 && c.Rate <= 5000):
		return fmt.Errorf("a simulated board sends 0.1 to 5000 readings a second, not %g", c.Rate)
	case !(c.Noise >= 0 && c.Noise <= 1e5):
		return errors.New("the noise of a simulated sensor is 0 to 1 bar")
	case c.Bits < 0 || c.Bits > 24:
		return fmt.Errorf("a simulated converter has up to 24 bits, not %d", c.Bits)
	case !(c.Ambient > 2e4 && c.Ambient < 2e5):
		return fmt.Errorf("a simulated ambient is 20 to 200 kPa absolute, not %g kPa", float64(c.Ambient)/decay.Kilopascal)
	case !(c.Temperature > 200 && c.Temperature < 400):
		return fmt.Errorf("a simulated temperature is -73 to 126 °C, not %g °C", float64(c.Temperature)-decay.ZeroCelsius)
	case !(c.FullScale > 0 && c.FullScale <= 1000*decay.Bar):
		return fmt.Errorf("the full scale of a simulated sensor is above 0 and at most 1000 bar, not %g bar", c.FullScale/decay.Bar)
	case !(math.Abs(float64(c.ZeroError)) <= 1e6):
		return fmt.Errorf("the zero error of a simulated sensor is at most 10 bar, not %g bar", float64(c.ZeroError)/decay.Bar)
	case !(c.FeedBore > 0 && c.FeedBore <= 50*decay.Millimetre) || !(c.VentBore > 0 && c.VentBore <= 50*decay.Millimetre):
		return fmt.Errorf("the bores of simulated valves are above 0 and at most 50 mm, not %g and %g mm",
			float64(c.FeedBore)/decay.Millimetre, float64(c.VentBore)/decay.Millimetre)
	case c.WallTau < time.Millisecond:
		return fmt.Errorf("the settling time of a simulated rig is at least 1 ms, not %v", c.WallTau)
	case !(c.Seep >= 0):
		return fmt.Errorf("the seep of a simulated rig is 0 or more, not %g kg/(s·Pa²)", c.Seep)
	case !(c.quickest() <= maxRate):
		return fmt.Errorf("%g L is too small a volume for its simulated leak, supply and vent: it would change its pressure within %.2g ms; give a larger volume or a smaller leak",
			float64(c.Volume)/decay.Litre, 1e3/c.quickest())
	case c.Unit != decay.PressureUnit{} && !known(c.Unit):
		return fmt.Errorf("a simulated board cannot print pressures in %q", c.Unit.Name)
	case c.ModbusUnit > 247:
		return fmt.Errorf("a Modbus slave has an address of 1 to 247, not %d", c.ModbusUnit)
	}
	for _, p := range c.Plans {
		if p.Fault >= faultCount || p.At < 0 || p.For < 0 {
			return fmt.Errorf("%v at %v for %v is no fault that can come", p.Fault, p.At, p.For)
		}
	}
	_, err := findFormat(c.Format)
	return err
}

func known(u decay.PressureUnit) bool { return slices.Contains(decay.PressureUnits, u) }

// Heat capacities of air, J/(kg·K).
const (
	cv = decay.RAir / (decay.Gamma - 1)
	cp = decay.Gamma * cv
)

const (
	maxStep = 0.002  // of the integration, s
	maxRate = 1500.0 // 1/s: bounds the work in a simulated second
)

// quickest bounds from above the rate, 1/s, at which flow changes the pressure
// with everything open.
func (c Config) quickest() float64 {
	rt := decay.RAir * float64(c.Temperature)
	open := decay.DefaultCd*decay.CircleArea(c.Hole) + decay.CircleArea(c.FeedBore) + decay.CircleArea(c.VentBore)
	seep := 2 * c.Seep * float64(c.Supply.Absolute(c.Ambient)) * rt
	return (float64(open)*math.Sqrt(rt) + seep) / float64(c.Volume)
}

// stepFor is a step, s, that stays stable: half the wall's time constant
// in the thinnest air, and short against the flow, whose slope near equal
// pressures has no bound, so that the chatter there is below the noise.
func (c Config) stepFor() float64 {
	thin := float64(c.Ambient / c.Supply.Absolute(c.Ambient))
	return min(maxStep, 0.01/c.quickest(), thin*c.WallTau.Seconds()/2)
}

// wallHeat is the heat that passes between air and wall, W/K.
func (c Config) wallHeat() float64 {
	full := float64(c.Supply.Absolute(c.Ambient)) * float64(c.Volume) / (decay.RAir * float64(c.Temperature))
	return full * cv / c.WallTau.Seconds()
}

// Rig is the simulated air and valves. It keeps no clock: Advance says how
// much time has gone by. It is not safe for concurrent use.
type Rig struct {
	cfg          Config
	m, t         float64 // air in the duct: kg, K
	supply, vent bool    // open
	told         bool    // that the supply valve was shut, and the duct with it; or there is nothing to tell
	hA           float64 // W/K
	step         float64 // of the integration, s
	rng          *rand.Rand
}

// New returns a rig at ambient with both valves shut. The configuration must
// be valid.
func New(c Config) *Rig {
	r := &Rig{cfg: c, t: float64(c.Temperature), told: true, rng: rand.New(rand.NewPCG(c.Seed, 0x656262))}
	r.m = float64(c.Ambient) * float64(c.Volume) / (decay.RAir * r.t)
	r.hA = c.wallHeat()
	r.step = c.stepFor()
	return r
}

// Fill opens the supply valve and shuts the vent.
func (r *Rig) Fill() { r.supply, r.vent, r.told = true, false, true }

// Isolate shuts both valves.
func (r *Rig) Isolate() {
	r.told = r.told && !r.supply
	r.supply, r.vent = false, false
}

// Release shuts the supply valve and opens the vent.
func (r *Rig) Release() { r.supply, r.vent, r.told = false, true, true }

// shut reports, once, that the supply valve was shut to isolate the duct.
func (r *Rig) shut() bool {
	shut := !r.told
	r.told = true
	return shut
}

// Pressure is the true pressure in the duct.
func (r *Rig) Pressure() decay.Pressure {
	return decay.Pressure(r.m * decay.RAir * r.t / float64(r.cfg.Volume))
}

// Temperature is that of the air in the duct.
func (r *Rig) Temperature() decay.Temperature { return decay.Temperature(r.t) }

// rates are dm/dt and dT/dt: the leak and the vent carry out the duct's air,
// the supply brings in air at ambient temperature with its enthalpy, and the
// wall exchanges heat.
//
//	m·cv·dT/dt = hA·(Tw − T) − ṁ_out·R·T + ṁ_in·(cp·Tw − cv·T)
func (r *Rig) rates(m, t float64) (dm, dt float64) {
	c := r.cfg
	p := decay.Pressure(m * decay.RAir * t / float64(c.Volume))
	tw := float64(c.Temperature)
	hole := decay.Area(float64(decay.CircleArea(c.Hole)) * decay.DefaultCd)
	out := float64(decay.NozzleFlow(hole, p, decay.Temperature(t), c.Ambient))
	if p > c.Ambient {
		out += c.Seep * float64(p*p-c.Ambient*c.Ambient)
	}
	if r.vent {
		out += float64(decay.NozzleFlow(decay.CircleArea(c.VentBore), p, decay.Temperature(t), c.Ambient))
	}
	in := 0.0
	if r.supply {
		in = float64(decay.NozzleFlow(decay.CircleArea(c.FeedBore), c.Supply.Absolute(c.Ambient), c.Temperature, p))
	}
	heat := r.hA*(tw-t) - out*decay.RAir*t + in*(cp*tw-cv*t)
	return in - out, heat / (m * cv)
}

// Advance lets time go by, by Runge–Kutta steps of fourth order.
func (r *Rig) Advance(d time.Duration) {
	left := d.Seconds()
	steps := int(math.Ceil(left / r.step))
	h := left / math.Max(float64(steps), 1)
	for range steps {
		m1, t1 := r.rates(r.m, r.t)
		m2, t2 := r.rates(r.m+h/2*m1, r.t+h/2*t1)
		m3, t3 := r.rates(r.m+h/2*m2, r.t+h/2*t2)
		m4, t4 := r.rates(r.m+h*m3, r.t+h*t3)
		r.m += h / 6 * (m1 + 2*m2 + 2*m3 + m4)
		r.t += h / 6 * (t1 + 2*t2 + 2*t3 + t4)
	}
}
