package device

import (
	"time"

	"pintle/index/sphere"
)

// Limits bound what the turner does. They have no source; they are chosen for
// small portable mounts.
type Limits struct {
	Lowest   sphere.Angle // altitude of the frame's middle, anywhere on the path
	Meridian sphere.Angle // distance from the meridian when turning toward it
	Pole     sphere.Angle // least distance from the pole: nearer, the hour angle says little
	Turn     sphere.Angle // in one turn
	Run      sphere.Angle // in all turns of a turner
	Sun      sphere.Angle // highest altitude of the Sun
	Rate     Rate         // fastest
	Late     float64      // stop after this many times the expected time
	Silence  time.Duration
	Dec      sphere.Angle  // change of declination
	Back     sphere.Angle  // movement the wrong way
	Clock    time.Duration // between the mount's clock and ours
	Age      time.Duration // of the recognised frame
	Nudge    sphere.Angle  // by which the mount may have moved since that frame
	Trial    time.Duration // how long a rate is tried
}

// Usual are the limits that hold where nobody says otherwise; the manual names them.
var Usual = Limits{
	Lowest: 20 * sphere.Degree, Meridian: 5 * sphere.Degree, Pole: 10 * sphere.Degree,
	Turn: 45 * sphere.Degree, Run: 90 * sphere.Degree, Sun: -6 * sphere.Degree,
	Rate: DegreesPerSecond(3), Late: 1.25, Silence: 2 * time.Second,
	Dec: 0.3 * sphere.Degree, Back: 0.1 * sphere.Degree,
	Clock: 5 * time.Minute, Age: 5 * time.Minute, Nudge: 0.5 * sphere.Degree, Trial: time.Second,
}

// What can be asked of a turner, and of a camera that chooses its exposures (no source).
const (
	LeastTurn               = 0.5 * sphere.Degree
	LeastLowest, MostLowest = 5 * sphere.Degree, 85 * sphere.Degree
	UsualLongest            = 15 * time.Second // exposure that is chosen
)

// tried is the angle at which the trial of a rate is ended: what moves that far
// in the time of a trial is too fast.
func (l Limits) tried() sphere.Angle { return l.Rate.Over(l.Trial) * 3 / 2 }

// reach returns how far an asked angle may carry the mount when its position
// cannot be relied on: until it is late, and for the second of a stop.
func (l Limits) reach(angle sphere.Angle, r Rate) sphere.Angle {
	return sphere.Angle(l.Late)*angle + r.Over(time.Second)
}
