// Package background answers lipgloss's question for the terminal's background
// colour before anybody asks it.
//
// Importing bubbletea runs a terminal query in its init, and a terminal that
// never answers then stalls every command, --version included, for five
// seconds. Go initialises ready packages in import-path order and
// ebbline/tui/background sorts before github.com/charmbracelet/bubbletea, so
// package main imports this package for its side effect and nothing else. It
// imports only lipgloss. Our screens do not depend on the background, so the
// answer itself does not matter.
package background

import "github.com/charmbracelet/lipgloss"

func init() { lipgloss.SetHasDarkBackground(true) }
