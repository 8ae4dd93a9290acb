package place

import (
	"fmt"
	"math"

	"github.com/hebl/gofa"
	"gonum.org/v1/gonum/spatial/r3"

	"pintle/index/sphere"
)

// Body is the Sun or the Moon as seen from the site.
type Body struct {
	Seen     sphere.Local // the centre, with refraction
	Radius   sphere.Angle // half the apparent diameter, without refraction
	Distance float64      // metres from the site
}

// Moon is the Moon and its phase.
type Moon struct {
	Body
	Lit float64 // the lit fraction of the disc, 0 new, 1 full
}

const (
	metresPerAU = 149597870700.0
	sunRadius   = 6.957e8  // metres, nominal (IAU 2015 resolution B3)
	moonRadius  = 1.7374e6 // metres, mean
	lightSpeed  = 299792458.0
)

// Sun returns the Sun as seen from the site: apparent place, topocentric, by
// the Earth's orbit of the IAU routines (Epv00), aberration included.
// Accuracy better than 0.1 arcsec before refraction. Never look at or aim
// optics at it.
func (p *Place) Sun() Body {
	natural := [3]float64{-p.sunToUs[0], -p.sunToUs[1], -p.sunToUs[2]}
	var proper [3]float64
	gofa.Ab(natural, p.velocity, p.sunDist, p.bm1, &proper)
	dist := p.sunDist * metresPerAU
	return p.body(p.localFromGCRS.MulVec(r3.Vec{X: proper[0], Y: proper[1], Z: proper[2]}), dist, sunRadius)
}

func (p *Place) body(local r3.Vec, dist, radius float64) Body {
	return Body{
		Seen:     sphere.LocalVec(p.lift.raise(r3.Unit(local))),
		Radius:   sphere.Angle(math.Asin(radius / dist)),
		Distance: dist,
	}
}

// Moon returns the Moon as seen from the site, by the short theory of Meeus
// (gofa's Moon98): 10 arcsec in longitude, 4 in latitude, 500 km in distance.
// Parallax and light time are included.
func (p *Place) Moon() (Moon, error) {
	tt1, tt2, err := p.terrestrialTime()
	if err != nil {
		return Moon{}, err
	}
	var pv [2][3]float64
	gofa.Moon98(tt1, tt2, &pv)
	at := r3.Vec{X: pv[0][0], Y: pv[0][1], Z: pv[0][2]} // au
	motion := r3.Vec{X: pv[1][0], Y: pv[1][1], Z: pv[1][2]}
	days := r3.Norm(at) * metresPerAU / lightSpeed / 86400
	at = r3.Sub(at, r3.Scale(days, motion))
	local := r3.Sub(r3.Scale(metresPerAU, p.localFromGCRS.MulVec(at)), p.fromGeocentre())
	m := Moon{Body: p.body(local, r3.Norm(local), moonRadius)}
	m.Lit = litFraction(local, r3.Scale(p.sunDist*metresPerAU, p.localFromGCRS.MulVec(r3.Vec{X: -p.sunToUs[0], Y: -p.sunToUs[1], Z: -p.sunToUs[2]})))
	return m, nil
}

// litFraction is (1 + cos i)/2 with i the angle at the Moon between Sun and
// observer.
func litFraction(moon, sun r3.Vec) float64 {
	back, sunward := r3.Scale(-1, r3.Unit(moon)), r3.Unit(r3.Sub(sun, moon))
	return (1 + r3.Dot(back, sunward)) / 2
}

func (p *Place) terrestrialTime() (tt1, tt2 float64, err error) {
	jd0, frac, err := julianDate(p.time)
	if err != nil {
		return 0, 0, err
	}
	var tai1, tai2 float64
	if j := gofa.Utctai(jd0, frac, &tai1, &tai2); j < 0 {
		return 0, 0, fmt.Errorf("time %v: no atomic time for it (status %d)", p.time, j)
	}
	gofa.Taitt(tai1, tai2, &tt1, &tt2)
	return tt1, tt2, nil
}

// fromGeocentre returns the vector from the Earth's centre to the site, local
// axes, metres.
func (p *Place) fromGeocentre() r3.Vec {
	var xyz [3]float64
	gofa.Gd2gc(1, 0, float64(p.site.Lat), p.site.Elev, &xyz) // 1: WGS84; status is bad only for a bad ellipsoid
	s, c := p.site.Lat.Sin(), p.site.Lat.Cos()
	return r3.Vec{Y: c*xyz[2] - s*xyz[0], Z: c*xyz[0] + s*xyz[2]}
}

// RefractionConstants returns A and B, in radians, of the refraction
// A tan z + B tan^3 z of the observed zenith distance z; it holds above 3
// degrees altitude.
func (p *Place) RefractionConstants() (a, b float64) { return p.lift.a, p.lift.b }
