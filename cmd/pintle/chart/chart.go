// Package chart draws the sky of a plan.
package chart

import (
	"fmt"
	"image/color"
	"io"
	"math"
	"path/filepath"
	"strings"

	"gonum.org/v1/plot"
	"gonum.org/v1/plot/font"
	"gonum.org/v1/plot/plotter"
	"gonum.org/v1/plot/text"
	"gonum.org/v1/plot/vg"
	"gonum.org/v1/plot/vg/draw"

	"pintle/axis/drive"
	"pintle/cmd/pintle/advice"
	"pintle/cmd/pintle/planning"
	"pintle/cmd/pintle/words"
	"pintle/index/sphere"
)

// The chart's inks. Meaning is carried by shape, line and label as well.
var (
	inkPaper   = color.RGBA{250, 246, 236, 255}
	inkSky     = color.RGBA{226, 222, 214, 255}
	inkGrid    = color.RGBA{170, 162, 150, 255}
	inkBlocked = color.RGBA{110, 98, 84, 255}
	inkText    = color.RGBA{40, 34, 28, 255}
	inkPlan    = color.RGBA{140, 20, 20, 255}
)

// Kind is the kind of picture that a file's name asks for, to be given to Sky.
func Kind(path string) (string, error) {
	ext := strings.ToLower(filepath.Ext(path))
	if ext != ".svg" && ext != ".png" {
		return "", advice.With(fmt.Errorf("--chart %q: %q is no kind of picture", path, ext), "end the name in .svg or .png")
	}
	return ext[1:], nil
}

// Sky draws the sky of a plan: the zenith in the middle, north on top and east on
// the left, as it looks to someone on their back.
func Sky(pl *planning.Plan, kind string) (io.WriterTo, error) {
	c := skyChart{plot.New()}
	c.p.HideAxes()
	c.p.BackgroundColor = inkPaper
	c.p.X.Min, c.p.X.Max, c.p.Y.Min, c.p.Y.Max = -1.16, 1.16, -1.16, 1.3
	c.sky()
	c.blocked(pl)
	c.grid(pl.Sky.MinAlt)
	for i, s := range pl.Suggestions {
		c.suggestion(pl, i, s.HA, s.Dec)
	}
	c.label(plotter.XY{Y: 1.23}, title(pl)+", "+words.Moment(pl.At), inkText, 11, 0, 0)
	c.mark(pl, pl.Night.Pole, "pole", draw.CrossGlyph{})
	if pl.Sky.MoonAlt > 0 {
		c.mark(pl, pl.Sky.Moon.Seen, fmt.Sprintf("Moon %.0f%%", 100*pl.Sky.Moon.Lit), draw.RingGlyph{})
	}
	return c.p.WriterTo(16*vg.Centimeter, 17*vg.Centimeter, kind)
}

func title(pl *planning.Plan) string {
	if pl.Name != "" {
		return pl.Name
	}
	return words.LatLon(pl.Site)
}

type skyChart struct{ p *plot.Plot }

// onChart places a direction on the chart.
func onChart(az, alt sphere.Angle) plotter.XY {
	r := 1 - alt.Degrees()/90
	return plotter.XY{X: -r * az.Sin(), Y: r * az.Cos()}
}

// arc returns points along a circle of altitude.
func arc(from, to sphere.Angle, alt func(az sphere.Angle) sphere.Angle) (xy plotter.XYs) {
	n := max(2, int(math.Ceil((to - from).Degrees())))
	for i := range n + 1 {
		az := from + (to-from)*sphere.Angle(i)/sphere.Angle(n)
		xy = append(xy, onChart(az, alt(az)))
	}
	return xy
}

func level(alt sphere.Angle) func(sphere.Angle) sphere.Angle {
	return func(sphere.Angle) sphere.Angle { return alt }
}

func (c skyChart) fill(xy plotter.XYs, ink color.Color) {
	if p, err := plotter.NewPolygon(xy); err == nil {
		p.Color = ink
		p.LineStyle.Width = 0
		c.p.Add(p)
	}
}

func (c skyChart) line(xy plotter.XYs, ink color.Color, width float64, dashes ...float64) {
	l, err := plotter.NewLine(xy)
	if err != nil {
		return
	}
	l.Color, l.Width = ink, vg.Points(width)
	for _, d := range dashes {
		l.Dashes = append(l.Dashes, vg.Points(d))
	}
	c.p.Add(l)
}

func (c skyChart) label(at plotter.XY, s string, ink color.Color, points float64, dx, dy float64) {
	l, err := plotter.NewLabels(plotter.XYLabels{XYs: plotter.XYs{at}, Labels: []string{s}})
	if err != nil {
		return
	}
	l.TextStyle = []text.Style{{Color: ink, Font: font.Font{Typeface: plot.DefaultFont.Typeface, Variant: "Sans", Size: vg.Points(points)},
		XAlign: text.XCenter, YAlign: text.YCenter, Handler: plot.DefaultTextHandler}}
	l.Offset = vg.Point{X: vg.Points(dx), Y: vg.Points(dy)}
	c.p.Add(l)
}

func (c skyChart) sky() { c.fill(arc(0, 2*(180*sphere.Degree), level(0)), inkSky) }

// blocked fills what cannot be seen, from the horizon up.
func (c skyChart) blocked(pl *planning.Plan) {
	const step = sphere.Degree
	start := sphere.Angle(-1)
	flush := func(end sphere.Angle) {
		if start < 0 {
			return
		}
		outer, inner := arc(start, end, level(0)), arc(start, end, pl.Sky.Skyline.Lowest)
		for i := len(inner) - 1; i >= 0; i-- {
			outer = append(outer, inner[i])
		}
		c.fill(outer, inkBlocked)
		start = -1
	}
	for az := sphere.Angle(0); az < 2*(180*sphere.Degree); az += step {
		switch blocked := pl.Sky.Skyline.Lowest(az) > 0; {
		case blocked && start < 0:
			start = az
		case !blocked && start >= 0:
			flush(az - step)
		}
	}
	flush(2*(180*sphere.Degree) - 1e-9)
}

func (c skyChart) grid(minAlt sphere.Angle) {
	for _, alt := range []sphere.Angle{0, 30 * sphere.Degree, 60 * sphere.Degree} {
		c.line(arc(0, 2*(180*sphere.Degree), level(alt)), inkGrid, 0.6)
		if alt > 0 {
			c.label(onChart(202.5*sphere.Degree, alt), fmt.Sprintf("%.0f°", alt.Degrees()), inkText, 8, 0, 6)
		}
	}
	c.line(arc(0, 2*(180*sphere.Degree), level(minAlt)), inkGrid, 0.8, 3, 3)
	for i := range 8 {
		az := sphere.Angle(i) * (180 * sphere.Degree) / 4
		c.line(plotter.XYs{onChart(az, 0), onChart(az, 90*sphere.Degree)}, inkGrid, 0.3)
		size := 9.0
		if i%2 == 0 {
			size = 12
		}
		c.label(onChart(az, -7*sphere.Degree), words.Wind(az), inkText, size, 0, 0)
	}
}

// suggestion draws the turn and its frames, numbered; the line is another for
// each.
func (c skyChart) suggestion(pl *planning.Plan, i int, has []sphere.Angle, dec sphere.Angle) {
	sky := drive.NewFrame(pl.Night.Pole, pl.Night.South)
	at := func(ha sphere.Angle) plotter.XY { return onChart(sky.At(ha, dec).AzAlt()) }
	var path plotter.XYs
	const n = 60
	for k := range n + 1 {
		path = append(path, at(has[0]+(has[len(has)-1]-has[0])*sphere.Angle(k)/n))
	}
	c.line(path, inkPlan, 1.6, [][]float64{nil, {6, 3}, {2, 3}}[i%3]...)
	var dots plotter.XYs
	for _, ha := range has {
		dots = append(dots, at(ha))
	}
	s, err := plotter.NewScatter(dots)
	if err != nil {
		return
	}
	s.GlyphStyle = draw.GlyphStyle{Color: inkPlan, Radius: vg.Points(3.4), Shape: draw.CircleGlyph{}}
	c.p.Add(s)
	// The number stands before the first frame, and a ring marks it.
	first, next := dots[0], dots[1]
	ring, err := plotter.NewScatter(plotter.XYs{first})
	if err != nil {
		return
	}
	ring.GlyphStyle = draw.GlyphStyle{Color: inkPlan, Radius: vg.Points(6.5), Shape: draw.RingGlyph{}}
	c.p.Add(ring)
	dx, dy := first.X-next.X, first.Y-next.Y
	r := math.Max(math.Hypot(dx, dy), 1e-6)
	c.label(first, fmt.Sprint(i+1), inkPlan, 14, 15*dx/r, 15*dy/r)
}

// mark sets a sign with its name, which stands away from the frames nearby.
func (c skyChart) mark(pl *planning.Plan, l sphere.Local, name string, shape draw.GlyphDrawer) {
	at := onChart(l.AzAlt())
	ink := inkText
	if !pl.Sky.Skyline.Clear(l) {
		ink = inkPaper
	}
	s, err := plotter.NewScatter(plotter.XYs{at})
	if err != nil {
		return
	}
	s.GlyphStyle = draw.GlyphStyle{Color: ink, Radius: vg.Points(5), Shape: shape}
	c.p.Add(s)
	var dx, dy float64
	for _, g := range pl.Suggestions {
		for _, f := range g.Frames {
			if x := onChart(f.Dir.AzAlt()); math.Hypot(x.X-at.X, x.Y-at.Y) < 0.2 {
				dx, dy = dx+at.X-x.X, dy+at.Y-x.Y
			}
		}
	}
	if r := math.Hypot(dx, dy); r > 1e-3 {
		c.label(at, name, ink, 9, 24*dx/r, 14*dy/r)
		return
	}
	c.label(at, name, ink, 9, 0, -12)
}
