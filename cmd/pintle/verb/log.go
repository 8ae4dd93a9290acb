package verb

import (
	"io"

	"github.com/spf13/cobra"

	"pintle/cmd/pintle/flags"
	"pintle/cmd/pintle/journal"
	"pintle/cmd/pintle/report"
	"pintle/cmd/pintle/whole"
	"pintle/cmd/pintle/words"
)

// logFlags are those of the verb log.
type logFlags struct {
	journal   flags.Journal
	csv, site string
	replace   bool
	asJSON    bool
}

func (a *app) logCommand() *cobra.Command {
	var f logFlags
	c := &cobra.Command{
		Use:     "log [DATE]",
		Short:   "list the evenings of the journal, or show one",
		Long:    words.LogLong,
		Example: words.LogExample,
		Args:    oneDate("pintle log"),
		RunE: func(_ *cobra.Command, args []string) error {
			path, es, err := a.evenings(f.journal)
			if err != nil {
				return err
			}
			if date := dateOf(args); date != "" || f.site != "" {
				if es, err = eveningsAt(es, date, f.site); err != nil {
					return err
				}
			}
			return f.show(a, path, es, len(args) == 1)
		},
	}
	fs := c.Flags()
	f.journal.Add(fs)
	fs.StringVar(&f.site, "site", "", "only evenings at this `site`")
	fs.StringVar(&f.csv, "csv", "", "write the records as comma-separated values into a `file`, - for the terminal")
	fs.BoolVar(&f.replace, "replace", false, "replace the file of --csv when it exists")
	fs.BoolVar(&f.asJSON, "json", false, "print the records, one JSON object a line")
	return c
}

// show prints evenings as asked: one in full, or a list.
func (f *logFlags) show(a *app, path string, es []journal.Evening, one bool) error {
	switch {
	case f.csv == "-":
		return report.WriteCSV(a.Out, journal.All(es))
	case f.csv != "":
		records := journal.All(es)
		err := whole.Write(f.csv, whole.How{Replace: f.replace}, func(w io.Writer) error { return report.WriteCSV(w, records) })
		if err == nil {
			a.Records(f.csv, len(records))
		}
		return err
	case f.asJSON:
		return a.RecordsJSON(journal.All(es))
	case one:
		for _, e := range es {
			a.Evening(e)
		}
	default:
		a.Log(path, es)
	}
	return nil
}
