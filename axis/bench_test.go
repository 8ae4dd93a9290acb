package axis

import (
	"fmt"
	"math/rand/v2"
	"testing"

	"pintle/index/sphere"
)

// BenchmarkFit is the whole fit of three frames: places, attitudes, wrong
// matches, joint fit.
func BenchmarkFit(b *testing.B) {
	for _, stars := range []int{200, 1500} {
		b.Run(fmt.Sprintf("3x%d", stars), func(b *testing.B) {
			rng := rand.New(rand.NewPCG(seed, 99))
			n := random(rng, 3)
			n.stars, n.wrong = stars, 0.02
			ss := n.sightings(b, rng)
			for b.Loop() {
				if _, err := Fit(ss); err != nil {
					b.Fatal(err)
				}
			}
		})
	}
}

// BenchmarkLongSeries is the fit of 24 frames, of a mount that stands still and of
// one that scatters by more than the linear model bears.
func BenchmarkLongSeries(b *testing.B) {
	for _, tilt := range []sphere.Angle{0, 10 * sphere.Arcsecond} {
		b.Run(fmt.Sprintf("scatter%.0f", tilt.Arcseconds()), func(b *testing.B) {
			rng := rand.New(rand.NewPCG(seed, 98))
			n := random(rng, 24)
			n.stars, n.tilt = 60, tilt
			ss := n.sightings(b, rng)
			for b.Loop() {
				if _, err := Fit(ss); err != nil {
					b.Fatal(err)
				}
			}
		})
	}
}
