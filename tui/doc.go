// Package tui is the technician's screen: the pressure in digits readable
// from three metres, the phase, one sentence that says what to do now, and
// the test drawn as a line in a room whose ceiling is never to be passed and
// whose floor is a ruler of hole sizes. In the same house stand the trainer's
// lesson, which lays holds over one another, and the parts counter. Screens are
// given a source of readings, or a simulated rig, and values; they never open a
// port or a file.
package tui
