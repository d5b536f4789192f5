// Package tui is the technician's screen: the pressure in digits readable
// from three metres, the phase, one sentence that says what to do now, and
// the test drawn as a line in a room whose ceiling is never to be passed and
// whose floor is a ruler of hole sizes. It is given a source of readings and
// values; it never opens a port or a file.
package tui
