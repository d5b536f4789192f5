package main

import (
	"github.com/spf13/cobra"
)

const caution = `
This program is no safety device: a mechanical relief valve is the protection.
Turn the regulator down before connecting, wear eye protection, stand clear of
plugs, stay below the ceiling and the lowest-rated part, and let the air out
before you loosen a clamp.`

func (a *app) rootCommand() *cobra.Command {
	cmd := &cobra.Command{
		Use:   "ebbline",
		Short: "Live pressure-decay test of a duct: does it leak, and how large is the hole",
		Long: `Ebbline watches the pressure in a closed, filled duct decay and says whether it
holds or leaks, how large the hole is, and how sure that is.

Alone it opens the technician's screen on a simulated rig with an invented
vehicle and leak, and names the ports that are connected.
` + caution,
		Example: `  ebbline                                     try it without any hardware
  ebbline hold --port /dev/ttyUSB0 --volume 10L
  ebbline measure --volume 10L trace.csv
  ebbline book
  ebbline ports`,
		Version:                    version(),
		Args:                       unknownCommand,
		SuggestionsMinimumDistance: 2,
		SilenceErrors:              true,
		SilenceUsage:               true,
		RunE:                       func(cmd *cobra.Command, _ []string) error { return a.demo(cmd.Context()) },
	}
	cmd.SetVersionTemplate("ebbline {{.Version}}\n")
	cmd.AddCommand(a.bookCommand(), a.calibrateCommand(), a.counterCommand(), a.holdCommand(), a.lessonCommand(), a.manCommand(), a.measureCommand(), a.planCommand(), a.portsCommand(), a.reportCommand(), a.rigCommand(), a.shortfallCommand(), a.splitCommand(), a.volumeCommand())
	return cmd
}

// unknownCommand refuses a word that is no command, with the nearest that is.
func unknownCommand(cmd *cobra.Command, args []string) error {
	if len(args) == 0 {
		return nil
	}
	hint := "see ebbline --help for the commands"
	if s := cmd.SuggestionsFor(args[0]); len(s) > 0 {
		hint = "did you mean " + s[0] + "?"
	}
	return wrong(hint, "unknown command %q", args[0])
}
