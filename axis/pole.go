package axis

import (
	"math"

	"pintle/index/sphere"
)

// PoleKind says which pole the axis is compared with.
type PoleKind int

const (
	// Refracted is the pole as seen through the air, where the axis belongs for
	// ordinary use.
	Refracted PoleKind = iota
	// True is the pole of the Earth's rotation.
	True
)

// Parts are the parts of an offset or of its standard error.
type Parts struct {
	Alt    sphere.Angle // altitude; up is positive
	AzKnob sphere.Angle // difference of azimuth, what the azimuth adjuster turns; clockwise seen from above is positive
	AzSky  sphere.Angle // the same as an angle on the sky: times the cosine of the pole's altitude
	Total  sphere.Angle // angle between axis and pole
}

// Offset is the axis minus a pole.
type Offset struct {
	Pole sphere.Local
	Parts
	Err Parts // standard errors
	// By is what Err is made of: the squares of the three add up to those of Err,
	// but for a Total along no direction.
	By struct{ Stars, Mount, Refraction Parts }
	// NearZenith is true where the pole stands above 80 degrees altitude: azimuth
	// then says little, and a small tilt of the mount's base changes it much.
	NearZenith bool
}

// Pole returns the elevated pole of the site.
func (r *Result) Pole(k PoleKind) sphere.Local {
	if k == True {
		return r.place.TruePole()
	}
	return r.place.RefractedPole()
}

// Offset returns the axis minus the elevated pole. The standard errors include
// the error of refraction, which moves the axis found and the refracted pole
// together.
func (r *Result) Offset(k PoleKind) Offset {
	pole := r.Pole(k)
	o := r.OffsetFrom(pole)
	// Uncertain air, as far as it does not cancel.
	per := r.perRefraction
	if k == Refracted {
		per[0] -= float64(r.place.Refraction(pole))
	}
	air := r.place.Air().Err
	alt, az := air*per[0], air*per[1]
	// The model's own error for a pole near the horizon.
	low := 0.0
	if k == Refracted {
		e, known := float64(r.place.RefractionErr(pole)), air*float64(r.place.Refraction(pole))
		low = math.Sqrt(math.Max(0, e*e-known*known))
	}
	c, lift := r.Cov, [2][2]float64{{alt*alt + low*low, alt * az}, {alt * az, az * az}}
	for i := range c {
		for j := range c[i] {
			c[i][j] += lift[i][j]
		}
	}
	o.Err = o.errors(r.Axis, c)
	o.By.Refraction = o.errors(r.Axis, lift)
	return o
}

// OffsetFrom returns the axis minus any point; the standard errors are those of
// the axis alone.
func (r *Result) OffsetFrom(pole sphere.Local) Offset {
	az, alt := r.Axis.AzAlt()
	paz, palt := pole.AzAlt()
	o := Offset{Pole: pole, NearZenith: palt > 80*sphere.Degree}
	o.Alt = alt - palt
	o.AzKnob = (az - paz).Wrap()
	o.AzSky = o.AzKnob * sphere.Angle(palt.Cos())
	o.Total = r.Axis.Sep(pole)
	o.Err = o.errors(r.Axis, r.Cov)
	stars, mount := r.StarCov, r.Cov
	for i := range mount {
		for j := range mount[i] {
			mount[i][j] -= stars[i][j]
		}
	}
	o.By.Stars, o.By.Mount = o.errors(r.Axis, stars), o.errors(r.Axis, mount)
	return o
}

// errors returns the standard errors from a covariance of the axis.
func (o *Offset) errors(axis sphere.Local, c [2][2]float64) (e Parts) {
	_, alt := axis.AzAlt()
	_, palt := o.Pole.AzAlt()
	root := func(x float64) float64 { return math.Sqrt(math.Max(0, x)) }
	e.Alt = sphere.Angle(root(c[0][0]))
	e.AzKnob = sphere.Angle(math.Min(root(c[1][1])/math.Max(alt.Cos(), 1e-12), math.Pi))
	e.AzSky = e.AzKnob * sphere.Angle(palt.Cos())
	// Along the offset; where it is no larger than its error it has no direction,
	// and the larger axis of the error ellipse is the honest one.
	x, y := float64(o.Alt), float64(o.AzSky)
	major := (c[0][0]+c[1][1])/2 + math.Hypot((c[0][0]-c[1][1])/2, c[0][1])
	along := major
	if t := x*x + y*y; t > 4*major {
		along = (x*x*c[0][0] + 2*x*y*c[0][1] + y*y*c[1][1]) / t
	}
	e.Total = sphere.Angle(root(along))
	return e
}
