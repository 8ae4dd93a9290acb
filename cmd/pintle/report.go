package main

import (
	_ "embed"
	"fmt"
	"html/template"
	"io"
	"math"
	"slices"

	"github.com/spf13/cobra"

	"pintle/axis/drive"
	"pintle/cmd/pintle/advice"
	"pintle/cmd/pintle/gear"
	"pintle/cmd/pintle/journal"
	"pintle/cmd/pintle/words"
	"pintle/index/sphere"
)

//go:embed report.html
var reportPage string

func (a *app) reportCommand() *cobra.Command {
	var j journalFlags
	var out, site, camera string
	var over bool
	c := &cobra.Command{
		Use:     "report [DATE]",
		Short:   "make a page of one evening, to keep or to print",
		Long:    words.ReportLong,
		Example: words.ReportExample,
		Args: func(c *cobra.Command, args []string) error {
			if len(args) > 1 {
				return advice.With(fmt.Errorf("pintle report wants one date, got %d words", len(args)), "pintle report 2026-11-27")
			}
			return nil
		},
		RunE: func(_ *cobra.Command, args []string) error {
			_, all, err := j.evenings(a)
			if err != nil {
				return err
			}
			date := ""
			if len(args) == 1 {
				date = args[0]
			}
			es, err := pickEvening(all, date, site)
			if err != nil {
				return err
			}
			if len(es) > 1 {
				return advice.With(fmt.Errorf("%d sites on %s", len(es), date), "name one with --site")
			}
			g, err := a.knownGear()
			if err != nil {
				return err
			}
			r, err := newReport(es[0], all, g.Gear, camera)
			if err != nil {
				return err
			}
			if out == "" {
				out = "evening-" + es[0].Date + ".html"
			}
			if err := writeNew(out, over, r.write); err != nil {
				return err
			}
			a.ReportWritten(out)
			return nil
		},
	}
	fs := c.Flags()
	j.add(fs)
	fs.StringVarP(&out, "output", "o", "", "the `file` to write (default: evening-DATE.html)")
	fs.BoolVar(&over, "replace", false, "replace the file when it exists")
	fs.StringVar(&site, "site", "", "the `site`, when there are several that evening")
	fs.StringVar(&camera, "camera", "", "the `camera` of the gear file to say what the error means for (default: its default camera)")
	return c
}

// report is what the page is filled from.
type report struct {
	Evening                    journal.Evening
	Last                       journal.Record
	Site                       string
	Title, Verdict, Conditions string
	Meaning                    []string
	Habit                      []string
	Rows                       []reportRow
	Walks                      []walkPicture
}

// reportRow is one record in the table.
type reportRow struct {
	Number                int
	Time, Kind            string
	Alt, Az, Total, Sigma string
	Moved                 string
	Within                bool
	Frames                []journal.Frame
	Warnings              []string
	Note                  string
}

func newReport(e journal.Evening, all []journal.Evening, g gear.Gear, camera string) (*report, error) {
	r := &report{Evening: e, Last: e.Last(), Site: siteLine(e.Site),
		Title: "Evening of " + words.Date(e.Date), Verdict: words.Verdict(e.Last()), Conditions: words.Conditions(e.Last().Air)}
	for i, rec := range e.Records {
		r.Rows = append(r.Rows, newRow(i+1, rec))
	}
	r.Walks = walks(e)
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

func newRow(n int, r journal.Record) reportRow {
	f := func(x float64) string { return fmt.Sprintf("%+.2f", x) }
	row := reportRow{Number: n, Time: r.Time.Format("15:04:05"), Kind: r.Kind, Alt: f(r.Offset.Alt), Az: f(r.Offset.AzKnob),
		Total: fmt.Sprintf("%.2f", r.Offset.Total), Sigma: fmt.Sprintf("%.2f", r.Sigma.Total), Within: r.Within(),
		Frames: r.Frames, Warnings: r.Warnings, Note: r.Note}
	if r.Moved != nil {
		row.Moved = f(r.Moved.Alt) + " / " + f(r.Moved.AzKnob)
	}
	return row
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
	px, ha := e.WorstTrail(d, drive.Window{From: -halfTurn, To: halfTurn})
	return words.Meaning(name, e, e.Effect(d, ha, 0), px), nil
}

func (r *report) write(w io.Writer) error {
	t, err := template.New("report").Parse(reportPage)
	if err != nil {
		return err
	}
	return t.Execute(w, r)
}

// walkPicture is the way of the axis to the pole, drawn in a square of 300
// units with the pole at its middle.
type walkPicture struct {
	Title       string
	Scale       float64 // units per arcmin
	Tolerance   float64 // radius, units
	Steps       []walkStep
	Path        string
	Ticks       []walkTick
	Left, Right string
}

type walkStep struct {
	Number         int
	X, Y           float64
	SigX, SigY     float64
	LabelX, LabelY float64
	Adjusted       bool
	Crowded        bool // no room for the number
}

type walkTick struct {
	Radius float64
	Label  string
}

// half is half the side of a picture, units.
const half = 150.0

// walks draws the whole way, and the end of it once more when it is much
// smaller.
func walks(e journal.Evening) []walkPicture {
	reach := func(records []journal.Record) float64 {
		most := e.Last().Tolerance
		for _, r := range records {
			most = math.Max(most, math.Hypot(r.Offset.AzSky, r.Offset.Alt)+r.Sigma.Total)
		}
		return 1.15 * most
	}
	whole := walk(e, reach(e.Records), words.TitleWhole)
	end := 1.15 * math.Max(2*e.Last().Tolerance, e.Last().Offset.Total+e.Last().Sigma.Total)
	if end > reach(e.Records)/3 {
		return []walkPicture{whole}
	}
	return []walkPicture{whole, walk(e, end, words.TitleEnd)}
}

func walk(e journal.Evening, reach float64, title string) walkPicture {
	w := walkPicture{Title: title, Scale: half / reach, Left: words.Counter, Right: words.Clockwise}
	w.Tolerance = e.Last().Tolerance * w.Scale
	for i, r := range e.Records {
		s := walkStep{Number: i + 1, X: r.Offset.AzSky * w.Scale, Y: -r.Offset.Alt * w.Scale,
			SigX: r.Sigma.AzSky * w.Scale, SigY: r.Sigma.Alt * w.Scale, Adjusted: r.Kind == journal.Adjustment}
		if math.Hypot(s.X, s.Y) > 1.4*half && title == words.TitleEnd {
			continue
		}
		s.LabelX, s.LabelY = s.X+9, s.Y-7
		s.Crowded = slices.ContainsFunc(w.Steps, func(o walkStep) bool {
			return !o.Crowded && math.Hypot(o.X-s.X, o.Y-s.Y) < 12
		})
		w.Steps = append(w.Steps, s)
		move := "L"
		if w.Path == "" {
			move = "M"
		}
		w.Path += fmt.Sprintf("%s%.1f %.1f", move, s.X, s.Y)
	}
	for _, t := range ticks(reach) {
		w.Ticks = append(w.Ticks, walkTick{t * w.Scale, fmt.Sprintf("%g'", t)})
	}
	return w
}

// ticks returns two or three round radii within reach, arcmin.
func ticks(reach float64) (out []float64) {
	unit := math.Pow(10, math.Floor(math.Log10(reach)))
	for _, f := range []float64{5, 2, 1, 0.5} {
		if step := f * unit; step*2 <= reach {
			for k := 1; float64(k)*step <= reach; k++ {
				out = append(out, math.Round(float64(k)*step*1e6)/1e6)
			}
			return out
		}
	}
	return []float64{unit / 2}
}

// siteLine names a site with its coordinates.
func siteLine(s journal.Site) string {
	p := gear.Site{Lat: s.Lat, Lon: s.Lon, Elev: s.Elev}.Place()
	if s.Name == "" {
		return words.LatLon(p)
	}
	return s.Name + " (" + words.LatLon(p) + ")"
}
