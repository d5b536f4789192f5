// Package endure has only tests: they run the built program from outside, in
// a terminal and on a port as a user has it, and try to wear it out or break it.
//
// By default each test runs a slice that fits a check on every change; with
// -full it runs to the end. README and DEVELOPERS.md give the commands.
package endure
