package night

import (
	"math"
	"math/rand/v2"
	"time"

	"pintle/axis/place"
	"pintle/index/sphere"
)

// Limits of an exposure.
const (
	enoughLight = 10 // ratio of a star's light to the noise for it to show
	longTrail   = 5  // pixels
)

// setDark sets the start to a time in 2026 to 2028 with the Sun 15 degrees under
// the horizon; false when it did not find one.
func setDark(rng *rand.Rand, s *Spec) bool {
	first := time.Date(2026, 9, 1, 0, 0, 0, 0, time.UTC)
	for range 20 {
		s.Start = first.Add(time.Duration(rng.IntN(2*365*24*60)) * time.Minute)
		p, err := place.At(s.Start, s.Site, s.Air)
		if err != nil {
			return false
		}
		if _, alt := p.Unrefracted(sun(s.Start)).AzAlt(); alt < -15*sphere.Degree {
			return true
		}
	}
	return false
}

// sun returns the direction of the Sun, equator of date, to 0.01 degrees from
// 1950 to 2050 (the low-precision formulas of the Astronomical Almanac; from
// memory).
func sun(t time.Time) sphere.Sky {
	n := (julianYear(t) - 2000) * 365.25
	rad := math.Pi / 180
	g := (357.528 + 0.9856003*n) * rad
	l := (280.460 + 0.9856474*n + 1.915*math.Sin(g) + 0.020*math.Sin(2*g)) * rad
	e := (23.439 - 4e-7*n) * rad
	return sphere.SkyAt(sphere.Angle(math.Atan2(math.Cos(e)*math.Sin(l), math.Cos(l))), sphere.Angle(math.Asin(math.Sin(e)*math.Sin(l))))
}

// aim sets declination and frames; false when it found none high enough.
func aim(rng *rand.Rand, s *Spec, w wish) bool {
	for range 40 {
		s.Setup.Dec = s.sign() * sphere.Angle(between(rng, -25, 70)) * sphere.Degree
		mid := between(rng, -45, 45)
		s.Frames = nil
		at := time.Duration(0)
		for k := range w.frames {
			u := float64(k)/float64(max(w.frames-1, 1)) - 0.5
			turn := mid + w.span*u + 2*rng.NormFloat64()
			s.Frames = append(s.Frames, Frame{At: at, Pose: Pose{Turn: sphere.Angle(turn) * sphere.Degree}})
			at += time.Duration(between(rng, 50, 75)) * time.Second
		}
		n, err := New(*s)
		if err == nil && n.lowest() > w.low {
			return true
		}
	}
	return false
}

// lowest returns the least altitude of the middle of a frame.
func (n *Night) lowest() sphere.Angle {
	low := sphere.Angle(math.Pi)
	for i := range n.Len() {
		low = min(low, n.Truth(i).Altitude)
	}
	return low
}

// expose sets the first of a series of exposures, each twice the one before,
// that shows enough stars in every frame; false when there is none.
func expose(s *Spec, w wish) bool {
	for sec := w.shortest; sec <= 32; sec *= 2 {
		s.Camera.Exposure = time.Duration(sec * float64(time.Second))
		adapt(s)
		if s.level() > 0.4*s.Camera.Sensor.FullWell {
			return false
		}
		bare := *s
		bare.Sky.Faint = false
		n, err := New(bare)
		if err != nil {
			return false
		}
		if !n.shows(w.stars, s.faintest(enoughLight)) {
			continue
		}
		s.Setup.Tracking = s.Setup.Tracking || n.trail() > longTrail
		return true
	}
	return false
}

// shows reports whether every frame has enough stars down to a magnitude.
func (n *Night) shows(enough int, limit float64) bool {
	c := &n.spec.Camera
	for i := range n.shots {
		seen := 0
		for _, s := range n.Stars(i) {
			if s.V < limit-n.spec.Sky.Extinction && s.X >= 0 && s.Y >= 0 && s.X < float64(c.W) && s.Y < float64(c.H) {
				seen++
			}
		}
		if float64(seen)*(1-n.spec.Sky.Cloud) < float64(enough) {
			return false
		}
	}
	return true
}

// trail returns the longest trail in the frames' middles, pixels.
func (n *Night) trail() float64 {
	l := 0.0
	for i := range n.shots {
		t := n.Truth(i)
		d := n.shots[i].newEye(&t, 0).trail(t.Centre)
		l = max(l, math.Hypot(d[0], d[1]))
	}
	return l
}
