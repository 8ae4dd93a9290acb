package sphere

import (
	"math"
	"math/rand/v2"
	"testing"

	"gonum.org/v1/gonum/spatial/r3"
)

const seed = 20261125

func random(rng *rand.Rand) r3.Vec {
	return r3.Unit(r3.Vec{X: rng.NormFloat64(), Y: rng.NormFloat64(), Z: rng.NormFloat64()})
}

func TestAngleRanges(t *testing.T) {
	for _, c := range []struct{ in, turn, wrap float64 }{
		{0, 0, 0}, {-1, 359, -1}, {360, 0, 0}, {540, 180, 180}, {-180, 180, 180}, {725, 5, 5}, {-1e-18, 0, 0},
	} {
		a := Angle(c.in) * Degree
		if got := a.Turn().Degrees(); math.Abs(got-c.turn) > 1e-12 || got >= 360 {
			t.Errorf("Turn(%v) = %v deg, want %v", c.in, got, c.turn)
		}
		if got := a.Wrap().Degrees(); math.Abs(got-c.wrap) > 1e-12 {
			t.Errorf("Wrap(%v) = %v deg, want %v", c.in, got, c.wrap)
		}
	}
}

// East, north and up by definition of the azimuth: from north through east.
func TestLocalAxes(t *testing.T) {
	for _, c := range []struct {
		az, alt float64
		want    r3.Vec
	}{
		{0, 0, r3.Vec{Y: 1}}, {90, 0, r3.Vec{X: 1}}, {180, 0, r3.Vec{Y: -1}}, {17, 90, r3.Vec{Z: 1}},
	} {
		if got := LocalAt(Angle(c.az)*Degree, Angle(c.alt)*Degree).Vec(); r3.Norm(r3.Sub(got, c.want)) > 1e-15 {
			t.Errorf("az %v alt %v = %v, want %v", c.az, c.alt, got, c.want)
		}
	}
}

func TestDirectionsRoundTrip(t *testing.T) {
	rng := rand.New(rand.NewPCG(seed, 1))
	for range 1000 {
		v := random(rng)
		s := SkyVec(v)
		if d := s.Sep(SkyAt(s.RADec())); d > 1e-15*4 {
			t.Fatalf("seed %d: sky %v comes back %v away", seed, v, d)
		}
		l := LocalVec(v)
		if d := l.Sep(LocalAt(l.AzAlt())); d > 1e-15*4 {
			t.Fatalf("seed %d: local %v comes back %v away", seed, v, d)
		}
	}
}

// A point one arcsecond to the east has position angle 90 degrees, also where
// acos would have lost every digit of the separation.
func TestTowardAndSmallSep(t *testing.T) {
	s := SkyAt(30*Degree, 0)
	e := SkyAt(30*Degree+Arcsecond, 0)
	if got := s.Toward(e).Degrees(); math.Abs(got-90) > 1e-9 {
		t.Errorf("toward east = %v deg, want 90", got)
	}
	if got := s.Sep(e).Arcseconds(); math.Abs(got-1) > 1e-9 {
		t.Errorf("sep = %v arcsec, want 1", got)
	}
}

// East, north and the direction are right-handed, as x, y and z are; a small step in
// declination goes north.
func TestAxes(t *testing.T) {
	rng := rand.New(rand.NewPCG(seed, 3))
	for range 1000 {
		s := SkyVec(random(rng))
		east, north := s.Axes()
		if d := r3.Norm(r3.Sub(r3.Cross(east, north), s.Vec())); d > 1e-14 || math.Abs(east.Z) > 0 {
			t.Fatalf("seed %d: at %v east x north misses the direction by %g, east has z = %g", seed, s, d, east.Z)
		}
		ra, dec := s.RADec()
		if moved := r3.Sub(SkyAt(ra, dec+Arcsecond).Vec(), s.Vec()); r3.Norm(r3.Sub(moved, r3.Scale(Arcsecond.Radians(), north))) > 1e-10 {
			t.Fatalf("seed %d: at %v a step in declination does not go north", seed, s)
		}
	}
}

func TestRotations(t *testing.T) {
	// Right-handed: a quarter turn about z takes x to y.
	if got := Turn(r3.Vec{Z: 2}, 90*Degree).Apply(r3.Vec{X: 1}); r3.Norm(r3.Sub(got, r3.Vec{Y: 1})) > 1e-15 {
		t.Errorf("quarter turn of x = %v, want y", got)
	}
	rng := rand.New(rand.NewPCG(seed, 2))
	for range 1000 {
		r, s, v := TurnVec(r3.Scale(math.Pi*rng.Float64(), random(rng))), TurnVec(random(rng)), random(rng)
		if d := r3.Norm(r3.Sub(r.Mul(s).Apply(v), r.Apply(s.Apply(v)))); d > 1e-14 {
			t.Fatalf("seed %d: product differs by %g", seed, d)
		}
		if d := r3.Norm(r3.Sub(r.Inv().Apply(r.Apply(v)), v)); d > 1e-14 {
			t.Fatalf("seed %d: inverse differs by %g", seed, d)
		}
		if d := r3.Norm(TurnVec(r.Vec()).Mul(r.Inv()).Vec()); d > 1e-14 {
			t.Fatalf("seed %d: rotation vector differs by %g", seed, d)
		}
		if d := r3.Norm(RotFromRows(r.Rows()).Mul(r.Inv()).Vec()); d > 1e-14 {
			t.Fatalf("seed %d: rows differ by %g", seed, d)
		}
	}
}
