//go:build linux

package endure

import (
	"strings"
	"sync"
	"testing"
	"time"
)

// BenchmarkBudgetScreen is what the whole program takes of the machine in ten
// seconds of a hold at 1 kHz on a screen of 100 by 30; the bars are 8 % of a core,
// 60 MB resident and 30 kB a second to the terminal.
func BenchmarkBudgetScreen(b *testing.B) {
	src := newBoard(b, 1000, holding(2*time.Second, 60))
	x := inTerminal(b, command(b, "hold", "--yes", "--port", src.name, "--volume", "10L", "--book", b.TempDir()), look{})
	x.wait("settle", 30*time.Second)
	pid := x.cmd.Process.Pid
	before, began := resourcesOf(b, pid), time.Now()
	frames, bytes := x.output()
	for b.Loop() {
		time.Sleep(10 * time.Second)
	}
	after, took := resourcesOf(b, pid), time.Since(began).Seconds()
	framesThen, bytesThen := x.output()
	b.ReportMetric(100*(after.cpu-before.cpu).Seconds()/took, "%core")
	b.ReportMetric(float64(after.resident)/1000, "MB-resident")
	b.ReportMetric(float64(bytesThen-bytes)/1000/took, "kB/s")
	b.ReportMetric(float64(framesThen-frames)/took, "frames/s")
	b.ReportMetric(0, "ns/op") // it only sleeps
}

// BenchmarkBudgetStart is the time from the start of the program to its first
// whole frame in the terminal; the bar is 150 ms.
func BenchmarkBudgetStart(b *testing.B) {
	for b.Loop() {
		var once sync.Once
		shown := make(chan struct{})
		x := inTerminal(b, command(b), look{seen: func(screen string, _ time.Time) {
			if strings.Contains(screen, "SIMULATED RIG") {
				once.Do(func() { close(shown) })
			}
		}})
		select {
		case <-shown:
		case <-time.After(30 * time.Second):
			b.Fatal("no frame: ", x.text())
		}
		b.StopTimer()
		x.cmd.Process.Kill()
		<-x.end
		b.StartTimer()
	}
}
