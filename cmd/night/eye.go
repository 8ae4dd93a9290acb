package night

import (
	"math"
	"time"

	"pintle/axis/place"
	"pintle/index/sphere"
)

// eye projects the stars of one shot.
type eye struct {
	shot         *shot
	truth        *Truth
	camFromLocal sphere.Rot
	ends         [2]Truth // at the start and the end of the exposure
	way          []Truth  // at equal steps of it, from start to end; nil when stars hardly move
	zero, limit  float64
}

// steps is into how many pieces a trail is cut, each of which is straight and bright
// throughout.
const steps = 8

func (s *shot) newEye(t *Truth, limit float64) *eye {
	e := &eye{shot: s, truth: t, camFromLocal: t.LocalFromCam.Inv(), limit: limit, zero: s.night.spec.Camera.zero()}
	exposure := s.night.spec.Camera.Exposure
	for i, after := range []time.Duration{0, exposure} {
		e.ends[i] = *t
		e.ends[i].LocalFromCam = s.localFromCam(after)
		e.ends[i].Place = s.ends[i]
	}
	if s.motion != (Motion{}) || e.longest() > 0.05 {
		e.setWay()
	}
	return e
}

// setWay fills in way.
func (e *eye) setWay() {
	s := e.shot
	for k := range steps + 1 {
		after := s.night.spec.Camera.Exposure * time.Duration(k) / steps
		t := *e.truth
		t.LocalFromCam = s.localFromCam(after)
		var err error
		if t.Place, err = s.night.at(s.start.Add(after)); err != nil {
			panic(err) // impossible: there is a place for both ends
		}
		e.way = append(e.way, t)
	}
}

// longest returns the longest trail, in pixels, over the frame.
func (e *eye) longest() float64 {
	c := &e.shot.night.spec.Camera
	l := 0.0
	for _, u := range []float64{0, 0.5, 1} {
		for _, v := range []float64{0, 0.5, 1} {
			d := e.trail(e.truth.Sky(u*float64(c.W-1), v*float64(c.H-1)))
			l = max(l, math.Hypot(d[0], d[1]))
		}
	}
	return l
}

// trail returns the way of a star over the frame during the exposure.
func (e *eye) trail(s sphere.Sky) [2]float64 {
	x0, y0, ok0 := e.ends[0].Pixel(s)
	x1, y1, ok1 := e.ends[1].Pixel(s)
	if !ok0 || !ok1 {
		return [2]float64{}
	}
	return [2]float64{x1 - x0, y1 - y0}
}

// project fills in pixel, trail and flux. It returns false for a star under the
// skyline, off the frame or too faint after extinction.
func (e *eye) project(s *Star) bool {
	local := e.truth.Place.Observed(s.Sky)
	_, alt := local.AzAlt()
	spec := &e.shot.night.spec
	c := &spec.Camera
	if alt < 0 || alt < spec.Sky.Skyline {
		return false
	}
	var ok bool
	if s.X, s.Y, ok = e.truth.Lens.PixelVec(e.camFromLocal.Apply(local.Vec())); !ok {
		return false
	}
	if e.way != nil {
		s.Trail = e.trail(s.Sky)
		for i := range e.way {
			if x, y, ok := e.way[i].Pixel(s.Sky); ok {
				s.Way = append(s.Way, [2]float64{x, y})
			}
		}
	}
	if !s.within(c, rim*c.PSF.FWHM) {
		return false
	}
	dim := s.V + spec.Sky.Extinction*place.AirMass(alt)
	s.Flux = e.zero * math.Pow(10, -0.4*dim)
	return dim <= e.limit
}
