package main

import (
	"ebbline/decay"
	"ebbline/sensor"

	"github.com/spf13/pflag"
)

type rigFlags struct{}

func (f *rigFlags) add(*pflag.FlagSet) {}
func (f *rigFlags) given() bool        { return false }
func (f *rigFlags) defaults()          {}
func (f *rigFlags) source(*decay.Setup, bool) (sensor.Source, sensor.Controls, error) {
	return nil, nil, wrong("name the sensor's port with --port; ebbline ports lists them", "no port given")
}
