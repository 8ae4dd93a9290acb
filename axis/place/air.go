package place

import (
	"math"

	"gonum.org/v1/gonum/spatial/r3"

	"pintle/index/sphere"
)

// wavelength of the places in micrometres: the middle of visible light.
const wavelength = 0.55

// Air is the weather at the site.
type Air struct {
	Pressure float64 // hPa at the site, not reduced to sea level; 0 means no refraction
	Temp     float64 // degrees Celsius
	Humidity float64 // 0 to 1
	// Err is the standard error of the refraction as a fraction of it, from not
	// knowing pressure and temperature. Zero for measured air.
	Err float64
}

// StandardAir returns the air to expect at an elevation in metres when nobody
// measured it: ICAO standard atmosphere (sea level 1013.25 hPa, 15 C, lapse rate
// 6.5 K/km), half saturated. Its Err is that of the weather, see [Weather].
func StandardAir(elev float64) Air {
	elev = math.Max(-500, math.Min(elev, 9000))
	t := 1 - 0.0065*elev/288.15
	return Air{Pressure: 1013.25 * math.Pow(t, 5.25588), Temp: 15 - 0.0065*elev, Humidity: 0.5, Err: Weather(true, true)}
}

// Weather returns the standard error of refraction, as a fraction of it, that the weather
// leaves where pressure or temperature, or both, are those of the standard. Refraction goes
// as pressure over absolute temperature, and the usual spread over nights and seasons is
// 10 hPa and 8 K (common practice, no source): 1 and 2.8 %.
func Weather(pressure, temp bool) float64 {
	const ofPressure, ofTemp = 10 / 1013.25, 8 / 288.15
	err2 := 0.0
	if pressure {
		err2 += ofPressure * ofPressure
	}
	if temp {
		err2 += ofTemp * ofTemp
	}
	return math.Sqrt(err2)
}

// lift is refraction as a function of the observed direction:
//
//	true zenith distance = z + A tan z + B tan^3 z
//
// down to the altitude where ERFA too stops trusting it, sin(altitude) = 0.05.
// Below, the curve goes on with Bennett's (1982) shape, scaled to join, down to
// one degree under the horizon, and stays constant beyond. It is positive,
// continuous and small enough in slope everywhere for the true altitude to grow
// with the observed one, so both directions have one answer.
type lift struct {
	a, b float64 // radians
	low  float64 // scale of the low part, radians
}

// Limits of the two parts of the curve.
const (
	tanJoin   = 19.974984355438178 // tan z at sin(altitude) = 0.05
	hJoin     = 2.8659839825988616 // that altitude, degrees
	hConstant = -1.0               // degrees
)

func newLift(a, b float64) lift {
	joint, _ := bennett(hJoin)
	return lift{a: a, b: b, low: tanJoin * (a + b*tanJoin*tanJoin) / joint}
}

// bennett returns cot(h + 7.31/(h + 4.4)) for an observed altitude in degrees,
// and its slope per degree of zenith distance in units of the result per
// radian.
func bennett(h float64) (r, slope float64) {
	s, c := math.Sincos((h + 7.31/(h+4.4)) * math.Pi / 180)
	return c / s, (1 - 7.31/((h+4.4)*(h+4.4))) / (s * s)
}

// at returns the refraction at an observed direction with horizontal component
// rho and vertical component u of a unit vector, in radians, and its slope
// with zenith distance.
func (l *lift) at(rho, u float64) (r, slope float64) {
	if u*tanJoin > rho {
		t := rho / u
		return t * (l.a + l.b*t*t), (1 + t*t) * (l.a + 3*l.b*t*t)
	}
	if h := math.Atan2(u, rho) * 180 / math.Pi; h > hConstant {
		r, slope = bennett(h)
	} else {
		r, _ = bennett(hConstant)
	}
	return l.low * r, l.low * slope
}

// raise takes a unit vector without refraction to the observed one: Newton's
// method on the amount, to rounding (ERFA's atioq stops after the first step,
// 0.03 arcsec short at altitude 6 degrees).
func (l *lift) raise(v r3.Vec) r3.Vec {
	rho := math.Sqrt(v.X*v.X + v.Y*v.Y)
	if l.a == 0 || rho == 0 {
		return v
	}
	var d float64
	orho, ou := rho, v.Z
	for range 20 {
		r, slope := l.at(orho, ou)
		step := (r - d) / (1 + slope)
		d += step
		s, c := smallSincos(d)
		orho, ou = rho*c-v.Z*s, v.Z*c+rho*s
		if math.Abs(step) < 1e-14 {
			break
		}
	}
	return r3.Vec{X: v.X * orho / rho, Y: v.Y * orho / rho, Z: ou}
}

// lower is the inverse of raise.
func (l *lift) lower(v r3.Vec) r3.Vec {
	rho := math.Sqrt(v.X*v.X + v.Y*v.Y)
	if l.a == 0 || rho == 0 {
		return v
	}
	d, _ := l.at(rho, v.Z)
	s, c := smallSincos(d)
	f := c + v.Z*s/rho
	return r3.Vec{X: v.X * f, Y: v.Y * f, Z: v.Z*c - rho*s}
}

// smallSincos returns sine and cosine of an angle below 0.03 by their series,
// to rounding.
func smallSincos(x float64) (s, c float64) {
	q := x * x
	return x * (1 - q/6*(1-q/20*(1-q/42))), 1 - q/2*(1-q/12*(1-q/30*(1-q/56)))
}

// AirMass returns how much air the light of a star at an altitude crosses, 1 in the
// zenith; below the horizon it is that of the horizon (Kasten and Young 1989, Applied
// Optics 28, 4735; constants from memory).
func AirMass(alt sphere.Angle) float64 {
	h := math.Max(alt.Degrees(), 0)
	return 1 / (math.Sin(h*math.Pi/180) + 0.50572*math.Pow(h+6.07995, -1.6364))
}

// Refraction returns by how much the air lifts what is seen at l.
func (p *Place) Refraction(l sphere.Local) sphere.Angle {
	v := l.Vec()
	r, _ := p.lift.at(math.Sqrt(v.X*v.X+v.Y*v.Y), v.Z)
	return sphere.Angle(r)
}

// Lifted returns where the air lifts what would stand at l without it.
func (p *Place) Lifted(l sphere.Local) sphere.Local {
	return sphere.LocalVec(p.lift.raise(l.Vec()))
}

// ModelErr returns a standard error of the refraction at l in itself, with the
// air known: nothing to speak of above 20 degrees altitude, 0.6 arcsec at 10
// degrees, 20 arcsec at 5 and many arcminutes at the horizon. Shape and size:
// ERFA refco.c, notes 1 and 2 (ray traces), and at low altitude the difference
// from Bennett's formula.
func (p *Place) ModelErr(l sphere.Local) sphere.Angle {
	if p.lift.a == 0 {
		return 0
	}
	v, worst := l.Vec(), 500.0
	if rho := math.Sqrt(v.X*v.X + v.Y*v.Y); v.Z*25 > rho {
		t := rho / v.Z / 11.43
		worst = math.Min(worst, 20*t*t*t*t*t)
	}
	return sphere.Angle(worst) * sphere.Arcsecond
}

// RefractionErr returns a standard error of the refraction at l: that of the
// model, and that of the air when it was not measured.
func (p *Place) RefractionErr(l sphere.Local) sphere.Angle {
	return sphere.Angle(math.Hypot(float64(p.ModelErr(l)), p.air.Err*float64(p.Refraction(l))))
}
