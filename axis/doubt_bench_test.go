package axis

import (
	"math/rand/v2"
	"testing"

	"pintle/index/sphere"
)

// BenchmarkDoubtSite asks four frames of 500 stars.
func BenchmarkDoubtSite(b *testing.B) {
	rng := rand.New(rand.NewPCG(seed, 98))
	n := honest(rng, 4, 20*sphere.Degree)
	n.stars = 500
	ss := n.sightings(b, rng)
	for b.Loop() {
		DoubtSite(ss)
	}
}
