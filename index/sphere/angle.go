package sphere

import (
	"fmt"
	"math"
)

// Angle is an angle in radians. Degrees, arcminutes and arcseconds exist only
// at input and output, through the constants and methods below.
type Angle float64

// Units of angle. Multiply to build an Angle: 1.5 * sphere.Degree.
const (
	Radian    Angle = 1
	Degree    Angle = math.Pi / 180
	Arcminute       = Degree / 60
	Arcsecond       = Degree / 3600
	// Hour is an hour of right ascension or of hour angle, 15 degrees.
	Hour = 15 * Degree
)

// Radians returns the angle in radians.
func (a Angle) Radians() float64 { return float64(a) }

// Degrees returns the angle in degrees.
func (a Angle) Degrees() float64 { return float64(a / Degree) }

// Arcminutes returns the angle in arcminutes.
func (a Angle) Arcminutes() float64 { return float64(a / Arcminute) }

// Arcseconds returns the angle in arcseconds.
func (a Angle) Arcseconds() float64 { return float64(a / Arcsecond) }

// Turn returns the same direction as an angle in [0, 2 pi), the customary
// range of right ascension, azimuth and position angle.
func (a Angle) Turn() Angle {
	x := math.Mod(float64(a), 2*math.Pi)
	if x < 0 {
		x += 2 * math.Pi
	}
	if x >= 2*math.Pi { // a tiny negative number plus a full turn
		x = 0
	}
	return Angle(x)
}

// Wrap returns the same direction as an angle in (-pi, pi], the customary
// range of hour angles and of differences.
func (a Angle) Wrap() Angle {
	x := math.Remainder(float64(a), 2*math.Pi)
	if x <= -math.Pi {
		x += 2 * math.Pi
	}
	return Angle(x)
}

// Abs returns the angle without its sign.
func (a Angle) Abs() Angle { return Angle(math.Abs(float64(a))) }

// Sin returns the sine of the angle.
func (a Angle) Sin() float64 { return math.Sin(float64(a)) }

// Cos returns the cosine of the angle.
func (a Angle) Cos() float64 { return math.Cos(float64(a)) }

// Tan returns the tangent of the angle.
func (a Angle) Tan() float64 { return math.Tan(float64(a)) }

// String prints the angle in degrees, for debugging and test failures.
func (a Angle) String() string { return fmt.Sprintf("%.6f deg", a.Degrees()) }
