package drive

import (
	"math"

	"pintle/axis/place"
	"pintle/index/sphere"
)

// PoleKind is one of the points an axis may be brought to.
type PoleKind int

const (
	TruePole      PoleKind = iota // of the Earth's rotation
	RefractedPole                 // the same seen through the air
	KingsPole                     // the one that keeps refraction's drift away, see King.PoleFor
)

// PoleChoice is one pole and what refraction does about it over a window.
type PoleChoice struct {
	Kind   PoleKind
	Above  sphere.Angle // the true pole
	Drift  sphere.Angle // in declination, an hour, root mean square
	Serves bool         // no other has less drift
}

// Poles returns the poles there are for a window, true, refracted, King's, and
// which of them leaves the least drift. King's is left out where the target
// sinks too low for it.
func Poles(p *place.Place, w Window) []PoleChoice {
	k := KingAt(p)
	_, low := p.TruePole().AzAlt()
	_, high := p.RefractedPole().AzAlt()
	all := []PoleChoice{{Kind: TruePole}, {Kind: RefractedPole, Above: high - low}}
	if g, err := k.PoleFor(w); err == nil {
		all = append(all, PoleChoice{Kind: KingsPole, Above: g})
	}
	best := 0
	for i := range all {
		all[i].Drift = k.meanDrift(all[i].Above, w)
		if all[i].Drift < all[best].Drift {
			best = i
		}
	}
	all[best].Serves = true
	return all
}

// meanDrift returns the declination drift an hour by refraction, root mean
// square over the window, for an axis raised by gamma.
func (k King) meanDrift(gamma sphere.Angle, w Window) sphere.Angle {
	const n = 32
	sum := 0.0
	for i := range n + 1 {
		h := w.From + (w.To-w.From)*sphere.Angle(i)/n
		d := float64(k.Motion(gamma, h, w.Dec).DecPerHour())
		sum += d * d / (n + 1)
	}
	return sphere.Angle(math.Sqrt(sum))
}
