//go:build !darwin || cgo

package sensor

import (
	"fmt"

	"go.bug.st/serial"
	"go.bug.st/serial/enumerator"
)

// ListPorts lists the serial ports of this machine, with the USB description
// where the system has one.
func ListPorts() ([]PortInfo, error) {
	if details, err := enumerator.GetDetailedPortsList(); err == nil {
		out := make([]PortInfo, 0, len(details))
		for _, d := range details {
			p := PortInfo{Name: d.Name}
			if d.IsUSB {
				p.VID, p.PID, p.Serial = d.VID, d.PID, d.SerialNumber
				p.Detail = fmt.Sprintf("USB %s:%s", d.VID, d.PID)
				if d.Product != "" {
					p.Detail += " " + d.Product
				}
				if d.SerialNumber != "" {
					p.Detail += ", serial " + d.SerialNumber
				}
			}
			out = append(out, p)
		}
		return out, nil
	}
	return plainPorts(serial.GetPortsList())
}
