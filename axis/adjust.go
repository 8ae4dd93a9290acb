package axis

import "pintle/index/sphere"

// Adjuster is one of the two adjusters of an equatorial mount.
type Adjuster int

// The adjusters: one tilts the axis up and down, one turns it about the
// vertical.
const (
	Altitude Adjuster = iota
	Azimuth
)

func (a Adjuster) String() string { return [...]string{"altitude", "azimuth"}[a] }

// Direction is the way an adjuster must move the axis.
type Direction int

// Directions. Clockwise is as seen from above, azimuth growing: from north to
// east, and just so from south to west.
const (
	Raise Direction = iota
	Lower
	Clockwise
	CounterClockwise
)

func (d Direction) String() string {
	return [...]string{"raise", "lower", "clockwise", "counter-clockwise"}[d]
}

// Move is what one adjuster must do.
type Move struct {
	Adjuster  Adjuster
	Direction Direction
	Amount    sphere.Angle // not negative; for azimuth the angle the adjuster turns
	Err       sphere.Angle // standard error of Amount
}

// Moves returns what the two adjusters must do to bring the axis to the pole:
// altitude, then azimuth. The order of the two does not matter on a level mount.
// They hold in both hemispheres: what is too high must be lowered, and what is
// too far in the sense of growing azimuth must be turned back.
func (o Offset) Moves() [2]Move {
	alt := Move{Altitude, Lower, o.Alt, o.Err.Alt}
	if o.Alt < 0 {
		alt.Direction, alt.Amount = Raise, -o.Alt
	}
	az := Move{Azimuth, CounterClockwise, o.AzKnob, o.Err.AzKnob}
	if o.AzKnob < 0 {
		az.Direction, az.Amount = Clockwise, -o.AzKnob
	}
	return [2]Move{alt, az}
}
