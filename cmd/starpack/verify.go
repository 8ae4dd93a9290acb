package main

import (
	"fmt"
	"math"

	"pintle/index/sphere"
	"pintle/index/stars"
)

// Limits of what packing may change.
const (
	worstPlace = 0.1 * sphere.Arcsecond // 2000 to 2050
	worstV     = 0.02
)

// verify looks up every entry in the packed list, at the ends and the middle of
// the years the list promises, and returns the largest differences.
func verify(list *stars.List, entries []stars.Entry) (string, error) {
	text := ""
	var found []stars.Star
	for _, epoch := range []float64{2000, 2025, 2050} {
		var place sphere.Angle
		var v float64
		for i := range entries {
			e := &entries[i]
			pos := e.At(epoch)
			found = list.Cone(found[:0], pos, worstPlace, e.V+worstV, epoch)
			nearest, best := sphere.Angle(math.Inf(1)), 0.0
			for _, s := range found {
				d, dv := s.Pos.Sep(pos), math.Abs(float64(s.V)-e.V)
				if dv <= worstV && (d < nearest || d == nearest && dv < best) {
					nearest, best = d, dv
				}
			}
			if math.IsInf(float64(nearest), 1) {
				return "", fmt.Errorf("entry %d, V %.2f at %v, is not within %.2f arcsec and %v mag in %v",
					i, e.V, pos.Vec(), worstPlace.Arcseconds(), worstV, epoch)
			}
			place, v = max(place, nearest), max(v, best)
		}
		text += fmt.Sprintf("J%.1f: largest error of packing %.4f arcsec, V %.4f\n", epoch, place.Arcseconds(), v)
	}
	return text, nil
}
