package report

import (
	"fmt"
	"math"
	"slices"

	"pintle/cmd/pintle/journal"
	"pintle/cmd/pintle/words"
)

// picture is the way of the axis to the pole, drawn in a square of 300
// units with the pole at its middle.
type picture struct {
	Title       string
	Scale       float64 // units per arcmin
	Tolerance   float64 // radius, units
	Steps       []step
	Path        string
	Ticks       []tick
	Left, Right string
}

type step struct {
	Number         int
	X, Y           float64
	SigX, SigY     float64
	LabelX, LabelY float64
	Adjusted       bool
	Crowded        bool // no room for the number
}

type tick struct {
	Radius float64
	Label  string
}

// half is half the side of a picture, units.
const half = 150.0

// walks draws the whole way, and the end of it once more when it is much
// smaller.
func walks(e journal.Evening) []picture {
	reach := func(records []journal.Record) float64 {
		most := e.Last().Tolerance
		for _, r := range records {
			most = math.Max(most, math.Hypot(r.Offset.AzSky, r.Offset.Alt)+r.Sigma.Total)
		}
		return drawable(1.15 * most)
	}
	whole := walk(e, reach(e.Records), words.TitleWhole)
	end := drawable(1.15 * math.Max(2*e.Last().Tolerance, e.Last().Offset.Total+e.Last().Sigma.Total))
	if end > reach(e.Records)/3 {
		return []picture{whole}
	}
	return []picture{whole, walk(e, end, words.TitleEnd)}
}

func walk(e journal.Evening, reach float64, title string) picture {
	w := picture{Title: title, Scale: half / reach, Left: words.Counter, Right: words.Clockwise}
	w.Tolerance = e.Last().Tolerance * w.Scale
	for i, r := range e.Records {
		s := step{Number: i + 1, X: r.Offset.AzSky * w.Scale, Y: -r.Offset.Alt * w.Scale,
			SigX: r.Sigma.AzSky * w.Scale, SigY: r.Sigma.Alt * w.Scale, Adjusted: r.Kind == journal.Adjustment}
		if math.Hypot(s.X, s.Y) > 1.4*half && title == words.TitleEnd {
			continue
		}
		s.LabelX, s.LabelY = s.X+9, s.Y-7
		s.Crowded = slices.ContainsFunc(w.Steps, func(o step) bool {
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
		w.Ticks = append(w.Ticks, tick{t * w.Scale, fmt.Sprintf("%g'", t)})
	}
	return w
}

// drawable keeps a reach, arcmin, to what an alignment can be off by: from a
// hundredth of an arcsecond to half the sky.
func drawable(reach float64) float64 { return math.Min(math.Max(reach, 1e-4), 180*60) }

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
