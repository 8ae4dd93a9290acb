package place

import (
	"testing"
	"time"

	"pintle/index/sphere"
)

func BenchmarkAt(b *testing.B) {
	t, s := time.Date(2026, 11, 25, 12, 40, 1, 0, time.UTC), Site{Lat: -31.4 * sphere.Degree, Lon: 121.9 * sphere.Degree, Elev: 430}
	for b.Loop() {
		if _, err := At(t, s, StandardAir(430)); err != nil {
			b.Fatal(err)
		}
	}
}

func BenchmarkObserved(b *testing.B) {
	p, err := At(time.Date(2026, 11, 25, 12, 40, 1, 0, time.UTC), Site{Lat: -31.4 * sphere.Degree, Lon: 121.9 * sphere.Degree, Elev: 430}, StandardAir(430))
	if err != nil {
		b.Fatal(err)
	}
	s := p.Catalogue(sphere.LocalAt(1, 0.7))
	b.Run("star", func(b *testing.B) {
		for b.Loop() {
			p.Observed(s)
		}
	})
	l := p.Observed(s)
	b.Run("back", func(b *testing.B) {
		for b.Loop() {
			p.Catalogue(l)
		}
	})
}
