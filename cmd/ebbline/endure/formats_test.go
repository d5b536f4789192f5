//go:build unix

package endure

import (
	"bytes"
	"context"
	"encoding/json"
	"fmt"
	"math"
	"os"
	"os/exec"
	"path/filepath"
	"regexp"
	"strings"
	"sync"
	"testing"
	"time"

	"ebbline/decay"
	"ebbline/sensor/rig"
)

// shopProfiles are those of a shop: one is right for one board, and wrong for
// every other.
const shopProfiles = `[profile.counts]
unit = "counts"
reads = "gauge"
full_scale = "50psi"
[profile.counts.calibration]
kind = "ratiometric"
low = { signal = "0.5V", pressure = "0psi" }
high = { signal = "4.5V", pressure = "50psi" }
bits = 12
[profile.volts]
full_scale = "50psi"
[profile.volts.calibration]
kind = "ratiometric"
low = { signal = "0.5V", pressure = "0psi" }
high = { signal = "4.5V", pressure = "50psi" }
[profile.absolute]
unit = "bar"
reads = "absolute"
`

// The capture of a test and its record give one result, in one unit, whatever
// the board sends, and whichever profile is the default on the day it is
// measured again.
func TestCaptureIsJudgedAsItsRecord(t *testing.T) {
	t.Parallel()
	kpa := decay.PressureUnit{Name: "kPa", Pascal: decay.Kilopascal}
	type board struct {
		name, format string
		unit         decay.PressureUnit
		hold         []string // flags of hold
	}
	var boards []board
	for _, f := range rig.Formats() {
		hold := []string{"--profile", "none"}
		switch f.Name {
		case "volts", "supply":
			hold = []string{"--profile", "volts"}
		case "counts":
			hold = []string{"--profile", "counts"}
		case "modbus":
			hold = append(hold, "--modbus", "register=2 type=int32 unit=Pa", "--baud", "115200")
		}
		boards = append(boards, board{f.Name, f.Name, decay.PressureUnits[0], hold})
	}
	boards = append(boards,
		board{"csv in kPa", "csv", kpa, []string{"--profile", "none"}},
		board{"csv with a profile of counts", "csv", decay.PressureUnits[0], []string{"--profile", "counts"}},
		board{"csv in kPa absolute", "csv absolute", kpa, []string{"--profile", "none"}},
		board{"millis in kPa", "millis", kpa, []string{"--profile", "none", "--unit", "kPa"}})
	// All at once: a hold takes its time, and little of the machine's.
	records, homes := make([]string, len(boards)), make([]string, len(boards))
	var holds sync.WaitGroup
	for i, x := range boards {
		homes[i] = t.TempDir()
		cmd := command(t, append([]string{"hold", "--plain", "--for", "12s", "--volume", "4L", "--book", homes[i]}, x.hold...)...)
		setProfiles(t, cmd, homes[i], "none")
		holds.Go(func() { records[i] = held(t, cmd, homes[i], x.format, x.unit) })
	}
	holds.Wait()
	for i, x := range boards {
		t.Run(x.name, func(t *testing.T) {
			if records[i] == "" {
				t.Fatal("there is no record")
			}
			want, words := measured(t, homes[i], records[i], "none")
			// The hold is short, so that the hole is known roughly.
			if want.Outcome != "leaks" && want.Outcome != "undecided" || want.Hole.Value < 0.6 || want.Hole.Value > 2.4 || words == "" {
				t.Fatalf("the record, in %q: %+v, want a hole of 1.2 mm", words, want)
			}
			capture := strings.TrimSuffix(records[i], ".ebbline") + ".capture"
			for _, day := range []string{"none", "counts", "volts", "absolute"} {
				got, unit := measured(t, homes[i], capture, day)
				if got.Outcome != want.Outcome || math.Abs(got.Hole.Value/want.Hole.Value-1) > 0.02 ||
					math.Abs(got.Hold.Start-want.Hold.Start) > 0.1 || math.Abs(got.Peak-want.Peak) > 0.1 || math.Abs(float64(got.Samples-want.Samples)) > 20 {
					t.Errorf("with %s as the default profile:\ncapture %+v\nrecord  %+v", day, got, want)
				}
				if unit != words {
					t.Errorf("with %s as the default profile: the capture is told in %q, the record in %q", day, unit, words)
				}
			}
		})
	}
}

// setProfiles gives a command a file of profiles in a folder.
func setProfiles(t *testing.T, cmd *exec.Cmd, dir, byDefault string) {
	t.Helper()
	text := shopProfiles
	if byDefault != "none" {
		text = fmt.Sprintf("default = %q\n", byDefault) + text
	}
	path := filepath.Join(dir, "profiles.toml")
	if err := os.WriteFile(path, []byte(text), 0o600); err != nil {
		t.Fatal(err)
	}
	cmd.Env = append(cmd.Env, "EBBLINE_PROFILES="+path)
}

// held runs a test on a simulated board and returns where its record is.
func held(t *testing.T, cmd *exec.Cmd, book, format string, unit decay.PressureUnit) string {
	c := rig.Default()
	format, c.Absolute = strings.CutSuffix(format, " absolute")
	c.Format, c.Unit, c.Hole, c.Volume, c.FeedBore = format, unit, 1.2*decay.Millimetre, 4*decay.Litre, 8*decay.Millimetre
	b, err := rig.Open(c, nil)
	if err != nil {
		t.Error(err)
		return ""
	}
	ctx, stop := context.WithCancel(context.Background())
	ran := make(chan error, 1)
	go func() { ran <- b.Run(ctx) }()
	defer func() {
		stop()
		if err := <-ran; err != nil {
			t.Error(err)
		}
	}()
	cmd.Args = append(cmd.Args, "--port", b.Name())
	var out bytes.Buffer
	cmd.Stdout, cmd.Stderr = &out, &out
	if err := cmd.Start(); err != nil {
		t.Error(err)
		return ""
	}
	time.Sleep(2 * time.Second) // the duct's zero
	b.Fill()
	for end := time.Now().Add(5 * time.Second); b.State().Pressure < 20*decay.PSI && time.Now().Before(end); {
		time.Sleep(20 * time.Millisecond)
	}
	b.Isolate()
	_ = cmd.Wait() // its status is the verdict
	records, _ := filepath.Glob(filepath.Join(book, "*.ebbline"))
	if len(records) != 1 {
		t.Errorf("%s: %d records:\n%s", format, len(records), out.String())
		return ""
	}
	return records[0]
}

// told is what is compared of a result.
type told struct {
	Outcome string
	Hole    struct{ Value float64 } `json:"hole_mm"`
	Hold    struct {
		Start float64 `json:"start_s"`
	}
	Peak    float64 `json:"peak_kpa_gauge"`
	Samples int
}

// peakUnit finds the unit in which a result is told.
var peakUnit = regexp.MustCompile(`peak +[-0-9.]+ (\S+ \S+?),`)

// measured measures a file with a default profile, and returns the result and
// the unit in which it is told.
func measured(t *testing.T, home, file, byDefault string) (r told, unit string) {
	t.Helper()
	run := func(args ...string) string {
		cmd := command(t, append(append([]string{"measure", "--volume", "4L"}, args...), file)...)
		setProfiles(t, cmd, home, byDefault)
		var wrong bytes.Buffer
		cmd.Stderr = &wrong
		out, _ := cmd.Output() // its status is the verdict
		if wrong.Len() > 0 {
			t.Errorf("%s with %s as the default profile: %s", filepath.Base(file), byDefault, &wrong)
		}
		return string(out)
	}
	if err := json.Unmarshal([]byte(run("--json")), &r); err != nil {
		t.Fatalf("%s with %s as the default profile: %v", filepath.Base(file), byDefault, err)
	}
	if m := peakUnit.FindStringSubmatch(run()); m != nil {
		unit = m[1]
	}
	return r, unit
}
