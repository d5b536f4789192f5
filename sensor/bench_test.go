//go:build linux

package sensor

import (
	"context"
	"fmt"
	"os"
	"path/filepath"
	"slices"
	"syscall"
	"testing"
	"time"

	"github.com/creack/pty"

	"ebbline/decay"
)

// The time from the bytes of a reading above the ceiling, written at the far
// end of a pseudo-terminal on which a board speaks at 1 kHz, to the alarm of the
// procedure that the drained reading is given to.
func BenchmarkOverCeilingToAlarm(b *testing.B) {
	master, slave, err := pty.Open()
	if err != nil {
		b.Fatal("no pseudo-terminals here:", err)
	}
	defer master.Close()
	defer slave.Close()
	src, err := Open(PortOptions{Name: slave.Name()})
	if err != nil {
		b.Fatal(err)
	}
	alarms := make(chan time.Time, 1)
	proc := decay.NewProcedure(decay.Setup{})
	p := NewPump(src, func(it Item) {
		if it.Fault != nil {
			return
		}
		for _, e := range proc.Step(decay.Taken{Sample: it.Sample}) {
			if _, ok := e.(decay.CeilingPassed); ok {
				alarms <- time.Now()
			}
		}
	})
	defer p.Stop()
	var took []time.Duration
	tick := time.NewTicker(time.Millisecond)
	defer tick.Stop()
	millis := 0
	say := func(psi float64) time.Time {
		<-tick.C
		millis++
		fmt.Fprintf(master, "%d,%.3f\r\n", millis, psi)
		return time.Now()
	}
	for range 200 {
		say(20)
	}
	for b.Loop() {
		for range 20 {
			say(20)
		}
		sent := say(31)
		for waiting := true; waiting; {
			select {
			case at := <-alarms:
				took = append(took, at.Sub(sent))
				waiting = false
			default:
				say(31)
			}
		}
	}
	slices.Sort(took)
	ms := func(d time.Duration) float64 { return float64(d) / float64(time.Millisecond) }
	b.ReportMetric(ms(took[len(took)/2]), "median-ms")
	b.ReportMetric(ms(took[len(took)-1]), "worst-ms")
}

// The time from a device being back to its being in use again.
func BenchmarkReplug(b *testing.B) {
	name := filepath.Join(b.TempDir(), "board")
	var master, slave *os.File
	plug := func() {
		var err error
		if master, slave, err = pty.Open(); err != nil {
			b.Fatal("no pseudo-terminals here:", err)
		}
		if err := os.Symlink(slave.Name(), name); err != nil {
			b.Fatal(err)
		}
	}
	plug()
	src, err := Open(PortOptions{Name: name})
	if err != nil {
		b.Fatal(err)
	}
	defer src.Close()
	await := func(code string) {
		for {
			it, err := src.Next(context.Background())
			if err != nil {
				b.Fatal(err)
			}
			if it.Fault != nil && it.Fault.Code == code && it.Fault.State != Ends {
				return
			}
		}
	}
	var took []time.Duration
	for b.Loop() {
		os.Remove(name)
		slave.Close()
		master.Close()
		await(FaultUnplugged)
		plug()
		back := time.Now()
		await(FaultReplugged)
		took = append(took, time.Since(back))
	}
	slices.Sort(took)
	b.ReportMetric(float64(len(took)), "replugs")
	b.ReportMetric(took[len(took)-1].Seconds(), "worst-s")
}

// What reading, decoding and watching cost at 1 kHz through a pseudo-terminal:
// the share of a core this process used, the writer's included.
func BenchmarkKilohertz(b *testing.B) {
	master, slave, err := pty.Open()
	if err != nil {
		b.Fatal("no pseudo-terminals here:", err)
	}
	defer master.Close()
	defer slave.Close()
	src, err := Open(PortOptions{Name: slave.Name()})
	if err != nil {
		b.Fatal(err)
	}
	got := 0
	p := NewPump(src, func(it Item) {
		if it.Fault == nil {
			got++
		}
	})
	cpu := func() time.Duration {
		var u syscall.Rusage
		if err := syscall.Getrusage(syscall.RUSAGE_SELF, &u); err != nil {
			b.Fatal(err)
		}
		return time.Duration(u.Utime.Nano() + u.Stime.Nano())
	}
	sent, used, began := 0, cpu(), time.Now()
	var items []Item
	for b.Loop() {
		// Ten lines at once each 10 ms, so that the writer costs little.
		time.Sleep(time.Until(began.Add(time.Duration(sent) * time.Millisecond)))
		var text []byte
		for range 10 {
			sent++
			text = fmt.Appendf(text, "%d,%.3f\r\n", sent, 24.5+float64(sent%7)/1000)
		}
		if _, err := master.Write(text); err != nil {
			b.Fatal(err)
		}
		items = p.Drain(items[:0])
	}
	spent, took := cpu()-used, time.Since(began)
	time.Sleep(100 * time.Millisecond)
	p.Stop()
	b.ReportMetric(100*float64(spent)/float64(took), "%core")
	b.ReportMetric(float64(sent-got), "lost")
}
