package place

import (
	"testing"
	"time"

	"pintle/index/sphere"
)

// What stands without air where Unrefracted says is lifted to where Observed
// says, and stays when there is no air.
func TestLifted(t *testing.T) {
	at, s := time.Date(2026, 11, 25, 12, 40, 1, 0, time.UTC), Site{Lat: -31.4 * sphere.Degree, Lon: 121.9 * sphere.Degree}
	p, err := At(at, s, StandardAir(0))
	if err != nil {
		t.Fatal(err)
	}
	none, err := At(at, s, Air{})
	if err != nil {
		t.Fatal(err)
	}
	for alt := -20.0; alt <= 90; alt += 2.5 {
		star := none.Catalogue(sphere.LocalAt(1, sphere.Angle(alt)*sphere.Degree))
		if d := p.Lifted(p.Unrefracted(star)).Sep(p.Observed(star)).Arcseconds(); d > 1e-6 {
			t.Errorf("altitude %g: lifted %.2g arcsec from where it is observed", alt, d)
		}
		if d := none.Lifted(none.Unrefracted(star)).Sep(none.Unrefracted(star)).Arcseconds(); d > 1e-6 {
			t.Errorf("altitude %g: lifted by %.2g arcsec without air", alt, d)
		}
		if d := p.Lifted(p.Unrefracted(star)).Sep(p.Unrefracted(star)).Arcseconds(); alt < 80 && d < 5 {
			t.Errorf("altitude %g: lifted by %.2g arcsec, want 5 or more", alt, d)
		}
	}
}
