package evening

import (
	"errors"
	"fmt"
	"strings"
	"time"

	"pintle/cmd/pintle/advice"
	"pintle/cmd/pintle/gear"
	"pintle/cmd/pintle/journal"
	"pintle/cmd/pintle/words"
	"pintle/index/sphere"
)

// Past is an evening of the journal. Angles are arcminutes.
type Past struct {
	Date    string   `json:"date"`
	Site    string   `json:"site"` // its name, or its place in words
	Name    string   `json:"site_name"`
	Records int      `json:"records"`
	First   *float64 `json:"first_arcmin"` // how it was set up, null when that was not measured
	Last    float64  `json:"last_arcmin"`
	Words   string   `json:"words"`
	Within  bool     `json:"within_tolerance"`
	Notes   []string `json:"notes"`
}

// Record is what the journal holds.
type Record struct {
	Evenings []Past   `json:"evenings"` // the newest first
	Of       int      `json:"of"`       // before the search
	Habits   []string `json:"habits"`
	Damaged  int      `json:"damaged"` // lines that cannot be read
}

// mostPast is how many evenings are listed.
const mostPast = 200

// Record lists the evenings of the journal in which every word of search stands: in
// date, site or notes.
func (e *Evening) Record(search string) (*Record, error) {
	es, damaged, err := e.evenings()
	if err != nil {
		return nil, err
	}
	out := &Record{Evenings: []Past{}, Of: len(es), Habits: []string{}, Damaged: damaged}
	for i := len(es) - 1; i >= 0 && len(out.Evenings) < mostPast; i-- {
		p := past(es[i])
		if p.holds(search) {
			out.Evenings = append(out.Evenings, p)
		}
	}
	for _, h := range journal.Habits(es) {
		if w := words.Habit(h); len(w) > 0 {
			out.Habits = append(out.Habits, strings.Join(w, " "))
		}
	}
	return out, nil
}

func (e *Evening) evenings() ([]journal.Evening, int, error) {
	if e.c.Journal == "" {
		return nil, 0, nil
	}
	records, damage, err := journal.Read(e.c.Journal)
	if err != nil {
		return nil, 0, advice.With(err, "check the journal's file")
	}
	return journal.Evenings(records), len(damage), nil
}

func arcminutes(x float64) string { return words.Arcminutes(sphere.Angle(x) * sphere.Arcminute) }

func past(e journal.Evening) Past {
	last := e.Last()
	p := Past{Date: e.Date, Site: words.Short(e.Site.Title(), 60), Name: e.Site.Name, Records: len(e.Records), Last: last.Offset.Total, Within: last.Within(), Notes: []string{}}
	start := ""
	if f, ok := e.First(); ok {
		p.First = &f.Offset.Total
		start = "set up to " + arcminutes(f.Offset.Total) + ", "
	}
	p.Words = fmt.Sprintf("%sleft at %s, %s the %g' allowed", start, arcminutes(last.Offset.Total), words.Within(p.Within), last.Tolerance)
	for _, r := range e.Records {
		if r.Note != "" && len(p.Notes) < 10 {
			p.Notes = append(p.Notes, words.Short(r.Note, 200))
		}
	}
	return p
}

// holds reports whether every word of a search stands somewhere in the evening.
func (p Past) holds(search string) bool {
	all := strings.ToLower(strings.Join(append([]string{p.Date, words.Date(p.Date), p.Site}, p.Notes...), " "))
	for _, w := range strings.Fields(strings.ToLower(search)) {
		if !strings.Contains(all, w) {
			return false
		}
	}
	return true
}

// Reported is what the report of an evening is made from.
type Reported struct {
	Evening journal.Evening
	All     []journal.Evening // of the journal, for the habits at its site
	Gear    gear.Gear
	Camera  string // name in the gear, "" for its default one
}

// Reported returns an evening of the journal: that of a date, and of a site's name
// when there are several; "" is the last one.
func (e *Evening) Reported(date, site string) (r Reported, err error) {
	if r.All, _, err = e.evenings(); err != nil {
		return r, err
	}
	if r.Evening, err = pick(r.All, date, site); err != nil {
		return r, err
	}
	if g, err := gear.Load(e.c.Gear); err == nil {
		r.Gear = g.Gear
	}
	r.Camera, _ = e.chosen()
	return r, nil
}

// pick returns one evening of a date and a site.
func pick(es []journal.Evening, date, site string) (one journal.Evening, err error) {
	if len(es) == 0 {
		return one, advice.With(fmt.Errorf("%w: the journal is empty", ErrUnknown), "it fills with every measurement")
	}
	if date == "" && site == "" {
		return es[len(es)-1], nil
	}
	if _, err := time.Parse(time.DateOnly, date); err != nil {
		return one, advice.With(errors.New(quote(date)+" is not a date"), "write it like 2026-11-27")
	}
	var found []journal.Evening
	for _, e := range es {
		if e.Date == date && (site == "" || e.Site.Name == site || e.Site.Title() == site) {
			found = append(found, e)
		}
	}
	switch len(found) {
	case 0:
		return one, advice.With(fmt.Errorf("%w: nothing in the journal for %s", ErrUnknown, words.Evening(date, site)), "choose an evening of the list")
	case 1:
		return found[0], nil
	}
	return one, advice.With(fmt.Errorf("%d sites on %s", len(found), date), "name one")
}

// Records returns all records of the journal.
func (e *Evening) Records() ([]journal.Record, error) {
	es, _, err := e.evenings()
	return journal.All(es), err
}
