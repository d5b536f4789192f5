package main

import (
	"os"
	"strings"
	"time"

	"golang.org/x/sys/unix"
)

// sinceBoot is how long ago the machine was started, its sleep included, and a
// word for that start that no other has. Nobody sets that clock. The word is ""
// where the system does not tell.
func sinceBoot() (time.Duration, string) {
	var ts unix.Timespec
	id, err := os.ReadFile("/proc/sys/kernel/random/boot_id")
	if err != nil || unix.ClockGettime(unix.CLOCK_BOOTTIME, &ts) != nil {
		return 0, ""
	}
	word, _, _ := strings.Cut(string(id), "-")
	return time.Duration(ts.Nano()), word
}
