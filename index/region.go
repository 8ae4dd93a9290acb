package index

import (
	"math"

	"gonum.org/v1/gonum/spatial/r3"

	"pintle/index/sphere"
)

// Region is one of the parts into which a level cuts the sky: nearly square, and
// about as large as the frames that the level is for.
type Region struct {
	// Width and Height are how far the region reaches east and north of its
	// middle, at most, on the plane that touches the sphere there. What is
	// within them overlaps the neighbours, near a pole much.
	Width, Height float64

	east, north, middle r3.Vec
}

// Axes returns the axes of the region's plane, unit vectors to the east and to the
// north, and the direction of its middle, where the plane touches the sphere.
func (r *Region) Axes() (east, north, middle r3.Vec) { return r.east, r.north, r.middle }

// Middle returns the direction of the region's middle.
func (r *Region) Middle() r3.Vec { return r.middle }

// Regions returns how many regions each level of the band has.
func (r *Reader) Regions() (n []int) {
	for _, g := range r.grids {
		n = append(n, g.total())
	}
	return n
}

// RegionsNear returns the numbers of the regions of a level that reach within an
// angle, radians, of a direction, and some beyond.
func (r *Reader) RegionsNear(level int, v r3.Vec, radius float64) []int {
	return r.grids[level].near(nil, v, radius)
}

// Region returns a region of a level, and appends to dst the stars of the level
// within radius, in squares, of its middle, and some beyond.
func (s *Session) Region(dst []Dot, level, number int, radius float64) (r Region, dots []Dot, err error) {
	defer guard(&err, s.r)
	g := &s.r.grids[level]
	r.east, r.north, r.middle = g.middle(number)
	r.Width, r.Height = g.extent(number)
	dots, err = s.within(dst, level, r.middle, radius*float64(s.r.Band.Square(level)))
	return r, dots, err
}

// extent returns how far a cell reaches east and north of its middle, at most,
// on the plane that touches the sphere there.
func (g squares) extent(k int) (width, height float64) {
	e, n, m := g.middle(k)
	z := g.zone(m.Z)
	half := math.Pi / float64(g.first[z+1]-g.first[z])
	lon := math.Atan2(m.Y, m.X)
	south := float64(z)*g.height - math.Pi/2
	for _, dec := range []float64{south, south + g.height, max(south, min(0, south+g.height))} {
		for _, l := range []float64{lon - half, lon, lon + half} {
			v := sphere.SkyAt(sphere.Angle(l), sphere.Angle(dec)).Vec()
			d := max(0.2, r3.Dot(v, m))
			width, height = max(width, math.Abs(r3.Dot(v, e))/d), max(height, math.Abs(r3.Dot(v, n))/d)
		}
	}
	return width, height
}
