package main

import (
	"fmt"
	"io"
	"os"
	"strings"

	"github.com/charmbracelet/x/term"
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

// refuseUnknown makes the commands that the library adds refuse what they do not
// know: a typo in a shell's start file would have it run a help text.
func refuseUnknown(top *cobra.Command) {
	top.InitDefaultHelpCmd()
	top.InitDefaultCompletionCmd()
	for _, c := range top.Commands() {
		switch c.Name() {
		case "help":
			help := c.Run
			c.RunE = func(c *cobra.Command, args []string) error {
				if cmd, rest, err := top.Find(args); err != nil || len(rest) > 0 {
					return wrong("see "+cmd.CommandPath()+" --help", "there is no command %q to help with", strings.Join(args, " "))
				}
				help(c, args)
				return nil
			}
		case "completion":
			c.Args = nil
			c.RunE = func(_ *cobra.Command, args []string) error {
				what := "no shell was named"
				if len(args) > 0 {
					what = fmt.Sprintf("%q is no shell it is known for", args[0])
				}
				return wrong("write bash, zsh, fish or powershell, for example ebbline completion bash", "completion: %s", what)
			}
		}
	}
}

// widestHelp is the widest line of a list of flags, which a narrower terminal's
// width undercuts.
const widestHelp = 100

// wrapHelp breaks the lists of flags to the width of out.
func wrapHelp(top *cobra.Command, out io.Writer) {
	width := widestHelp
	if f, ok := out.(*os.File); ok {
		if w, _, err := term.GetSize(f.Fd()); err == nil && w > 0 {
			width = min(width, w)
		}
	}
	top.SetUsageTemplate(strings.ReplaceAll(top.UsageTemplate(), ".FlagUsages", fmt.Sprintf(".FlagUsagesWrapped %d", width)))
}
