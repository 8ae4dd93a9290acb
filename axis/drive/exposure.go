package drive

import (
	"fmt"
	"math"
	"time"

	"pintle/index/sphere"
)

// Exposure is one photograph of a long series and what it forgives.
type Exposure struct {
	Focal  float64       // focal length, mm
	Pixel  float64       // pixel size, um
	Time   time.Duration // of one exposure
	Trail  float64       // allowed length of a star's trail, px
	Guided bool          // a guide star is held by corrections in both axes
	// Corner is the angle over which field rotation counts: from the guide star
	// to the far corner of the frame when guided, else from the centre of the
	// frame to its corner.
	Corner sphere.Angle
}

// Scale returns the angle of one pixel.
func (e Exposure) Scale() sphere.Angle { return sphere.Angle(e.Pixel / e.Focal / 1000) }

// Check returns an error that names the first impossible value.
func (e Exposure) Check() error {
	switch {
	case !(e.Focal >= 1 && e.Focal <= 1e5):
		return fmt.Errorf("focal length %g mm is outside 1 to 100000", e.Focal)
	case !(e.Pixel >= 0.1 && e.Pixel <= 100):
		return fmt.Errorf("pixel size %g um is outside 0.1 to 100", e.Pixel)
	case !(e.Time >= time.Millisecond && e.Time <= 11*time.Hour):
		return fmt.Errorf("exposure %v is outside 1ms to 11h", e.Time)
	case !(e.Trail >= 0.01 && e.Trail <= 1000):
		return fmt.Errorf("allowed trail %g px is outside 0.01 to 1000", e.Trail)
	case !(e.Corner >= 0 && e.Corner <= sphere.Angle(math.Pi/2)):
		return fmt.Errorf("corner distance %.4g deg is outside 0 to 90", e.Corner.Degrees())
	case e.Guided && e.Corner < sphere.Arcsecond:
		return fmt.Errorf("corner distance %.4g deg is too small: guiding leaves only field rotation, which needs the angle from the guide star to the far corner", e.Corner.Degrees())
	}
	return nil
}

// Window is where a target is photographed: its declination and the hour
// angles, from the upper meridian and west positive, at which the first
// exposure starts and the last one ends.
type Window struct{ Dec, From, To sphere.Angle }

// Effect is what a misaligned axis does to one exposure. Angles on the sky.
type Effect struct {
	Drift   sphere.Angle // declination drift, north positive
	Along   sphere.Angle // drift along the circle of declination in the mount's frame, west positive, on the sky
	Move    sphere.Angle // movement of the star on the sensor, unguided
	Guided  sphere.Angle // field rotation, guided; mount's north toward east positive
	Rotated sphere.Angle // field rotation, unguided
	TrailPx float64      // longest trail in the frame, guided or not as the exposure is
}

// Effect returns what drive d does to an exposure that starts at hour angle ha
// on a target of declination dec.
func (e Exposure) Effect(d Drive, ha, dec sphere.Angle) Effect {
	var f Effect
	f.Drift = d.Drift(ha, dec, e.Time)
	h0, d0 := d.Circles(ha, dec)
	h1, _ := d.Circles(ha+SkyTurn(e.Time), dec)
	f.Along = (h1 - h0 - SkyTurn(e.Time)).Wrap() * sphere.Angle(d0.Cos())
	f.Guided = d.Guided(ha, dec, e.Time)
	f.Move, f.Rotated = d.Unguided(ha, dec, e.Time)
	f.TrailPx = e.trail(d, ha, dec)
	return f
}

func (e Exposure) trail(d Drive, ha, dec sphere.Angle) float64 {
	if e.Guided {
		return math.Abs(float64(d.Guided(ha, dec, e.Time))) * float64(e.Corner/e.Scale())
	}
	return float64(d.farthest(ha, dec, e.Corner, e.Time) / e.Scale())
}

// WorstTrail returns the longest trail in px of any exposure in the window,
// and the hour angle at which that exposure starts.
func (e Exposure) WorstTrail(d Drive, w Window) (px float64, ha sphere.Angle) {
	last := max(w.From, w.To-SkyTurn(e.Time))
	n := 1 + int(math.Ceil((last - w.From).Degrees()))
	px = -1
	for i := range n + 1 {
		h := w.From + (last-w.From)*sphere.Angle(i)/sphere.Angle(n)
		if p := e.trail(d, h, w.Dec); p > px {
			px, ha = p, h
		}
	}
	return px, ha
}

// Worst returns the polar error that is allowed whatever its direction and
// wherever on the circle of declination dec the target stands: to first order
// in the error, exact in time. Unguided it holds for every star of the sky and
// dec does not matter; guided it shrinks with cos(dec).
//
// For exposures well under an hour this is the usual
// trail / (turn of the sky), and guided the formula of Hook (1989).
func (e Exposure) Worst(dec sphere.Angle) sphere.Angle {
	swing := 2 * math.Sin(math.Min(float64(SkyTurn(e.Time)), math.Pi)/2)
	eps := sphere.Angle(e.Trail*float64(e.Scale())) / sphere.Angle(swing)
	if e.Guided {
		eps *= sphere.Angle(dec.Cos() / float64(e.Corner))
	}
	return min(eps, MostError)
}

// MostError is the largest polar error that is ever called tolerable: beyond
// it nothing here is meant to be used (no source, chosen as what nobody who
// aligns a mount wants to be told).
const MostError = 20 * sphere.Degree

// Allowance is the polar error that keeps every exposure of a window within
// its trail, as angles on the sky.
type Allowance struct {
	Any   sphere.Angle // in whatever direction
	Alt   sphere.Angle // when only the altitude is off
	Az    sphere.Angle // when only the azimuth is off, on the sky
	Worst sphere.Angle // for any target of this declination, see Exposure.Worst
}

// Allowed returns the allowance about the given elevated pole (south when it
// is the south pole), from the exact formulas.
func (e Exposure) Allowed(pole sphere.Local, south bool, w Window) Allowance {
	toward := func(turn sphere.Angle) sphere.Angle { return e.AllowedToward(pole, south, w, turn) }
	a := Allowance{
		Any:   MostError,
		Alt:   min(toward(0), toward(math.Pi)),
		Az:    min(toward(math.Pi/2), toward(-math.Pi/2)),
		Worst: e.Worst(w.Dec),
	}
	worst := sphere.Angle(0)
	look := func(from, step sphere.Angle, n int) {
		for i := range n {
			turn := from + step*sphere.Angle(i)
			if eps := toward(turn); eps < a.Any {
				a.Any, worst = eps, turn
			}
		}
	}
	look(0, 10*sphere.Degree, 36)
	look(worst-9*sphere.Degree, sphere.Degree, 19)
	return a
}

// AllowedToward returns the allowed polar error in one direction at the pole:
// turn is 0 for an axis that points too high, 90 degrees for one too far to
// larger azimuth. At most 20 degrees.
func (e Exposure) AllowedToward(pole sphere.Local, south bool, w Window, turn sphere.Angle) sphere.Angle {
	px := func(eps sphere.Angle) float64 {
		p, _ := e.WorstTrail(New(pole, Beside(pole, eps, turn), south), w)
		return p
	}
	// March out to the first error that is too large, then close in: the trail
	// grows nearly in proportion, so secants through the origin are fast, and
	// bisection keeps them honest.
	lo, hi := sphere.Angle(0), max(e.Worst(w.Dec)/2, sphere.Arcsecond/1000)
	p := px(hi)
	for p <= e.Trail {
		if hi >= MostError {
			return MostError
		}
		lo, hi = hi, min(hi*1.5, MostError)
		p = px(hi)
	}
	for eps := hi; hi-lo > 1e-7*hi; {
		next := eps * sphere.Angle(e.Trail/p)
		if !(next > lo && next < hi) || (next-eps).Abs() < 1e-8*eps {
			next = (lo + hi) / 2
		}
		eps = next
		if p = px(eps); p > e.Trail {
			hi = eps
		} else {
			lo = eps
		}
		if math.Abs(p/e.Trail-1) < 1e-7 {
			return eps
		}
	}
	return lo
}
