package sensor

// PortInfo names a serial port.
type PortInfo struct {
	Name   string // as the operating system calls it
	Detail string // what is plugged in, where the system tells; else ""

	VID, PID, Serial string // of a USB device, where the system tells; else ""
}

func plainPorts(names []string, err error) ([]PortInfo, error) {
	out := make([]PortInfo, 0, len(names))
	for _, n := range names {
		out = append(out, PortInfo{Name: n})
	}
	return out, err
}
