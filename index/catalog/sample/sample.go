// Package sample invents star catalogues and writes them as archives do, for
// tests and measurements.
package sample

import (
	"iter"
	"math"
	"math/rand/v2"

	"pintle/index/sphere"
)

// Star is an invented star; places are ICRS of [Epoch].
type Star struct {
	ID          int64
	RA, Dec     float64 // degrees
	PMRA, PMDec float64 // mas/yr, the first times cos(dec); NaN when unknown
	Mag         float64
	Err         float64 // of the place, mas
}

// Epoch is the Julian year of the places.
const Epoch = 2016.0

// faintest is the magnitude to which the stars go, each magnitude with 2.5
// times the stars of the one before.
const faintest = 14.0

// Stars returns n stars, always the same for a seed: half of them all over the
// sky, four in ten along a band like the Milky Way and one in ten in 300
// clusters.
func Stars(seed uint64, n int) iter.Seq[Star] {
	return func(yield func(Star) bool) {
		rng := rand.New(rand.NewPCG(seed, 1))
		clusters := make([]sphere.Sky, 300)
		for i := range clusters {
			clusters[i] = along(rng, 5)
		}
		for i := range n {
			if !yield(star(rng, int64(i+1), clusters)) {
				return
			}
		}
	}
}

func star(rng *rand.Rand, id int64, clusters []sphere.Sky) Star {
	var at sphere.Sky
	switch kind := rng.IntN(10); {
	case kind < 5:
		at = sphere.SkyAt(sphere.Angle(2*math.Pi*rng.Float64()), sphere.Angle(math.Asin(2*rng.Float64()-1)))
	case kind < 9:
		at = along(rng, 7)
	default:
		at = clusters[rng.IntN(len(clusters))]
		ra, dec := at.RADec()
		spread := 0.2 * sphere.Degree
		dec += spread * sphere.Angle(rng.NormFloat64())
		ra += spread * sphere.Angle(rng.NormFloat64()/math.Cos(float64(dec)))
		at = sphere.SkyAt(ra, dec)
	}
	ra, dec := at.RADec()
	s := Star{ID: id, RA: ra.Degrees(), Dec: dec.Degrees()}
	s.Mag = max(-1, faintest-rng.ExpFloat64()/math.Log(2.5))
	s.PMRA, s.PMDec = motion(rng), motion(rng)
	if rng.IntN(50) == 0 {
		s.PMRA, s.PMDec = math.NaN(), math.NaN()
	}
	s.Err = 0.02 * math.Exp(0.5*math.Abs(rng.NormFloat64()))
	return s
}

// along returns a place some degrees from a great circle, inclined as the
// galaxy's plane is.
func along(rng *rand.Rand, degrees float64) sphere.Sky {
	lon := 2 * math.Pi * rng.Float64()
	lat := sphere.Angle(rng.NormFloat64()*degrees) * sphere.Degree
	s, c := math.Sincos(lon)
	si, ci := math.Sincos(62.9 * math.Pi / 180)
	sb, cb := math.Sincos(float64(lat))
	v := sphere.SkyAt(0, 0).Vec()
	v.X = cb * c
	v.Y = cb*s*ci - sb*si
	v.Z = cb*s*si + sb*ci
	return sphere.SkyVec(v)
}

// motion has the long tail that real ones have.
func motion(rng *rand.Rand) float64 {
	scale := 8.0
	if rng.IntN(200) == 0 {
		scale = 100
	}
	return scale * rng.NormFloat64()
}
