package plan

import (
	"math"

	"pintle/index/sphere"
	"pintle/index/stars"
)

// Density is how many stars there are per square degree, in cells of nearly
// equal area.
type Density struct {
	rows [][]float64 // by declination from the south, each row by right ascension
}

// cellSize is the side of a cell in degrees (no source, chosen as the size of a
// frame of a small telescope; the Milky Way is well seen with it).
const cellSize = 2.5

// CountStars returns the density of the stars of a list down to magnitude
// faintest; epoch is a Julian year.
func CountStars(list *stars.List, faintest, epoch float64) *Density {
	n := int(180 / cellSize)
	d := &Density{rows: make([][]float64, n)}
	for i := range d.rows {
		mid := (float64(i)+0.5)*cellSize - 90
		d.rows[i] = make([]float64, max(3, int(360*math.Cos(mid*math.Pi/180)/cellSize)))
	}
	list.Each(faintest, epoch, func(s stars.Star) bool {
		*d.cell(s.Pos)++
		return true
	})
	for i, row := range d.rows {
		area := d.area(i)
		for j := range row {
			row[j] /= area
		}
	}
	return d
}

// area returns that of a cell of row i in square degrees.
func (d *Density) area(i int) float64 {
	lo, hi := (float64(i)*cellSize-90)*math.Pi/180, (float64(i+1)*cellSize-90)*math.Pi/180
	return (math.Sin(hi) - math.Sin(lo)) * 360 * 180 / math.Pi / float64(len(d.rows[i]))
}

func (d *Density) cell(s sphere.Sky) *float64 {
	ra, dec := s.RADec()
	row := d.rows[min(len(d.rows)-1, max(0, int((dec.Degrees()+90)/cellSize)))]
	return &row[min(len(row)-1, int(ra.Degrees()/360*float64(len(row))))]
}

// At returns the stars per square degree around s.
func (d *Density) At(s sphere.Sky) float64 { return *d.cell(s) }
