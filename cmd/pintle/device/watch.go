package device

import (
	"time"

	"pintle/index/sphere"
)

// watch decides from position to position whether a motion has to end.
type watch struct {
	limits *Limits
	leg    leg
	from   Position
	last   Position
	begun  time.Time

	first Position // where movement was first seen
	fast  int      // positions in a row that were too fast
}

// look takes in a position at now; an empty result lets the motion go on.
func (w *watch) look(now time.Time, p Position) (Stopped, error) {
	l, ran := w.limits, now.Sub(w.begun)
	fresh := p.At.After(w.last.At)
	if fresh {
		w.tooFast(p)
		w.last = p
	}
	turned := w.from.Turned(w.last) * sphere.Angle(w.leg.dir)
	if w.first.At.IsZero() && fresh && turned.Abs() > 0.02*sphere.Degree {
		w.first = p
	}
	if w.leg.anyWay {
		turned = turned.Abs()
	}
	silent := now.Sub(later(w.last.At, w.begun))
	switch {
	case w.fast >= 2:
		return ByLimit, NewFault(TooFast, "lower the rate in the mount's driver", "the mount turns faster than the limit of %.1f degrees/s", l.Rate.Degrees())
	case (w.last.Dec - w.from.Dec).Abs() > l.Dec:
		return ByFault, NewFault(DecMoved, "clamp the declination axis and see what moves it", "the declination changed by %.2f degrees while RA was turned; the limit is %.1f", (w.last.Dec - w.from.Dec).Abs().Degrees(), l.Dec.Degrees())
	case turned < -l.Back:
		return ByFault, NewFault(WrongWay, "look whether a direction is reversed in the mount's driver", "the mount turned by %.2f degrees to the wrong side when told to go %s", -turned.Degrees(), w.leg.dir)
	case silent >= l.Silence:
		return ByFault, NewFault(Silent, "look at cable and driver; the mount was told to stop", "no position from the mount for %.1f s; the limit is %.0f", silent.Seconds(), l.Silence.Seconds())
	case turned+w.ahead(now) >= w.leg.angle:
		return ByAngle, nil
	case ran >= w.leg.longest:
		return ByTime, nil
	case !w.leg.trial && ran >= stuckAfter && turned < w.leg.rate.Over(ran-slowStart)/10:
		return ByFault, NewFault(Stuck, "look whether the axis is clamped and the motor has power", "the mount has turned by %.2f degrees in %.1f s", turned.Degrees(), ran.Seconds())
	}
	return "", nil
}

// tooFast counts positions whose rate since the one before exceeds the limit by
// more than a tenth.
func (w *watch) tooFast(p Position) {
	dt := p.At.Sub(w.last.At)
	if dt < poll/2 {
		return
	}
	if w.last.Turned(p).Abs() > (w.limits.Rate * 11 / 10).Over(dt) {
		w.fast++
	} else {
		w.fast = 0
	}
}

// rate returns the rate of the movement so far, without its beginning. It is
// sure when positions over some time after the beginning tell it.
func (w *watch) rate() (r Rate, sure bool) {
	a, b := w.from, w.last
	if sure = !w.first.At.IsZero() && w.last.At.Sub(w.first.At) >= 4*poll; sure {
		a = w.first
	}
	dt := b.At.Sub(a.At).Seconds()
	if dt <= 0 {
		return 0, false
	}
	return Rate(float64(a.Turned(b).Abs()) / dt), sure
}

// ahead returns how far the mount has come since its last position.
func (w *watch) ahead(now time.Time) sphere.Angle {
	if w.first.At.IsZero() {
		return 0
	}
	r, _ := w.rate()
	return min(r, w.limits.Rate).Over(now.Sub(w.last.At))
}

func later(a, b time.Time) time.Time {
	if a.After(b) {
		return a
	}
	return b
}
