package night

import (
	"math"
	"math/rand/v2"

	"gonum.org/v1/gonum/spatial/r3"
	"gonum.org/v1/gonum/stat/distuv"

	"pintle/index/sphere"
	"pintle/index/stars"
)

// The sky is cut into cells of about tile; each has its own random numbers for
// each magnitude, so that a star stays where it is whatever frame looks at it.
const (
	tile      = 1 * sphere.Degree
	around    = 1.5 * sphere.Degree // of its centre, where the list's stars are counted
	firstV    = 10.5                // magnitude from which stars may be missing in the list
	lastV     = 17.0                // of the faintest invented star
	maxRadius = 10 * sphere.Degree
)

// crowd returns the decimal logarithm of how many more stars there are down to
// V than down to 11, above V = 9.5: the numbers grow by a factor 2.6 a magnitude
// at 11 and ever less after (mean of the sky; from memory, no source).
func crowd(v float64) float64 { return (v - 11) * (0.42 - 0.0125*(v-11)) }

// missing returns the share of stars of a magnitude that the list lacks. It is
// complete to 99 % at 11.0 and to 90 % at 11.5 (ReadMe of CDS I/259); a logistic
// curve through the two.
func missing(v float64) float64 { return 1 / (1 + math.Exp(-4.8*(v-11.96))) }

// faintStars returns stars that the list lacks, down to limit, in the cells that
// a cone touches. A frame wider than maxRadius has none: its list is not at its
// end where its pixels are.
func faintStars(seed uint64, centre sphere.Sky, radius sphere.Angle, limit, epoch float64) []Star {
	if limit < firstV || radius > maxRadius {
		return nil
	}
	var out []Star
	_, dec := centre.RADec()
	const half = math.Pi / 2
	reach := radius + tile
	mid, least := centre.Vec(), radius.Cos()
	inside := func(s sphere.Sky) bool { return r3.Dot(mid, s.Vec()) >= least }
	for band := int((max(-half, dec-reach) + half) / tile); band < 180 && tile*sphere.Angle(band)-half < dec+reach; band++ {
		n := columns(band)
		for col := range n {
			if c := newCell(band, col, n); c.centre().Sep(centre) < reach {
				out = c.stars(out, seed, limit, epoch, inside)
			}
		}
	}
	return out
}

// columns returns the number of cells in a band of declination.
func columns(band int) int {
	mid := tile*(sphere.Angle(band)+0.5) - math.Pi/2
	return max(3, int(2*math.Pi*mid.Cos()/float64(tile)))
}

// cell is a rectangle in right ascension and sine of declination.
type cell struct {
	id            uint64
	ra, width     float64
	sin0, sin1    float64
	squareDegrees float64
}

func newCell(band, col, n int) cell {
	c := cell{id: uint64(band)<<16 | uint64(col), width: 2 * math.Pi / float64(n)}
	c.ra = c.width * float64(col)
	low := float64(tile)*float64(band) - math.Pi/2
	c.sin0, c.sin1 = math.Sin(low), math.Sin(low+float64(tile))
	c.squareDegrees = c.width * (c.sin1 - c.sin0) * math.Pow(180/math.Pi, 2)
	return c
}

// at returns the direction at fractions of the cell.
func (c *cell) at(u, v float64) sphere.Sky {
	z := c.sin0 + v*(c.sin1-c.sin0)
	s, k := math.Sincos(c.ra + u*c.width)
	r := math.Sqrt(1 - z*z)
	return sphere.SkyVec(r3.Vec{X: r * k, Y: r * s, Z: z})
}

func (c *cell) centre() sphere.Sky { return c.at(0.5, 0.5) }

// stars appends the cell's invented stars down to limit that lie inside.
func (c *cell) stars(out []Star, seed uint64, limit, epoch float64, inside func(sphere.Sky) bool) []Star {
	known := stars.Embedded().ConeDots(nil, c.centre(), around, 11, epoch)
	area := 2 * math.Pi * (1 - around.Cos()) * math.Pow(180/math.Pi, 2)
	density := (float64(len(known)) + 0.5) / area
	for layer, v := 0, firstV; v < math.Min(limit, lastV); layer, v = layer+1, v+0.5 {
		src := rand.NewPCG(seed^0xfa1275, c.id<<8|uint64(layer))
		rng := rand.New(src)
		low, high := math.Pow(10, crowd(v)), math.Pow(10, crowd(v+0.5))
		n := distuv.Poisson{Lambda: density * (high - low) * c.squareDegrees, Src: src}.Rand()
		for range int(n) {
			s := Star{Sky: c.at(rng.Float64(), rng.Float64())}
			bright, colour, keep := rng.Float64(), rng.NormFloat64(), rng.Float64()
			if !inside(s.Sky) {
				continue
			}
			s.V = v + 0.5*math.Log1p(bright*(high/low-1))/math.Log(high/low)
			s.BV = 0.8 + 0.35*colour
			if s.V <= limit && keep < missing(s.V) {
				out = append(out, s)
			}
		}
	}
	return out
}
