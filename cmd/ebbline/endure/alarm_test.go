//go:build unix

package endure

import (
	"bufio"
	"bytes"
	"fmt"
	"math/rand/v2"
	"os"
	"os/exec"
	"path/filepath"
	"slices"
	"strings"
	"sync"
	"testing"
	"time"
)

// alarmBar is how long the alarm may take: the project's own budget, from the bytes of
// an over-ceiling reading to the words on the screen.
const alarmBar = 100 * time.Millisecond

// alarmed reports whether a screen is the alarm's as a whole: hatched from the
// first row to the last, with what passed the ceiling.
func alarmed(screen string) bool {
	rows := strings.Split(strings.TrimRight(screen, "\n"), "\n")
	return strings.Contains(rows[0], "╱ ╱ ╱") && strings.Contains(rows[len(rows)-1], "╱ ╱ ╱") && strings.Contains(screen, "ceiling 30.00 psi gauge")
}

// machine notes what the machine itself delays: how late a sleeper in this
// process is woken that writes to the disk now and then, and how long threads of this process and of the program were
// ready to run and had no processor (Linux only).
type machine struct {
	pids   []int
	mu     sync.Mutex
	late   time.Duration // the worst
	before time.Duration
	stop   chan struct{}
}

func watchMachine(t testing.TB) *machine {
	m := &machine{stop: make(chan struct{})}
	file, err := os.Create(filepath.Join(t.TempDir(), "like a capture"))
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { close(m.stop) })
	go func() {
		defer file.Close()
		for last, n := time.Now(), 0; ; n++ {
			select {
			case <-m.stop:
				return
			default:
			}
			time.Sleep(time.Millisecond)
			if n%100 == 0 {
				_, _ = file.Write(make([]byte, 2000))
			}
			now := time.Now()
			m.mu.Lock()
			m.late = max(m.late, now.Sub(last)-time.Millisecond)
			m.mu.Unlock()
			last = now
		}
	}()
	return m
}

// queued is how long all threads so far waited for a processor.
func (m *machine) queued() (sum time.Duration) {
	for _, pid := range m.pids {
		names, _ := filepath.Glob(fmt.Sprintf("/proc/%d/task/*/schedstat", pid))
		for _, name := range names {
			b, _ := os.ReadFile(name) // a thread may have ended
			var ran, waited int64
			if n, _ := fmt.Sscan(string(b), &ran, &waited); n == 2 {
				sum += time.Duration(waited)
			}
		}
	}
	return sum
}

// begin begins a window for this process and a program.
func (m *machine) begin(program *exec.Cmd) {
	m.pids = []int{os.Getpid(), program.Process.Pid}
	q := m.queued()
	m.mu.Lock()
	defer m.mu.Unlock()
	m.late, m.before = 0, q
}

// end ends it.
func (m *machine) end() (late, queued time.Duration) {
	q := m.queued()
	m.mu.Lock()
	defer m.mu.Unlock()
	return m.late, q - m.before
}

// delays are latencies, each with what the machine delayed meanwhile.
type delays struct{ took, late, queued []time.Duration }

func (d *delays) add(took, late, queued time.Duration) {
	d.took, d.late, d.queued = append(d.took, took), append(d.late, late), append(d.queued, queued)
}

// of is a quantile: 0.5 the median, 1 the worst.
func of(d []time.Duration, q float64) time.Duration {
	s := slices.Sorted(slices.Values(d))
	return s[int(q*float64(len(s)-1)+0.5)]
}

func (d *delays) String() string {
	line := func(d []time.Duration) string {
		ms := func(q float64) float64 { return float64(of(d, q).Microseconds()) / 1000 }
		return fmt.Sprintf("median %.1f ms, 99th percentile %.1f ms, worst %.1f ms", ms(0.5), ms(0.99), ms(1))
	}
	return fmt.Sprintf("%d times: %s\n  a sleeper was late meanwhile by: %s\n  threads waited for a processor in sum: %s", len(d.took), line(d.took), line(d.late), line(d.queued))
}

// check holds the bar. On a busy machine somebody else's work delays board,
// program and emulator alike; what their threads waited for a processor in that
// very window, or a sleeper was late by, is not the program's and is taken off.
func (d *delays) check(t testing.TB) {
	t.Helper()
	for i := range d.took {
		if machine := max(d.late[i], d.queued[i]); d.took[i]-machine > alarmBar {
			t.Errorf("alarm %d came after %v, of which the machine delayed it by at most %v; the bar is %v", i, d.took[i], machine, alarmBar)
		}
	}
}

// pause waits for a random part of some frames, so that no alarm keeps step with
// the program's ticks.
func pause() { time.Sleep(150*time.Millisecond + rand.N(100*time.Millisecond)) }

// screenAlarms passes the ceiling n times while a hold at 1 kHz goes on, and
// returns how long each alarm took to stand on the screen.
func screenAlarms(t testing.TB, cols, rows, n int) (d delays, alarm string) {
	b := newBoard(t, 1000, holding(time.Second, 1200))
	on, off := make(chan time.Time, 1), make(chan time.Time, 1)
	is := false
	x := inTerminal(t, command(t, "hold", "--yes", "--port", b.name, "--volume", "10L", "--ceiling", "30psi", "--book", t.TempDir()), look{cols: cols, rows: rows,
		seen: func(screen string, at time.Time) {
			if now := alarmed(screen); now != is {
				if is = now; is {
					on <- at
				} else {
					off <- at
				}
			}
		}})
	x.wait("leak at first", 30*time.Second)
	m := watchMachine(t)
	soon := func(c chan time.Time, what string) time.Time {
		t.Helper()
		select {
		case at := <-c:
			return at
		case <-time.After(10 * time.Second):
			t.Fatalf("the alarm did not %s within 10 s:\n%s", what, x.text())
			return time.Time{}
		}
	}
	for range n {
		pause()
		passed := b.pass()
		m.begin(x.cmd)
		took := soon(on, "come").Sub(passed)
		late, queued := m.end()
		d.add(took, late, queued)
		if alarm == "" {
			alarm = x.picture()
		}
		b.over.Store(false)
		soon(off, "end")
	}
	x.press("q")
	x.ended(20 * time.Second)
	return d, alarm
}

// BenchmarkBudgetAlarm is from an over-ceiling line's bytes to the whole alarm on a
// screen of 100 by 30, a hold at 1 kHz under way; the bar is 100 ms at worst.
func BenchmarkBudgetAlarm(b *testing.B) {
	// Once is enough, whatever the time a benchmark is given.
	d, _ := screenAlarms(b, 100, 30, amount(15, 1000))
	for _, m := range []struct {
		name string
		d    time.Duration
	}{{"ms-median", of(d.took, 0.5)}, {"ms-worst", of(d.took, 1)}, {"ms-machine-late", of(d.late, 1)}, {"ms-machine-queued", of(d.queued, 1)}} {
		b.ReportMetric(float64(m.d.Microseconds())/1000, m.name)
	}
	b.ReportMetric(0, "ns/op")
}

func TestAlarmOnScreen(t *testing.T) {
	for _, size := range []struct{ cols, rows int }{{100, 30}, {200, 60}} {
		t.Run(fmt.Sprintf("%dx%d", size.cols, size.rows), func(t *testing.T) {
			d, alarm := screenAlarms(t, size.cols, size.rows, amount(8, 1000))
			t.Log("alarm on screen ", &d)
			d.check(t)
			own := echoes(t, size.cols, size.rows, alarm, amount(8, 200))
			t.Log("of it the harness, which shows the same screen from cat ", &own)
		})
	}
}

// echoes is what the harness itself takes: cat in place of the program gives the
// alarm's screen back.
func echoes(t testing.TB, cols, rows int, screen string, n int) (d delays) {
	shown := make(chan time.Time, 1)
	x := inTerminal(t, exec.Command("sh", "-c", "stty raw -echo; printf 'ready\\033[?2026l'; exec cat"), look{cols: cols, rows: rows,
		seen: func(screen string, at time.Time) {
			if strings.Contains(screen, "ready") || alarmed(screen) {
				shown <- at
			}
		}})
	<-shown
	m := watchMachine(t)
	frame := "\x1b[H" + strings.ReplaceAll(screen, "\n", "\r\n") + frameEnd
	for range n {
		pause()
		m.begin(x.cmd)
		began := time.Now()
		x.press(frame)
		took := (<-shown).Sub(began)
		late, queued := m.end()
		d.add(took, late, queued)
	}
	return d
}

// Without a screen the alarm is a line, printed as it happens.
func TestAlarmLine(t *testing.T) {
	t.Parallel()
	for _, form := range []struct{ flag, on, off string }{
		{"--plain", "ALARM", "below the ceiling again"},
		{"--json", `"alarm":"over-ceiling"`, `"alarm":"ceiling-cleared"`},
	} {
		t.Run(form.flag, func(t *testing.T) {
			b := newBoard(t, 1000, holding(time.Second, 1200))
			cmd := command(t, "hold", form.flag, "--port", b.name, "--volume", "10L", "--ceiling", "30psi", "--book", t.TempDir())
			out, err := cmd.StdoutPipe()
			if err != nil {
				t.Fatal(err)
			}
			var complaints bytes.Buffer
			cmd.Stderr = &complaints
			if err := cmd.Start(); err != nil {
				t.Fatal(err)
			}
			t.Cleanup(func() {
				_ = cmd.Process.Kill()
				_ = cmd.Wait()
			})
			type seen struct {
				line string
				at   time.Time
			}
			lines := make(chan seen, 100)
			go func() {
				defer close(lines)
				for s := bufio.NewScanner(out); s.Scan(); {
					lines <- seen{s.Text(), time.Now()}
				}
			}()
			until := func(words string) time.Time {
				t.Helper()
				for end := time.After(30 * time.Second); ; {
					select {
					case l, ok := <-lines:
						if !ok {
							t.Fatalf("it ended before it said %q: %s", words, &complaints)
						}
						if strings.Contains(l.line, words) {
							return l.at
						}
					case <-end:
						t.Fatalf("it never said %q: %s", words, &complaints)
					}
				}
			}
			until("settle")
			m, d := watchMachine(t), delays{}
			for range amount(10, 1000) {
				pause()
				passed := b.pass()
				m.begin(cmd)
				took := until(form.on).Sub(passed)
				late, queued := m.end()
				d.add(took, late, queued)
				b.over.Store(false)
				until(form.off)
			}
			t.Log("alarm line ", &d)
			d.check(t)
		})
	}
}
