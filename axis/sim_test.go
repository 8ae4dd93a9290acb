package axis

import (
	"fmt"
	"math"
	"math/rand/v2"
	"testing"
	"time"

	"gonum.org/v1/gonum/spatial/r3"

	"pintle/axis/place"
	"pintle/index/optics"
	"pintle/index/sphere"
)

const seed = 20261125

// night is a simulated evening: a mount out of true and a camera on it. It
// works the other way round from the fit: pixels are drawn first, and the place
// package says which star would stand there.
type night struct {
	site   place.Site
	air    place.Air
	axis   sphere.Local
	lens   optics.Lens
	w, h   int
	cam    sphere.Rot // mountFromCam
	turns  []sphere.Angle
	start  time.Time
	step   time.Duration
	stars  int
	err    float64 // px, of a typical star
	catErr sphere.Angle
	// What goes wrong.
	late   time.Duration // by how much the clock of the frames is ahead
	wrong  float64       // fraction of wrong matches
	floor  float64       // px, on every star, not stated
	tilt   sphere.Angle  // every frame's own turn, standard deviation per axis
	sag    sphere.Angle  // the camera droops by this where it looks level
	slip   sphere.Angle  // declination, from frame slipAt on
	slipAt int
	odd    sphere.Angle // frame oddAt is turned by this
	oddAt  int
	kick   sphere.Angle // the axis rises by this from frame kickAt on
	kickAt int
}

// localFromCam is the attitude of frame i.
func (n *night) localFromCam(i int, rng *rand.Rand) sphere.Rot {
	axis := n.axis
	if n.kick != 0 && i >= n.kickAt {
		az, alt := axis.AzAlt()
		axis = sphere.LocalAt(az, alt+n.kick)
	}
	z := axis.Vec()
	// Any fixed zero of the turn will do.
	x := r3.Unit(r3.Cross(r3.Vec{X: 0.3, Y: 0.2, Z: 0.9}, z))
	localFromMount := sphere.RotFromRows(x, r3.Cross(z, x), z).Inv()
	cam := n.cam
	if n.slip != 0 && i >= n.slipAt {
		d := r3.Unit(r3.Cross(r3.Vec{Z: 1}, n.cam.Apply(r3.Vec{Z: 1})))
		cam = sphere.Turn(d, n.slip).Mul(cam)
	}
	a := localFromMount.Mul(sphere.Turn(r3.Vec{Z: 1}, n.turns[i])).Mul(cam)
	if n.sag != 0 {
		down := a.Inv().Apply(r3.Vec{Z: -1})
		a = a.Mul(sphere.TurnVec(r3.Scale(float64(n.sag), r3.Cross(unitZ, down))))
	}
	own := r3.Scale(float64(n.tilt), anyVec(rng))
	if n.odd != 0 && i == n.oddAt {
		own = r3.Add(own, r3.Scale(float64(n.odd), r3.Vec{X: 0.6, Y: 0.8}))
	}
	return a.Mul(sphere.TurnVec(own))
}

// sightings photographs the night.
func (n *night) sightings(t testing.TB, rng *rand.Rand) (ss []Sighting) {
	t.Helper()
	for i := range n.turns {
		ss = append(ss, n.photograph(t, rng, i, n.localFromCam(i, rng)))
	}
	return ss
}

// photograph takes frame i with the camera at an attitude.
func (n *night) photograph(t testing.TB, rng *rand.Rand, i int, localFromCam sphere.Rot) Sighting {
	t.Helper()
	when := n.start.Add(time.Duration(i) * n.step)
	p, err := place.At(when, n.site, n.air)
	if err != nil {
		t.Fatal(err)
	}
	told, err := place.At(when.Add(n.late), n.site, n.air)
	if err != nil {
		t.Fatal(err)
	}
	s := Sighting{Name: fmt.Sprintf("frame-%d", i+1), Time: when, Place: told, W: n.w, H: n.h}
	for len(s.Matches) < n.stars {
		x, y := float64(n.w)*rng.Float64(), float64(n.h)*rng.Float64()
		sky := p.Catalogue(sphere.LocalVec(localFromCam.Apply(n.lens.Cam(x, y).Vec())))
		m := Match{Err: n.err * math.Exp(0.7*rng.NormFloat64()), CatErr: n.catErr}
		total := math.Hypot(m.Err, n.floor)
		m.X, m.Y = x+total*rng.NormFloat64(), y+total*rng.NormFloat64()
		if rng.Float64() < n.wrong {
			m.X, m.Y = x+12*rng.Float64()-6, y+12*rng.Float64()-6
		}
		m.Sky = sphere.SkyVec(r3.Add(sky.Vec(), r3.Scale(float64(n.catErr), anyVec(rng))))
		s.Matches = append(s.Matches, m)
	}
	// What solving would say: a slightly wrong lens.
	s.Lens = n.lens
	s.Lens.F *= 1 + 2e-4*rng.NormFloat64()
	s.Lens.K1 *= 0.8
	s.Lens.CX, s.Lens.CY = float64(n.w-1)/2, float64(n.h-1)/2
	s.SkyFromCam = skyFromCam(p, localFromCam)
	return s
}

// skyFromCam is the attitude in the sky near the camera's axis.
func skyFromCam(p *place.Place, localFromCam sphere.Rot) sphere.Rot {
	z := p.Catalogue(sphere.LocalVec(localFromCam.Apply(r3.Vec{Z: 1}))).Vec()
	x := p.Catalogue(sphere.LocalVec(localFromCam.Apply(r3.Vec{X: 1e-3, Z: 1}))).Vec()
	x = r3.Unit(r3.Sub(x, r3.Scale(r3.Dot(x, z), z)))
	return sphere.RotFromRows(x, r3.Cross(z, x), z).Inv()
}

// random draws a night: either hemisphere, latitude 3 to 78, a camera from a
// long telescope to a wide lens, turned by 60 to 120 degrees.
func random(rng *rand.Rand, frames int) *night {
	n := &night{start: time.Date(2026, 3, 1, 20, 0, 0, 0, time.UTC).Add(time.Duration(rng.IntN(8760)) * time.Hour), step: 50 * time.Second}
	lat := sphere.Angle(3+75*rng.Float64()) * sphere.Degree
	if rng.IntN(2) == 0 {
		lat = -lat
	}
	n.site = place.Site{Lat: lat, Lon: sphere.Angle(360*rng.Float64()-180) * sphere.Degree, Elev: 2500 * rng.Float64()}
	n.air = place.StandardAir(n.site.Elev)
	n.w, n.h = 1280+rng.IntN(2000), 960+rng.IntN(1000)
	width := sphere.Angle(math.Exp(math.Log(0.8)+rng.Float64()*math.Log(50))) * sphere.Degree // 0.8 to 40 degrees
	n.lens = optics.NewLens(n.w, n.h, width/sphere.Angle(n.w))
	n.lens.K1 = 0.03 * rng.NormFloat64() * math.Min(1, width.Degrees()/10)
	n.lens.CX += 0.004 * float64(n.w) * rng.NormFloat64()
	n.lens.CY += 0.004 * float64(n.w) * rng.NormFloat64()
	n.lens.Mirrored = rng.IntN(3) == 0
	p, _ := place.At(n.start, n.site, n.air)
	az, alt := p.RefractedPole().AzAlt()
	n.axis = sphere.LocalAt(az+sphere.Angle(1.5*rng.NormFloat64())*sphere.Degree, alt+sphere.Angle(rng.NormFloat64())*sphere.Degree)
	// Look at something high: the middle of the turn stands near the meridian.
	tilt := sphere.Angle(15+50*rng.Float64()) * sphere.Degree // from the axis
	n.cam = sphere.Turn(unitX, tilt).Mul(sphere.Turn(unitZ, sphere.Angle(2*math.Pi*rng.Float64())))
	span := sphere.Angle(60+60*rng.Float64()) * sphere.Degree
	mid := n.zenithTurn()
	for i := range frames {
		u := 0.0
		if frames > 1 {
			u = float64(i)/float64(frames-1) - 0.5
		}
		n.turns = append(n.turns, mid+span*sphere.Angle(u))
	}
	n.stars, n.err, n.catErr = 30+rng.IntN(150), 0.03+0.1*rng.Float64(), 0.06*sphere.Arcsecond
	return n
}

// zenithTurn is the turn at which the camera looks highest.
func (n *night) zenithTurn() sphere.Angle {
	best, at := -2.0, sphere.Angle(0)
	c := *n
	for d := range 360 {
		c.turns = []sphere.Angle{sphere.Angle(d) * sphere.Degree}
		c.tilt = 0
		if z := c.localFromCam(0, rand.New(rand.NewPCG(1, 1))).Apply(unitZ).Z; z > best {
			best, at = z, c.turns[0]
		}
	}
	return at
}

// statistical skips a test of many simulated nights in short runs: those are for
// the race detector, to which nights that share nothing have nothing to say.
func statistical(t *testing.T) {
	t.Helper()
	if testing.Short() {
		t.Skip("many nights")
	}
	t.Parallel() // nothing is shared: every night has draws of its own
}
