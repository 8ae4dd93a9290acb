package main

import (
	"fmt"
	"io"
	"os"
	"time"

	"github.com/spf13/cobra"
	"github.com/spf13/pflag"

	"pintle/axis/place"
	"pintle/cmd/pintle/advice"
	"pintle/cmd/pintle/journal"
	"pintle/cmd/pintle/words"
	"pintle/index/sphere"
)

// near is true when a record was made within some kilometres of a site.
func near(s journal.Site, t place.Site) bool {
	const few = 0.05 * sphere.Degree
	return (sphere.Angle(s.Lat)*sphere.Degree-t.Lat).Abs() < few && (sphere.Angle(s.Lon)*sphere.Degree-t.Lon).Wrap().Abs() < few
}

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

func (a *app) logCommand() *cobra.Command {
	var j journalFlags
	var csv, site string
	var asJSON bool
	c := &cobra.Command{
		Use:     "log [DATE]",
		Short:   "list the evenings of the journal, or show one",
		Long:    words.LogLong,
		Example: words.LogExample,
		Args: func(c *cobra.Command, args []string) error {
			if len(args) > 1 {
				return advice.With(fmt.Errorf("pintle log wants one date, got %d words", len(args)), "pintle log 2026-11-27")
			}
			return nil
		},
		RunE: func(_ *cobra.Command, args []string) error {
			path, es, err := j.evenings(a)
			if err != nil {
				return err
			}
			one := len(args) == 1
			if one || site != "" {
				date := ""
				if one {
					date = args[0]
				}
				if es, err = eveningsAt(es, date, site); err != nil {
					return err
				}
			}
			switch {
			case csv != "":
				return a.exportCSV(csv, es)
			case asJSON:
				return a.logJSON(es)
			case one:
				for _, e := range es {
					a.Evening(e)
				}
			default:
				a.Log(path, es)
			}
			return nil
		},
	}
	fs := c.Flags()
	j.add(fs)
	fs.StringVar(&site, "site", "", "only evenings at this `site`")
	fs.StringVar(&csv, "csv", "", "write the records as comma-separated values into a `file`, - for the terminal")
	fs.BoolVar(&asJSON, "json", false, "print the records, one JSON object a line")
	return c
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

func (a *app) exportCSV(path string, es []journal.Evening) error {
	var records []journal.Record
	for _, e := range es {
		records = append(records, e.Records...)
	}
	if path == "-" {
		return journal.WriteCSV(a.Out, records)
	}
	err := writeNew(path, false, func(w io.Writer) error { return journal.WriteCSV(w, records) })
	if err == nil {
		a.Records(path, len(records))
	}
	return err
}

// writeNew writes a file that must not exist yet unless over is set; what a
// failure leaves behind is removed.
func writeNew(path string, over bool, write func(io.Writer) error) error {
	flag := os.O_WRONLY | os.O_CREATE | os.O_TRUNC
	if !over {
		flag = os.O_WRONLY | os.O_CREATE | os.O_EXCL
	}
	f, err := os.OpenFile(path, flag, 0o644)
	if os.IsExist(err) {
		return advice.With(fmt.Errorf("%s exists already", path), "name another file, or remove it first")
	}
	if err != nil {
		return advice.With(err, "check that the folder exists and can be written")
	}
	if err := write(f); err != nil {
		f.Close()
		os.Remove(path)
		return err
	}
	return f.Close()
}

func (a *app) logJSON(es []journal.Evening) error {
	for _, e := range es {
		for _, r := range e.Records {
			r.State = nil
			if err := a.JSON(r); err != nil {
				return err
			}
		}
	}
	return nil
}
