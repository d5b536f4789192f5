package main

import "time"

// wallClock is the clock on the wall. It names and dates what is kept and
// nothing else, for it may be set under a test: times of readings and how long
// anything took go by time.Now and time.Since, whose clock nobody sets.
var wallClock = time.Now
