package axis

import (
	"testing"
	"time"

	"gonum.org/v1/gonum/spatial/r3"

	"pintle/axis/place"
	"pintle/index/sphere"
)

// The error of the whole offset is that along it; where the offset is no longer than
// twice its error it has no direction, and the longer axis of the ellipse counts.
func TestErrorAlongTheOffset(t *testing.T) {
	one := float64(sphere.Arcsecond)
	c := [2][2]float64{{one * one, 0}, {0, 100 * one * one}}
	axis := sphere.LocalAt(0, 45*sphere.Degree)
	for alt, want := range map[sphere.Angle]sphere.Angle{0: 10, 5: 10, 19: 10, 21: 1, 300: 1, -300: 1} {
		o := Offset{Pole: axis, Parts: Parts{Alt: alt * sphere.Arcsecond}}
		if got := o.errors(axis, c).Total; (got - want*sphere.Arcsecond).Abs() > sphere.Arcsecond/1000 {
			t.Errorf("offset %v arcsec in altitude: error %v, want %v arcsec", float64(alt), got, float64(want))
		}
	}
}

// A few stars below the horizon are enough, a single one may be a wrong match.
func TestStarsBelowTheHorizon(t *testing.T) {
	p, err := place.At(time.Date(2026, 11, 27, 15, 0, 0, 0, time.UTC), place.Site{Lat: -31.4 * sphere.Degree, Lon: 121.9 * sphere.Degree}, place.StandardAir(0))
	if err != nil {
		t.Fatal(err)
	}
	up := func(alt sphere.Angle) r3.Vec { return sphere.LocalAt(sphere.Degree, alt).Vec() }
	for _, c := range []struct {
		below, all int
		alt        sphere.Angle
		refused    bool
	}{{2, 20, -5, true}, {3, 40, -5, true}, {1, 4, -5, false}, {2, 41, -5, false}, {5, 20, -3, false}, {99, 200, -20, true}} {
		v := outlook{place: p, middle: up(5 * sphere.Degree), sun: up(-40 * sphere.Degree)}
		for i := range c.all {
			alt := 8 * sphere.Degree
			if i < c.below {
				alt = c.alt * sphere.Degree
			}
			v.stars = append(v.stars, up(alt))
		}
		got := v.unseeable(sphere.Identity(), sphere.Identity())
		if refused := len(got) == 1 && got[0].Kind == StarsBelow && (got[0].Angle-c.alt*sphere.Degree).Abs() < sphere.Arcsecond; refused != c.refused || !c.refused && len(got) > 0 {
			t.Errorf("%d of %d stars at %v degrees: %+v, want refused %t", c.below, c.all, float64(c.alt), got, c.refused)
		}
	}
}

// A mount stands on one spot: frames of a walk around it are told from each other.
func TestStatedSitesAKilometreApart(t *testing.T) {
	at := func(lat sphere.Angle) StatedSite {
		return StatedSite{Name: "x", Site: place.Site{Lat: lat * sphere.Degree}}
	}
	for apart, want := range map[sphere.Angle]int{0.005: 0, 0.015: 1, 0.03: 1} {
		if got := SitesAgainst(nil, []StatedSite{at(-31.4), at(-31.4 + apart)}); len(got) != want {
			t.Errorf("%v degrees apart: %+v, want %d", float64(apart), got, want)
		}
	}
}

// A clock wrong by some hours is rarer than a wrong sign: with the stars almost for
// both the sign is named first.
func TestSignBeforeClock(t *testing.T) {
	sign, clock := Alternative{Mistake: LatitudeSign, LogOdds: 18}, Alternative{Mistake: ClockOff, Shift: 2 * time.Hour, LogOdds: 20}
	clock.Least, clock.Most = clock.Shift, clock.Shift
	if got := fitting([]Alternative{clock, sign}); len(got) == 0 || got[0].Mistake != LatitudeSign {
		t.Errorf("first %+v, want the sign", got)
	}
	clock.LogOdds = 25
	if got := fitting([]Alternative{clock, sign}); len(got) == 0 || got[0].Mistake != ClockOff {
		t.Errorf("first %+v, want the clock", got)
	}
}
