package axis

import (
	"fmt"
	"math/rand/v2"
	"testing"
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
