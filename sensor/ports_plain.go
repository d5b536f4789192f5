//go:build darwin && !cgo

package sensor

import "go.bug.st/serial"

// ListPorts lists the serial ports of this machine by name: describing USB
// devices needs cgo on this system, which this build does without.
func ListPorts() ([]PortInfo, error) { return plainPorts(serial.GetPortsList()) }
