package stars

import (
	"fmt"
	"math/rand/v2"
	"testing"

	"pintle/index/sphere"
)

func BenchmarkEach(b *testing.B) {
	n := 0
	for b.Loop() {
		Embedded().Each(99, 2026.9, func(Star) bool { n++; return true })
	}
	b.ReportMetric(float64(n)/b.Elapsed().Seconds()/1e6, "Mstars/s")
}

func BenchmarkCone(b *testing.B) {
	for _, c := range []struct {
		radius sphere.Angle
		maxV   float64
	}{{0.3 * sphere.Degree, 99}, {0.3 * sphere.Degree, 10.5}, {5 * sphere.Degree, 99}, {30 * sphere.Degree, 8}} {
		rng := rand.New(rand.NewPCG(seed, 1))
		var at [4096]sphere.Sky
		for i := range at {
			at[i] = randomSky(rng)
		}
		name := fmt.Sprintf("radius=%.1f/V=%v", c.radius.Degrees(), c.maxV)
		b.Run(name, func(b *testing.B) {
			var dst []Star
			n := 0
			for i := 0; b.Loop(); i++ {
				dst = Embedded().Cone(dst[:0], at[i%len(at)], c.radius, c.maxV, 2026.9)
				n += len(dst)
			}
			b.ReportMetric(float64(n)/float64(b.N), "stars")
		})
		b.Run(name+"/dots", func(b *testing.B) {
			var dst []Dot
			for i := 0; b.Loop(); i++ {
				dst = Embedded().ConeDots(dst[:0], at[i%len(at)], c.radius, c.maxV, 2026.9)
			}
		})
	}
}

func BenchmarkAt(b *testing.B) {
	rng := rand.New(rand.NewPCG(seed, 1))
	for b.Loop() {
		Embedded().At(rng.Uint32N(uint32(Embedded().Len())), 2026.9)
	}
}

func BenchmarkOpen(b *testing.B) {
	for b.Loop() {
		if _, err := Open(embedded); err != nil {
			b.Fatal(err)
		}
	}
}

func BenchmarkEmbedded(b *testing.B) { // the first call
	for b.Loop() {
		if _, err := open(embedded); err != nil {
			b.Fatal(err)
		}
	}
}
