package axis

import (
	"math"
	"math/rand/v2"
	"testing"
	"time"

	"pintle/index/sphere"
)

func TestFollowTurns(t *testing.T) {
	rng := rand.New(rand.NewPCG(seed, 9000))
	b := newBench(rng, 51.2*sphere.Degree)
	b.point(t, -17.5*sphere.Arcminute, 39*sphere.Arcminute)
	r, f := b.measure(t, -16*sphere.Degree)
	t.Logf("measured %.2f arcsec off, sigma %.2f %.2f", r.Axis.Sep(b.axis()).Arcseconds(), r.Offset(Refracted).Err.Alt.Arcseconds(), r.Offset(Refracted).Err.AzSky.Arcseconds())
	s := f.State()
	t.Logf("start %.2f off, %.2f %.2f", s.Axis.Sep(b.axis()).Arcseconds(), s.Offset.Err.Alt.Arcseconds(), s.Offset.Err.AzSky.Arcseconds())
	const am = sphere.Arcminute
	for _, m := range [][2]sphere.Angle{{0, 0}, {9 * am, 0}, {8.3 * am, 0}, {0, -22 * am}, {0, -19 * am}, {0.1 * am, 2.2 * am}} {
		b.alt += m[0]
		b.az += m[1]
		s, err := f.Next(b.shoot(t, 20*time.Second))
		if err != nil {
			t.Fatal(err)
		}
		t.Logf("%v %.3f %v others %v: az %.2f alt %.2f ra %.2f; off %.2f sigma %.2f %.2f; lean %.2f %.2f +- %.2f %.2f; total %.2f ahead %.1f %.1f %.1f %v, roll %.1f", s.Touched, s.Chance, s.Drive, s.Others,
			s.Turns.Az.Arcminutes(), s.Turns.Alt.Arcminutes(), s.Turns.RA.Arcminutes(), s.Axis.Sep(b.axis()).Arcseconds(), s.Offset.Err.Alt.Arcseconds(), s.Offset.Err.AzSky.Arcseconds(),
			s.LeanEast.Degrees(), s.LeanNorth.Degrees(), s.LeanEastErr.Degrees(), s.LeanNorthErr.Degrees(), s.Offset.Total.Arcminutes(), s.Ahead.Alt.Arcseconds(), s.Ahead.Az.Arcseconds(), s.Ahead.Both.Arcseconds(), s.Advice,
			206265*math.Sqrt(s.Frame.Cov[2][2]))
		for _, m := range s.Moves {
			t.Logf("    %v %v %.2f +- %.2f", m.Adjuster, m.Direction, m.Amount.Arcminutes(), m.Err.Arcminutes())
		}
	}
}

// One frame of a narrow field while an adjuster is turned.
func BenchmarkFollow(b *testing.B) {
	rng := rand.New(rand.NewPCG(seed, 9000))
	m := newBench(rng, 51.2*sphere.Degree)
	m.point(b, -17.5*sphere.Arcminute, 39*sphere.Arcminute)
	_, f := m.measure(b, -16*sphere.Degree)
	for b.Loop() {
		b.StopTimer()
		m.alt += 3 * sphere.Arcminute * sphere.Angle(rng.NormFloat64())
		s := m.shoot(b, 10*time.Second)
		b.StartTimer()
		if _, err := f.Next(s); err != nil {
			b.Fatal(err)
		}
	}
}
