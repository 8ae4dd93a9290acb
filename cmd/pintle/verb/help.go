package verb

import (
	"errors"
	"fmt"
	"slices"
	"strings"
	"unicode"

	"github.com/spf13/cobra"
	"github.com/spf13/pflag"

	"pintle/cmd/pintle/advice"
	"pintle/cmd/pintle/words"
)

// topicCommands returns the help topics: commands that only have a text, which
// "pintle help NAME" prints.
func topicCommands() []*cobra.Command {
	var cs []*cobra.Command
	for _, t := range words.Topics {
		cs = append(cs, &cobra.Command{Use: t.Name, Short: t.Short, Long: t.Text})
	}
	return cs
}

// helpCommand is the library's, except that a word it does not know is an error.
func helpCommand(root *cobra.Command) *cobra.Command {
	return &cobra.Command{
		Use:   "help [VERB or TOPIC]",
		Short: words.HelpShort,
		RunE: func(_ *cobra.Command, args []string) error {
			c, rest, err := root.Find(args)
			if err == nil && len(rest) == 0 {
				c.InitDefaultHelpFlag()
				return c.Help()
			}
			word := args[0]
			if err == nil && c != root {
				word = rest[0]
			} else {
				c = root
			}
			return words.Mistyped("verb or topic", word, verbs(c), "pintle help")
		},
		ValidArgsFunction: func(_ *cobra.Command, args []string, _ string) ([]string, cobra.ShellCompDirective) {
			if c, rest, err := root.Find(args); err == nil && len(rest) == 0 {
				return verbs(c), cobra.ShellCompDirectiveNoFileComp
			}
			return nil, cobra.ShellCompDirectiveNoFileComp
		},
	}
}

// addCompletion adds the library's shell completion, with a line of ours.
func addCompletion(root *cobra.Command) {
	root.InitDefaultCompletionCmd()
	for _, c := range root.Commands() {
		if c.Name() == "completion" {
			c.Short = words.CompletionShort
		}
	}
}

// mistyped returns the error for a command line whose first word is no verb, nil
// when it is one.
func mistyped(root *cobra.Command, args []string) error {
	if _, _, err := root.Find(args); err == nil || slices.Contains(args, cobra.ShellCompRequestCmd) || slices.Contains(args, cobra.ShellCompNoDescRequestCmd) {
		return nil
	}
	i := slices.IndexFunc(args, func(s string) bool { return !strings.HasPrefix(s, "-") })
	return words.Mistyped("verb", args[max(0, i)], verbs(root), "pintle --help lists them")
}

// flagError words what the library has against a flag.
func flagError(c *cobra.Command, err error) error {
	var unknown *pflag.NotExistError
	var bad *pflag.InvalidValueError
	switch {
	case errors.As(err, &bad):
		_, usage := pflag.UnquoteUsage(bad.GetFlag())
		return words.BadFlag(bad.GetFlag().Name, bad.GetValue(), bad.GetFlag().Value.Type(), usage, errors.Unwrap(bad))
	case errors.As(err, &unknown) && unknown.GetSpecifiedShortnames() != "":
		short := unknown.GetSpecifiedShortnames()
		if unicode.IsDigit(rune(short[0])) {
			return advice.With(fmt.Errorf("-%s is no flag", short), "a value that begins with - stands after --, or after a = that follows its flag")
		}
		return words.Mistyped("flag", "-"+short, nil, c.CommandPath()+" --help lists them")
	case errors.As(err, &unknown):
		var known []string
		c.Flags().VisitAll(func(f *pflag.Flag) { known = append(known, "--"+f.Name) })
		return words.Mistyped("flag", "--"+unknown.GetSpecifiedName(), known, c.CommandPath()+" --help lists them")
	}
	return err
}
