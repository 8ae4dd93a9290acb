package verb

import (
	"fmt"
	"time"

	"pintle/cmd/pintle/advice"
	"pintle/cmd/pintle/flags"
	"pintle/cmd/pintle/journal"
	"pintle/cmd/pintle/words"
)

// journal is the file of the journal.
func (a *app) journal(f flags.Journal) (string, error) {
	if f.File != "" {
		return f.File, nil
	}
	return a.journalPath()
}

// evenings reads the journal and groups it; what was damaged is told.
func (a *app) evenings(f flags.Journal) (path string, es []journal.Evening, err error) {
	if path, err = a.journal(f); err != nil {
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
		if _, err := flags.Date(date, time.UTC); err != nil {
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

// keep is the file to keep a measurement in, "" for none.
func (a *app) keep(f flags.Record) (string, error) {
	if f.None {
		return "", nil
	}
	return a.journal(f.Journal)
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
