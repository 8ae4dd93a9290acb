package planning

import (
	"fmt"
	"math"
	"strings"

	"pintle/axis/unrest"
	"pintle/cmd/pintle/gear"
	"pintle/index/optics"
	"pintle/index/sphere"
	"pintle/index/written"
)

// What is usual when nobody says otherwise (common practice, no source).
const (
	UsualFrames    = 3
	UsualMinAlt    = 25 // degrees
	UsualTurn      = 90 // degrees
	UsualFaintest  = 10 // magnitude
	UsualWobble    = float64(unrest.Usual / sphere.Arcsecond)
	UsualTargetAlt = 30 // degrees: nothing is photographed lower
)

// Field is what a camera sees: the width and height of its frames, and the angle of a
// pixel at their middle.
type Field struct{ Width, Height, Scale sphere.Angle }

// FieldOf is the field of a camera of the gear file; ok is false when that does not
// tell it.
func FieldOf(c gear.Camera) (f Field, ok bool) {
	if c.Focal <= 0 || c.Pixel <= 0 || c.Width <= 0 || c.Height <= 0 {
		return f, false
	}
	f.Scale = sphere.Angle(c.Pixel / 1000 / c.Focal)
	law := optics.Taken(1/float64(f.Scale), math.Hypot(float64(c.Width), float64(c.Height))/2)
	across := func(px int) sphere.Angle { return 2 * law.Off(float64(px)/2*float64(f.Scale)) }
	f.Width, f.Height = across(c.Width), across(c.Height)
	return f, true
}

// usualWidth is the pixels across a frame of which only the field is known.
const usualWidth = 3000

// ReadField reads width x height in degrees, such as 2.1x1.4; ok is false when they
// are not two numbers.
func ReadField(s string) (f Field, ok bool) {
	a, b, _ := strings.Cut(strings.ToLower(strings.ReplaceAll(s, "×", "x")), "x")
	side := written.Span("field", 0.05, 180, false)
	x, err1 := side.Convert(strings.TrimSpace(a))
	y, err2 := side.Convert(strings.TrimSpace(b))
	f.Width, f.Height = sphere.Angle(x)*sphere.Degree, sphere.Angle(y)*sphere.Degree
	f.Scale = f.Width / usualWidth
	return f, err1 == nil && err2 == nil
}

// Check refuses fields that cannot be planned for.
func (f Field) Check() error {
	for _, x := range []sphere.Angle{f.Width, f.Height} {
		if !(x.Degrees() >= 0.05 && x.Degrees() <= 180) {
			return fmt.Errorf("a field of %.3g° is out of range 0.05 to 180", x.Degrees())
		}
	}
	return nil
}
