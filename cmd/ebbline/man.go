package main

import (
	"fmt"
	"runtime/debug"
	"slices"
	"strings"

	"github.com/spf13/cobra"
	"github.com/spf13/pflag"
)

func (a *app) manCommand() *cobra.Command {
	return &cobra.Command{
		Use:     "man",
		Short:   "Print the manual page, for man",
		Long:    "Man prints the manual page of all commands, in the form that the program man shows.",
		Example: "  ebbline man | man -l -\n  ebbline man > ~/.local/share/man/man1/ebbline.1",
		Args:    noArguments,
		RunE: func(cmd *cobra.Command, _ []string) error {
			_, err := a.out.Write([]byte(manual(cmd.Root())))
			return err
		},
	}
}

// manualEnd is what no command's own help says.
const manualEnd = `.SH EXIT STATUS
Of measure, and of hold and counter without a screen:
.TP
.B 0
all hold
.TP
.B 1
something leaks, or never built up pressure
.TP
.B 2
usage, file or port error
.TP
.B 3
undecided, unusable, or no hold was found
.SH FILES
.TP
.I ~/.local/share/ebbline
the book: every test with its record and its capture; on Windows and macOS
ebbline in the user's data folder
.TP
.I ~/.config/ebbline/profiles.toml
what is known of each transducer; on Windows and macOS in ebbline in the user's
configuration folder
.TP
.I ~/.config/ebbline/parts.csv
the parts that counter offers
.SH ENVIRONMENT
.TP
.B EBBLINE_PROFILES
another file of profiles
.TP
.B NO_COLOR, TERM, COLORTERM, COLORFGBG, LC_ALL, LC_CTYPE, LANG
what the screen takes its colours and characters from
`

// manual is the manual page of a command and all below it, in the man macros.
func manual(top *cobra.Command) string {
	date := ""
	if info, ok := debug.ReadBuildInfo(); ok {
		for _, s := range info.Settings {
			if s.Key == "vcs.time" {
				date = dateOf(s.Value, "", "2006-01-02")
			}
		}
	}
	var b strings.Builder
	b.WriteString("'\\\" -*- coding: UTF-8 -*-\n")
	fmt.Fprintf(&b, ".TH %s 1 %q %q\n", strings.ToUpper(top.Name()), date, top.Name())
	fmt.Fprintf(&b, ".SH NAME\n%s \\- %s\n", top.Name(), roff(top.Short))
	fmt.Fprintf(&b, ".SH SYNOPSIS\n.B %s\n[command] [flags]\n.SH DESCRIPTION\n", top.Name())
	manualText(&b, top.Long)
	b.WriteString(".SH COMMANDS\n")
	manualBelow(&b, top)
	b.WriteString(manualEnd)
	return b.String()
}

func manualBelow(b *strings.Builder, parent *cobra.Command) {
	for _, c := range parent.Commands() {
		if !c.IsAvailableCommand() || c.Name() == "help" {
			continue
		}
		fmt.Fprintf(b, ".SS %s\n", roff(c.CommandPath()))
		if c.Runnable() {
			fmt.Fprintf(b, ".B %s\n", roff(c.UseLine()))
			b.WriteString(".PP\n")
		}
		manualText(b, c.Long)
		manualFlags(b, c)
		if c.Example != "" {
			b.WriteString(".PP\nExamples:\n.PP\n")
			manualText(b, c.Example)
		}
		manualBelow(b, c)
	}
}

// manualText writes help: paragraphs flow, indented lines stay as they are.
func manualText(b *strings.Builder, text string) {
	if strings.TrimSpace(text) == "" {
		return
	}
	fixed := false
	for line := range strings.Lines(strings.Trim(text, "\n") + "\n") {
		line = strings.TrimSuffix(line, "\n")
		if now := strings.HasPrefix(line, " ") || strings.HasPrefix(line, "\t"); now != fixed && line != "" {
			b.WriteString(map[bool]string{true: ".nf\n", false: ".fi\n"}[now])
			fixed = now
		}
		switch {
		case line != "":
			b.WriteString(roff(line) + "\n")
		case fixed:
			b.WriteString(".fi\n.PP\n")
			fixed = false
		default:
			b.WriteString(".PP\n")
		}
	}
	if fixed {
		b.WriteString(".fi\n")
	}
}

func manualFlags(b *strings.Builder, c *cobra.Command) {
	c.NonInheritedFlags().VisitAll(func(f *pflag.Flag) {
		if f.Hidden || f.Name == "help" {
			return
		}
		kind, usage := pflag.UnquoteUsage(f)
		if !strings.Contains(usage, "default") && !slices.Contains([]string{"", "0", "false", "[]"}, f.DefValue) {
			usage += " (default " + f.DefValue + ")"
		}
		name := "--" + f.Name
		if f.Shorthand != "" {
			name = "-" + f.Shorthand + ", " + name
		}
		fmt.Fprintf(b, ".TP\n.B %s\n%s\n", roff(strings.TrimSpace(name+" "+kind)), roff(usage))
	})
}

// roff keeps what means something to roff from meaning it.
func roff(text string) string {
	text = strings.NewReplacer(`\`, `\e`, "-", `\-`, `"`, `\(dq`, "`", `\(ga`, "'", `\(aq`, "^", `\(ha`, "~", `\(ti`).Replace(text)
	if strings.HasPrefix(text, ".") {
		text = `\&` + text
	}
	return text
}
