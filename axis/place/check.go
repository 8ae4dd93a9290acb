package place

import (
	"fmt"
	"math"
	"time"

	"pintle/index/sphere"
)

// First and last year served. Before 1980 the clock corrections of the library
// are of another kind, after 2100 its models are not meant to hold.
const (
	FirstYear = 1980
	LastYear  = 2100
)

func check(t time.Time, s Site, a Air, o Orientation) error {
	if y := t.UTC().Year(); y < FirstYear || y > LastYear {
		return fmt.Errorf("time %s: year outside %d to %d; is the camera's clock set?", t.UTC().Format(time.RFC3339), FirstYear, LastYear)
	}
	for _, err := range []error{s.Check(), a.Check(), o.check()} {
		if err != nil {
			return err
		}
	}
	return nil
}

// outside is true for NaN too.
func outside(x, lo, hi float64) bool { return !(x >= lo && x <= hi) }

// Check returns an error when a value of the site is out of range.
func (s Site) Check() error {
	switch {
	case outside(s.Lat.Degrees(), -90, 90):
		return fmt.Errorf("latitude %g deg: outside -90 to 90", s.Lat.Degrees())
	case outside(s.Lon.Degrees(), -180, 360):
		return fmt.Errorf("longitude %g deg: outside -180 to 360; east is positive", s.Lon.Degrees())
	case outside(s.Elev, -500, 9000):
		return fmt.Errorf("elevation %g m: outside -500 to 9000; it is in metres", s.Elev)
	}
	return nil
}

// Check returns an error when a value of the air is out of range.
func (a Air) Check() error {
	switch {
	case a.Pressure != 0 && outside(a.Pressure, 250, 1100):
		return fmt.Errorf("pressure %g hPa: outside 250 to 1100, and not 0 for no refraction; it is in hPa at the site, not reduced to sea level", a.Pressure)
	case outside(a.Temp, -90, 60):
		return fmt.Errorf("temperature %g C: outside -90 to 60; it is in degrees Celsius", a.Temp)
	case outside(a.Humidity, 0, 1):
		return fmt.Errorf("humidity %g: outside 0 to 1; 0.5 is 50 percent", a.Humidity)
	case outside(a.Err, 0, 1):
		return fmt.Errorf("relative error of the refraction %g: outside 0 to 1", a.Err)
	}
	return nil
}

func (o Orientation) check() error {
	const far = sphere.Arcsecond * 2
	switch {
	case math.IsNaN(o.DUT1) || math.Abs(o.DUT1) > 60:
		return fmt.Errorf("DUT1 %g s: outside -60 to 60", o.DUT1)
	case !(o.XP.Abs() <= far && o.YP.Abs() <= far):
		return fmt.Errorf("polar motion %g, %g arcsec: outside -2 to 2", o.XP.Arcseconds(), o.YP.Arcseconds())
	}
	return nil
}
