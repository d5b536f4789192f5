//go:build linux

package endure

import (
	"fmt"
	"os"
	"strings"
	"syscall"
	"testing"
	"time"

	"golang.org/x/sys/unix"
)

// A shell that had the terminal while the program was stopped leaves it in its own
// mode and with its own lines. The program takes it back as it goes on: keys work
// without Enter, and the screen is whole again. Ctrl+L draws it anew at any time.
func TestFaultsResumedAfterAShell(t *testing.T) {
	t.Parallel() // most of it is waiting
	x := inTerminal(t, command(t, "hold", "--yes", "--hole", "1mm", "--volume", "10L", "--book", t.TempDir()), look{})
	x.wait("ceiling 30.00 psi", 10*time.Second)
	tty, err := os.OpenFile(fmt.Sprintf("/proc/%d/fd/0", x.cmd.Process.Pid), os.O_RDWR|unix.O_NOCTTY, 0)
	if err != nil {
		t.Fatal(err)
	}
	defer tty.Close()
	fd := int(tty.Fd())
	mode := func() *unix.Termios {
		m, err := unix.IoctlGetTermios(fd, unix.TCGETS)
		if err != nil {
			t.Fatal(err)
		}
		return m
	}
	waits := func(what string, ok func() bool) {
		t.Helper()
		for end := time.Now().Add(10 * time.Second); !ok(); time.Sleep(10 * time.Millisecond) {
			if time.Now().After(end) {
				t.Fatalf("%s:\n%s", what, x.text())
			}
		}
	}
	const shell = "what a shell left"
	left := func() {
		if _, err := tty.WriteString("\x1b[1;1H" + shell); err != nil {
			t.Fatal(err)
		}
	}
	if mode().Lflag&unix.ICANON != 0 {
		t.Fatal("the program's keys need Enter from the start")
	}
	if err := x.cmd.Process.Signal(syscall.SIGSTOP); err != nil {
		t.Fatal(err)
	}
	time.Sleep(200 * time.Millisecond)
	m := mode()
	m.Lflag |= unix.ICANON | unix.ECHO
	if err := unix.IoctlSetTermios(fd, unix.TCSETS, m); err != nil {
		t.Fatal(err)
	}
	left()
	before, _ := x.output()
	if err := x.cmd.Process.Signal(syscall.SIGCONT); err != nil {
		t.Fatal(err)
	}
	waits("the terminal keeps the shell's mode", func() bool { return mode().Lflag&(unix.ICANON|unix.ECHO) == 0 })
	whole := func() bool { return strings.Contains(x.text(), "SIMULATED RIG") && !strings.Contains(x.text(), shell) }
	waits("no frame comes", func() bool { now, _ := x.output(); return now >= before+3 })
	waits("the shell's line stays on the screen", whole)
	x.press("u")
	x.wait("bar", 5*time.Second)

	left()
	waits("the line never came", func() bool { return strings.Contains(x.text(), shell) })
	x.press("\x0c")
	waits("ctrl+L does not draw the screen anew", whole)

	x.press("q")
	if status := x.ended(15 * time.Second); status < 0 || status == 2 {
		t.Errorf("status %d", status)
	}
	if mode().Lflag&unix.ICANON == 0 {
		t.Error("the terminal is left without its lines")
	}
}
