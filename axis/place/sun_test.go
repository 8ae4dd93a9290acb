package place

import (
	"math"
	"testing"
	"time"

	"gonum.org/v1/gonum/spatial/r3"

	"pintle/index/sphere"
)

// equatorial returns the apparent right ascension and declination of date of a
// direction seen without air.
func equatorial(p *Place, l sphere.Local) (ra, dec sphere.Angle) {
	n := p.pole
	west := r3.Unit(r3.Cross(r3.Vec{Z: 1}, n))
	noon := r3.Cross(n, west)
	v := l.Vec()
	if r3.Dot(noon, r3.Vec{Z: 1}) < 0 {
		noon = r3.Scale(-1, noon)
	}
	ha := sphere.Angle(math.Atan2(r3.Dot(v, west), r3.Dot(v, noon)))
	return (p.SiderealTime() - ha).Turn(), sphere.Angle(math.Asin(r3.Dot(v, n)))
}

// below returns the place at time t (UTC) where right ascension ra and
// declination dec stand in the zenith, so that parallax vanishes.
func below(t *testing.T, at time.Time, ra, dec float64) *Place {
	t.Helper()
	p, err := At(at, Site{}, Air{})
	if err != nil {
		t.Fatal(err)
	}
	lon := (sphere.Angle(ra)*sphere.Degree - p.SiderealTime()).Wrap()
	p, err = At(at, Site{Lat: sphere.Angle(dec) * sphere.Degree, Lon: lon}, Air{})
	if err != nil {
		t.Fatal(err)
	}
	return p
}

func nearDeg(t *testing.T, what string, got sphere.Angle, want, tol float64) {
	t.Helper()
	if d := (got - sphere.Angle(want)*sphere.Degree).Wrap().Degrees(); !(math.Abs(d) <= tol) {
		t.Errorf("%s = %.6f deg, want %.6f, difference %.2f arcsec, tolerance %.2f", what, got.Degrees(), want, d*3600, tol*3600)
	}
}

// Meeus, Astronomical Algorithms, example 25.b: 1992 October 13, 0h TD (59.184
// s before that in UTC): 13h13m30.749s, -7 47 01.74 (from memory).
func TestSunMeeus(t *testing.T) {
	ra, dec := (13+13.0/60+30.749/3600)*15, -(7 + 47.0/60 + 1.74/3600)
	p := below(t, time.Date(1992, 10, 12, 23, 59, 0, 816e6, time.UTC), ra, dec)
	gotRA, gotDec := equatorial(p, p.Sun().Seen)
	nearDeg(t, "Sun's right ascension", gotRA, ra, 0.5/3600)
	nearDeg(t, "Sun's declination", gotDec, dec, 0.5/3600)
}

// Reda and Andreas (2003), Solar position algorithm, NREL/TP-560-34302, the
// example: 2003 October 17, 12:30:30 at UTC-7, 39.742476 N 105.1786 W, 1830.14
// m, 820 mbar, 11 C: zenith angle 50.11162 and azimuth 194.34024 deg, stated
// to 0.0003 deg (from memory). Their refraction is Saemundsson's formula, 58.8
// arcsec here, 2.6 more than the model's; hence the wider tolerance in altitude.
func TestSunAzimuth(t *testing.T) {
	p, err := At(time.Date(2003, 10, 17, 19, 30, 30, 0, time.UTC),
		Site{Lat: 39.742476 * sphere.Degree, Lon: -105.1786 * sphere.Degree, Elev: 1830.14}, Air{Pressure: 820, Temp: 11})
	if err != nil {
		t.Fatal(err)
	}
	s := p.Sun()
	az, alt := s.Seen.AzAlt()
	nearDeg(t, "Sun's azimuth", az, 194.34024, 0.0006)
	nearDeg(t, "Sun's altitude", alt, 90-50.11162, 0.001)
	// The radius is 959.63 arcsec at 1 au (Explanatory Supplement, from memory).
	if r := s.Radius.Arcseconds() * s.Distance / metresPerAU; math.Abs(r-959.63) > 0.5 {
		t.Errorf("radius at 1 au %.2f arcsec", r)
	}
}

// Meeus, example 47.a: 1992 April 12, 0h TD: apparent 134.688470 deg,
// +13.768368 deg, 368409.7 km; example 48.a: lit 0.6786 (from memory).
func TestMoonMeeus(t *testing.T) {
	p := below(t, time.Date(1992, 4, 11, 23, 59, 1, 816e6, time.UTC), 134.688470, 13.768368)
	m, err := p.Moon()
	if err != nil {
		t.Fatal(err)
	}
	ra, dec := equatorial(p, m.Seen)
	nearDeg(t, "Moon's right ascension", ra, 134.688470, 12.0/3600)
	nearDeg(t, "Moon's declination", dec, 13.768368, 6.0/3600)
	if d := m.Distance/1000 + r3.Norm(p.fromGeocentre())/1000; math.Abs(d-368409.7) > 60 {
		t.Errorf("distance from the Earth's centre %.1f km, want 368409.7", d)
	}
	if math.Abs(m.Lit-0.6786) > 0.003 {
		t.Errorf("lit %.4f, want 0.6786", m.Lit)
	}
}

// The Moon on the horizon stands lower than from the Earth's centre by its
// parallax, about 57 arcmin; overhead it does not. And the phase at an
// eclipse is full: 2025 March 14, 06:59 UTC, greatest eclipse of the Moon; new
// at 2024 April 8, 18:18 UTC, of the Sun (dates from memory).
func TestMoonParallaxAndPhase(t *testing.T) {
	at := time.Date(1992, 4, 11, 23, 59, 1, 816e6, time.UTC)
	over := below(t, at, 134.688470, 13.768368)
	set, err := At(at, Site{Lat: over.site.Lat - 90*sphere.Degree + 0.3, Lon: over.site.Lon}, Air{})
	if err != nil {
		t.Fatal(err)
	}
	a, err := over.Moon()
	if err != nil {
		t.Fatal(err)
	}
	b, err := set.Moon()
	if err != nil {
		t.Fatal(err)
	}
	_, altA := a.Seen.AzAlt()
	_, altB := b.Seen.AzAlt()
	// The two verticals differ by 90 deg - 0.3 rad; the rest is parallax.
	parallax := math.Asin(6371e3 * altB.Cos() / (368409.7e3))
	if d := (altA - altB).Radians() - (math.Pi/2 - 0.3) - parallax; math.Abs(d) > 1e-3 {
		t.Errorf("parallax off by %.3f deg", d*180/math.Pi)
	}
	for _, c := range []struct {
		at   time.Time
		want float64
	}{{time.Date(2025, 3, 14, 6, 59, 0, 0, time.UTC), 1}, {time.Date(2024, 4, 8, 18, 18, 0, 0, time.UTC), 0}} {
		p, err := At(c.at, Site{}, Air{})
		if err != nil {
			t.Fatal(err)
		}
		m, err := p.Moon()
		if err != nil {
			t.Fatal(err)
		}
		if math.Abs(m.Lit-c.want) > 0.001 {
			t.Errorf("%v: lit %.4f, want %v", c.at, m.Lit, c.want)
		}
	}
}

func TestRefractionConstants(t *testing.T) {
	// ERFA refco(731 hPa, 12.8 C, 0.59, 0.55 um), from its test suite.
	p, err := At(time.Date(2026, 1, 1, 0, 0, 0, 0, time.UTC), Site{}, Air{Pressure: 731, Temp: 12.8, Humidity: 0.59})
	if err != nil {
		t.Fatal(err)
	}
	a, b := p.RefractionConstants()
	if math.Abs(a-0.2014187785940396921e-3) > 1e-15 || math.Abs(b+0.2361408314943696227e-6) > 1e-18 {
		t.Errorf("A %v B %v", a, b)
	}
}
