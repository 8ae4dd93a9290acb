package verb

import (
	"fmt"

	"github.com/spf13/cobra"

	"pintle/cmd/pintle/advice"
	"pintle/cmd/pintle/flags"
	"pintle/cmd/pintle/journal"
	"pintle/cmd/pintle/report"
	"pintle/cmd/pintle/whole"
	"pintle/cmd/pintle/words"
)

// reportFlags are those of the verb report.
type reportFlags struct {
	journal      flags.Journal
	out          string
	replace      bool
	site, camera string
}

func (a *app) reportCommand() *cobra.Command {
	var f reportFlags
	c := &cobra.Command{
		Use:     "report [DATE]",
		Short:   "make a page of one evening, to keep or to print",
		Long:    words.ReportLong,
		Example: words.ReportExample,
		Args:    oneDate("pintle report"),
		RunE: func(_ *cobra.Command, args []string) error {
			e, all, err := f.evening(a, dateOf(args))
			if err != nil {
				return err
			}
			g, err := a.gearFor(f.camera)
			if err != nil {
				return err
			}
			p, err := report.New(e, all, g.Gear, f.camera)
			if err != nil {
				return err
			}
			if f.out == "" {
				f.out = "evening-" + e.Date + ".html"
			}
			if err := whole.Write(f.out, whole.How{Replace: f.replace}, p.Write); err != nil {
				return err
			}
			a.ReportWritten(f.out)
			return nil
		},
	}
	fs := c.Flags()
	f.journal.Add(fs)
	fs.StringVarP(&f.out, "output", "o", "", "the `file` to write (default: evening-DATE.html)")
	fs.BoolVar(&f.replace, "replace", false, "replace the file when it exists")
	fs.StringVar(&f.site, "site", "", "the `site`, when there are several that evening")
	fs.StringVar(&f.camera, "camera", "", "the `camera` of the gear file to say what the error means for (default: its default camera)")
	return c
}

// evening is the one evening that the page is of, and all there are.
func (f *reportFlags) evening(a *app, date string) (e journal.Evening, all []journal.Evening, err error) {
	_, all, err = a.evenings(f.journal)
	if err != nil {
		return e, nil, err
	}
	es, err := pickEvening(all, date, f.site)
	if err != nil {
		return e, nil, err
	}
	if len(es) > 1 {
		return e, nil, advice.With(fmt.Errorf("%d sites on %s", len(es), date), "name one with --site")
	}
	return es[0], all, nil
}
