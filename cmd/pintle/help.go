package main

import (
	"github.com/spf13/cobra"

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

// addCompletion adds the library's shell completion, with a line of ours.
func addCompletion(root *cobra.Command) {
	root.InitDefaultCompletionCmd()
	for _, c := range root.Commands() {
		if c.Name() == "completion" {
			c.Short = words.CompletionShort
		}
	}
}
