package axis

import (
	"math"
	"math/rand/v2"
	"testing"
	"time"

	"gonum.org/v1/gonum/spatial/r3"

	"pintle/axis/drive"
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
	cone sphere.Angle
	push sphere.Rot // of the whole mount

	rate   float64 // of the drive, sidereal 1
	worm   sphere.Angle
	wobble sphere.Angle // every frame's own turn
	sag    sphere.Angle // the camera droops by this where it looks level
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

func (b *bench) place(t testing.TB) *place.Place { return b.placeAt(t, b.now) }

func (b *bench) placeAt(t testing.TB, at time.Duration) *place.Place {
	t.Helper()
	p, err := place.At(b.n.start.Add(at), b.n.site, b.n.air)
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
	return b.head().Mul(sphere.Turn(unitZ, b.ra+b.driven())).Mul(b.cam())
}

// driven is what the drive has turned so far.
func (b *bench) driven() sphere.Angle {
	s := 1.0
	if b.n.site.Lat > 0 {
		s = -1
	}
	a := s * drive.Sidereal * b.rate * b.now.Seconds()
	if b.worm != 0 {
		a += float64(b.worm) * math.Sin(2*math.Pi*b.now.Seconds()/480)
	}
	return sphere.Angle(a)
}

// cam is the camera on the mount with RA at 0, in the head's frame.
func (b *bench) cam() sphere.Rot {
	return sphere.Turn(unitX, b.dec).Mul(sphere.Turn(unitY, b.cone)).Mul(sphere.Turn(unitZ, b.roll))
}

// shoot waits and takes a frame.
func (b *bench) shoot(t testing.TB, wait time.Duration) Sighting {
	t.Helper()
	b.now += wait
	n := *b.n
	n.start, n.step = n.start.Add(b.now), 0
	b.count++
	a := b.attitude()
	down := a.Inv().Apply(r3.Vec{Z: -1})
	a = a.Mul(sphere.TurnVec(r3.Scale(float64(b.sag), r3.Cross(unitZ, down)))).Mul(sphere.TurnVec(r3.Scale(float64(b.wobble), anyVec(b.rng))))
	s := n.photograph(t, b.rng, 0, a)
	s.Name = "f" + string(rune('0'+b.count%10))
	return s
}

// measure takes three frames, RA turned by 25 degrees between them, and ends
// side from where the camera looks highest.
func (b *bench) measure(t testing.TB, side sphere.Angle) (*Result, *Follower) {
	t.Helper()
	r, f, err := b.tryMeasure(t, side)
	if err != nil {
		t.Fatal(err)
	}
	return r, f
}

func (b *bench) tryMeasure(t testing.TB, side sphere.Angle) (*Result, *Follower, error) {
	t.Helper()
	top := b.top()
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
		return nil, nil, err
	}
	f, err := Follow(r)
	return r, f, err
}

// top is the turn of RA at which the camera looks highest.
func (b *bench) top() (at sphere.Angle) {
	best := -2.0
	for d := range 360 {
		b.ra = sphere.Angle(d) * sphere.Degree
		if z := b.attitude().Apply(unitZ).Z; z > best {
			best, at = z, b.ra
		}
	}
	return at
}

// anyBench draws a bench: latitude 3 to 70, either hemisphere, a field of 0.8 to
// 20 degrees, a base out of level, cone error, a drive with its errors or none.
func anyBench(t testing.TB, rng *rand.Rand) *bench {
	t.Helper()
	lat := sphere.Angle(3+67*rng.Float64()) * sphere.Degree
	if rng.IntN(2) == 0 {
		lat = -lat
	}
	b := newBench(rng, lat)
	b.n.start = b.n.start.Add(time.Duration(rng.IntN(8760)) * time.Hour)
	width := sphere.Angle(math.Exp(math.Log(0.8)+rng.Float64()*math.Log(25))) * sphere.Degree
	b.n.lens = optics.NewLens(b.n.w, b.n.h, width/sphere.Angle(b.n.w))
	b.n.lens.Mirrored = rng.IntN(3) == 0
	b.n.stars, b.n.err, b.n.wrong = 25+rng.IntN(100), 0.03+0.07*rng.Float64(), 0.03
	b.dec = sphere.Angle(15+70*rng.Float64()) * sphere.Degree
	b.roll = sphere.Angle(2*math.Pi*rng.Float64()) * sphere.Radian
	b.cone = sphere.Angle(0.5*rng.NormFloat64()) * sphere.Degree
	b.lean = [2]sphere.Angle{sphere.Angle(1.5*rng.NormFloat64()) * sphere.Degree, sphere.Angle(1.5*rng.NormFloat64()) * sphere.Degree}
	b.wobble = 0.3 * sphere.Arcsecond
	if rng.IntN(3) == 0 {
		b.rate = 0
	} else {
		b.worm = sphere.Angle(8*rng.NormFloat64()) * sphere.Arcsecond
	}
	b.point(t, sphere.Angle(rng.NormFloat64())*sphere.Degree, sphere.Angle(rng.NormFloat64())*sphere.Degree)
	return b
}

// anyTurn turns something, by any amount of arcminutes or degrees.
func (b *bench) anyTurn() (what Touch) {
	amount := func() sphere.Angle {
		m := math.Exp(math.Log(0.5) + b.rng.Float64()*math.Log(360))
		return sphere.Angle(math.Copysign(m, b.rng.NormFloat64())) * sphere.Arcminute
	}
	switch b.rng.IntN(8) {
	case 0, 1:
		what = TouchAzimuth
	case 2, 3:
		what = TouchAltitude
	case 4:
		what = TouchAzimuth | TouchAltitude
	case 5:
		what = TouchRA
	}
	if what.Has(TouchAzimuth) {
		b.az += amount()
	}
	if what.Has(TouchAltitude) {
		b.alt += amount()
	}
	if what.Has(TouchRA) {
		b.ra += 10 * amount()
	}
	return what
}

// zScore is the squared distance of the axis from the true one in units of the
// stated covariance: chi-square with two degrees of freedom when that is right.
func zScore(s *State, truth sphere.Local) float64 {
	az, alt := s.Axis.AzAlt()
	taz, talt := truth.AzAlt()
	x, y := float64(alt-talt), float64((az-taz).Wrap())*alt.Cos()
	c := s.Cov
	det := c[0][0]*c[1][1] - c[0][1]*c[1][0]
	return (x*x*c[1][1] - 2*x*y*c[0][1] + y*y*c[0][0]) / det
}
