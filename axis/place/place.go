// Package place says where a star is seen from a site at an instant, and back.
//
// It is a thin face over the gofa library (a Go version of the IAU's SOFA
// routines): precession-nutation IAU 2006/2000A, the Earth's orbit, aberration,
// light bending by the Sun, and refraction at 0.55 um. What depends on time,
// site and weather is worked out once per frame; a star then costs two vector
// steps, one matrix and one short iteration, and no trigonometry.
package place

import (
	"fmt"
	"time"

	"github.com/hebl/gofa"
	"gonum.org/v1/gonum/spatial/r3"

	"pintle/index/sphere"
)

// Site is a place on the ground.
type Site struct {
	Lat  sphere.Angle // geodetic, north positive
	Lon  sphere.Angle // east positive
	Elev float64      // metres above the ellipsoid; above the sea is near enough
}

// Orientation is what the tables of the Earth's rotation add to the clock. The
// zero value serves this program well. DUT1 stays below 0.9 s: leaving it out
// turns the whole sky, mount and all, about the pole by at most 13.5 arcsec and
// moves no axis relative to the pole. Polar motion does move the pole, by less
// than 0.6 arcsec.
type Orientation struct {
	DUT1   float64      // UT1 - UTC in seconds
	XP, YP sphere.Angle // polar motion along the meridians 0 and 90 deg west
}

// Place takes ICRS directions to observed local directions for one site and one
// instant. It is read-only once made and may be shared between goroutines.
type Place struct {
	time   time.Time
	site   Site
	air    Air
	orient Orientation

	sunToUs, velocity [3]float64 // unit vector; velocity in units of light's
	sunDist, bm1      float64    // au; sqrt(1-v^2)
	localFromGCRS     r3.Mat     // precession, nutation, Earth rotation, latitude
	pole              r3.Vec     // north celestial pole, local, no refraction
	sidereal          sphere.Angle
	lift              lift
}

// At prepares the places of one frame: t is the middle of the exposure. Errors
// say which value is out of range and what the range is.
func At(t time.Time, s Site, a Air) (*Place, error) {
	return AtOriented(t, s, a, Orientation{})
}

// AtOriented is At with values from the tables of the Earth's rotation.
func AtOriented(t time.Time, s Site, a Air, o Orientation) (*Place, error) {
	if err := check(t, s, a, o); err != nil {
		return nil, err
	}
	jd0, frac, err := julianDate(t)
	if err != nil {
		return nil, err
	}
	var ast gofa.ASTROM
	var eo float64
	// Status +1 is "dubious year": leap seconds after the library's release are
	// unknown. That is a clock error of a few seconds, not a failure.
	if j := gofa.Apco13(jd0, frac, o.DUT1, float64(s.Lon), float64(s.Lat), s.Elev, float64(o.XP), float64(o.YP),
		a.Pressure, a.Temp, a.Humidity, wavelength, &ast, &eo); j < 0 {
		return nil, fmt.Errorf("time %s: no calendar date for the astronomical library (status %d)", t.UTC().Format(time.RFC3339), j)
	}
	p := &Place{
		time: t, site: s, air: a, orient: o,
		sunToUs: ast.Eh, velocity: ast.V, sunDist: ast.Em, bm1: ast.Bm1,
		sidereal: sphere.Angle(ast.Eral - eo).Turn(),
		lift:     newLift(ast.Refa, ast.Refb),
	}
	p.setMatrix(&ast)
	return p, nil
}

// julianDate splits t as the library wants it: the Julian date of 0h UTC and
// the fraction of that day, which has 86401 seconds when it ends in a leap second.
func julianDate(t time.Time) (jd0, frac float64, err error) {
	u := t.UTC()
	sec := float64(u.Second()) + float64(u.Nanosecond())*1e-9
	if j := gofa.Dtf2d("UTC", u.Year(), int(u.Month()), u.Day(), u.Hour(), u.Minute(), sec, &jd0, &frac); j < 0 {
		return 0, 0, fmt.Errorf("time %s: not a calendar date (status %d)", u.Format(time.RFC3339Nano), j)
	}
	return jd0, frac, nil
}

// setMatrix builds the rotation from the geocentric celestial frame to east,
// north, up: the steps of ERFA's atioq, multiplied once.
func (p *Place) setMatrix(ast *gofa.ASTROM) {
	var m [3][3]float64
	gofa.Cr(ast.Bpn, &m)
	gofa.Rz(ast.Eral, &m) // to minus hour angle and declination
	// Polar motion, in the order and with the signs of atioq.
	gofa.Ry(-ast.Xpl, &m)
	gofa.Rx(-ast.Ypl, &m)
	row := func(i int) r3.Vec { return r3.Vec{X: m[i][0], Y: m[i][1], Z: m[i][2]} }
	x, y, z := row(0), row(1), row(2) // toward the meridian, east, the terrestrial pole
	north := r3.Sub(r3.Scale(ast.Cphi, z), r3.Scale(ast.Sphi, x))
	up := r3.Add(r3.Scale(ast.Cphi, x), r3.Scale(ast.Sphi, z))
	p.localFromGCRS = *r3.NewMat([]float64{y.X, y.Y, y.Z, north.X, north.Y, north.Z, up.X, up.Y, up.Z})
	p.pole = p.localFromGCRS.MulVec(r3.Vec{X: ast.Bpn[2][0], Y: ast.Bpn[2][1], Z: ast.Bpn[2][2]})
}

// Time returns the instant.
func (p *Place) Time() time.Time { return p.time }

// Site returns the site.
func (p *Place) Site() Site { return p.site }

// Air returns the air.
func (p *Place) Air() Air { return p.air }

// SiderealTime returns the local apparent sidereal time: the right ascension,
// of date, on the upper meridian.
func (p *Place) SiderealTime() sphere.Angle { return p.sidereal }

// Observed returns the refracted place of a star. s is its ICRS direction with
// proper motion applied up to the date (parallax is left out: below 0.8 arcsec
// for any star). Accuracy: 0.01 arcsec against a full treatment above altitude
// 15 degrees, apart from the weather; see RefractionErr for the rest. Below the
// horizon the place is still defined, continuous and never NaN, but nothing
// can be seen there: the caller looks at the altitude.
func (p *Place) Observed(s sphere.Sky) sphere.Local {
	return sphere.LocalVec(p.lift.raise(p.vacuum(s.Vec())))
}

// Unrefracted returns the place of a star as it would be without air.
func (p *Place) Unrefracted(s sphere.Sky) sphere.Local {
	return sphere.LocalVec(p.vacuum(s.Vec()))
}

// Catalogue is the inverse of Observed, to rounding: the ICRS direction that is
// seen at l.
func (p *Place) Catalogue(l sphere.Local) sphere.Sky {
	gcrs := p.localFromGCRS.MulVecTrans(p.lift.lower(l.Vec()))
	// Aberration and light bending change a direction by at most 1e-4, so that
	// taking away the change found at the last guess gains four digits a round.
	s := gcrs
	for range 12 {
		step := r3.Sub(gcrs, p.apparent(s))
		s = r3.Unit(r3.Add(s, step))
		if r3.Norm2(step) < 1e-31 {
			break
		}
	}
	return sphere.SkyVec(s)
}

// apparent takes an ICRS unit vector to the direction seen in the geocentric
// frame by the moving observer: light bending, then aberration.
func (p *Place) apparent(s r3.Vec) r3.Vec {
	var natural, proper [3]float64
	gofa.Ldsun([3]float64{s.X, s.Y, s.Z}, p.sunToUs, p.sunDist, &natural)
	gofa.Ab(natural, p.velocity, p.sunDist, p.bm1, &proper)
	return r3.Vec{X: proper[0], Y: proper[1], Z: proper[2]}
}

// vacuum takes an ICRS unit vector to its local unit vector without refraction.
func (p *Place) vacuum(s r3.Vec) r3.Vec { return p.localFromGCRS.MulVec(p.apparent(s)) }
