package main

import (
	"io"
	"regexp"
	"strings"
	"testing"

	"github.com/spf13/cobra"
	"github.com/spf13/pflag"
)

// The manual page tells of every command and flag, and nothing in a help text is
// taken for an order to roff.
func TestManual(t *testing.T) {
	top := (&app{in: strings.NewReader(""), out: io.Discard, err: io.Discard}).rootCommand()
	top.InitDefaultCompletionCmd()
	page := manual(top)
	var each func(*cobra.Command)
	each = func(c *cobra.Command) {
		if !c.IsAvailableCommand() && c != top {
			return
		}
		if c != top && !strings.Contains(page, "\n.SS "+roff(c.CommandPath())+"\n") {
			t.Errorf("%s is not in the manual", c.CommandPath())
		}
		c.LocalFlags().VisitAll(func(f *pflag.Flag) {
			if !f.Hidden && f.Name != "help" && !strings.Contains(page, roff("--"+f.Name)) {
				t.Errorf("%s --%s is not in the manual", c.CommandPath(), f.Name)
			}
		})
		for _, below := range c.Commands() {
			each(below)
		}
	}
	each(top)
	order := regexp.MustCompile(`^(\.(TH|SH|SS|TP|PP|B|I|nf|fi)( .*)?|'\\" -\*- coding: UTF-8 -\*-)$`)
	for line := range strings.Lines(page) {
		line = strings.TrimSuffix(line, "\n")
		if strings.HasPrefix(line, ".") || strings.HasPrefix(line, "'") {
			if !order.MatchString(line) {
				t.Errorf("roff would take this for an order: %q", line)
			}
		}
	}
	if got, want := roff(`.a -b\n'c"`), `\&.a \-b\en\(aqc\(dq`; got != want {
		t.Errorf("roff gives %q, want %q", got, want)
	}
}
