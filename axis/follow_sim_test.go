package axis

import (
	"math"
	"math/rand/v2"
	"testing"
	"time"

	"gonum.org/v1/gonum/spatial/r3"

	"pintle/axis/place"
	"pintle/index/optics"
	"pintle/index/sphere"
)

// bench is a mount on adjusters, written down as rotations of real parts and not
// as the follower's model: a base that may lean, a head that stands at an azimuth
// and altitude on it, RA, declination, camera.
type bench struct {
	n    *night
	rng  *rand.Rand
	now  time.Duration
	lean [2]sphere.Angle // of the base toward east and north
	az   sphere.Angle    // of the axis in the base's frame
	alt  sphere.Angle
	ra   sphere.Angle
	dec  sphere.Angle // from the axis
	roll sphere.Angle
	push sphere.Rot // of the whole mount

	rate   float64 // of the drive, sidereal 1
	worm   sphere.Angle
	wobble sphere.Angle // every frame's own turn
	count  int
}

func newBench(rng *rand.Rand, lat sphere.Angle) *bench {
	n := &night{start: time.Date(2026, 12, 2, 20, 0, 0, 0, time.UTC), w: 1280, h: 960}
	n.site = place.Site{Lat: lat, Lon: 6.4 * sphere.Degree, Elev: 80}
	n.air = place.Air{Pressure: 1011, Temp: 6, Humidity: 0.5}
	n.lens = optics.NewLens(n.w, n.h, 3.22*sphere.Arcsecond)
	n.stars, n.err, n.catErr = 35, 0.08, 0.06*sphere.Arcsecond
	return &bench{n: n, rng: rng, dec: 65 * sphere.Degree, roll: -75 * sphere.Degree, push: sphere.Identity(), rate: 1}
}

// point sets the axis off the refracted pole, in altitude and azimuth.
func (b *bench) point(t testing.TB, alt, az sphere.Angle) {
	t.Helper()
	paz, palt := b.pole(t).AzAlt()
	a := sphere.LocalAt(paz+az, palt+alt)
	b.az, b.alt = sphere.LocalVec(b.base().Inv().Apply(a.Vec())).AzAlt()
}

func (b *bench) place(t testing.TB) *place.Place {
	t.Helper()
	p, err := place.At(b.n.start.Add(b.now), b.n.site, b.n.air)
	if err != nil {
		t.Fatal(err)
	}
	return p
}

func (b *bench) pole(t testing.TB) sphere.Local { return b.place(t).RefractedPole() }

func (b *bench) base() sphere.Rot {
	return sphere.TurnVec(r3.Vec{X: float64(-b.lean[1]), Y: float64(b.lean[0])})
}

func (b *bench) head() sphere.Rot {
	z := sphere.LocalAt(b.az, b.alt).Vec()
	x := r3.Vec{X: -b.az.Cos(), Y: b.az.Sin()}
	return b.push.Mul(b.base()).Mul(sphere.RotFromRows(x, r3.Cross(z, x), z).Inv())
}

func (b *bench) axis() sphere.Local { return sphere.LocalVec(b.head().Apply(unitZ)) }

func (b *bench) attitude() sphere.Rot {
	s := 1.0
	if b.n.site.Lat > 0 {
		s = -1
	}
	driven := s * Sidereal * b.rate * b.now.Seconds()
	if b.worm != 0 {
		driven += float64(b.worm) * math.Sin(2*math.Pi*b.now.Seconds()/480)
	}
	cam := sphere.Turn(unitX, b.dec).Mul(sphere.Turn(unitZ, b.roll))
	return b.head().Mul(sphere.Turn(unitZ, b.ra+sphere.Angle(driven))).Mul(cam)
}

// shoot waits and takes a frame.
func (b *bench) shoot(t testing.TB, wait time.Duration) Sighting {
	t.Helper()
	b.now += wait
	n := *b.n
	n.start, n.step = n.start.Add(b.now), 0
	b.count++
	a := b.attitude().Mul(sphere.TurnVec(r3.Scale(float64(b.wobble), anyVec(b.rng))))
	s := n.photograph(t, b.rng, 0, a)
	s.Name = "f" + string(rune('0'+b.count%10))
	return s
}

// measure turns RA by 25 degrees twice and ends where the camera looks highest,
// plus off, with RA turned off to one side.
func (b *bench) measure(t testing.TB, side sphere.Angle) (*Result, *Follower) {
	t.Helper()
	// The camera looks at the meridian above the pole when turned by 180 degrees
	// from where x = side is its axis; found by trying.
	best := -2.0
	var top sphere.Angle
	for d := range 360 {
		b.ra = sphere.Angle(d) * sphere.Degree
		if z := b.attitude().Apply(unitZ).Z; z > best {
			best, top = z, b.ra
		}
	}
	var ss []Sighting
	for i, d := range []sphere.Angle{-51, -25, 0} {
		b.ra = top + side + d*sphere.Degree
		wait := 45 * time.Second
		if i == 0 {
			wait = 0
		}
		ss = append(ss, b.shoot(t, wait))
	}
	r, err := Fit(ss)
	if err != nil {
		t.Fatal(err)
	}
	f, err := Follow(r)
	if err != nil {
		t.Fatal(err)
	}
	return r, f
}
