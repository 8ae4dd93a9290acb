package verb

import (
	"fmt"
	"io"
	"os"
	"path/filepath"
	"slices"
	"strings"

	"github.com/spf13/cobra"
	"github.com/spf13/pflag"

	"pintle/cmd/pintle/advice"
	"pintle/cmd/pintle/whole"
	"pintle/cmd/pintle/words"
)

// manCommand writes a manual page for the program, each verb and each topic.
func (a *app) manCommand() *cobra.Command {
	var replace bool
	c := &cobra.Command{
		Use:     "man FOLDER",
		Short:   words.ManShort,
		Long:    words.ManLong,
		Example: words.ManExample,
		Args: func(_ *cobra.Command, args []string) error {
			if len(args) != 1 {
				return advice.With(fmt.Errorf("pintle man got %d folders, it takes 1", len(args)), "pintle man ~/.local/share/man/man1")
			}
			return nil
		},
		RunE: func(cmd *cobra.Command, args []string) error {
			if err := os.MkdirAll(args[0], 0o755); err != nil {
				return advice.With(err, "name a folder that can be written to")
			}
			n, err := writeManual(cmd.Root(), args[0], whole.How{Replace: replace})
			if err != nil {
				return err
			}
			a.ManualWritten(n, args[0])
			return nil
		},
	}
	c.Flags().BoolVar(&replace, "replace", false, "replace pages that exist")
	return c
}

// writeManual writes the pages of a command and all below it.
func writeManual(c *cobra.Command, folder string, how whole.How) (n int, err error) {
	name := strings.ReplaceAll(c.CommandPath(), " ", "-")
	text := manPage(c, name)
	err = whole.Write(filepath.Join(folder, name+".1"), how, func(w io.Writer) error {
		_, err := io.WriteString(w, text)
		return err
	})
	if err != nil {
		return 0, err
	}
	n = 1
	for _, sub := range shown(c) {
		k, err := writeManual(sub, folder, how)
		n += k
		if err != nil {
			return n, err
		}
	}
	return n, nil
}

// shown are the commands below c that have a page.
func shown(c *cobra.Command) (out []*cobra.Command) {
	for _, sub := range c.Commands() {
		if !sub.Hidden && sub.Name() != "help" && sub.Name() != "completion" {
			out = append(out, sub)
		}
	}
	return out
}

// manPage returns the page in the man macros of troff.
func manPage(c *cobra.Command, name string) string {
	var b strings.Builder
	fmt.Fprintf(&b, ".TH %s 1\n.SH NAME\n%s \\- %s\n", strings.ToUpper(troff(name)), troff(name), troff(c.Short))
	if c.Runnable() || c.HasSubCommands() {
		use := c.UseLine()
		if c.HasSubCommands() && !c.Runnable() {
			use = c.CommandPath() + " VERB"
		}
		manSection(&b, "SYNOPSIS", use)
	}
	long := c.Long
	if long == "" {
		long = c.Short
	}
	manSection(&b, "DESCRIPTION", long)
	c.InitDefaultHelpFlag()
	if c.HasAvailableLocalFlags() && c.Runnable() {
		b.WriteString(".SH OPTIONS\n")
		c.LocalFlags().VisitAll(func(f *pflag.Flag) { manFlag(&b, f) })
	}
	if c.Example != "" {
		manSection(&b, "EXAMPLES", c.Example)
	}
	var also []string
	if c.HasParent() {
		also = append(also, strings.ReplaceAll(c.Parent().CommandPath(), " ", "-")+"(1)")
	}
	for _, sub := range shown(c) {
		also = append(also, name+"-"+sub.Name()+"(1)")
	}
	if len(also) > 0 {
		fmt.Fprintf(&b, ".SH SEE ALSO\n%s\n", troff(strings.Join(also, ", ")))
	}
	return b.String()
}

// manSection writes text as it stands, line by line.
func manSection(b *strings.Builder, title, text string) {
	fmt.Fprintf(b, ".SH %s\n.nf\n%s\n.fi\n", title, troff(strings.TrimRight(text, "\n")))
}

// noDefault are the values of flags that say nothing.
var noDefault = []string{"", "0", "0s", "false", "[]"}

func manFlag(b *strings.Builder, f *pflag.Flag) {
	if f.Hidden {
		return
	}
	value, usage := pflag.UnquoteUsage(f)
	head := "--" + f.Name
	if f.Shorthand != "" {
		head = "-" + f.Shorthand + ", " + head
	}
	if value != "" {
		head += " " + value
	}
	if usual := f.DefValue; !slices.Contains(noDefault, usual) && !strings.Contains(usage, "(default") {
		usage += " (default: " + usual + ")"
	}
	fmt.Fprintf(b, ".TP\n.B %s\n%s\n", troff(head), troff(usage))
}

// troff escapes what troff would take for its own.
func troff(s string) string {
	s = strings.NewReplacer(`\`, `\e`, "-", `\-`).Replace(s)
	lines := strings.Split(s, "\n")
	for i, l := range lines {
		if strings.HasPrefix(l, ".") || strings.HasPrefix(l, "'") {
			lines[i] = `\&` + l
		}
	}
	return strings.Join(lines, "\n")
}
