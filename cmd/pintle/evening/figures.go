package evening

import (
	_ "embed"
	"strconv"
	"strings"
	"sync"

	"pintle/axis/place"
	"pintle/index/sphere"
	"pintle/index/stars"
)

//go:embed figures.csv
var figuresText string

// figure is the lines of a constellation.
type figure struct {
	name  string
	lines [][]sphere.Sky
}

// figures are all constellations that are drawn.
var figures = sync.OnceValue(func() (out []figure) {
	for line := range strings.Lines(figuresText) {
		line = strings.TrimSpace(line)
		if line == "" || line[0] == '#' {
			continue
		}
		parts := strings.Split(line, ";")
		f := figure{name: parts[0]}
		for _, p := range parts[1:] {
			var row []sphere.Sky
			for _, at := range strings.Fields(p) {
				row = append(row, nearest(figurePlace(at)))
			}
			f.lines = append(f.lines, row)
		}
		out = append(out, f)
	}
	return out
})

// figurePlace reads a place such as 0555+0724.
func figurePlace(s string) sphere.Sky {
	number := func(t string) float64 {
		x, err := strconv.Atoi(t)
		if err != nil || len(s) != 9 {
			panic("impossible: embedded figures: " + s)
		}
		return float64(x)
	}
	ra := number(s[:2]) + number(s[2:4])/60
	dec := number(s[5:7]) + number(s[7:9])/60
	if s[4] == '-' {
		dec = -dec
	}
	return sphere.SkyAt(sphere.Angle(ra)*sphere.Hour, sphere.Angle(dec)*sphere.Degree)
}

// snap is how far from the place in the figures its star may be; the places are
// given to a minute of time.
const snap = 0.35 * sphere.Degree

// nearest is the place of the brightest star within snap, or the place itself.
func nearest(s sphere.Sky) sphere.Sky {
	best, at := float32(faintestFigure), s
	for _, x := range stars.Embedded().Cone(nil, s, snap, faintestFigure, 2026) {
		if x.V < best {
			best, at = x.V, x.Pos
		}
	}
	return at
}

// faintestFigure is the magnitude of the faintest star that lines lead to.
const faintestFigure = 5

// over is the figure as it stands over a place, the parts of it that are up.
func (f figure) over(p *place.Place) Drawn {
	d := Drawn{Name: f.name}
	for _, row := range f.lines {
		var run [][2]float64
		flush := func() {
			if len(run) > 1 {
				d.Lines = append(d.Lines, run)
			}
			run = nil
		}
		for _, s := range row {
			l := p.Observed(s)
			if _, alt := l.AzAlt(); alt < 0 {
				flush()
				continue
			}
			run = append(run, spot(l))
		}
		flush()
	}
	return d
}
