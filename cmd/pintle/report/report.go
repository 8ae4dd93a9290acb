// Package report makes a page of one evening of the journal, to keep or to
// print: the way of the axis to the pole, every measurement, and what is left.
package report

import (
	_ "embed"
	"fmt"
	"html/template"
	"io"
	"slices"
	"sync"

	"pintle/axis/drive"
	"pintle/cmd/pintle/advice"
	"pintle/cmd/pintle/gear"
	"pintle/cmd/pintle/journal"
	"pintle/cmd/pintle/words"
	"pintle/index/sphere"
)

// Page is what the template is filled from.
type Page struct {
	Evening                    journal.Evening
	Last                       journal.Record
	Site                       string
	Title, Verdict, Conditions string
	Meaning                    []string
	Habit                      []string
	Rows                       []row
	Walks                      []picture
	Turns                      []turn
}

// turn is a turn of RA that the mount made, in the table.
type turn struct {
	Direction, Asked, Reported, Measured, Rate, Seconds, EndedBy string
}

// row is one record in the table.
type row struct {
	Number                int
	Time, Kind            string
	Alt, Az, Total, Sigma string
	Moved                 string
	Made                  string // of what the error is made
	Within                bool
	Frames                []journal.Frame
	Warnings              []string
	Note                  string
}

// New makes the page of an evening; all evenings tell the habits of its site, and
// a camera of the gear (its default one when none is named) what the error means.
func New(e journal.Evening, all []journal.Evening, g gear.Gear, camera string) (*Page, error) {
	r := &Page{Evening: e, Last: e.Last(), Site: siteLine(e.Site),
		Title: "Evening of " + words.Date(e.Date), Verdict: words.Verdict(e.Last()), Conditions: words.Conditions(e.Last().Air)}
	for i, rec := range e.Records {
		r.Rows = append(r.Rows, newRow(i+1, rec))
	}
	r.Walks = walks(e)
	for _, t := range turnsOf(e.Records) {
		r.Turns = append(r.Turns, newTurn(t))
	}
	var err error
	if r.Meaning, err = meaning(e.Last(), g, camera); err != nil {
		return nil, err
	}
	for _, h := range journal.Habits(all) {
		if h.Site.Title() == e.Site.Title() {
			r.Habit = words.Habit(h)
		}
	}
	return r, nil
}

func newRow(n int, r journal.Record) row {
	f := func(x float64) string { return fmt.Sprintf("%+.2f", x) }
	row := row{Number: n, Time: r.Time.Format("15:04:05"), Kind: r.Kind, Alt: f(r.Offset.Alt), Az: f(r.Offset.AzKnob),
		Total: fmt.Sprintf("%.2f", r.Offset.Total), Sigma: words.SigmaOf(r.Sigma.Total), Within: r.Within(),
		Frames: r.Frames, Warnings: r.Warnings, Note: r.Note}
	if r.Made != nil {
		row.Made = words.Made(*r.Made)
	}
	if r.Moved != nil {
		row.Moved = f(r.Moved.Alt) + " / " + f(r.Moved.AzKnob)
	}
	return row
}

// turnsOf returns the turns of an evening, each once: a record has all that were
// made in its run of the program up to it.
func turnsOf(records []journal.Record) (all []journal.Turn) {
	run := 0 // where the turns of the run begin
	for _, r := range records {
		if len(r.Turns) == 0 {
			continue
		}
		if !begins(r.Turns, all[run:]) {
			run = len(all)
		}
		all = append(all[:run], r.Turns...)
	}
	return all
}

// begins reports whether turns begin with those of an earlier record, of which the
// last may not have been measured yet.
func begins(turns, earlier []journal.Turn) bool {
	same := func(a, b journal.Turn) bool {
		a.Measured, b.Measured = nil, nil
		return a == b
	}
	return len(turns) >= len(earlier) && slices.EqualFunc(turns[:len(earlier)], earlier, same)
}

func newTurn(t journal.Turn) turn {
	out := turn{Direction: t.Direction, Asked: fmt.Sprintf("%.1f", t.Asked), Reported: fmt.Sprintf("%.2f", t.Reported), Measured: "–",
		Rate: fmt.Sprintf("%.2f", t.Rate), Seconds: fmt.Sprintf("%.1f", t.Seconds), EndedBy: words.TurnEnd(t.StoppedBy)}
	if t.Measured != nil {
		out.Measured = fmt.Sprintf("%.2f", *t.Measured)
	}
	return out
}

// meaning says what the error left does to the camera's exposures: in a star
// anywhere in the sky, at its worst.
func meaning(r journal.Record, g gear.Gear, camera string) ([]string, error) {
	name, c, ok := gear.Pick(g.Cameras, camera, g.Default.Camera)
	if !ok {
		if camera != "" {
			return nil, advice.With(fmt.Errorf("no camera called %q in the gear file", camera), words.Known(g.Names(gear.KindCamera), "pintle gear add camera NAME --focal 400 --pixel 3.76 --exposure 180"))
		}
		return nil, nil
	}
	e, ok := c.Shot()
	if !ok {
		return nil, nil
	}
	pole := sphere.LocalAt(sphere.Angle(r.Pole.Az)*sphere.Degree, sphere.Angle(r.Pole.Alt)*sphere.Degree)
	at := sphere.LocalAt(sphere.Angle(r.Axis.Az)*sphere.Degree, sphere.Angle(r.Axis.Alt)*sphere.Degree)
	d := drive.New(pole, at, r.Site.Lat < 0)
	px, ha := e.WorstTrail(d, drive.Window{From: -180 * sphere.Degree, To: 180 * sphere.Degree})
	return words.Meaning(name, e, e.Effect(d, ha, 0), px), nil
}

// Write writes the page.
func (r *Page) Write(w io.Writer) error { return layout().Execute(w, r) }

//go:embed page.html
var source string

var layout = sync.OnceValue(func() *template.Template {
	return template.Must(template.New("report").Funcs(template.FuncMap{"foreign": foreign}).Parse(source))
})

// foreign makes text of the journal fit to be shown, at no more length than a
// paragraph has.
func foreign(s string) string { return words.Short(s, 2000) }

// siteLine names a site with its coordinates.
func siteLine(s journal.Site) string {
	p := gear.Site{Lat: s.Lat, Lon: s.Lon, Elev: s.Elev}.Place()
	return words.Where(s.Name, p)
}
