package plan

import (
	"math"
	"testing"
	"time"

	"gonum.org/v1/gonum/spatial/r3"

	"pintle/axis/drive"
	"pintle/axis/place"
	"pintle/index/sphere"
)

// off returns a direction r away from at.
func off(at sphere.Sky, r sphere.Angle) r3.Vec {
	side := r3.Cross(at.Vec(), r3.Vec{X: 0.3, Y: 0.5, Z: 0.8})
	return sphere.Turn(side, r).Apply(at.Vec())
}

var sites = map[string]place.Site{
	"Europe":          {Lat: 52 * deg, Lon: 13 * deg},
	"southern Africa": {Lat: -33 * deg, Lon: 19 * deg},
	"South America":   {Lat: -30 * deg, Lon: -70.5 * deg},
	"the Pacific":     {Lat: -17 * deg, Lon: 179.5 * deg},
	"its other side":  {Lat: -17 * deg, Lon: -179.5 * deg},
}

// At the noon of the night the Sun stands highest, to the equation of time (17
// minutes at most); the night lies within the day that follows, and holds the
// evening's own time if that is dark.
func TestNoon(t *testing.T) {
	for name, site := range sites {
		for hour := range 24 {
			e := Evening{site, place.StandardAir(0), time.Date(2026, 11, 27, hour, 13, 0, 0, time.UTC)}
			noon, err := e.Noon()
			if err != nil {
				t.Fatal(err)
			}
			sun := func(at time.Time) sphere.Angle {
				p, err := place.At(at, site, e.Air)
				if err != nil {
					t.Fatal(err)
				}
				_, alt := p.Sun().Seen.AzAlt()
				return alt
			}
			top := sun(noon)
			if sun(noon.Add(-40*time.Minute)) > top || sun(noon.Add(40*time.Minute)) > top {
				t.Errorf("%s, %v: the Sun is not highest at %v", name, e.At, noon)
			}
			since := e.At.Sub(noon)
			if since < -12*time.Hour || since > 24*time.Hour || sun(e.At) < Darkness && since < 0 {
				t.Errorf("%s, %v: the night begins after noon of %v", name, e.At, noon)
			}
		}
	}
}

// The first dark moment: the Sun below 12 degrees, and above it ten minutes
// before. 27 November at 52 N, 13 E: nautical twilight ends at 16:25 UTC (the
// sunrise equation by hand: declination -21.2 degrees, equation of time +12.3
// minutes, so noon at 10:56, and the hour angle of the Sun at -12 degrees 82.3
// degrees); found up to ten minutes later by the step, and five by refraction,
// which is taken to go on below the horizon.
func TestDark(t *testing.T) {
	e := Evening{sites["Europe"], place.StandardAir(0), time.Date(2026, 11, 27, 9, 0, 0, 0, time.UTC)}
	at, ok, err := e.Dark()
	if want := time.Date(2026, 11, 27, 16, 25, 0, 0, time.UTC); err != nil || !ok || at.Before(want) || at.Sub(want) > 16*time.Minute {
		t.Errorf("dark at %v (%v, %v), want %v or soon after", at, ok, err, want)
	}
	for name, site := range sites {
		for hour := range 24 {
			e := Evening{site, place.StandardAir(0), time.Date(2026, 6, 3, hour, 0, 0, 0, time.UTC)}
			at, ok, err := e.Dark()
			if err != nil || !ok {
				t.Fatalf("%s: %v, %v", name, ok, err)
			}
			p, _ := place.At(at, site, e.Air)
			before, _ := place.At(at.Add(-11*time.Minute), site, e.Air)
			if !dark(p) || at.Before(e.At) || at.Sub(e.At) > 24*time.Hour || !at.Equal(e.At) && dark(before) {
				t.Errorf("%s, %v: dark at %v", name, e.At, at)
			}
		}
	}
	north := Evening{place.Site{Lat: 66 * deg}, place.StandardAir(0), time.Date(2026, 6, 21, 12, 0, 0, 0, time.UTC)}
	if at, ok, err := north.Dark(); ok || err != nil {
		t.Errorf("midsummer in the north: dark at %v, %v", at, err)
	}
	if _, _, err := (Evening{Site: place.Site{Lat: 4}, At: e.At}).Dark(); err == nil {
		t.Error("a site at 229 degrees: no error")
	}
}

// The longest stretch of a target against a look every three minutes of the night.
func TestLongest(t *testing.T) {
	orion := sphere.SkyAt(83.8*deg, -5.4*deg)
	for name, c := range map[string]struct {
		site string
		sky  sphere.Sky
		up   bool
	}{
		"Orion from the north":           {"Europe", orion, true},
		"Orion from the south":           {"southern Africa", orion, true},
		"the south never seen":           {"Europe", sphere.SkyAt(1, -60*deg), false},
		"round the pole":                 {"southern Africa", sphere.SkyAt(1, -82*deg), true},
		"all of a long night":            {"Europe", sphere.SkyAt(1, 80*deg), true},
		"in the evening and the morning": {"Europe", sphere.SkyAt(200*deg, 62*deg), true},
	} {
		e := Evening{sites[c.site], place.StandardAir(0), time.Date(2026, 11, 27, 20, 0, 0, 0, time.UTC)}
		const minAlt = 31 * deg
		s, ok, err := e.Longest(c.sky, minAlt)
		if err != nil || ok != c.up {
			t.Errorf("%s: %v, %v", name, ok, err)
			continue
		}
		noon, _ := e.Noon()
		var from, to, began time.Time
		for at := noon; at.Before(noon.Add(24 * time.Hour)); at = at.Add(3 * time.Minute) {
			p, err := place.At(at, e.Site, e.Air)
			if err != nil {
				t.Fatal(err)
			}
			if _, alt := p.Observed(c.sky).AzAlt(); alt < minAlt || !dark(p) {
				began = time.Time{}
				continue
			}
			if began.IsZero() {
				began = at
			}
			if at.Sub(began) > to.Sub(from) {
				from, to = began, at
			}
		}
		if s.From.Sub(from).Abs() > eveningStep || s.To.Sub(to).Abs() > eveningStep {
			t.Errorf("%s: from %v to %v, looked at %v to %v", name, s.From, s.To, from, to)
		}
		if !ok {
			continue
		}
		// The window turns as the sky does, and starts where the target stands.
		if turn := drive.SkyTurn(s.To.Sub(s.From)); math.Abs((s.Window.To - s.Window.From - turn).Degrees()) > 0.1 {
			t.Errorf("%s: the window turns by %v, the sky by %v", name, s.Window.To-s.Window.From, turn)
		}
		p, _ := place.At(s.From, e.Site, e.Air)
		d := drive.New(p.RefractedPole(), p.RefractedPole(), p.South())
		if sep := d.Star(s.Window.From, s.Window.Dec).Sep(p.Observed(c.sky)); sep > sphere.Arcsecond || s.Lowest < minAlt {
			t.Errorf("%s: the window starts %.1f arcsec from the target, lowest %v", name, sep.Arcseconds(), s.Lowest)
		}
	}
}
