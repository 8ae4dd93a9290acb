package gear

import (
	"math"

	"pintle/index/sphere"
)

// Amount is a move of one adjuster in the terms of the mount at hand.
type Amount struct {
	Turns     float64 // of the adjuster, never negative; 0 when its pitch is not known
	Divisions float64 // the same in marks of its scale; 0 when it has none
	Sense     string  // Clockwise or Counter, seen facing the adjuster's head; "" when not known
	// Beyond is how far the tripod itself must be moved because the adjuster
	// cannot: the part of the altitude outside the adjuster's range (up
	// positive), or the whole azimuth move (clockwise seen from above
	// positive), so that the adjuster goes back to its middle. 0 within range.
	Beyond sphere.Angle
}

// Alt returns the altitude adjuster's share for a move of the axis (up
// positive) to the altitude target.
func (m Mount) Alt(move, target sphere.Angle) Amount {
	a := amount(move, m.AltPerTurn, m.AltMarks, m.AltSense, m.AltSense == Raises)
	d := target.Degrees()
	switch {
	case m.AltMax > 0 && d > m.AltMax:
		a.Beyond = sphere.Angle(d-m.AltMax) * sphere.Degree
	case d < m.AltMin:
		a.Beyond = sphere.Angle(d-m.AltMin) * sphere.Degree
	}
	return a
}

// Az returns the azimuth adjuster's share for a move of the axis, clockwise
// seen from above positive. The adjuster is taken to stand in the middle of
// its range, as it should after setting up.
func (m Mount) Az(move sphere.Angle) Amount {
	a := amount(move, m.AzPerTurn, m.AzMarks, m.AzSense, m.AzSense == Clockwise)
	if m.AzRange > 0 && move.Abs().Degrees() > m.AzRange/2 {
		a.Beyond = move
	}
	return a
}

// amount: forward is true when a clockwise turn makes a positive move.
func amount(move sphere.Angle, perTurn, marks float64, sense string, forward bool) Amount {
	var a Amount
	if perTurn > 0 {
		a.Turns = math.Abs(move.Arcminutes()) / perTurn
		a.Divisions = a.Turns * marks
	}
	if sense == "" {
		return a
	}
	a.Sense = Counter
	if forward == (move >= 0) {
		a.Sense = Clockwise
	}
	return a
}
