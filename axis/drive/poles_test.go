package drive

import (
	"math"
	"testing"
	"time"

	"pintle/axis/place"
	"pintle/index/sphere"
)

// The poles of a night, in both hemispheres: the true one is where the latitude
// puts it, the refracted one A cot(latitude) above it to first order, King's the one that drifts
// least of all heights; and the one that is said to serve has the least drift of
// the three.
func TestPoles(t *testing.T) {
	for _, lat := range []sphere.Angle{52 * sphere.Degree, -31 * sphere.Degree} {
		p, err := place.At(time.Date(2026, 11, 27, 20, 0, 0, 0, time.UTC), place.Site{Lat: lat}, place.StandardAir(0))
		if err != nil {
			t.Fatal(err)
		}
		w := Window{Dec: lat / 3, From: -50 * sphere.Degree, To: 20 * sphere.Degree}
		all := Poles(p, w)
		if len(all) != 3 || all[0].Kind != TruePole || all[1].Kind != RefractedPole || all[2].Kind != KingsPole {
			t.Fatalf("latitude %v: %+v", lat, all)
		}
		if got, want := all[1].Above.Arcseconds(), KingAt(p).refractedPole().Arcseconds(); all[0].Above != 0 || math.Abs(got-want) > 0.01*want {
			t.Errorf("latitude %v: poles %.2f and %.2f arcsec up, want 0 and %.2f", lat, all[0].Above.Arcseconds(), got, want)
		}
		king := all[2]
		for _, d := range []sphere.Angle{-2, 2} {
			if other := KingAt(p).meanDrift(king.Above+d*sphere.Arcsecond, w); other < king.Drift {
				t.Errorf("latitude %v: %.2f arcsec an hour at King's pole, %.2f beside it", lat, king.Drift.Arcseconds(), other.Arcseconds())
			}
		}
		for _, c := range all {
			if c.Serves != (c.Kind == KingsPole) || c.Drift < king.Drift {
				t.Errorf("latitude %v: %+v", lat, c)
			}
		}
		low := Poles(p, Window{Dec: -lat / 2, From: -80 * sphere.Degree, To: -70 * sphere.Degree})
		if len(low) != 2 || low[0].Serves == low[1].Serves {
			t.Errorf("latitude %v, a target near the horizon: %+v", lat, low)
		}
	}
}

// The drift an hour of a star on the true pole's mount, by refraction alone, as
// in TestRefractedRates: 64.718 arcsec at latitude 52, hour angle -60.
func TestMeanDrift(t *testing.T) {
	k := King{52 * sphere.Degree, dryAir}
	w := Window{Dec: 0, From: -60 * sphere.Degree, To: -60 * sphere.Degree}
	if got := k.meanDrift(0, w).Arcseconds(); math.Abs(got-64.718) > 0.002 {
		t.Errorf("%.3f arcsec an hour, want 64.718", got)
	}
}

// An axis too high and too far clockwise, seen from above, by hand. In the south
// the northern end of the axis is the one below the ground, on the other side.
func TestOff(t *testing.T) {
	for _, c := range []struct{ due, az, alt float64 }{{0, 0.25, 35.1}, {180, 0.25, -35.1}} {
		south := c.due == 180
		pole := sphere.LocalAt(sphere.Angle(c.due)*sphere.Degree, 35*sphere.Degree)
		d := Off(pole, 6*sphere.Arcminute, 15*sphere.Arcminute, south)
		az, alt := sphere.LocalVec(d.axis.North()).AzAlt()
		if math.Abs(az.Degrees()-c.az) > 1e-9 || math.Abs(alt.Degrees()-c.alt) > 1e-9 {
			t.Errorf("south %v: northern end of the axis at %v, %v", south, az, alt)
		}
	}
}
