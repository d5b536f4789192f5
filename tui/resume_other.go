//go:build !unix

package tui

// resumes does nothing where a program cannot be stopped and go on.
func resumes(<-chan struct{}, func(bool)) {}
