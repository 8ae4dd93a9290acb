package main

import "github.com/spf13/cobra"

// topicCommands returns the help topics: commands that only have a text, which
// "pintle help NAME" prints.
func topicCommands() []*cobra.Command {
	var cs []*cobra.Command
	for _, t := range topics {
		cs = append(cs, &cobra.Command{Use: t.name, Short: t.short, Long: t.text})
	}
	return cs
}

// addCompletion adds the library's shell completion, with a line of ours.
func addCompletion(root *cobra.Command) {
	root.InitDefaultCompletionCmd()
	for _, c := range root.Commands() {
		if c.Name() == "completion" {
			c.Short = textCompletionShort
		}
	}
}
