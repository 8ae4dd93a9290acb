package stars

import (
	"math"

	"gonum.org/v1/gonum/spatial/r3"

	"pintle/index/sphere"
)

// maxZones limits a grid to what cap keeps on the stack.
const maxZones = 512

// A grid cuts the sky into zones of equal height in declination, from south to
// north, and each zone into equal segments of right ascension from 0 upward,
// about as wide as high. Cells are numbered along the zones.
type grid struct {
	height float64 // of a zone, radians
	step   float64 // of a record's x and y, radians
	zones  []zone
	cells  int
}

type zone struct {
	first, count int     // cells
	width        float64 // of a cell in right ascension, radians
	sin, cos     float64 // of the declination of the cells' centres
}

// newGrid returns the grid of n zones. Records reach 0.55 heights from the
// centre of a cell; a cell of the worst shape, near a pole, reaches 0.54.
func newGrid(n int) grid {
	h := math.Pi / float64(n)
	g := grid{height: h, step: 1.1 * h / (1 << placeBits), zones: make([]zone, n)}
	for i := range g.zones {
		// Symmetric about the equator, to be the same on every machine.
		fromPole := min(i, n-1-i)
		count := int(math.Ceil(2*math.Pi*math.Sin(float64(fromPole+1)*h)/h - 1e-9))
		s, c := math.Sincos((float64(i)+0.5)*h - math.Pi/2)
		g.zones[i] = zone{g.cells, count, 2 * math.Pi / float64(count), s, c}
		g.cells += count
	}
	return g
}

// find returns the zone and the segment of a place.
func (g *grid) find(ra, dec sphere.Angle) (zone, segment int) {
	zone = min(max(int(math.Floor((float64(dec)+math.Pi/2)/g.height)), 0), len(g.zones)-1)
	z := &g.zones[zone]
	return zone, min(int(float64(ra.Turn())/z.width), z.count-1)
}

// axes are the unit vectors of a cell's centre, of east and of north there.
type axes struct{ centre, east, north r3.Vec }

func (z *zone) axes(segment int) axes {
	s, c := math.Sincos((float64(segment) + 0.5) * z.width)
	return axes{
		centre: r3.Vec{X: z.cos * c, Y: z.cos * s, Z: z.sin},
		east:   r3.Vec{X: -s, Y: c},
		north:  r3.Vec{X: -z.sin * c, Y: -z.sin * s, Z: z.cos},
	}
}

func (a *axes) sky() sphere.Sky { return sphere.SkyVec(a.centre) }

// at returns the unit vector with components x east and y north.
func (a *axes) at(x, y float64) r3.Vec {
	w := math.Sqrt(1 - x*x - y*y)
	return r3.Vec{
		X: w*a.centre.X + x*a.east.X + y*a.north.X,
		Y: w*a.centre.Y + x*a.east.Y + y*a.north.Y,
		Z: w*a.centre.Z + y*a.north.Z,
	}
}

// A patch is the cells that a cone may touch: the zones from first to last
// and, in each, count segments from start, which may run over the end.
type patch struct {
	first, last int
	spans       [maxZones]span
}

type span struct{ start, count int32 }

// cover fills p with the cells within radius of a place. It errs on the large
// side only.
func (g *grid) cover(p *patch, ra, dec, radius float64) {
	n := len(g.zones)
	p.first = min(max(int(math.Floor((dec-radius+math.Pi/2)/g.height)), 0), n-1)
	p.last = min(max(int(math.Floor((dec+radius+math.Pi/2)/g.height)), 0), n-1)
	arc := newArc(dec, radius)
	south := arc.at(float64(p.first)*g.height - math.Pi/2)
	for i := p.first; i <= p.last; i++ {
		z := &g.zones[i]
		lo, hi := float64(i)*g.height-math.Pi/2, float64(i+1)*g.height-math.Pi/2
		north := arc.at(hi)
		half := max(south, north)
		if arc.widestAt >= lo && arc.widestAt <= hi {
			half = max(half, arc.widest)
		}
		start := int(math.Floor((ra - half) / z.width))
		end := int(math.Floor((ra + half) / z.width))
		if count := end - start + 1; half >= math.Pi || count >= z.count {
			p.spans[i] = span{0, int32(z.count)}
		} else {
			start = (start%z.count + z.count) % z.count
			p.spans[i] = span{int32(start), int32(count)}
		}
		south = north
	}
}

// An arc says how far a cone reaches in right ascension at a declination.
type arc struct {
	sinDec, cosDec, cosRadius float64
	widest, widestAt          float64 // NaN when the cone holds a pole
}

func newArc(dec, radius float64) arc {
	a := arc{cosRadius: math.Cos(radius)}
	a.sinDec, a.cosDec = math.Sincos(dec)
	a.widest = math.Asin(math.Sin(radius) / a.cosDec)
	a.widestAt = math.Asin(a.sinDec / a.cosRadius)
	if radius >= math.Pi/2 {
		a.widestAt = math.NaN()
	}
	return a
}

// at returns half the cone's extent in right ascension at declination d, from
// the cosine rule: 0 outside the cone, pi where it holds the whole circle.
func (a *arc) at(d float64) float64 {
	s, c := math.Sincos(d)
	c *= a.cosDec
	x := a.cosRadius - s*a.sinDec
	switch {
	case x >= c:
		return 0
	case x <= -c:
		return math.Pi
	}
	return math.Acos(x / c)
}
