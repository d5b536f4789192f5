package main

import (
	"fmt"

	"ebbline/sensor"

	"github.com/spf13/cobra"
)

func (a *app) portsCommand() *cobra.Command {
	return &cobra.Command{
		Use:     "ports",
		Short:   "List the serial ports",
		Example: "  ebbline ports",
		Args:    noArguments,
		RunE: func(*cobra.Command, []string) error {
			list, err := sensor.ListPorts()
			if err != nil {
				return wrong("give the port's name to --port", "the ports cannot be listed: %w", err)
			}
			if len(list) == 0 {
				fmt.Fprintln(a.err, "no serial port is connected")
			}
			for _, p := range list {
				if p.Detail == "" {
					fmt.Fprintln(a.out, p.Name)
				} else {
					fmt.Fprintf(a.out, "%s\t%s\n", p.Name, p.Detail)
				}
			}
			return nil
		},
	}
}
