package indi

import (
	"context"
	"encoding/json"
	"fmt"
	"os"
	"path/filepath"
	"strconv"
	"time"

	"gonum.org/v1/gonum/spatial/r3"

	"pintle/axis/place"
	"pintle/index/sphere"
	"pintle/index/stars"
)

const (
	simFocal = 150.0 // mm
	simPixel = 2.6   // um: it draws every star on the middle of a pixel, so that these have to be small
	simElev  = 300.0 // m
)

// tilt is a mount out of true: how its axis was moved from the true pole, in
// degrees, up by Alt about the horizontal, then clockwise seen from above by Az.
type tilt struct {
	Site    place.Site
	Alt, Az float64
}

func (p *peer) skyFile() string { return filepath.Join(p.home, "sky.json") }

// misalign puts the simulated mount out of true.
func (p *peer) misalign(alt, az sphere.Angle) tilt {
	p.t.Helper()
	s := tilt{p.site, alt.Degrees(), az.Degrees()}
	b, err := json.Marshal(s)
	if err == nil {
		err = os.WriteFile(p.skyFile()+".new", b, 0o644)
	}
	if err == nil {
		err = os.Rename(p.skyFile()+".new", p.skyFile())
	}
	if err != nil {
		p.t.Fatal(err)
	}
	return s
}

// rot takes directions by the mount's circles, as if it were in true, to where
// they really are.
func (s tilt) rot() sphere.Rot {
	up := sphere.Turn(r3.Vec{X: 1}, sphere.Angle(s.Alt)*sphere.Degree) // about east: north goes up
	if s.Site.Lat < 0 {
		up = up.Inv() // south goes up
	}
	return sphere.Turn(r3.Vec{Z: -1}, sphere.Angle(s.Az)*sphere.Degree).Mul(up)
}

// axis returns where the mount's axis really points, the end near the elevated
// pole.
func (s tilt) axis(pl *place.Place) sphere.Local {
	return sphere.LocalVec(s.rot().Apply(pl.TruePole().Vec()))
}

// standIn is the program that the camera simulator asks for stars around a place
// that it believes to point to: gsc -c RA DEC -r ARCMIN -m 0 LIMIT -n N. It
// answers with the stars of the list that the misaligned mount really points to,
// placed so that the simulator draws them where the camera would see them: north
// by the mount's circles is up.
func standIn() {
	fail := func(err error) {
		if err != nil {
			fmt.Fprintln(os.Stderr, "stand-in for gsc:", err)
			os.Exit(1)
		}
	}
	b, err := os.ReadFile(os.Getenv("PINTLE_TEST_SKY"))
	fail(err)
	var s tilt
	fail(json.Unmarshal(b, &s))
	ra, dec, radius, limit, err := asked(os.Args)
	fail(err)
	ra0, dec0, now, err := circles()
	fail(err)
	pl, err := place.At(now, s.Site, place.Air{Pressure: 1013, Temp: 10, Humidity: 0.5})
	fail(err)
	centre := sphere.SkyAt(ra, dec)
	told := direction(pl, pl.SiderealTime()-ra0, dec0)
	real := s.rot()
	truly := pl.Catalogue(sphere.LocalVec(real.Apply(told)))
	frame := tangent(told, pl.TruePole().Vec())
	south := s.Site.Lat < 0
	epoch := stars.JulianYear(now)
	for i, st := range stars.Embedded().Cone(nil, truly, radius, limit, epoch) {
		v := real.Inv().Apply(pl.Observed(st.Pos).Vec())
		x, y := frame.project(v, south)
		p := unproject(centre, x, y)
		r, d := p.RADec()
		fmt.Printf("S%07d %.6f %.6f 0.2 %.2f 0.2 0 0 0000 N1 %.2f 0\n", i, r.Degrees(), d.Degrees(), st.V, centre.Sep(p).Arcminutes())
	}
}

// circles asks the mount where it points: right ascension and declination of
// date. The place that the camera simulator asks for is the same by conversions
// that are off by up to half an arcminute.
func circles() (ra, dec sphere.Angle, at time.Time, err error) {
	ctx := context.Background()
	c, err := dial(ctx, os.Getenv("PINTLE_TEST_SERVER"), simMount, time.Now)
	if err != nil {
		return 0, 0, at, err
	}
	defer c.close()
	if err := c.until(ctx, 3*time.Second, func() bool { return coordinates(c, simMount) != nil }); err != nil {
		return 0, 0, at, err
	}
	v := coordinates(c, simMount)
	r, _ := v.number("RA")
	d, _ := v.number("DEC")
	return sphere.Angle(r) * sphere.Hour, sphere.Angle(d) * sphere.Degree, v.arrived, nil
}

// direction returns the local direction of an hour angle and a declination.
func direction(pl *place.Place, ha, dec sphere.Angle) r3.Vec {
	north := pl.TruePole().Vec()
	if pl.South() {
		north = r3.Scale(-1, north)
	}
	meridian := r3.Vec{Y: -north.Z, Z: north.Y} // the equator's highest point
	west := r3.Vec{X: -1}
	across := r3.Add(r3.Scale(ha.Cos(), meridian), r3.Scale(ha.Sin(), west))
	return r3.Add(r3.Scale(dec.Cos(), across), r3.Scale(dec.Sin(), north))
}

func asked(args []string) (ra, dec, radius sphere.Angle, limit float64, err error) {
	if len(args) < 8 {
		return 0, 0, 0, 0, fmt.Errorf("arguments %q", args)
	}
	var v [4]float64
	for i, k := range []int{2, 3, 5, 8} {
		if v[i], err = strconv.ParseFloat(args[min(k, len(args)-1)], 64); err != nil {
			return 0, 0, 0, 0, err
		}
	}
	return sphere.Angle(v[0]) * sphere.Degree, sphere.Angle(v[1]) * sphere.Degree, sphere.Angle(v[2]) * sphere.Arcminute, v[3], nil
}

// plane is a plane that touches the sphere.
type plane struct{ at, east, north r3.Vec }

// tangent returns the plane at v with north toward pole (the true one of the
// site's own half of the sky).
func tangent(v, pole r3.Vec) plane {
	north := r3.Unit(r3.Sub(pole, r3.Scale(r3.Dot(pole, v), v)))
	return plane{at: v, north: north, east: r3.Cross(north, v)}
}

// project returns the gnomonic coordinates of v, x to the east and y to the
// north; where TruePole is the southern one, north is the other way.
func (p plane) project(v r3.Vec, south bool) (x, y float64) {
	w := r3.Dot(v, p.at)
	x, y = r3.Dot(v, p.east)/w, r3.Dot(v, p.north)/w
	if south {
		return -x, -y
	}
	return x, y
}

// unproject is the inverse about a catalogue direction, east to greater right
// ascension.
func unproject(c sphere.Sky, x, y float64) sphere.Sky {
	east, north := c.Axes()
	return sphere.SkyVec(r3.Add(c.Vec(), r3.Add(r3.Scale(x, east), r3.Scale(y, north))))
}
