package night

import (
	"math"
	"math/rand/v2"

	"gonum.org/v1/gonum/spatial/r3"

	"pintle/axis"
	"pintle/index/sphere"
	"pintle/index/stars"
)

// sightings is a night measured without pixels: every listed star that stands
// out by five times its noise, with a Gaussian error as large as photons leave a
// fitted profile (King 1983, PASP 95, 163: (sigma/sqrt(e)) sqrt(1 + 8 pi sigma^2 b / e),
// from memory). Errors of the star list are the night's own.
func (n *Night) sightings(rng *rand.Rand) (out []axis.Sighting) {
	c := &n.spec.Camera
	sigma := c.PSF.FWHM / 2.355
	noise := n.Level() + c.Sensor.Read*c.Sensor.Read
	for i := range n.shots {
		t := n.Truth(i)
		s := axis.Sighting{Name: string(rune('a' + i)), Time: t.Mid, Place: t.Place, W: c.W, H: c.H, Lens: t.Lens}
		s.Lens.F *= 1 + 1e-4*rng.NormFloat64()
		list := map[uint32]stars.Star{}
		for _, x := range stars.Embedded().Cone(nil, t.Centre, n.shots[i].reach(&t), 20, julianYear(t.Mid)) {
			list[x.ID] = x
		}
		for _, x := range n.Stars(i) {
			known, ok := list[x.ID]
			inside := x.X > 2 && x.Y > 2 && x.X < float64(c.W-3) && x.Y < float64(c.H-3)
			if !x.Listed || !ok || !inside || x.Flux < 5*math.Sqrt(x.Flux+8*math.Pi*sigma*sigma*noise) {
				continue
			}
			e := math.Hypot(0.01, sigma/math.Sqrt(x.Flux)*math.Sqrt(1+8*math.Pi*sigma*sigma*noise/x.Flux))
			s.Matches = append(s.Matches, axis.Match{X: x.X + e*rng.NormFloat64(), Y: x.Y + e*rng.NormFloat64(), Err: e, Sky: known.Pos, CatErr: known.Err})
		}
		s.SkyFromCam = skyFromCam(&t)
		out = append(out, s)
	}
	return out
}

// skyFromCam is the attitude in the sky near the middle of the frame.
func skyFromCam(t *Truth) sphere.Rot {
	at := func(v r3.Vec) r3.Vec {
		return t.Place.Catalogue(sphere.LocalVec(t.LocalFromCam.Apply(v))).Vec()
	}
	z, x := at(unitZ), at(r3.Vec{X: 1e-3, Z: 1})
	x = r3.Unit(r3.Sub(x, r3.Scale(r3.Dot(x, z), z)))
	return sphere.RotFromRows(x, r3.Cross(z, x), z).Inv()
}
