//go:build linux

package sensor

import (
	"bufio"
	"context"
	"errors"
	"io"
	"math"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"ebbline/decay"
	"ebbline/sensor/wire"
)

// peerScript serves Modbus RTU as unit 7 with an implementation that is not
// ours: holding registers and input registers differ by 1 in the raw value.
const peerScript = `
import asyncio, struct, sys
from pymodbus.datastore import ModbusSequentialDataBlock, ModbusServerContext, ModbusSlaveContext
from pymodbus.server.async_io import StartAsyncSerialServer
from pymodbus.transaction import ModbusRtuFramer

def words(fmt, v):
    b = struct.pack(">" + fmt, v)
    return [b[i] << 8 | b[i + 1] for i in range(0, len(b), 2)]

def table(extra):
    r = [0] * 100
    r[0:2] = words("f", 1.01325 + extra)
    r[2:4] = words("f", 1.01325 + extra)[::-1]
    r[4:5] = words("h", -1234 + extra)
    r[5:6] = words("H", 51234 + extra)
    r[6:8] = words("i", -123456 + extra)
    r[8:10] = words("i", -123456 + extra)[::-1]
    r[10:12] = words("I", 4000000000 + extra)
    r[12:14] = words("I", 4000000000 + extra)[::-1]
    return ModbusSequentialDataBlock(0, r)

async def main():
    unit = ModbusSlaveContext(hr=table(0), ir=table(1), zero_mode=True)
    context = ModbusServerContext(slaves={7: unit}, single=False)
    print("ready", flush=True)
    await StartAsyncSerialServer(context=context, framer=ModbusRtuFramer, port=sys.argv[1],
        baudrate=115200, timeout=0.05, ignore_missing_slaves=True)
    while True:
        await asyncio.sleep(3600)

asyncio.run(main())
`

// tie joins two pseudo-terminals with socat and returns their names.
func tie(t testing.TB) (a, b string) {
	t.Helper()
	dir := t.TempDir()
	a, b = filepath.Join(dir, "a"), filepath.Join(dir, "b")
	cmd := exec.Command("socat", "-d", "-d", "pty,raw,echo=0,link="+a, "pty,raw,echo=0,link="+b)
	told, err := cmd.StderrPipe()
	if err != nil {
		t.Fatal(err)
	}
	start(t, cmd)
	awaitLine(t, told, "starting data transfer loop")
	return a, b
}

func start(t testing.TB, cmd *exec.Cmd) {
	t.Helper()
	if err := cmd.Start(); err != nil {
		t.Fatalf("%v (install socat, python3-pymodbus, python3-serial and python3-serial-asyncio)", err)
	}
	t.Cleanup(func() { cmd.Process.Kill(); cmd.Wait() })
}

// awaitLine reads until a line holds the text, and then lets the rest go.
func awaitLine(t testing.TB, r io.Reader, text string) {
	t.Helper()
	var said strings.Builder
	for in := bufio.NewScanner(r); in.Scan(); {
		said.WriteString(in.Text() + "\n")
		if strings.Contains(in.Text(), text) {
			go io.Copy(io.Discard, r)
			return
		}
	}
	t.Fatalf("never said %q, but: %s", text, said.String())
}

// peer starts the server and returns the name of the port to ask it on. On a
// developer's machine without the server's module the test is skipped; in CI
// it fails.
func peer(t testing.TB) string {
	t.Helper()
	const python = "/usr/bin/python3" // Debian's: the modules are its packages
	if err := exec.Command(python, "-c", "import pymodbus, serial, serial_asyncio").Run(); err != nil {
		if os.Getenv("CI") == "" {
			t.Skip("needs python3-pymodbus, python3-serial and python3-serial-asyncio")
		}
		t.Fatal("python3-pymodbus, python3-serial or python3-serial-asyncio is missing:", err)
	}
	a, b := tie(t)
	cmd := exec.Command(python, "-c", peerScript, b)
	cmd.Stderr = os.Stderr
	told, err := cmd.StdoutPipe()
	if err != nil {
		t.Fatal(err)
	}
	start(t, cmd)
	awaitLine(t, told, "ready")
	return a
}

// until waits for an item, for a poll may come before the server listens.
func until(t *testing.T, s Source, want func(Item) bool) Item {
	t.Helper()
	ctx, cancel := context.WithTimeout(context.Background(), 30*time.Second)
	defer cancel()
	for {
		it, err := s.Next(ctx)
		if err != nil {
			t.Fatal(err)
		}
		if want(it) {
			return it
		}
	}
}

func TestModbusAgainstAnotherImplementation(t *testing.T) {
	name := peer(t)
	for _, c := range []struct {
		at   string
		want float64 // Pa
	}{
		{"function=3 register=0 type=float32 order=big unit=bar", 101325},
		{"function=3 register=2 type=float32 order=little unit=bar", 101325},
		{"function=4 register=0 type=float32 order=big unit=bar", 201325},
		{"function=4 register=2 type=float32 order=little unit=bar", 201325},
		{"function=3 register=4 type=int16 unit=mbar scale=0.1", -12340},
		{"function=4 register=4 type=int16 unit=mbar scale=0.1", -12330},
		{"function=3 register=5 type=uint16 unit=Pa scale=2 offset=100", 102568},
		{"function=3 register=6 type=int32 order=big unit=Pa", -123456},
		{"function=3 register=8 type=int32 order=little unit=Pa", -123456},
		{"function=4 register=10 type=uint32 order=big unit=Pa scale=0.0001", 400000.0001},
		{"function=3 register=12 type=uint32 order=little unit=Pa scale=0.0001", 400000},
	} {
		m, err := wire.ParseModbusMap("address=7 rate=100 reference=absolute " + c.at)
		if err != nil {
			t.Fatal(err)
		}
		s, err := Open(PortOptions{Name: name, Baud: 115200, Reads: decay.ReadsAbsolute, Modbus: &m})
		if err != nil {
			t.Fatal(err)
		}
		it := until(t, s, func(it Item) bool { return it.Fault == nil })
		// A float32 holds 1.01325 to 6e-8.
		if got := float64(it.P); math.Abs(got-c.want) > 1e-7*math.Abs(c.want)+1e-9 {
			t.Errorf("%s: read %.9g Pa, want %.9g", c.at, got, c.want)
		}
		if err := s.Close(); err != nil {
			t.Error(err)
		}
	}

	m, err := wire.ParseModbusMap("address=7 register=500 unit=bar rate=100")
	if err != nil {
		t.Fatal(err)
	}
	s := open(t, PortOptions{Name: name, Baud: 115200, Modbus: &m})
	it := until(t, s, func(it Item) bool { return it.Fault != nil })
	if f := it.Fault; f.Code != FaultRefused || !strings.Contains(f.Text, "illegal data address") || f.Hint == "" || f.State != Begins {
		t.Errorf("a register that is not there: %+v", f)
	}
	s.Close()

	m.Address, m.Register, m.Timeout = 9, 0, 50*time.Millisecond
	s = open(t, PortOptions{Name: name, Baud: 115200, Modbus: &m})
	it = until(t, s, func(it Item) bool { return it.Fault != nil })
	if f := it.Fault; f.Code != FaultSilent || !strings.Contains(f.Text, "transmitter 9") || !strings.Contains(f.Hint, "address") {
		t.Errorf("nobody at the address: %+v", f)
	}
	s.Close()
	if _, err := s.Next(context.Background()); !errors.Is(err, ErrClosed) {
		t.Errorf("after Close: %v", err)
	}
}
