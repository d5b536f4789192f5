package sensor

import (
	"bytes"
	"context"
	"errors"
	"fmt"
	"io"
	"slices"
	"strings"
	"sync"
	"testing"
	"testing/synctest"
	"time"

	"ebbline/decay"
)

// fakeDevice is a device in a bubble of fake time: reads wait as a port's do.
type fakeDevice struct {
	data chan []byte
	gone chan struct{}
	once sync.Once
}

func newFakeDevice() *fakeDevice {
	return &fakeDevice{data: make(chan []byte, 1024), gone: make(chan struct{})}
}

func (d *fakeDevice) Read(b []byte) (int, error) {
	t := time.NewTimer(readTimeout)
	defer t.Stop()
	select {
	case x := <-d.data:
		return copy(b, x), nil
	case <-d.gone:
		return 0, io.ErrUnexpectedEOF
	case <-t.C:
		return 0, nil
	}
}
func (d *fakeDevice) Write(b []byte) (int, error)        { return len(b), nil }
func (d *fakeDevice) SetReadTimeout(time.Duration) error { return nil }
func (d *fakeDevice) ResetInputBuffer() error            { return nil }
func (d *fakeDevice) ResetOutputBuffer() error           { return nil }
func (d *fakeDevice) Close() error                       { d.unplug(); return nil }
func (d *fakeDevice) unplug()                            { d.once.Do(func() { close(d.gone) }) }
func (d *fakeDevice) send(format string, args ...any)    { d.data <- fmt.Appendf(nil, format, args...) }

// shelf is where fake devices are plugged in.
type shelf struct {
	mu    sync.Mutex
	there map[string]*fakeDevice
	list  []PortInfo
}

func (s *shelf) open(name string) (device, error) {
	s.mu.Lock()
	defer s.mu.Unlock()
	if d, ok := s.there[name]; ok {
		return d, nil
	}
	return nil, errors.New("there is none")
}

func (s *shelf) plug(info PortInfo) *fakeDevice {
	s.mu.Lock()
	defer s.mu.Unlock()
	d := newFakeDevice()
	s.there = map[string]*fakeDevice{info.Name: d}
	s.list = []PortInfo{info}
	return d
}

func (s *shelf) unplug() {
	s.mu.Lock()
	defer s.mu.Unlock()
	for _, d := range s.there {
		d.unplug()
	}
	s.there, s.list = nil, nil
}

// fakePort opens a port on a shelf.
func fakePort(t *testing.T, s *shelf, name string) *port {
	t.Helper()
	p := newPort(PortOptions{Name: name, Baud: DefaultBaud, Ambient: decay.DefaultAmbient}, "psi")
	p.open, p.links = s.open, t.TempDir()
	p.list = func() ([]PortInfo, error) {
		s.mu.Lock()
		defer s.mu.Unlock()
		return slices.Clone(s.list), nil
	}
	d, err := s.open(name)
	if err != nil {
		t.Fatal(err)
	}
	p.start(d)
	return p
}

// faultsIn takes what has come, and returns the faults as "code state".
func faultsIn(p *Pump) (out []string, readings int) {
	for _, it := range p.Drain(nil) {
		if it.Fault != nil {
			out = append(out, it.Fault.Code+" "+it.Fault.State.String())
		} else {
			readings++
		}
	}
	return out, readings
}

func TestSilenceBeginsAndEnds(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		var s shelf
		d := s.plug(PortInfo{Name: "a"})
		p := NewPump(fakePort(t, &s, "a"), nil)
		defer p.Stop()
		for range 20 {
			d.send("10 psi\n")
			time.Sleep(100 * time.Millisecond)
		}
		if f, n := faultsIn(p); len(f) != 0 || n != 20 {
			t.Fatalf("%q, %d readings", f, n)
		}
		time.Sleep(silentAfter - 300*time.Millisecond)
		if f, _ := faultsIn(p); len(f) != 0 {
			t.Errorf("silent too early: %q", f)
		}
		time.Sleep(600 * time.Millisecond)
		if f, _ := faultsIn(p); !slices.Equal(f, []string{"silent begins"}) {
			t.Errorf("after %v: %q", silentAfter, f)
		}
		time.Sleep(time.Hour)
		if f, _ := faultsIn(p); len(f) != 0 {
			t.Errorf("told again in an hour: %q", f)
		}
		d.send("10 psi\n")
		time.Sleep(time.Second)
		if f, n := faultsIn(p); !slices.Equal(f, []string{"silent ends"}) || n != 1 {
			t.Errorf("when a reading came: %q, %d readings", f, n)
		}
	})
}

// A board that prints every three seconds is not silent between two lines.
func TestSlowBoardIsNotSilent(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		var s shelf
		d := s.plug(PortInfo{Name: "a"})
		p := NewPump(fakePort(t, &s, "a"), nil)
		defer p.Stop()
		for range 20 {
			d.send("10 psi\n")
			time.Sleep(3 * time.Second)
		}
		faultsIn(p) // the period has to be learned
		for range 20 {
			d.send("10 psi\n")
			time.Sleep(3 * time.Second)
		}
		if f, n := faultsIn(p); len(f) != 0 || n != 20 {
			t.Errorf("%q, %d readings", f, n)
		}
	})
}

// A device is found again under another name by its USB identity, and no
// other device is taken for it.
func TestReplugUnderAnotherName(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		var s shelf
		own := PortInfo{Name: "a", VID: "1a86", PID: "7523", Serial: "17"}
		s.plug(own)
		src := fakePort(t, &s, "a")
		p := NewPump(src, nil)
		defer p.Stop()
		time.Sleep(time.Second)
		for i := range 5 {
			s.unplug()
			time.Sleep(time.Second)
			if f, _ := faultsIn(p); !slices.Equal(f, []string{"unplugged begins"}) {
				t.Fatalf("%d: unplugged: %q", i, f)
			}
			other := own
			other.Serial = "18" // another device, under the same name
			s.plug(other)
			time.Sleep(5 * time.Second)
			if f, _ := faultsIn(p); len(f) != 0 {
				t.Fatalf("%d: another device was taken for it: %q", i, f)
			}
			own.Name = fmt.Sprint("b", i)
			s.plug(own).send("10 psi\n")
			time.Sleep(2*reopenEvery + time.Millisecond)
			if f, n := faultsIn(p); !slices.Equal(f, []string{"unplugged ends", "replugged once"}) || n != 1 {
				t.Fatalf("%d: back: %q, %d readings", i, f, n)
			}
			if got := src.About().Name; got != own.Name {
				t.Errorf("it is called %s", got)
			}
		}
	})
}

func TestCandidates(t *testing.T) {
	usb := func(name, serial string) PortInfo { return PortInfo{Name: name, VID: "1", PID: "2", Serial: serial} }
	for _, c := range []struct {
		name string
		id   identity
		list []PortInfo
		now  []string
		want []string
	}{
		{"same name", identity{name: "a0", info: usb("a0", "x")}, []PortInfo{usb("a0", "x")}, nil, []string{"a0"}},
		{"other name", identity{name: "a0", info: usb("a0", "x")}, []PortInfo{usb("a1", "x")}, nil, []string{"a0", "a1"}},
		{"name taken by another", identity{name: "a0", info: usb("a0", "x")}, []PortInfo{usb("a0", "y"), usb("a1", "x")}, nil, []string{"a1"}},
		{"two without a serial number", identity{name: "a0", info: usb("a0", "")}, []PortInfo{usb("a1", ""), usb("a2", "")}, nil, []string{"a0"}},
		{"by its link", identity{name: "a0", link: "/by-id/x"}, nil, nil, []string{"a0", "/by-id/x"}},
		{"the one that is new", identity{name: "a0", kin: []string{"a0", "a3"}}, nil, []string{"a1", "a3"}, []string{"a0", "a1"}},
		{"two that are new", identity{name: "a0", kin: []string{"a0"}}, nil, []string{"a1", "a2"}, []string{"a0"}},
	} {
		if got := c.id.candidates(c.list, c.now); !slices.Equal(got, c.want) {
			t.Errorf("%s: %q, want %q", c.name, got, c.want)
		}
	}
}

// A drainer that never drains costs the oldest items, and is told how many.
func TestPumpDropsForASlowDrainer(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		seen := 0
		src := &endless{left: maxQueued + 1000}
		p := NewPump(src, func(Item) { seen++ })
		defer p.Stop()
		synctest.Wait()
		items := p.Drain(nil)
		if seen != maxQueued+1000 || len(items)+p.Dropped() != seen || p.Dropped() == 0 || !errors.Is(p.Err(), io.EOF) {
			t.Errorf("recorded %d, drained %d, dropped %d, ended with %v", seen, len(items), p.Dropped(), p.Err())
		}
		if last := items[len(items)-1].At; last != time.Duration(seen) {
			t.Errorf("the latest is %v", last)
		}
	})
}

// A source that panics ends the pump, not the program.
func TestPumpOutlivesAPanic(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		p := NewPump(&endless{left: 3, burst: true}, nil)
		defer p.Stop()
		synctest.Wait()
		if items := p.Drain(nil); len(items) != 3 || p.Err() == nil || errors.Is(p.Err(), io.EOF) {
			t.Errorf("%d items, %v", len(items), p.Err())
		}
	})
}

// endless gives so many readings, then ends or panics.
type endless struct {
	left  int
	at    time.Duration
	burst bool
}

func (e *endless) Next(context.Context) (Item, error) {
	if e.left == 0 {
		if e.burst {
			panic("burst")
		}
		return Item{}, io.EOF
	}
	e.left--
	e.at++
	return Item{Reading: Reading{Sample: decay.Sample{At: e.at}}}, nil
}
func (e *endless) About() About { return About{Name: "endless"} }
func (e *endless) Close() error { return nil }

// Whenever a port is closed, the lines that the capture got are delivered.
func TestWhatCameBeforeCloseIsDelivered(t *testing.T) {
	for range 50 {
		synctest.Test(t, func(t *testing.T) {
			var s shelf
			d := s.plug(PortInfo{Name: "a"})
			port, tapped := fakePort(t, &s, "a"), 0
			p := NewPump(port, nil)
			stopped := make(chan struct{})
			port.opt.Tap = func(_ time.Duration, data []byte) {
				if tapped += bytes.Count(data, []byte("\n")); tapped == 101 {
					go func() { defer close(stopped); p.Stop() }()
				}
			}
			d.send("10 psi\n")
			time.Sleep(time.Second)
			for range 3 {
				d.send("%s", strings.Repeat("10 psi\n", 100))
			}
			<-stopped
			time.Sleep(time.Second) // until the reader has ended
			if f, n := faultsIn(p); n != tapped {
				t.Errorf("%d readings of %d lines, faults %q", n, tapped, f)
			}
		})
	}
}
