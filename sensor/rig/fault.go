package rig

import (
	"fmt"
	"strings"
	"time"
)

// Fault is a way in which a cheap instrument fails, to be seen on request.
type Fault uint8

// The faults.
const (
	Silence     Fault = iota // sends nothing
	Unplug                   // the device goes away, and comes back under the same name
	Rename                   // the device goes away, and comes back under another name
	Reset                    // starts anew: silence, garbage, a banner, its clock at zero
	WrongBaud                // the bytes as a reader at twice the board's rate gets them
	HalfLines                // three lines in ten lose a piece
	Garbage                  // random bytes before or within three lines in ten
	Stuck                    // one value for ever
	RailHigh                 // the output at 4.75 of 5 V, above full scale
	RailLow                  // the output at 0.25 of 5 V, below zero
	OpenCircuit              // the signal wire is off: 0 V, an eighth of full scale below zero
	Sag                      // the supply falls from 5 to 4.3 V
	Noisy                    // twenty times the noise
	TimesTen                 // the number is ten times too large
	TimesBar                 // the number is 14.5 times too large: psi where bar were
	Spikes                   // one reading in fifty is off by up to half of full scale
	Unsorted                 // lines doubled and out of order
	Bursts                   // lines held back and sent together every 40 to 250 ms
	faultCount
)

// bootTime is how long a board that starts anew is silent.
const bootTime = 1200 * time.Millisecond

// FaultInfo tells a person of a fault.
type FaultInfo struct {
	Fault Fault
	Name  string // in flags and orders
	Key   byte   // that switches it while a rig runs
	About string
}

var faultTable = [faultCount]FaultInfo{
	{Silence, "silence", 's', "the board sends nothing"},
	{Unplug, "unplug", 'u', "the port goes away; it comes back under its name"},
	{Rename, "rename", 'n', "the port goes away; it comes back under another name"},
	{Reset, "reset", 'b', "the board starts anew: silence, garbage, a banner, its clock at zero"},
	{WrongBaud, "wrong-baud", 'w', "bytes as a reader at twice the board's baud rate gets them"},
	{HalfLines, "half-lines", 'h', "three lines in ten lose a piece"},
	{Garbage, "garbage", 'x', "random bytes in three lines of ten"},
	{Stuck, "stuck", 'k', "one value for ever"},
	{RailHigh, "rail-high", '+', "output at 4.75 of 5 V, above full scale"},
	{RailLow, "rail-low", '-', "output at 0.25 of 5 V, below zero"},
	{OpenCircuit, "open-circuit", 'o', "signal wire off: 0 V, an eighth of full scale below zero"},
	{Sag, "sag", 'g', "the supply falls from 5 to 4.3 V; counts do not show it"},
	{Noisy, "noisy", 'm', "twenty times the noise"},
	{TimesTen, "unit-x10", '1', "the number ten times too large"},
	{TimesBar, "unit-x14.5", '4', "the number 14.5 times too large: psi where bar were"},
	{Spikes, "spikes", 'p', "one reading in fifty off by up to half of full scale"},
	{Unsorted, "unsorted", 'd', "lines doubled and out of order"},
	{Bursts, "bursts", 't', "lines sent together every 40 to 250 ms"},
}

// Faults lists every fault, in the order of their values.
func Faults() []FaultInfo { return append([]FaultInfo(nil), faultTable[:]...) }

// String is the fault's name in flags and orders.
func (f Fault) String() string {
	if f < faultCount {
		return faultTable[f].Name
	}
	return fmt.Sprintf("fault %d", uint8(f))
}

// OfPort reports whether the fault is one of the port, which a rig without one
// (a [Source]) cannot have.
func (f Fault) OfPort() bool {
	switch f {
	case Unplug, Rename, WrongBaud, HalfLines, Garbage, Unsorted, Bursts:
		return true
	}
	return false
}

// ParseFault finds a fault by its name.
func ParseFault(name string) (Fault, error) {
	for _, i := range faultTable {
		if strings.EqualFold(name, i.Name) {
			return i.Fault, nil
		}
	}
	names := make([]string, faultCount)
	for i := range faultTable {
		names[i] = faultTable[i].Name
	}
	return 0, fmt.Errorf("there is no fault %.60q (known: %s)", name, strings.Join(names, ", "))
}

// Plan is a fault that comes by itself.
type Plan struct {
	Fault Fault
	At    time.Duration // since the rig started
	For   time.Duration // 0: until the end
}

// ParsePlan reads NAME@TIME[+DURATION], as silence@5+3 or unplug@1m+10s; a bare
// number is seconds.
func ParsePlan(text string) (Plan, error) {
	name, when, ok := strings.Cut(strings.TrimSpace(text), "@")
	if !ok {
		return Plan{}, fmt.Errorf("%.60q names no time: write NAME@SECONDS or NAME@SECONDS+DURATION", text)
	}
	f, err := ParseFault(name)
	if err != nil {
		return Plan{}, err
	}
	p := Plan{Fault: f}
	at, long, has := strings.Cut(when, "+")
	if p.At, err = parseSeconds(at); err != nil {
		return Plan{}, err
	}
	if has {
		if p.For, err = parseSeconds(long); err != nil {
			return Plan{}, err
		}
		if p.For == 0 {
			return Plan{}, fmt.Errorf("%.60q lasts no time; leave out +0 for a fault that stays", text)
		}
	}
	return p, nil
}

// longest bounds a plan's times, so that none of them overflows when added.
const longest = 100000 * time.Hour

func parseSeconds(text string) (time.Duration, error) {
	d, err := time.ParseDuration(text)
	if err != nil {
		if d, err = time.ParseDuration(text + "s"); err != nil {
			return 0, fmt.Errorf("%.60q is no time: write seconds, or as 90s or 2m", text)
		}
	}
	switch {
	case d < 0:
		return 0, fmt.Errorf("%.60q is a time before the start", text)
	case d > longest:
		return 0, fmt.Errorf("%.60q is longer than any rig runs (%v)", text, longest)
	}
	return d, nil
}

// faultSet holds the faults that are on.
type faultSet uint32

func (s faultSet) has(f Fault) bool { return s&(1<<f) != 0 }

func (s faultSet) list() []Fault {
	var l []Fault
	for f := range faultCount {
		if s.has(f) {
			l = append(l, f)
		}
	}
	return l
}

// faultClock switches faults on and off as time goes by.
type faultClock struct {
	on    faultSet
	since [faultCount]time.Duration
	until [faultCount]time.Duration // 0: for ever
	plans []Plan                    // that have not come yet
}

// inject switches a fault on at now; again, it starts anew.
func (c *faultClock) inject(f Fault, now, long time.Duration) {
	if f == Reset && long == 0 {
		long = bootTime
	}
	c.on |= 1 << f
	c.since[f], c.until[f] = now, 0
	if long > 0 {
		c.until[f] = now + long
	}
}

// advance switches what is due at now, and returns what it switched on.
func (c *faultClock) advance(now time.Duration) (began faultSet) {
	for _, f := range c.on.list() {
		if c.until[f] > 0 && now >= c.until[f] {
			c.on &^= 1 << f
		}
	}
	rest := c.plans[:0]
	for _, p := range c.plans {
		if now < p.At {
			rest = append(rest, p)
			continue
		}
		c.inject(p.Fault, now, p.For)
		began |= 1 << p.Fault
	}
	c.plans = rest
	return began
}
