package verb

import (
	"maps"
	"slices"

	"github.com/spf13/cobra"

	"pintle/cmd/pintle/gear"
	"pintle/cmd/pintle/targets"
)

// answers lists what may stand at one place of the command line.
type answers func() []string

// completions are what the shell offers for the values of flags, by the flags'
// names.
func (a *app) completions() map[string]answers {
	return map[string]answers{
		"site":     a.gearNames(gear.KindSite),
		"camera":   a.gearNames(gear.KindCamera),
		"mount":    a.gearNames(gear.KindMount),
		"target":   targetNames(""),
		"star":     targetNames("star"),
		"pole":     func() []string { return []string{"refracted", "true", "king"} },
		"tracking": func() []string { return []string{"on", "off"} },
	}
}

// gearNames lists the names of one kind; a gear file that is no good has none.
func (a *app) gearNames(kind string) answers {
	return func() []string {
		f, err := a.knownGear()
		if err != nil {
			return nil
		}
		return f.Gear.Names(kind)
	}
}

// targetNames lists the targets of a type, "" for all.
func targetNames(kind string) answers {
	return func() (out []string) {
		for _, t := range targets.All() {
			if kind == "" || t.Type == kind {
				out = append(out, t.Name)
			}
		}
		return out
	}
}

// addCompletions lets the shell complete the flags of a command and of all
// below it.
func (a *app) addCompletions(c *cobra.Command) {
	offers := a.completions()
	for _, name := range slices.Sorted(maps.Keys(offers)) {
		if f := c.Flags().Lookup(name); f != nil && f.Value.Type() != "bool" {
			offer := offers[name]
			_ = c.RegisterFlagCompletionFunc(name, func(*cobra.Command, []string, string) ([]string, cobra.ShellCompDirective) {
				return offer(), cobra.ShellCompDirectiveNoFileComp
			}) // fails only for a flag that is not there, or twice
		}
	}
	for _, sub := range c.Commands() {
		a.addCompletions(sub)
	}
}

// completeThings offers a kind of the gear file, then a name of that kind.
func (a *app) completeThings(_ *cobra.Command, args []string, _ string) ([]string, cobra.ShellCompDirective) {
	switch len(args) {
	case 0:
		return []string{gear.KindSite, gear.KindCamera, gear.KindMount}, cobra.ShellCompDirectiveNoFileComp
	case 1:
		return a.gearNames(args[0])(), cobra.ShellCompDirectiveNoFileComp
	}
	return nil, cobra.ShellCompDirectiveNoFileComp
}
