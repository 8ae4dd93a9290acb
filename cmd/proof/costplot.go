package main

import (
	"fmt"
	"io"
	"math"
	"os"
	"path/filepath"
	"slices"
	"strconv"

	"gonum.org/v1/plot"
	"gonum.org/v1/plot/font"
	"gonum.org/v1/plot/plotter"
	"gonum.org/v1/plot/plotutil"
	"gonum.org/v1/plot/vg"
	vgdraw "gonum.org/v1/plot/vg/draw"
	"gonum.org/v1/plot/vg/vgimg"
	"gonum.org/v1/plot/vg/vgsvg"
)

// print writes a panel as a table of Markdown.
func (p *panel) print() {
	fmt.Printf("\n| %s |", p.x)
	for _, c := range p.curves {
		fmt.Printf(" %s, %s |", c.name, p.unit)
	}
	fmt.Print("\n|---|")
	for range p.curves {
		fmt.Print("---|")
	}
	fmt.Println()
	for i, at := range p.curves[0].points {
		fmt.Printf("| %s |", digits(at.X))
		for _, c := range p.curves {
			fmt.Printf(" %s |", digits(c.points[i].Y*p.perSecond))
		}
		fmt.Println()
	}
	fmt.Println()
}

// digits writes two digits that count, all of those before the point, and no
// exponent.
func digits(v float64) string {
	after := max(0, 1-int(math.Floor(math.Log10(v))))
	return strconv.FormatFloat(v, 'f', after, 64)
}

// draw puts the panels side by side into an SVG or PNG file.
func draw(path string, panels []*panel) error {
	const w, h = 11 * vg.Inch, 3.8 * vg.Inch
	var canvas interface {
		vg.CanvasSizer
		io.WriterTo
	}
	switch ext := filepath.Ext(path); ext {
	case ".svg":
		canvas = vgsvg.New(w, h)
	case ".png":
		canvas = vgimg.PngCanvas{Canvas: vgimg.New(w, h)}
	default:
		return fmt.Errorf("the picture is to end in %q, only .svg and .png can be written", ext)
	}
	plot.DefaultFont = font.Font{Typeface: "Liberation", Variant: "Sans"}
	row := make([]*plot.Plot, len(panels))
	for i, p := range panels {
		var err error
		if row[i], err = p.plot(); err != nil {
			return err
		}
	}
	tiles := vgdraw.Tiles{Rows: 1, Cols: len(panels), PadX: vg.Millimeter * 6, PadTop: 6, PadBottom: 6, PadLeft: 6, PadRight: 6}
	for i, c := range plot.Align([][]*plot.Plot{row}, tiles, vgdraw.New(canvas))[0] {
		row[i].Draw(c)
	}
	f, err := os.Create(path)
	if err != nil {
		return err
	}
	if _, err = canvas.WriteTo(f); err != nil {
		f.Close()
		return err
	}
	return f.Close()
}

func (p *panel) plot() (*plot.Plot, error) {
	out := plot.New()
	out.Title.Text, out.X.Label.Text, out.Y.Label.Text = p.title, p.x, p.y+", "+p.unit
	out.Y.Scale, out.Y.Tick.Marker = plot.LogScale{}, plot.LogTicks{Prec: -1}
	if at := p.curves[0].points; at[len(at)-1].X > 10*at[0].X { // magnitudes are logarithms already
		out.X.Scale, out.X.Tick.Marker = plot.LogScale{}, plot.LogTicks{Prec: -1}
	}
	out.Add(plotter.NewGrid())
	for i, c := range p.curves {
		points := slices.Clone(c.points)
		for k := range points {
			points[k].Y *= p.perSecond
		}
		line, dots, err := plotter.NewLinePoints(points)
		if err != nil {
			return nil, err
		}
		line.Color, dots.Color = plotutil.Color(i), plotutil.Color(i)
		dots.Shape, line.Dashes = plotutil.Shape(i), plotutil.Dashes(i)
		out.Add(line, dots)
		out.Legend.Add(c.name, line, dots)
	}
	out.Legend.Top, out.Legend.Left = true, true
	return out, nil
}
