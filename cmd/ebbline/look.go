package main

import (
	"os"
	"runtime"

	"github.com/spf13/pflag"

	"ebbline/tui"
)

// lookFlags say how a screen is drawn, where the guess is wrong.
type lookFlags struct{ colours, background, characters string }

func (f *lookFlags) add(fs *pflag.FlagSet) {
	fs.StringVar(&f.colours, "colours", "auto", "colours of the screen: auto, none, 16, 256 or true")
	fs.StringVar(&f.background, "background", "auto", "background of the terminal: auto, dark or light")
	fs.StringVar(&f.characters, "characters", "auto", "characters of the screen: auto, utf8 or ascii")
}

// look is what the terminal can show: what the flags say, else a guess from
// the environment.
func (f *lookFlags) look() (tui.Look, error) {
	l := tui.DetectLook(os.Getenv, runtime.GOOS, consoleCodePage())
	switch f.colours {
	case "auto", "":
	case "none":
		l.Colours = tui.ColoursNone
	case "16":
		l.Colours = tui.Colours16
	case "256":
		l.Colours = tui.Colours256
	case "true":
		l.Colours = tui.ColoursTrue
	default:
		return l, wrong("write auto, none, 16, 256 or true", "--colours: %q is no colour mode", f.colours)
	}
	switch f.background {
	case "auto", "":
	case "dark":
		l.Background = tui.BackgroundDark
	case "light":
		l.Background = tui.BackgroundLight
	default:
		return l, wrong("write auto, dark or light", "--background: %q is no background", f.background)
	}
	switch f.characters {
	case "auto", "":
	case "utf8":
		l.ASCII = false
	case "ascii":
		l.ASCII = true
	default:
		return l, wrong("write auto, utf8 or ascii", "--characters: %q is no set of characters", f.characters)
	}
	return l, nil
}
