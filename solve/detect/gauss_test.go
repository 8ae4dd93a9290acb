package detect

import (
	"math"
	"testing"
)

func TestGaussIsTheExponential(t *testing.T) {
	for e := 0.0; e < 80; e += 0.00137 {
		want := math.Exp(-e / 2)
		if got := gauss(e); math.Abs(got/want-1) > 1e-9 {
			t.Fatalf("gauss(%g) = %g, want %g", e, got, want)
		}
	}
	if !math.IsNaN(gauss(math.NaN())) || gauss(math.Inf(1)) != 0 {
		t.Error("gauss of what is no number, or of infinity, is a number above 0")
	}
}

func BenchmarkGauss(b *testing.B) {
	sum := 0.0
	for i := range b.N {
		sum += gauss(float64(i%100) * 0.1)
	}
	_ = sum
}

func BenchmarkExp(b *testing.B) {
	sum := 0.0
	for i := range b.N {
		sum += math.Exp(-float64(i%100) * 0.1 / 2)
	}
	_ = sum
}
