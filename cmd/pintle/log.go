package main

import (
	"fmt"
	"io"
	"time"

	"github.com/spf13/cobra"
	"github.com/spf13/pflag"

	"pintle/cmd/pintle/advice"
	"pintle/cmd/pintle/journal"
	"pintle/cmd/pintle/report"
	"pintle/cmd/pintle/whole"
	"pintle/cmd/pintle/words"
)

// journalFlags name the journal.
type journalFlags struct{ path string }

func (f *journalFlags) add(fs *pflag.FlagSet) {
	fs.StringVar(&f.path, "journal", "", "the journal `file` (default: the user's)")
}

func (f *journalFlags) file(a *app) (string, error) {
	if f.path != "" {
		return f.path, nil
	}
	return a.journalPath()
}

// evenings reads the journal and groups it; what was damaged is told.
func (f *journalFlags) evenings(a *app) (path string, es []journal.Evening, err error) {
	if path, err = f.file(a); err != nil {
		return "", nil, err
	}
	records, damage, err := journal.Read(path)
	if err != nil {
		return path, nil, advice.With(err, "check --journal")
	}
	a.Skipped(path, damage)
	return path, journal.Evenings(records), nil
}

// pickEvening returns the evenings of a date, or the last one when date is "".
func pickEvening(es []journal.Evening, date, site string) ([]journal.Evening, error) {
	if date != "" {
		if _, err := readDate(date, time.UTC); err != nil {
			return nil, err
		}
	}
	var out []journal.Evening
	for _, e := range es {
		if (date == "" || e.Date == date) && (site == "" || e.Site.Name == site) {
			out = append(out, e)
		}
	}
	if len(out) == 0 {
		if len(es) == 0 {
			return nil, advice.With(fmt.Errorf("the journal is empty"), "it fills with every \"pintle axis\" and \"pintle live\"")
		}
		return nil, advice.With(fmt.Errorf("nothing in the journal for %s", words.Evening(date, site)), fmt.Sprintf("\"pintle log\" lists the evenings; the last is %s", es[len(es)-1].Date))
	}
	if date == "" {
		out = out[len(out)-1:]
	}
	return out, nil
}

// oneDate takes an evening's date, or none.
func oneDate(verb string) cobra.PositionalArgs {
	return func(_ *cobra.Command, args []string) error {
		if len(args) > 1 {
			return advice.With(fmt.Errorf("%s wants one date, got %d words", verb, len(args)), verb+" 2026-11-27")
		}
		return nil
	}
}

// dateOf is the date among the arguments, "" when there is none.
func dateOf(args []string) string {
	if len(args) == 0 {
		return ""
	}
	return args[0]
}

// logFlags are those of the verb log.
type logFlags struct {
	journal   journalFlags
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
			path, es, err := f.journal.evenings(a)
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
	f.journal.add(fs)
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

// eveningsAt returns the evenings of a date and a site, each where given.
func eveningsAt(es []journal.Evening, date, site string) ([]journal.Evening, error) {
	if date != "" {
		return pickEvening(es, date, site)
	}
	var out []journal.Evening
	for _, e := range es {
		if e.Site.Name == site {
			out = append(out, e)
		}
	}
	if len(out) == 0 {
		return nil, advice.With(fmt.Errorf("nothing in the journal for %s", words.Evening("", site)), "\"pintle log\" lists the evenings and their sites")
	}
	return out, nil
}
