//go:build !windows

package main

// consoleCodePage is 0: only Windows has code pages.
func consoleCodePage() uint32 { return 0 }
