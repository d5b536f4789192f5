package main

import (
	"bufio"
	"context"
	"fmt"
	"os"
	"strings"

	"ebbline/decay"
	"ebbline/sensor/rig"

	"github.com/charmbracelet/x/term"
	"github.com/spf13/cobra"
)

func (a *app) rigCommand() *cobra.Command {
	var f rigFlags
	var volume string
	var auto, repeat bool
	cmd := &cobra.Command{
		Use:   "rig [flags]",
		Short: "Simulate a transducer board on a pseudo-terminal",
		Long: `Rig simulates a duct, a leak, valves and a cheap transducer, and behaves on a
pseudo-terminal like a board on USB: a line per reading, "millis,value", the
value in psi gauge. Its first line of output is the port to give to
"ebbline hold --port".

The valves: on a terminal press f to fill, i to isolate, r to release, q to
quit; otherwise write fill, isolate, release or quit on standard input, a word
a line. With --auto they work by themselves. No real pressure is anywhere.`,
		Example: `  ebbline rig --hole 1mm --volume 10L
  ebbline rig --hole 0.3mm --auto --repeat
  ebbline rig --hole 0 --supply 20psi --rate 100`,
		Args: noArguments,
		RunE: func(cmd *cobra.Command, _ []string) error {
			var set decay.Setup
			var err error
			if set.Volume, _, err = decay.ParseVolume(volume); err != nil {
				return wrong("for example --volume 10L", "--volume: %w", err)
			}
			c, err := f.config(set)
			if err != nil {
				return err
			}
			var script *rig.Script
			if auto || repeat {
				s := rig.DefaultScript()
				s.Repeat = repeat
				script = &s
			}
			return a.serveRig(cmd.Context(), c, script)
		},
	}
	fs := cmd.Flags()
	f.add(fs)
	fs.StringVar(&volume, "volume", "10L", "volume of the simulated duct")
	fs.BoolVar(&auto, "auto", false, "work the valves by themselves: one test, then end")
	fs.BoolVar(&repeat, "repeat", false, "with --auto: one test after another until stopped")
	return cmd
}

// serveRig runs the board until it is told to stop.
func (a *app) serveRig(ctx context.Context, c rig.Config, script *rig.Script) error {
	b, err := rig.Open(c, script)
	if err != nil {
		return wrong("ebbline hold without --port simulates the rig inside", "%w", err)
	}
	ctx, stop := context.WithCancel(ctx)
	defer stop()
	fmt.Fprintln(a.out, b.Name())
	line := "\n"
	if f, ok := a.in.(*os.File); ok && isTerminal(a.in) {
		if old, err := term.MakeRaw(f.Fd()); err == nil {
			defer term.Restore(f.Fd(), old)
			line = "\r\n"
		}
		fmt.Fprintf(a.err, "simulated board: read it with ebbline hold --port %s --volume %gL%sf fill   i isolate   r release   q quit%s",
			b.Name(), float64(c.Volume)/decay.Litre, line, line)
	}
	go func() {
		in := bufio.NewReader(a.in)
		for {
			word, err := nextOrder(in, line == "\r\n")
			if err != nil {
				return // no more orders: the board goes on
			}
			switch word {
			case "f", "fill":
				b.Fill()
			case "i", "isolate":
				b.Isolate()
			case "r", "release":
				b.Release()
			case "q", "quit", "\x03", "\x04":
				stop()
				return
			case "":
				continue
			default:
				fmt.Fprintf(a.err, "ebbline: error: no such order: %.20q%sebbline: hint: f fill, i isolate, r release, q quit%s", word, line, line)
				continue
			}
			fmt.Fprintf(a.err, "%s%s", word, line)
		}
	}()
	return b.Run(ctx)
}

// nextOrder reads a key, or a line where there are no keys.
func nextOrder(in *bufio.Reader, keys bool) (string, error) {
	if keys {
		c, err := in.ReadByte()
		return strings.TrimSpace(string(rune(c))), err
	}
	text, err := in.ReadString('\n')
	if text = strings.ToLower(strings.TrimSpace(text)); text != "" {
		return text, nil
	}
	return "", err
}
