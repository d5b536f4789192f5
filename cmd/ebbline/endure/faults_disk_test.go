//go:build linux

package endure

import (
	"bytes"
	"flag"
	"fmt"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"syscall"
	"testing"
	"time"
)

// alone runs the test again in a process with file systems of its own, where it
// may mount what it likes without touching the machine, as root or not. It
// returns true there.
func alone(t *testing.T) bool {
	t.Helper()
	if os.Getenv("EBBLINE_ENDURE_ALONE") == t.Name() {
		return true
	}
	cmd := exec.Command(os.Args[0], "-test.run=^"+t.Name()+"$", "-test.v", fmt.Sprint("-full=", flag.Lookup("full").Value))
	cmd.Env = append(os.Environ(), "EBBLINE_ENDURE_ALONE="+t.Name(), "EBBLINE_ENDURE_PROGRAM="+program)
	cmd.SysProcAttr = &syscall.SysProcAttr{Unshareflags: syscall.CLONE_NEWNS}
	if os.Geteuid() != 0 {
		cmd.SysProcAttr = &syscall.SysProcAttr{
			Cloneflags:  syscall.CLONE_NEWNS | syscall.CLONE_NEWUSER,
			UidMappings: []syscall.SysProcIDMap{{ContainerID: 0, HostID: os.Getuid(), Size: 1}},
			GidMappings: []syscall.SysProcIDMap{{ContainerID: 0, HostID: os.Getgid(), Size: 1}},
		}
	}
	var out bytes.Buffer
	cmd.Stdout, cmd.Stderr = &out, &out
	err := cmd.Run()
	if !strings.Contains(out.String(), "=== RUN") && os.Getenv("CI") == "" {
		t.Skip("this machine gives no file systems of one's own: ", err)
	}
	t.Logf("%s", &out)
	if err != nil {
		t.Error(err)
	}
	return false
}

// smallDisk is a folder on a file system of its own of some kilobytes.
func smallDisk(t testing.TB, kilobytes int) string {
	t.Helper()
	dir := t.TempDir()
	if err := syscall.Mount("none", dir, "tmpfs", 0, fmt.Sprintf("size=%dk,mode=0700", kilobytes)); err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { _ = syscall.Unmount(dir, syscall.MNT_DETACH) }) // its process ends soon
	return dir
}

// fillDisk takes all the room of a disk, and returns what gives it back.
func fillDisk(t testing.TB, dir string) (free func()) {
	t.Helper()
	name := filepath.Join(dir, "filler")
	f, err := os.Create(name)
	if err != nil {
		t.Fatal(err)
	}
	defer f.Close()
	for b := make([]byte, 4096); err == nil; {
		_, err = f.Write(b)
	}
	return func() { os.Remove(name) }
}

// notKept is how a screen, and how lines begin to say that a test is not being
// kept.
var notKept = []string{"NOT BEING KEPT", "not being kept"}

// forms are the ways to watch a hold: a slice takes two of them.
func forms() []string {
	return amount([]string{"screen", "plain"}, []string{"screen", "plain", "json"})
}

// eachForm runs a test of a fault in each form at once.
func eachForm(t *testing.T, f func(t *testing.T, form string)) {
	all := forms()
	atOnce(t, len(all), len(all), func(t *testing.T, i int) { f(t, all[i]) })
}

// alarmed sees that the alarm works now.
func (l *live) alarmed(b *board) {
	l.t.Helper()
	b.over.Store(true)
	l.says(5*time.Second, "gauge   ceiling 30.00 psi", "over the ceiling: shut the supply")
	b.over.Store(false)
	if l.x != nil {
		l.silentOn("gauge   ceiling 30.00 psi", 5*time.Second)
	} else {
		l.says(5*time.Second, "below the ceiling again")
	}
}

const hzOfFaults = 100

// A disk that fills up under a test and has room again: it is said at once with
// what to do, the alarm works, and nothing is missing at the end.
func TestFaultsDiskFullForAWhile(t *testing.T) {
	t.Parallel() // most of it is waiting
	if !alone(t) {
		return
	}
	eachForm(t, func(t *testing.T, form string) {
		b, book := newBoard(t, hzOfFaults, holding(time.Second, 60)), smallDisk(t, 256)
		l := startHold(t, form, b.name, book)
		time.Sleep(4 * time.Second)
		free := fillDisk(t, book)
		l.says(5*time.Second, notKept...)
		l.says(time.Second, "no space left on device")
		l.says(time.Second, "make room on the disk")
		l.alarmed(b)
		time.Sleep(amount(time.Second, 20*time.Second))
		free()
		if l.x != nil {
			l.silentOn("NOT BEING KEPT", 5*time.Second)
		} else {
			l.says(5*time.Second, "being kept again")
		}
		time.Sleep(time.Second)
		status, said := l.leave()
		if status == 2 || status < 0 {
			t.Errorf("status %d:\n%s", status, said)
		}
		wholeBook(t, book, b, l)
	})
}

// wholeBook sees that all that a board sent is in the book, whole.
func wholeBook(t *testing.T, book string, b *board, l *live) {
	t.Helper()
	all := readBook(t, book, hzOfFaults)
	if len(all) != 1 {
		t.Fatalf("%d captures", len(all))
	}
	k := all[0]
	if k.missing != 0 || len(k.odd) > 0 || time.Duration(b.sent.Load())*time.Second/hzOfFaults-k.last > 2*time.Second {
		t.Errorf("%d lines, %d missing; the last of %v, and %d were sent", k.lines, k.missing, k.last, b.sent.Load())
	}
	judged(t, k.capture)
	if _, n := judged(t, k.record); n < k.lines-5 {
		t.Errorf("%d readings in the record, %d lines in the capture", n, k.lines)
	}
	if said := checkBook(t, book); !strings.Contains(said, "1 of 1 whole") {
		t.Errorf("book check: %s", said)
	}
}

// A disk that stays full: the test goes on to its result, the status says that
// something failed, and what was written before can be read.
func TestFaultsDiskStaysFull(t *testing.T) {
	t.Parallel() // most of it is waiting
	if !alone(t) {
		return
	}
	eachForm(t, func(t *testing.T, form string) {
		b, book := newBoard(t, hzOfFaults, holding(time.Second, 60)), smallDisk(t, 256)
		l := startHold(t, form, b.name, book)
		time.Sleep(5 * time.Second)
		began := time.Duration(b.sent.Load()) * time.Second / hzOfFaults
		free := fillDisk(t, book)
		l.says(5*time.Second, notKept...)
		l.alarmed(b)
		status, said := l.leave()
		free()
		if status != 2 || !tells(said, "no space left on device") || !tells(said, "make room") {
			t.Errorf("status %d:\n%s", status, said)
		}
		if !strings.Contains(said, "undecided") && !strings.Contains(said, "leaks") && !strings.Contains(said, "no hold") && !strings.Contains(said, "no-hold") && !strings.Contains(said, "unusable") {
			t.Errorf("the result was not said:\n%s", said)
		}
		all := readBook(t, book, hzOfFaults)
		if len(all) != 1 || all[0].missing != 0 || all[0].last < began-time.Second {
			t.Fatalf("%+v, and the disk was filled at %v", all, began)
		}
		judged(t, all[0].capture)
		judged(t, all[0].record)
		checkBook(t, book)
	})
}

// A book that cannot be written to is said before the duct is filled, and
// nothing is left behind.
func TestFaultsBookRefused(t *testing.T) {
	t.Parallel() // most of it is waiting
	if !alone(t) {
		return
	}
	b := newBoard(t, hzOfFaults, holding(time.Second, 60))
	full := smallDisk(t, 64)
	fillDisk(t, full)
	readOnly := smallDisk(t, 64)
	if err := syscall.Mount("none", readOnly, "tmpfs", syscall.MS_REMOUNT|syscall.MS_RDONLY, ""); err != nil {
		t.Fatal(err)
	}
	file := filepath.Join(t.TempDir(), "file")
	if err := os.WriteFile(file, nil, 0o600); err != nil {
		t.Fatal(err)
	}
	for book, want := range map[string][2]string{
		full:                                 {"no space left on device", "make room on the disk"},
		readOnly:                             {"read-only file system", "--book"},
		filepath.Join(readOnly, "new"):       {"read-only file system", "--book"},
		filepath.Join(file, "new"):           {"not a directory", "--book"},
		"/proc/ebbline":                      {"no such file or directory", "--book"},
		strings.Repeat("x", 300) + "/a/long": {"file name too long", "--book"},
	} {
		for _, form := range forms() {
			l := startHold(t, form, b.name, book)
			status, said := l.ended(10 * time.Second)
			if status != 2 || !tells(said, want[0]) || !tells(said, want[1]) {
				t.Errorf("%s %s: status %d: %s", form, book, status, said)
			}
		}
	}
	if left, _ := filepath.Glob(filepath.Join(full, "*.*")); len(left) != 0 {
		t.Errorf("left behind: %v", left)
	}
}

// A folder that is missing at the start is made; one that is deleted under a
// test is made again with all that was in its files.
func TestFaultsBookDeleted(t *testing.T) {
	t.Parallel() // most of it is waiting
	eachForm(t, func(t *testing.T, form string) {
		b, book := newBoard(t, hzOfFaults, holding(time.Second, 60)), filepath.Join(t.TempDir(), "made", "for", "it")
		l := startHold(t, form, b.name, book)
		time.Sleep(4 * time.Second)
		if err := os.RemoveAll(filepath.Dir(filepath.Dir(book))); err != nil {
			t.Fatal(err)
		}
		time.Sleep(2 * time.Second)
		l.alarmed(b)
		if status, said := l.leave(); status == 2 || status < 0 {
			t.Errorf("status %d:\n%s", status, said)
		}
		wholeBook(t, book, b, l)
	})
}

// A folder that was deleted and cannot be made again: it is said, and once it
// can be made nothing is missing.
func TestFaultsBookGone(t *testing.T) {
	t.Parallel() // most of it is waiting
	eachForm(t, func(t *testing.T, form string) {
		b, book := newBoard(t, hzOfFaults, holding(time.Second, 60)), filepath.Join(t.TempDir(), "book")
		l := startHold(t, form, b.name, book)
		time.Sleep(3 * time.Second)
		if err := os.RemoveAll(book); err != nil {
			t.Fatal(err)
		}
		// There is a moment between the two.
		for err := os.ErrExist; err != nil; {
			if err = os.WriteFile(book, nil, 0o600); err != nil {
				os.RemoveAll(book)
			}
		}
		l.says(5*time.Second, notKept...)
		l.says(time.Second, "put the book's folder back")
		l.alarmed(b)
		if err := os.Remove(book); err != nil {
			t.Fatal(err)
		}
		if l.x != nil {
			l.silentOn("NOT BEING KEPT", 5*time.Second)
		} else {
			l.says(5*time.Second, "being kept again")
		}
		if status, said := l.leave(); status == 2 || status < 0 {
			t.Errorf("status %d:\n%s", status, said)
		}
		wholeBook(t, book, b, l)
	})
}

// Files that may not grow any more, by the limit of the shell that began the
// program, are said like a full disk and do not end it.
func TestFaultsFileLimit(t *testing.T) {
	t.Parallel() // most of it is waiting
	b, book := newBoard(t, hzOfFaults, holding(time.Second, 60)), t.TempDir()
	cmd := command(t, "hold", "--yes", "--port", b.name, "--volume", "10L", "--book", book, "--plain", "--for", "5s")
	cmd.Args = append([]string{"sh", "-c", `ulimit -f 16; exec "$0" "$@"`}, cmd.Args...)
	cmd.Path = "/bin/sh"
	out, _ := cmd.CombinedOutput()
	if s := string(out); cmd.ProcessState.ExitCode() != 2 || !strings.Contains(s, "file too large") || !strings.Contains(s, "make room") || strings.Contains(s, "goroutine") || !strings.Contains(s, "readings") {
		t.Errorf("status %d:\n%s", cmd.ProcessState.ExitCode(), s)
	}
	all := readBook(t, book, hzOfFaults)
	if len(all) != 1 || all[0].lines < 100 || all[0].missing != 0 {
		t.Errorf("%+v", all)
	}
	checkBook(t, book)
}
