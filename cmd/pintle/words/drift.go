package words

import (
	"fmt"
	"math"

	"pintle/axis"
	"pintle/index/sphere"
)

const DriftLong = `Checks the axis by another road than turning the mount: leave the telescope
tracking one patch of sky, without guiding, and photograph it for ten minutes or
more. Stars drift in declination and the field turns when the axis is off. The
drive's own errors do not matter. When the journal has a measurement of the same
evening, the two are compared.

A narrow field tells only the part of the error that makes stars drift at its
place: look once near the meridian, once low in the east or west.`

const DriftExample = `  pintle drift t00.fits t05.fits t10.fits t15.fits`

// Drift says a declination drift with its direction.
func Drift(r axis.Rate) string {
	way := "north"
	if r.PerHour < 0 {
		way = "south"
	}
	return fmt.Sprintf("%.1f\" ± %.1f\" an hour %s", r.PerHour.Abs().Arcseconds(), r.Err.Arcseconds(), way)
}

// DriftRA says a drift in right ascension with its direction.
func DriftRA(r axis.Rate) string {
	way := "west"
	if r.PerHour < 0 {
		way = "east"
	}
	return fmt.Sprintf("%.0f\" an hour %s", r.PerHour.Abs().Arcseconds(), way)
}

// Agreement words a difference in standard errors.
func Agreement(sigma float64) string {
	switch {
	case sigma < 2:
		return fmt.Sprintf("%.1f sigma: they agree", sigma)
	case sigma < 3:
		return fmt.Sprintf("%.1f sigma: they barely agree", sigma)
	}
	return fmt.Sprintf("%.1f sigma: THEY DISAGREE", sigma)
}

// HourAngle says where a patch of sky stands.
func HourAngle(a sphere.Angle) string {
	h := a.Degrees() / 15
	switch {
	case math.Abs(h) < 0.05:
		return "on the meridian"
	case h < 0:
		return fmt.Sprintf("%.1f h before the meridian", -h)
	}
	return fmt.Sprintf("%.1f h after the meridian", h)
}
