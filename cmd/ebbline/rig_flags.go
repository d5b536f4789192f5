package main

import (
	"time"

	"ebbline/decay"
	"ebbline/sensor"
	"ebbline/sensor/rig"

	"github.com/spf13/pflag"
)

// rigFlags describe the simulated rig.
type rigFlags struct {
	hole, seep, supply, feedBore, noise string
	rate                                float64
	fs                                  *pflag.FlagSet
}

func (f *rigFlags) add(fs *pflag.FlagSet) {
	f.fs = fs
	fs.StringVar(&f.hole, "hole", "1mm", "simulated rig: equivalent hole of its leak, or 0 for a tight duct")
	fs.StringVar(&f.seep, "seep", "0", "simulated rig: leak through fine paths, as the hole that passes as much at the supply pressure")
	fs.StringVar(&f.feedBore, "feed-bore", "4mm", "simulated rig: bore of the supply valve; a wide one fills quickly, and the air settles longer")
	fs.StringVar(&f.supply, "supply", "25psi", "simulated rig: what its regulator is set to, gauge")
	fs.StringVar(&f.noise, "noise", "60Pa", "simulated rig: noise of a reading, rms")
	fs.Float64Var(&f.rate, "rate", 50, "simulated rig: readings a second")
}

// given reports whether any of the flags was.
func (f *rigFlags) given() bool {
	for _, name := range []string{"hole", "seep", "feed-bore", "supply", "noise", "rate"} {
		if f.fs != nil && f.fs.Changed(name) {
			return true
		}
	}
	return false
}

// defaults sets what the flags would be when none is given.
func (f *rigFlags) defaults() { f.add(pflag.NewFlagSet("rig", pflag.ContinueOnError)) }

// config is the rig for a set-up: the duct is as large as the set-up says it
// is, and stands in the same air.
func (f *rigFlags) config(set decay.Setup) (rig.Config, error) {
	c := rig.Default()
	var err error
	if c.Hole, err = parseHole(f.hole); err != nil {
		return c, wrong("write a diameter, for example --hole 1mm, or --hole 0 for none", "--hole: %w", err)
	}
	seep, err := parseHole(f.seep)
	if err != nil {
		return c, wrong("write the diameter of the hole that passes as much, for example --seep 0.5mm", "--seep: %w", err)
	}
	if c.FeedBore, err = decay.ParseLength(f.feedBore); err != nil {
		return c, wrong("for example --feed-bore 4mm", "--feed-bore: %w", err)
	}
	if c.Supply, err = decay.ParseGauge(f.supply); err != nil {
		return c, wrong("for example --supply 25psi", "--supply: %w", err)
	}
	if c.Noise, err = decay.ParseGauge(f.noise); err != nil {
		return c, wrong("for example --noise 60Pa", "--noise: %w", err)
	}
	c.Rate = f.rate
	if set.Volume > 0 {
		c.Volume = set.Volume
	}
	if set.FullScale > 0 {
		c.FullScale = set.FullScale
	}
	c.Ambient = set.NominalAmbient()
	c.Temperature = set.WithDefaults().AmbientTemperature
	c.Seep = c.SeepLike(seep)
	if err := c.Validate(); err != nil {
		return c, wrong("see --help for the flags of the simulated rig", "%w", err)
	}
	return c, nil
}

// parseHole reads a diameter, or 0 for no hole.
func parseHole(text string) (decay.Length, error) {
	if text == "0" {
		return 0, nil
	}
	return decay.ParseLength(text)
}

// source starts the rig, working its own valves until somebody does, and tells
// the set-up what the rig knows of itself. With long it holds until the
// hand that lets the air out.
func (f *rigFlags) source(set *decay.Setup, long bool) (sensor.Source, sensor.Controls, error) {
	if set.Reads == decay.ReadsAbsolute {
		return nil, nil, wrong("leave out --reads for the simulated rig", "the simulated rig has a gauge sensor")
	}
	c, err := f.config(*set)
	if err != nil {
		return nil, nil, err
	}
	set.Volume = c.Volume
	set.FullScale = c.FullScale
	set.Ambient = c.Ambient
	script := rig.DefaultScript()
	if long {
		script.Hold = time.Hour
	}
	src := rig.NewSource(c, &script)
	return src, src, nil
}
