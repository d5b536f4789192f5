//go:build unix

package endure

import (
	"bufio"
	"bytes"
	"cmp"
	"encoding/csv"
	"encoding/json"
	"fmt"
	"io"
	"io/fs"
	"os"
	"os/exec"
	"path/filepath"
	"runtime"
	"slices"
	"strconv"
	"strings"
	"syscall"
	"testing"
	"time"
	"unicode"
	"unicode/utf8"

	"github.com/charmbracelet/x/term"
	"github.com/creack/pty"

	"ebbline/decay"
	"ebbline/decay/record"
	"ebbline/sensor/rig"
)

// What the program may take of the machine, whatever it is given: for a file
// that is no trace and no record, and for one that is, up to the ten million
// readings that are read. CPU time counts, since the machine may be busy.
const (
	mostForBomb  = 200 << 20
	mostForTrace = 800 << 20
	mostCPU      = 20 * time.Second
	hangs        = 2 * time.Minute
)

// outcome is what became of a run.
type outcome struct {
	out, err string
	status   int
	peak     int64         // resident, bytes
	cpu      time.Duration // user and system
}

// runs runs the command to its end and looks how much memory it takes.
func runs(t testing.TB, cmd *exec.Cmd) outcome {
	t.Helper()
	var out, errOut bytes.Buffer
	cmd.Stdout, cmd.Stderr = &out, &errOut
	if err := cmd.Start(); err != nil {
		t.Fatal(err)
	}
	for _, f := range cmd.ExtraFiles {
		f.Close() // ours, so that a writer sees when the program is gone
	}
	if f, ok := cmd.Stdin.(*os.File); ok {
		f.Close()
	}
	ended := make(chan error, 1)
	go func() { ended <- cmd.Wait() }()
	var o outcome
	late := time.After(hangs)
	for {
		select {
		case <-ended:
			o.out, o.err, o.status = out.String(), errOut.String(), cmd.ProcessState.ExitCode()
			o.cpu = cmd.ProcessState.UserTime() + cmd.ProcessState.SystemTime()
			if ru, ok := cmd.ProcessState.SysUsage().(*syscall.Rusage); ok {
				own := int64(ru.Maxrss)
				if runtime.GOOS != "darwin" {
					own <<= 10
				}
				// A child is told to have been as large as this process, which it came from.
				if own > highWater(os.Getpid()) {
					o.peak = max(o.peak, own)
				}
			}
			if o.status < 0 || strings.Contains(o.err, "goroutine ") || strings.Contains(o.err, "panic") {
				t.Errorf("%.200q ended with %v: %.2000s", cmd.Args[1:], cmd.ProcessState, o.err)
			}
			return o
		case <-time.After(4 * time.Millisecond):
			if exe, _ := os.Readlink(fmt.Sprintf("/proc/%d/exe", cmd.Process.Pid)); exe != program {
				continue // not begun yet, and as large as this process
			}
			if o.peak = max(o.peak, highWater(cmd.Process.Pid)); o.peak > 2<<30 {
				_ = cmd.Process.Kill() // before it takes the machine with it
				<-ended
				t.Fatalf("%.200q takes %d MB", cmd.Args[1:], o.peak>>20)
			}
		case <-late:
			_ = cmd.Process.Kill()
			<-ended
			t.Fatalf("%.200q hangs", cmd.Args[1:])
		}
	}
}

// highWater is the most that a process had resident, 0 when it is not known.
func highWater(pid int) int64 {
	b, err := os.ReadFile(fmt.Sprintf("/proc/%d/status", pid))
	if err != nil {
		return 0
	}
	_, rest, _ := strings.Cut(string(b), "VmHWM:")
	f := strings.Fields(rest)
	if len(f) == 0 {
		return 0
	}
	kb, _ := strconv.ParseInt(f[0], 10, 64)
	return kb << 10
}

// endless is a pipe that begins with head and goes on with more for ever, or
// for so many bytes as size says.
func endless(t testing.TB, head, more string, size int64) *os.File {
	t.Helper()
	r, w, err := os.Pipe()
	if err != nil {
		t.Fatal(err)
	}
	block := []byte(strings.Repeat(more, 1+(64<<10)/len(more)))
	go func() {
		defer w.Close()
		if _, err := w.WriteString(head); err != nil {
			return
		}
		for n := int64(0); size == 0 || n < size; n += int64(len(block)) {
			if _, err := w.Write(block); err != nil {
				return // the program has had enough
			}
		}
	}()
	return r
}

// sample is a whole test: at rest, filled, and held with a leak of 1 mm.
func sample() []decay.Sample {
	c := rig.Default()
	c.Rate = 20
	duct := rig.New(c)
	var out []decay.Sample
	at := time.Duration(0)
	run := func(d time.Duration) {
		for end := at + d; at < end; at += 50 * time.Millisecond {
			duct.Advance(50 * time.Millisecond)
			out = append(out, decay.Sample{At: at, P: duct.Read().Absolute(c.Ambient)})
		}
	}
	run(3 * time.Second)
	duct.Fill()
	run(12 * time.Second)
	duct.Isolate()
	run(40 * time.Second)
	return out
}

// recordOf is a record of the sample with these texts in it.
func recordOf(text string, when time.Time, samples []decay.Sample) record.Record {
	set := decay.Setup{Volume: 10 * decay.Litre, VolumeTolerance: 0.03, Ambient: decay.DefaultAmbient}
	rec := record.Record{Label: text, Source: text, Program: text, When: when, Setup: set, Samples: samples, Result: decay.Analyse(set, samples)}
	if text != "" {
		rec.Marks = []record.Mark{{At: 20 * time.Second, P: 100000, Rate: -300, Word: text}}
		for _, k := range []string{"sensor", "calibrated", "by"} {
			rec.Extra = append(rec.Extra, record.KeyValue{Key: k, Value: text})
		}
		rec.Result.Warnings = append(rec.Result.Warnings, decay.Warning{Code: "no-zero", Text: text})
	}
	return rec
}

func writeRecord(t testing.TB, name string, rec record.Record) {
	t.Helper()
	f, err := os.Create(name)
	if err != nil {
		t.Fatal(err)
	}
	defer f.Close()
	if err := record.Write(f, rec); err != nil {
		t.Fatal(err)
	}
}

func write(t testing.TB, name, text string) string {
	t.Helper()
	if err := os.WriteFile(name, []byte(text), 0o600); err != nil {
		t.Fatal(err)
	}
	return name
}

// Whatever is given for a trace, a record, a table or a profile, the program
// says what is wrong within a bound of memory and time.
func TestBombs(t *testing.T) {
	dir := t.TempDir()
	file := func(name, text string) string { return write(t, filepath.Join(dir, name), text) }
	var head strings.Builder
	if err := record.Write(&head, record.Record{Label: "x"}); err != nil {
		t.Fatal(err)
	}
	above, _, _ := strings.Cut(head.String(), "time_s,")
	above += "time_s,pressure_kpa_abs\n"
	rep := strings.Repeat
	mega := int64(1 << 20)
	line := amount(64*mega, 1000*mega)
	millions := amount(int64(1), 9) * 1000000
	huge := filepath.Join(dir, "huge.csv")
	if f, err := os.Create(huge); err != nil || f.Truncate(1<<40) != nil {
		t.Fatal("no sparse file: ", err)
	} else {
		f.Close()
	}
	for _, c := range []struct {
		name   string
		args   []string // F is a pipe with what follows; its name is in the arguments as F
		head   string
		more   string        // again and again
		size   int64         // in all; 0: for ever
		stdin  bool          // the pipe is the standard input
		most   int64         // of memory; 0: that of a bomb
		cpu    time.Duration // 0: that of a bomb
		status int
		says   string // on standard error, or in the output; "": anything
		full   bool   // only with -full: a slice has its like
	}{
		{name: "zeros for ever", args: []string{"measure", "/dev/zero"}, status: 2, says: "no text"},
		{name: "noise for ever", args: []string{"measure", "/dev/urandom"}, status: 2, says: "no text"},
		{name: "a file of a terabyte", args: []string{"measure", huge}, status: 2, says: "no text"},
		{name: "a line of a gigabyte", args: []string{"measure", "F"}, head: "time_s,pressure_psi\n", more: "1", size: line, most: mostForTrace, status: 2},
		{name: "a line of cells", args: []string{"measure", "F"}, more: "a,", size: 32 * mega, most: mostForTrace, status: 2, says: "longer than"},
		{name: "short rows for ever", args: []string{"measure", "F"}, head: "time_s,pressure_psi\n", more: "0,1\n", most: mostForTrace, status: 2, says: "longer than 256 MiB"},
		{name: "line ends for ever", args: []string{"measure", "F"}, head: "time_s,pressure_psi\n0,1\n", more: "\n", most: mostForTrace, status: 2, full: true},
		{name: "short rows", args: []string{"measure", "F"}, head: "time_s,pressure_psi\n", more: "0.12,1.5\n", size: millions * 9, most: mostForTrace, status: 3},
		{name: "bad rows", args: []string{"measure", "F"}, head: "time_s,pressure_psi\n0,1\n", more: "x,y\n", size: millions * 4, most: mostForTrace, status: 3, full: true},
		{name: "wide headings", args: []string{"measure", "F"}, more: rep("time psi,", 7000) + "\n", size: 16 * mega, status: 2},
		{name: "board lines for ever", args: []string{"measure", "-"}, more: `{"t_ms":1,"p_psi":1}` + "\n", stdin: true, most: mostForTrace, status: 2, full: true},
		{name: "UTF-16 for ever", args: []string{"measure", "F"}, head: "\xff\xfe", more: "1\x00,\x002\x00\n\x00", most: mostForTrace, status: 2, full: true},
		{name: "a gzip file", args: []string{"measure", "F"}, head: "\x1f\x8b\x08\x00\x00\x00\x00\x00\x00\x03", more: "\x00\x01\x02\x03", size: mega, status: 2, says: "gzip"},
		{name: "an executable", args: []string{"measure", program}, status: 2, says: "no text"},

		{name: "a record of readings for ever", args: []string{"split", "F", "F"}, head: above, more: "0.5,200.1\n", most: mostForTrace, cpu: time.Minute, status: 2, says: "more than 100000000 readings", full: true},
		{name: "a record of marks for ever", args: []string{"split", "F", "F"}, head: above, more: "mark: 1.5 1000 -20 upper hose\n", status: 2, says: "longer than"},
		{name: "a record of unknown lines for ever", args: []string{"split", "F", "F"}, head: "ebbline-record 2\n", more: "a: " + rep("x", 500) + "\n", status: 2, says: "longer than"},
		{name: "a record with a line of a gigabyte", args: []string{"report", "F", "--text"}, head: "ebbline-record 2\nlabel: ", more: "x", size: line, status: 2},
		{name: "a record of a trillion readings", args: []string{"book", "show", file("trillion.ebbline", above+"0,1\nend: 1000000000000 samples\n")}, status: 1, says: "CHANGED"},
		{name: "a capture of chunks for ever", args: []string{"measure", "F"}, head: "ebbline-capture 1\n\n", more: `0.5 "1\r\n"` + "\n", most: mostForTrace, status: 2},
		{name: "a capture of notes for ever", args: []string{"measure", "F"}, head: "ebbline-capture 1\n\n", more: "# 1 stuck begins: x\n", most: mostForTrace, status: 2, full: true},
		{name: "a capture's head for ever", args: []string{"measure", "F"}, head: "ebbline-capture 1\n", more: "k: " + rep("v", 100) + "\n", most: mostForTrace, status: 2, full: true},
		{name: "a capture of long chunks", args: []string{"measure", file("long.capture", "ebbline-capture 1\n\n"+rep(`1 "`+rep("9", 1000000)+`"`+"\n", 20))}, status: 2},

		{name: "complaint for ever", args: []string{"shortfall", "F", "--displacement", "2.0L"}, head: "speed_rpm,requested_hPa,actual_hPa\n", more: "3000,2400,1900\n", most: mostForTrace, status: 2, says: "more than 1000000 rows"},
		{name: "a large complaint", args: []string{"shortfall", "F", "--displacement", "2.0L"}, head: "speed_rpm,requested_hPa,actual_hPa\n", more: "3000,2400,1900\n", size: amount(2*mega, 14*mega), most: mostForTrace},
		{name: "complaint in one line", args: []string{"shortfall", "F", "--displacement", "2.0L"}, more: "1", status: 2, says: "longer than"},
		{name: "complaint of zeros", args: []string{"shortfall", "/dev/zero", "--displacement", "2.0L"}, status: 2},
		{name: "parts for ever", args: []string{"counter", "--plain", "--part", "51x600", "--parts", "F"}, head: "label,bore_mm,length_mm\n", more: "hose,51,600\n", status: 2},
		{name: "a part in one line", args: []string{"counter", "--plain", "--part", "51x600", "--parts", "F"}, more: "1", status: 2},
		{name: "a quote that never closes", args: []string{"counter", "--plain", "--part", "51x600", "--parts", "F"}, head: "label,bore_mm,length_mm\n\"", more: "x\n", status: 2},
		{name: "typed for ever in one line", args: []string{"hold", "--by-hand", "--division", "0.5psi", "--volume", "10L"}, more: "1", stdin: true, status: 2},
		{name: "calibrating for ever in one line", args: []string{"calibrate", "--profile", "x", "--port", "/dev/null"}, more: "1", stdin: true, status: 2},
	} {
		if c.full && !*full {
			continue
		}
		t.Run(c.name, func(t *testing.T) {
			cmd := command(t, c.args...)
			if c.more != "" {
				p := endless(t, c.head, c.more, c.size)
				if c.stdin {
					cmd.Stdin = p
				} else {
					cmd.ExtraFiles = []*os.File{p}
				}
				for i, a := range cmd.Args {
					if a == "F" {
						cmd.Args[i] = "/dev/fd/3"
					}
				}
			}
			o := runs(t, cmd)
			most := cmp.Or(c.most, mostForBomb)
			if o.peak > most || o.cpu > cmp.Or(c.cpu, mostCPU) {
				t.Errorf("took %d MB and %v of CPU, at most %d MB and %v are right", o.peak>>20, o.cpu, most>>20, cmp.Or(c.cpu, mostCPU))
			}
			t.Logf("%d MB, %.1f s of CPU, status %d: %.300s%.300s", o.peak>>20, o.cpu.Seconds(), o.status, o.err, o.out)
			if o.status != c.status && (c.status != 0 || o.status == 2) || !strings.Contains(o.err+o.out, c.says) {
				t.Errorf("status %d is not %d, or %q is not said", o.status, c.status, c.says)
			}
			if len(o.err)+len(o.out) > 20000 {
				t.Errorf("an answer of %d bytes", len(o.err)+len(o.out))
			}
		})
	}
}

// A profile of a stranger, and what stands in for one.
func TestHostileProfiles(t *testing.T) {
	rep := strings.Repeat
	for name, text := range map[string]string{
		"deep arrays":   "x = " + rep("[", 100000),
		"deep tables":   "x = " + rep("{a=", 50000),
		"a deep key":    rep("a.", 100000) + "a = 1",
		"deep headings": "[" + rep("a.", 100000) + "a]",
		"many tables":   rep("[profile.a]\n", 15000),
		"many profiles": func() (s string) {
			b := ""
			for i := range 14000 {
				b += fmt.Sprintf("[profile.p%d]\n", i)
			}
			return b
		}(),
		"a huge number":     "[profile.a]\nbaud = " + rep("9", 100000),
		"no number":         "[profile.a]\nbaud = nan\n",
		"a huge quantity":   "[profile.a]\nfull_scale = \"1e400psi\"\n",
		"a negative":        "[profile.a]\nfull_scale = \"-5psi\"\n",
		"a name of escapes": "[profile.\"a\\u001b[2J\"]\nbaud = 9600\n",
		"a port of escapes": "[profile.a]\nport = \"/dev/\\u001b]0;x\\u0007\\u202e\"\n",
		"a bad key":         "\"\\u001b[2J\\u202e\" = 1\n",
		"zeros":             rep("\x00", 1<<20),
		"too long":          rep("# x\n", 1<<20),
	} {
		t.Run(name, func(t *testing.T) {
			path := write(t, filepath.Join(t.TempDir(), "p.toml"), text)
			trace := write(t, filepath.Join(t.TempDir(), "t.csv"), "time_s,pressure_psi\n0,1\n1,2\n")
			cmd := command(t, "measure", "--profile", "a", trace)
			cmd.Env = append(cmd.Env, "EBBLINE_PROFILES="+path)
			o := runs(t, cmd)
			if o.peak > mostForBomb || o.cpu > mostCPU || len(o.err) > 5000 {
				t.Errorf("took %d MB, %v of CPU and %d bytes of words", o.peak>>20, o.cpu, len(o.err))
			}
			t.Logf("%d MB, %.1f s of CPU: %.200s", o.peak>>20, o.cpu.Seconds(), o.err)
			fit(t, name, o.err+o.out)
			if o.status != 2 && !strings.HasPrefix(name, "a port") && !strings.HasPrefix(name, "many") {
				t.Errorf("status %d: %s", o.status, o.err)
			}
		})
	}
	for _, path := range []string{"/dev/zero", "/dev/urandom", os.TempDir()} {
		cmd := command(t, "ports", "--profile", "a", "/dev/null")
		cmd.Env = append(cmd.Env, "EBBLINE_PROFILES="+path)
		if o := runs(t, cmd); o.status != 2 || o.peak > mostForBomb {
			t.Errorf("profiles in %s: status %d, %d MB: %.300s", path, o.status, o.peak>>20, o.err)
		}
	}
}

// evil is a text that repaints a screen, renames the window, makes a link, turns
// the line round, hides in it, heaps marks, feigns a line of its own, and is no
// UTF-8.
var evil = "=evil\x1b[2J\x1b]0;owned\x07\x1b]8;;http://x.example\x1b\\link\x1b]8;;\x1b\\\u202etxt\u2066\u200b\u200f\ufeff\u0085\u009b31m" +
	"e" + strings.Repeat("\u0301\u0489", 100) + "\xff\xc0\x9b\r\nebbline: holds\t\u2028<script>alert(1)</script><svg onload=x><a href='javascript:x'>\b\b\b\x00\x7f" + strings.Repeat("W", 5000)

// fit checks a text for people: nothing in it can steer a terminal, and every
// line can be read.
func fit(t testing.TB, where, text string) {
	t.Helper()
	if !utf8.ValidString(text) {
		t.Errorf("%s: not UTF-8: %.200q", where, text)
	}
	marks, letters := 0, 0
	for i, r := range text {
		if letters++; r == '\n' {
			letters = 0
		}
		if unicode.Is(unicode.M, r) {
			marks++
		} else {
			marks = 0
		}
		if r != '\n' && (unicode.IsControl(r) || unicode.In(r, unicode.Cf, unicode.Zl, unicode.Zp)) || marks > 3 || letters > 2500 {
			t.Errorf("%s: %q at %d, %d marks, %d letters: %.200q", where, r, i, marks, letters, text[max(0, i-60):])
			return
		}
	}
	for l := range strings.Lines(text) {
		if strings.HasPrefix(l, "ebbline: holds") {
			t.Errorf("%s: a line is feigned: %q", where, l)
		}
	}
}

// Texts of a stranger's record, trace, capture, table and name of a file, on
// everything that is printed.
func TestHostileTexts(t *testing.T) {
	dir := t.TempDir()
	book := filepath.Join(dir, "book")
	if err := os.Mkdir(book, 0o700); err != nil {
		t.Fatal(err)
	}
	samples := sample()
	day := time.Date(2026, 5, 4, 8, 15, 0, 0, time.UTC)
	one, two, odd := filepath.Join(book, "one.ebbline"), filepath.Join(book, "two.ebbline"), filepath.Join(book, "odd\x1b[2J\n\u202e\xff"+strings.Repeat("\u0301", 20)+"=1.ebbline")
	writeRecord(t, one, recordOf(evil, day, samples))
	writeRecord(t, two, recordOf(evil+"2", day.Add(time.Hour), samples[:len(samples)-100]))
	writeRecord(t, odd, recordOf(evil+"3", day.Add(2*time.Hour), samples[:len(samples)-200]))
	file := func(name, text string) string { return write(t, filepath.Join(dir, name), text) }
	plain := strings.NewReplacer("\n", "", "\r", "").Replace(evil)
	short := plain[:120]
	var tape strings.Builder
	for _, s := range samples {
		fmt.Fprintf(&tape, "%.3f %q\n", s.At.Seconds(), fmt.Sprintf("%d,%.3f\r\n", s.At.Milliseconds(), float64(s.P-decay.DefaultAmbient)/1000))
	}
	capture := file("x.capture", "ebbline-capture 1\nlabel: "+plain+"\nsource: "+plain+"\nunit: kPa\nreads: gauge\n\n# 1.0 "+strings.ReplaceAll(short, " ", "")+" begins: "+plain+"\n"+tape.String())
	var rows strings.Builder
	for _, s := range samples {
		fmt.Fprintf(&rows, "%.3f,%.3f,%s\n", s.At.Seconds(), float64(s.P)/1000, short)
	}
	table := file("t.csv", "time_s,pressure_kPa_abs,\""+short+"\"\n"+rows.String())
	for name, args := range map[string][]string{
		"list": {"book", "list", "--book", book}, "show": {"book", "show", one}, "show odd": {"book", "show", odd}, "compare": {"book", "compare", one, two},
		"book measure": {"book", "measure", "--book", book, "--all"}, "check": {"book", "check", "--book", book}, "no such": {"book", "show", "--book", book, plain},
		"measure": {"measure", one, odd, capture, table}, "message": {"report", one, two, "--text"}, "split": {"split", one, two},
		"output": {"report", one, "-o", filepath.Join(dir, short, "x.html")}, "written": {"report", one, "-o", filepath.Join(dir, strings.ReplaceAll(short, "/", ""))},
		"heading":    {"measure", file("h.csv", short+","+plain+",p_"+short+"\n1,2,3\n")},
		"first line": {"measure", file("f.csv", plain+"\n"+plain+"\n")},
		"bad row":    {"measure", file("r.csv", "time_s,pressure_psi\n0,1\n"+short+","+short+"\n")},
		"unit":       {"measure", "--unit", plain, table}, "board line": {"measure", file("b.txt", `{"t_ms":1,"`+short+`":2}`+"\n")},
		"capture unit": {"measure", file("u.capture", "ebbline-capture 1\nunit: "+plain+"\n\n1 \"2\\n\"\n")},
		"capture form": {"measure", file("c.capture", "ebbline-capture 1\ncalibration: "+plain+"\n\n1 \"2\\n\"\n")},
		"record line":  {"measure", file("l.ebbline", "ebbline-record 2\n"+plain+"\n"+plain+"\n")},
		"record value": {"book", "show", file("v.ebbline", "ebbline-record 2\ndate: "+plain+"\nx: y\n")},
		"command":      {plain}, "flag": {"--" + plain}, "flag's value": {"measure", "--volume", plain, table}, "format": {"rig", "serve", "--format", plain},
		"shortfall": {"shortfall", "--displacement", "2.0L", file("s.csv", "speed_rpm,requested_hPa,actual_hPa,"+short+"\n3000,2400,1900,x\n"+short+",2,3,4\n")},
		"columns":   {"shortfall", "--displacement", "2.0L", "--columns", plain, table}, "shortfall head": {"shortfall", file("sh.csv", plain+","+plain+"\n1,2\n")},
		"parts": {"counter", "--plain", "--part", plain, "--parts", file("parts.csv", "label,bore_mm,length_mm\n\""+strings.ReplaceAll(short, "\"", "")+"\",51,600\n")},
		"part":  {"counter", "--plain", "--part", plain}, "port": {"hold", "--plain", "--port", filepath.Join(dir, short)}, "ports": {"ports", filepath.Join(dir, short)},
		"modbus": {"hold", "--plain", "--port", "/dev/null", "--modbus", plain}, "profile": {"hold", "--plain", "--profile", plain},
		"volume": {"volume", plain}, "plan": {"plan", "--volume", plain}, "lesson": {"lesson", "--holes", plain}, "date": {"book", "list", "--from", plain},
	} {
		for i, a := range args {
			args[i] = strings.ReplaceAll(a, "\x00", "") // which no argument can hold
		}
		t.Run(name, func(t *testing.T) {
			o := runs(t, command(t, args...))
			if o.out+o.err == "" {
				t.Error("nothing was said")
			}
			fit(t, "output", o.out)
			fit(t, "errors", o.err)
		})
	}
	for name, args := range map[string][]string{
		"list": {"book", "list", "--book", book, "--json"}, "export": {"book", "export", "--book", book, "-o", "-"}, "compare": {"book", "compare", one, two, "--json"},
		"measure": {"measure", "--json", one, odd, capture, table}, "sheet": {"report", one, two, "--json", "--by", short, "--note", short, "--customer", short}, "split": {"split", "--json", one, two},
	} {
		for i, a := range args {
			args[i] = strings.ReplaceAll(a, "\x00", "")
		}
		t.Run(name+" as JSON", func(t *testing.T) {
			o := runs(t, command(t, args...))
			fit(t, "errors", o.err)
			if strings.TrimSpace(o.out) == "" {
				t.Fatalf("nothing was printed: %s", o.err)
			}
			for l := range strings.Lines(o.out) {
				if !json.Valid([]byte(l)) || !utf8.ValidString(l) {
					t.Errorf("not JSON: %.200q", l)
				}
			}
		})
	}
	t.Run("as CSV", func(t *testing.T) {
		o := runs(t, command(t, "report", odd, "--csv"))
		all, err := csv.NewReader(strings.NewReader(o.out)).ReadAll()
		if err != nil || len(all) < 10 {
			t.Fatalf("%d rows: %v", len(all), err)
		}
		for _, row := range all {
			for _, c := range row {
				_, err := strconv.ParseFloat(c, 64)
				if err != nil && c != "" && strings.ContainsAny(c[:1], "=+-@\t\r") || strings.ContainsAny(c, "\x00\x1b\n\u202e") {
					t.Fatalf("a cell a spreadsheet would run: %.80q", c)
				}
			}
		}
	})
	t.Run("as a page", func(t *testing.T) {
		o := runs(t, command(t, "report", one, two, "-o", "-"))
		low := strings.ToLower(o.out)
		if strings.ContainsAny(o.out, "\x00\x1b\u202e\u200b") || strings.Contains(low, "<script") || strings.Contains(low, "<svg onload") || strings.Contains(low, "href='javascript") || !utf8.ValidString(o.out) {
			t.Error("the page holds what a label brought")
		}
		if !strings.Contains(low, "</html>") {
			t.Error("no page: ", o.err)
		}
	})
}

// A port that sends what steers terminals, and now and then a reading.
func TestHostileBoard(t *testing.T) {
	t.Parallel()
	master, slave, err := pty.Open()
	if err != nil {
		t.Fatal("no pseudo-terminal: ", err)
	}
	defer slave.Close()
	if _, err := term.MakeRaw(slave.Fd()); err != nil {
		t.Fatal(err)
	}
	stop, done := make(chan struct{}), make(chan struct{})
	defer func() { close(stop); master.Close(); <-done }()
	go func() {
		defer close(done)
		for i := 0; ; i++ {
			select {
			case <-stop:
				return
			case <-time.After(20 * time.Millisecond):
			}
			text := fmt.Sprintf("p_%s=%d psi\r\n%s\r\n", evil[:60], i%20, evil[:300])
			if i%3 == 0 {
				text = "12.5 psi\r\n"
			}
			if _, err := master.WriteString(text); err != nil {
				return
			}
		}
	}()
	go func() { _, _ = io.Copy(io.Discard, master) }()
	for _, args := range [][]string{{"ports", slave.Name(), "--for", "1s"}, {"ports", slave.Name(), "--for", "1s", "--json"}, {"hold", "--plain", "--for", "3s", "--port", slave.Name(), "--label", "x"}, {"hold", "--json", "--for", "3s", "--port", slave.Name()}} {
		o := runs(t, command(t, args...))
		fit(t, args[0], o.err)
		if !slices.Contains(args, "--json") {
			fit(t, args[0], o.out)
			continue
		}
		for l := range strings.Lines(o.out) {
			if !json.Valid([]byte(l)) || !utf8.ValidString(l) {
				t.Errorf("%q: not JSON: %.200q", args, l)
			}
		}
	}
}

// volts is the port of a board that sends volts: the program's own.
func volts(t testing.TB) string {
	t.Helper()
	rig := command(t, "rig", "--format", "volts")
	out, err := rig.StdoutPipe()
	if err == nil {
		err = rig.Start()
	}
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { _ = rig.Process.Kill(); _ = rig.Wait() })
	port, err := bufio.NewReader(out).ReadString('\n')
	if err != nil {
		t.Fatal(err)
	}
	return strings.TrimSpace(port)
}

// Everything the program writes is the user's own, whatever the umask.
func TestFilesArePrivate(t *testing.T) {
	t.Parallel()
	old := syscall.Umask(0)
	defer syscall.Umask(old)
	home := t.TempDir()
	at := func(args ...string) *exec.Cmd {
		cmd := command(t, args...)
		for i, e := range cmd.Env {
			if strings.HasPrefix(e, "HOME=") {
				cmd.Env[i] = "HOME=" + home
			}
		}
		cmd.Dir = home
		return cmd
	}
	run := func(in string, args ...string) {
		t.Helper()
		cmd := at(args...)
		if in != "" {
			cmd.Stdin = strings.NewReader(in)
		}
		if o := runs(t, cmd); o.status == 2 {
			t.Fatalf("%q: %s", args, o.err)
		}
	}
	run("", "hold", "--plain", "--for", "3s", "--label", "../../x/\u202e/y")
	run("0 0\n10 25\n20 24\n30 23\n", "hold", "--by-hand", "--division", "0.5psi", "--volume", "10L", "--plain")
	run("", "counter", "--plain", "--part", "51x300", "--feed-bore", "12mm")
	writeRecord(t, filepath.Join(home, "r.ebbline"), recordOf("x", time.Now(), sample()))
	if err := os.Chmod(filepath.Join(home, "r.ebbline"), 0o600); err != nil {
		t.Fatal(err)
	}
	if err := os.WriteFile(filepath.Join(home, "old.html"), []byte("x"), 0o666); err != nil {
		t.Fatal(err)
	}
	run("", "report", "r.ebbline", "-o", "sheet.html", "--picture", "chart.png")
	run("", "report", "r.ebbline", "-o", "old.html")
	run("", "book", "export", "-o", "rows.jsonl")
	port := volts(t)
	run("\ndone\n", "calibrate", "--port", port, "--profile", "bench", "--full-scale", "30psi", "--kind", "volts", "--average", "1s")

	kinds := map[string]int{}
	err := filepath.WalkDir(home, func(path string, d fs.DirEntry, err error) error {
		if err != nil || path == home {
			return err
		}
		st, err := d.Info()
		if err != nil {
			return err
		}
		if p := st.Mode().Perm(); p&0o077 != 0 {
			t.Errorf("%s: %v", path, st.Mode())
		}
		if !d.IsDir() {
			kinds[filepath.Ext(path)]++
		}
		return nil
	})
	if err != nil {
		t.Fatal(err)
	}
	for ext, n := range map[string]int{".ebbline": 4, ".capture": 3, ".txt": 1, ".html": 2, ".png": 1, ".jsonl": 1, ".toml": 1} {
		if kinds[ext] != n {
			t.Errorf("%d files end in %s, not %d: %v", kinds[ext], ext, n, kinds)
		}
	}
}

// Names and links that lead elsewhere.
func TestNamesThatLeadElsewhere(t *testing.T) {
	dir := t.TempDir()
	book := filepath.Join(dir, "book")
	_ = os.Mkdir(book, 0o700)
	in := func(name string) string { return filepath.Join(book, name) }
	writeRecord(t, in("good.ebbline"), recordOf("", time.Date(2026, 5, 4, 8, 0, 0, 0, time.UTC), sample()))
	proof, err := os.ReadFile(in("good.ebbline"))
	if err != nil {
		t.Fatal(err)
	}
	for name, to := range map[string]string{"zero.ebbline": "/dev/zero", "loop.ebbline": in("loop.ebbline"), "gone.ebbline": "/nowhere", "up": "..", "secret.ebbline": "/etc/passwd"} {
		if err := os.Symlink(to, in(name)); err != nil {
			t.Fatal(err)
		}
	}
	if err := syscall.Mkfifo(in("pipe.ebbline"), 0o600); err != nil {
		t.Fatal(err)
	}
	_ = os.Mkdir(in("folder.ebbline"), 0o700)
	if f, err := os.Create(in("sparse.ebbline")); err != nil || f.Truncate(1<<40) != nil {
		t.Fatal(err)
	}
	writeRecord(t, in("--help.ebbline"), recordOf("", time.Now(), sample()))
	for _, args := range [][]string{{"book", "list"}, {"book", "check"}, {"book", "measure"}, {"book", "list", "--json"}, {"book", "export", "-o", filepath.Join(dir, "rows.jsonl")}} {
		o := runs(t, command(t, append(args, "--book", book)...))
		if o.peak > mostForBomb {
			t.Errorf("%q took %d MB", args, o.peak>>20)
		}
		if strings.Contains(o.out+o.err, "root:") {
			t.Errorf("%q shows what is in another file: %s", args, o.out+o.err)
		}
		if args[1] == "list" && !strings.Contains(o.out, "good") {
			t.Errorf("the good record is not listed: %s%s", o.out, o.err)
		}
	}
	if o := runs(t, command(t, "book", "show", "--book", book, "--", "--help")); o.status != 0 || !strings.Contains(o.out, "whole") {
		t.Errorf("a record named like a flag: %s%s", o.out, o.err)
	}
	good := in("good.ebbline")
	// A sheet is never written over a record, through no link either, and a
	// link's target stays.
	other := write(t, filepath.Join(dir, "other.txt"), "mine")
	link, proofLink := filepath.Join(dir, "link.html"), filepath.Join(dir, "proof.html")
	for l, to := range map[string]string{link: other, proofLink: good} {
		if err := os.Symlink(to, l); err != nil {
			t.Fatal(err)
		}
	}
	for _, out := range []string{good, proofLink} {
		for _, args := range [][]string{{"report", in("--help.ebbline"), "-o", out}, {"report", in("--help.ebbline"), "--picture", out}, {"book", "export", "--book", book, "-o", out}} {
			if o := runs(t, command(t, args...)); o.status != 2 {
				t.Errorf("%q: status %d: %s", args, o.status, o.err)
			}
		}
	}
	if now, _ := os.ReadFile(good); !bytes.Equal(now, proof) {
		t.Error("a record was written over")
	}
	if o := runs(t, command(t, "report", good, "-o", link)); o.status != 0 {
		t.Error(o.err)
	}
	if b, _ := os.ReadFile(other); string(b) != "mine" {
		t.Error("a link's target was written over")
	}
	for _, out := range []string{filepath.Join(dir, strings.Repeat("x", 300)), filepath.Join(dir, "no", "x.html"), dir, "/dev/full", ""} {
		if o := runs(t, command(t, "report", good, "-o", out)); o.status != 2 || !strings.Contains(o.err, "hint") {
			t.Errorf("-o %.40q: status %d: %s", out, o.status, o.err)
		}
	}
	// A pipe is written to.
	pipe := filepath.Join(dir, "pipe")
	if err := syscall.Mkfifo(pipe, 0o600); err != nil {
		t.Fatal(err)
	}
	page := make(chan string, 1)
	go func() {
		f, err := os.Open(pipe)
		if err != nil {
			page <- err.Error()
			return
		}
		defer f.Close()
		b, _ := io.ReadAll(f)
		page <- string(b)
	}()
	if o := runs(t, command(t, "report", good, "-o", pipe)); o.status != 0 {
		t.Fatalf("into a pipe: %s", o.err)
	}
	if p := <-page; !strings.Contains(p, "</html>") {
		t.Errorf("the pipe got %.100q", p)
	}
	// A label that climbs is only a part of a name.
	long := strings.Repeat("../", 20) + "x/\\y:" + strings.Repeat("long ", 5000)
	o := runs(t, command(t, "hold", "--plain", "--for", "1s", "--book", filepath.Join(dir, "new"), "--label", long))
	list, _ := os.ReadDir(filepath.Join(dir, "new"))
	if len(list) != 2 {
		t.Errorf("%d files beside a climbing label: %s", len(list), o.err)
	}
}

// Numbers that no reading has, and times that run wild, give a result or an
// error, in JSON that is JSON.
func TestHostileNumbers(t *testing.T) {
	dir := t.TempDir()
	n := 0
	for _, text := range []string{
		"0,1e400\n1,2\n", "0,NaN\n1,Inf\n2,-Inf\n", "1e300,1\n2e300,2\n3e308,1\n", "-5,1\n-4,2\n-1e9,3\n", "0,1e290\n1,-1e290\n2,1e-320\n",
		"0,1\n1,2\n3e9,3\n-3e9,4\n", "1e-300,1\n2e-300,2\n", "9223372036854775807,1\n9223372036854775808,2\n", "0,1\n0,2\n0,3\n", "4e9,1\n-4e9,2\n",
		"2026-01-01 00:00:00,1\n1926-01-01 00:00:00,2\n2226-01-01 00:00:00,3\n", "00:00:00,1\n23:59:59,2\n00:00:01,3\n", "0,0x7fffffff\n1,1_000\n", "0,1e5\n1,1e5\n2,9e9\n",
	} {
		n++
		name := write(t, filepath.Join(dir, fmt.Sprintf("%d.csv", n)), "time_s,pressure_kPa\n"+text+strings.Repeat("5,100\n6,99\n7,98.5\n8,98\n", 20))
		for _, args := range [][]string{{"measure", "--volume", "10L", "--json", name}, {"measure", "--volume", "10L", name}} {
			o := runs(t, command(t, args...))
			if o.cpu > mostCPU || o.peak > mostForBomb {
				t.Errorf("%q: %v, %d MB", text, o.cpu, o.peak>>20)
			}
			if args[3] == "--json" && o.status != 2 && !json.Valid([]byte(o.out)) {
				t.Errorf("%q: not JSON: %s", text, o.out)
			}
			fit(t, text, o.out+o.err)
		}
	}
	for _, v := range []string{"1e400", "NaN", "Inf", "-1", "1e-400", strings.Repeat("9", 5000), "0x1p9999"} {
		for _, args := range [][]string{
			{"measure", "--volume", v + "L", "x"}, {"measure", "--ambient", v + "kPa", "x"}, {"measure", "--limit", v + "mm", "x"}, {"measure", "--ceiling", v + "psi", "x"},
			{"hold", "--plain", "--for", v + "s"}, {"hold", "--plain", "--hole", v + "mm"}, {"hold", "--plain", "--rate", v}, {"shortfall", "--displacement", v + "L", "--speed", "3000rpm", "--requested", "2400hPa", "--actual", "1900hPa"},
			{"rig", "--fault", "stuck@" + v + "s"}, {"plan", "--volume", v + "L"}, {"counter", "--plain", "--part", v + "x600"},
		} {
			if o := runs(t, command(t, args...)); o.status != 2 || o.err == "" {
				t.Errorf("%.80q: status %d: %.200s%.200s", args, o.status, o.err, o.out)
			}
		}
	}
}
