// Ebbline watches the pressure in a closed duct decay and says how large the
// hole in it is, and how sure that is.
package main

import (
	"os"

	_ "ebbline/tui/background" // before any package that asks the terminal for its colours
)

func main() {
	os.Exit(run(os.Args[1:], os.Stdin, os.Stdout, os.Stderr))
}
