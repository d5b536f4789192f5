package main

import (
	"ebbline/decay"
	"ebbline/sensor/wire"
)

const modbusUsage = `poll a Modbus RTU transmitter on the port, as "address=1 function=4 register=0 type=float32 order=big unit=bar"; ` +
	`also reference, scale, offset, rate (polls a second), parity, timeout; registers count from 0`

// modbusMap reads --modbus, nil when it is not given. Where the person has not
// said what the sensor reads against, the map's reference goes into the set-up.
func modbusMap(text, port string, set *decay.Setup, open bool) (*wire.ModbusMap, error) {
	if text == "" {
		return nil, nil
	}
	if port == "" {
		return nil, wrong("add --port, for example --port /dev/ttyUSB0", "--modbus polls a transmitter on a port, and no port is named")
	}
	m, err := wire.ParseModbusMap(text)
	if err != nil {
		return nil, wrong(`for example --modbus "address=1 function=4 register=0 type=float32 order=big unit=bar rate=20"; see the transmitter's manual`, "--modbus: %w", err)
	}
	if open {
		switch m.Reference {
		case "absolute":
			set.Reads = decay.ReadsAbsolute
		case "gauge":
			set.Reads = decay.ReadsGauge
		}
	}
	return &m, fits(*set)
}
