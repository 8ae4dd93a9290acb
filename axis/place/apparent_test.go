package place

import (
	"math"
	"testing"
	"time"

	"github.com/hebl/gofa"

	"pintle/index/sphere"
)

// Apparent places against the geocentric ones of the library's own chain
// (atci13, right ascension from the equinox by its eo). What differs is the
// aberration of the Earth's spin, at most 0.32 arcsec.
func TestApparentPlace(t *testing.T) {
	at := time.Date(2026, 11, 25, 20, 0, 0, 0, time.UTC)
	jd0, frac, err := julianDate(at)
	if err != nil {
		t.Fatal(err)
	}
	var tai1, tai2, tt1, tt2 float64
	gofa.Utctai(jd0, frac, &tai1, &tai2)
	gofa.Taitt(tai1, tai2, &tt1, &tt2)
	largest := 0.0
	for _, lat := range []float64{-66, -31, 0.001, 48, 66} {
		p, err := At(at, Site{Lat: sphere.Angle(lat) * sphere.Degree, Lon: 17 * sphere.Degree}, StandardAir(0))
		if err != nil {
			t.Fatal(err)
		}
		for ra := 5.0; ra < 360; ra += 50 {
			for _, dec := range []float64{-85, -40, 0, 30, 80} {
				s := sphere.SkyAt(sphere.Angle(ra)*sphere.Degree, sphere.Angle(dec)*sphere.Degree)
				var ri, di, eo float64
				gofa.Atci13(ra*math.Pi/180, dec*math.Pi/180, 0, 0, 0, 0, tt1, tt2, &ri, &di, &eo)
				gra, gdec := p.Apparent(s)
				d := sphere.SkyAt(gra, gdec).Sep(sphere.SkyAt(sphere.Angle(ri-eo), sphere.Angle(di))).Arcseconds()
				largest = math.Max(largest, d)
				if d > 0.33 {
					t.Errorf("latitude %g, RA %g Dec %g: %.3f arcsec apart", lat, ra, dec, d)
				}
			}
		}
	}
	if largest < 0.1 {
		t.Errorf("largest difference %.3f arcsec: the aberration of the Earth's spin is missing", largest)
	}
}
