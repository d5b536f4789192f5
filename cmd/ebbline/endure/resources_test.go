//go:build linux

package endure

import (
	"fmt"
	"math"
	"os"
	"strconv"
	"strings"
	"testing"
	"time"
)

// resources are what a process holds at a moment.
type resources struct {
	resident int           // kB
	files    int           // open descriptors
	threads  int           // of the system
	cpu      time.Duration // used since it began, user's and system's
}

// resourcesOf asks the kernel about a process.
func resourcesOf(t testing.TB, pid int) (r resources) {
	t.Helper()
	read := func(name string) string {
		b, err := os.ReadFile(fmt.Sprintf("/proc/%d/%s", pid, name))
		if err != nil {
			t.Fatal(err)
		}
		return string(b)
	}
	whole := func(s string) int {
		n, err := strconv.Atoi(s)
		if err != nil {
			t.Fatal(err)
		}
		return n
	}
	for line := range strings.Lines(read("status")) {
		switch f := strings.Fields(line); f[0] {
		case "VmRSS:":
			r.resident = whole(f[1])
		case "Threads:":
			r.threads = whole(f[1])
		}
	}
	files, err := os.ReadDir(fmt.Sprintf("/proc/%d/fd", pid))
	if err != nil {
		t.Fatal(err)
	}
	r.files = len(files)
	// The name in brackets may hold spaces; the times are fields 14 and 15, in
	// hundredths of a second (proc_pid_stat(5)).
	stat := read("stat")
	f := strings.Fields(stat[strings.LastIndexByte(stat, ')')+1:])
	r.cpu = time.Duration(whole(f[11])+whole(f[12])) * 10 * time.Millisecond
	return r
}

// line is the least-squares slope of y over x and its standard error, which
// takes the scatter for independent from point to point.
func line(x, y []float64) (slope, err float64) {
	n := float64(len(x))
	var mx, my, xx, xy, rest float64
	for i := range x {
		mx, my = mx+x[i]/n, my+y[i]/n
	}
	for i := range x {
		xx, xy = xx+(x[i]-mx)*(x[i]-mx), xy+(x[i]-mx)*(y[i]-my)
	}
	slope = xy / xx
	for i := range x {
		d := y[i] - my - slope*(x[i]-mx)
		rest += d * d
	}
	return slope, math.Sqrt(rest / (n - 2) / xx)
}
