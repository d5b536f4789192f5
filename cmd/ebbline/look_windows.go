package main

import "golang.org/x/sys/windows"

// consoleCodePage is the code page the console writes in, 0 when there is no
// console.
func consoleCodePage() uint32 {
	cp, err := windows.GetConsoleOutputCP()
	if err != nil {
		return 0
	}
	return cp
}
