package compass

import (
	"fmt"
	"math"
	"time"

	"pintle/index/sphere"
)

// Field is the magnetic field at a place and date, or its change in a year.
// Components in nT: X toward geographic north, Y toward east, Z down, H
// horizontal, F total.
type Field struct {
	X, Y, Z, H, F float64
	// D is the declination: the azimuth of magnetic north, east positive.
	// I is the inclination: the angle below the horizontal, down positive.
	D, I sphere.Angle
}

// Reading is what the model says of a compass at a place and date.
type Reading struct {
	Field
	// PerYear is the yearly change of each component.
	PerYear Field
	// Outside is by how many years the date lies before 2025.0 (negative) or
	// after 2030.0 (positive); 0 while the model is valid.
	Outside float64
}

// Zone says how far a compass can be trusted at a place.
type Zone int

// The zones, by the horizontal field: good from 6000 nT, caution below that,
// no compass below 2000 nT (limits of the model's yearly status report).
const (
	Good Zone = iota
	Caution
	NoCompass
)

// Zone returns the zone of the horizontal field.
func (f Field) Zone() Zone {
	switch {
	case f.H < 2000:
		return NoCompass
	case f.H < 6000:
		return Caution
	}
	return Good
}

// Sigma returns the standard error of the declination by the model's own
// error model: 0.26 degrees and 5417 nT degrees over H, in quadrature. It
// leaves out steel nearby and the needle itself.
func (f Field) Sigma() sphere.Angle {
	return sphere.Angle(math.Hypot(0.26, 5417/f.H)) * sphere.Degree
}

// Bearing returns what a compass shows in the direction of true azimuth az,
// both from north through east.
func (f Field) Bearing(az sphere.Angle) sphere.Angle { return (az - f.D).Turn() }

// Year returns t as a decimal year: the year and the fraction of it gone.
func Year(t time.Time) float64 {
	t = t.UTC()
	a := time.Date(t.Year(), 1, 1, 0, 0, 0, 0, time.UTC)
	b := a.AddDate(1, 0, 0)
	return float64(t.Year()) + float64(t.Sub(a))/float64(b.Sub(a))
}

// maxOutside is how many years beyond its validity the model is still
// evaluated, with Outside set.
const maxOutside = 5

// At evaluates the model at geodetic latitude lat, longitude lon (east
// positive, any multiple of a turn), elev metres above the ellipsoid, and the
// decimal year. A height above the sea may be given instead: the two differ
// by less than 110 m, which moves the declination by less than 0.003 degree
// where the zone is good.
//
// At a geographic pole north is the direction of the meridian lon, as
// everywhere on that meridian. Dates up to five years outside 2025.0 to
// 2030.0 are evaluated and marked, others refused.
func At(lat, lon sphere.Angle, elev, year float64) (Reading, error) {
	if err := check(lat, lon, elev, year); err != nil {
		return Reading{}, err
	}
	m := current()
	now, dot := m.at(lat, lon, elev/1000, year-m.epoch)
	r := Reading{Field: field(now), PerYear: change(now, dot)}
	r.Outside = math.Min(year-First, 0) + math.Max(year-Last, 0)
	return r, nil
}

func check(lat, lon sphere.Angle, elev, year float64) error {
	switch {
	case !(math.Abs(lat.Degrees()) <= 90+1e-9):
		return fmt.Errorf("latitude %g deg is outside -90 to 90", lat.Degrees())
	case math.IsNaN(float64(lon)) || math.IsInf(float64(lon), 0):
		return fmt.Errorf("longitude %g deg is not a number", lon.Degrees())
	case !(elev >= -1000 && elev <= 850e3):
		return fmt.Errorf("height %g m is outside -1000 to 850000", elev)
	case !(year >= First-maxOutside && year <= Last+maxOutside):
		return fmt.Errorf("year %.1f is too far outside %g to %g, for which the magnetic model was made", year, First, Last)
	}
	return nil
}

// north, east, down.
type vec struct{ x, y, z float64 }

func field(v vec) Field {
	h := math.Hypot(v.x, v.y)
	return Field{
		X: v.x, Y: v.y, Z: v.z, H: h, F: math.Hypot(h, v.z),
		D: sphere.Angle(math.Atan2(v.y, v.x)),
		I: sphere.Angle(math.Atan2(v.z, h)),
	}
}

// change returns the derivatives of field(v) for derivatives d of v. Where a
// component vanishes its direction has no derivative, and 0 is given.
func change(v, d vec) Field {
	f := field(v)
	c := Field{X: d.x, Y: d.y, Z: d.z}
	if f.H > 0 {
		c.H = (v.x*d.x + v.y*d.y) / f.H
		c.D = sphere.Angle((v.x*d.y - v.y*d.x) / (f.H * f.H))
	}
	if f.F > 0 {
		c.F = (v.x*d.x + v.y*d.y + v.z*d.z) / f.F
		c.I = sphere.Angle((f.H*d.z - v.z*c.H) / (f.F * f.F))
	}
	return c
}
