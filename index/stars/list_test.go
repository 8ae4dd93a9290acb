package stars

import (
	"math"
	"slices"
	"sync"
	"testing"

	"gonum.org/v1/gonum/spatial/r3"

	"pintle/index/sphere"
)

// counts of the raw files tyc2.dat.00 to 19 and suppl_1.dat together, by a
// script of its own (awk) with V = VT - 0.090 (BT - VT), and Hp - 0.12 or the
// usual colour 0.72 where VT or BT is missing. The sum is that of the
// catalogue's ReadMe, 2 539 913 + 17 588.
var counts = []struct {
	v    float64 // stars brighter than this
	want int
}{
	{2, 49}, {4, 521}, {6, 5028}, {6.5, 8805}, {7, 15449}, {8, 45631}, {8.5, 77694}, {9, 130730},
	{10, 357174}, {10.5, 586578}, {11, 946035}, {11.5, 1500438}, {12, 2083578}, {99, 2557501},
}

// V is rounded, so counts to a limit are not exact.
func TestCounts(t *testing.T) {
	if testing.Short() {
		t.Skip("slow, and nothing runs beside it")
	}
	for _, c := range counts {
		n := 0
		Embedded().Each(c.v, 2025, func(Star) bool { n++; return true })
		if off := math.Abs(float64(n - c.want)); off > max(10, 0.012*float64(c.want)) {
			t.Errorf("V < %v: %d stars, want %d", c.v, n, c.want)
		}
	}
	if n := Embedded().Len(); n != 2_557_501 {
		t.Errorf("%d stars, want 2557501", n)
	}
}

// The layers were filled before rounding: their counts are exact.
func TestCountsOfLayers(t *testing.T) {
	sum := 0
	for k, y := range Embedded().header.Layers {
		sum += int(y.Count)
		for _, c := range counts {
			if c.v == min(layerEnds[k], 99) && sum != c.want {
				t.Errorf("V < %v: %d stars, want %d", c.v, sum, c.want)
			}
		}
	}
}

// Stars about the J2000 poles, from the raw files by the same script.
func TestCountsAboutThePoles(t *testing.T) {
	for _, c := range []struct{ radius, north, south int }{{1, 121, 186}, {2, 485, 708}, {3, 1076, 1589}, {4, 1994, 2755}, {5, 3488, 4287}} {
		for _, pole := range []struct{ dec, want int }{{90, c.north}, {-90, c.south}} {
			at := sphere.SkyAt(0, sphere.Angle(pole.dec)*sphere.Degree)
			got := len(Embedded().Cone(nil, at, sphere.Angle(c.radius)*sphere.Degree, 99, 2000))
			if got != pole.want {
				t.Errorf("within %d deg of %d deg: %d stars, want %d", c.radius, pole.dec, got, pole.want)
			}
		}
	}
}

func TestChecksum(t *testing.T) {
	if err := Embedded().Verify(); err != nil {
		t.Error(err)
	}
	if l, err := Open(embedded); err != nil || l.Checksum() != Embedded().Checksum() || len(l.Checksum()) != 64 {
		t.Errorf("Open of the embedded list: %v", err)
	}
	bad := slices.Clone(embedded)
	bad[len(bad)/2] ^= 1
	l, err := Open(bad)
	if err != nil {
		t.Fatal(err)
	}
	if l.Verify() == nil {
		t.Error("a changed bit passes the checksum")
	}
}

// Medians and 90th percentiles in 2026.9 of the catalogue's own errors per
// coordinate (RA; Dec about 2 % more), from the raw lines, here with the 13 mas
// of the packing added in quadrature. They are for VT and for stars with proper
// motion; classes of error are steps of 1.28.
func TestErrors(t *testing.T) {
	if testing.Short() {
		t.Skip("slow, and nothing runs beside it")
	}
	var moving []Star
	n := 0
	Embedded().Each(99, 2026.9, func(s Star) bool {
		if !Embedded().record(int(s.ID)).unmoved() {
			if n++; n%7 == 1 { // enough for a median
				moving = append(moving, s)
			}
		}
		return true
	})
	for _, c := range []struct{ v, median, p90 float64 }{{7, 36, 0}, {8, 40, 0}, {9, 44, 58}, {10, 52, 0}, {11, 74, 114}, {12, 106, 172}, {99, 119, 0}} {
		var errs []float64
		for i := range moving {
			if s := &moving[i]; float64(s.V) < c.v {
				errs = append(errs, s.Err.Arcseconds()*1000)
			}
		}
		slices.Sort(errs)
		for _, q := range []struct{ want, got float64 }{{c.median, errs[len(errs)/2]}, {c.p90, errs[len(errs)*9/10]}} {
			if want := math.Hypot(q.want, 13.1); q.want > 0 && math.Abs(math.Log(q.got/want)) > 0.2 {
				t.Errorf("V < %v: error %.0f mas, want %.0f within 20 %%", c.v, q.got, want)
			}
		}
	}
}

// Polaris has no proper motion in the catalogue; its true one, 46 mas/yr from
// memory, must be within reach of the error stated.
func TestErrorOfUnknownMotion(t *testing.T) {
	at := sphere.SkyAt(37.94661861*sphere.Degree, 89.26413528*sphere.Degree)
	for _, epoch := range []float64{1991.7, 2026.9} {
		moved := 46 * (epoch - 1991.7) / 1000
		s := Embedded().Cone(nil, at, sphere.Arcsecond, 3, epoch)
		if len(s) != 1 {
			t.Fatalf("%d stars at Polaris", len(s))
		}
		if e := s[0].Err.Arcseconds(); e < moved/2 || e > 0.15+3*moved {
			t.Errorf("%v: error %.2f arcsec, motion %.2f", epoch, e, moved)
		}
	}
}

func TestEachStopsAndAgreesWithAt(t *testing.T) {
	const epoch = 2040
	n := 0
	Embedded().Each(99, epoch, func(s Star) bool {
		if int(s.ID) != n {
			t.Fatalf("star %d comes as number %d", s.ID, n)
		}
		if n%997 == 0 {
			if at, ok := Embedded().At(s.ID, epoch); !ok || !same(at, s) {
				t.Fatalf("At(%d) = %v, %v, Each gives %v", s.ID, at, ok, s)
			}
		}
		n++
		return n < 2_000_000
	})
	if n != 2_000_000 {
		t.Errorf("stopped after %d stars, want 2000000", n)
	}
}

func TestDotsAreStars(t *testing.T) {
	at := sphere.SkyAt(84*sphere.Degree, -5*sphere.Degree)
	stars := Embedded().Cone(nil, at, 3*sphere.Degree, 10.7, 2026.9)
	dots := Embedded().ConeDots(nil, at, 3*sphere.Degree, 10.7, 2026.9)
	if len(dots) != len(stars) || len(dots) == 0 {
		t.Fatalf("%d dots, %d stars", len(dots), len(stars))
	}
	for i, d := range dots {
		s := stars[i]
		if d.ID != s.ID || d.V != s.V || r3.Norm(r3.Sub(d.Vec, s.Pos.Vec())) > 1e-15 || math.Abs(r3.Norm(d.Vec)-1) > 1e-15 {
			t.Fatalf("dot %v, star %v", d, s)
		}
	}
}

func TestBadArguments(t *testing.T) {
	nan, at := math.NaN(), sphere.SkyAt(1, 1)
	for _, c := range []struct {
		name                string
		at                  sphere.Sky
		radius, maxV, epoch float64
	}{
		{"no direction", sphere.Sky{}, 1, 9, 2026}, {"NaN direction", sphere.SkyVec(r3.Vec{X: nan}), 1, 9, 2026},
		{"negative radius", at, -1e-9, 9, 2026}, {"NaN radius", at, nan, 9, 2026}, {"NaN V", at, 1, nan, 2026},
		{"V -inf", at, 1, math.Inf(-1), 2026}, {"NaN epoch", at, 1, 9, nan}, {"epoch 1e300", at, 1, 9, 1e300}, {"epoch 0", at, 1, 9, 0},
	} {
		if n := len(Embedded().Cone(nil, c.at, sphere.Angle(c.radius), c.maxV, c.epoch)); n != 0 {
			t.Errorf("%s: %d stars", c.name, n)
		}
		if n := len(Embedded().ConeDots(nil, c.at, sphere.Angle(c.radius), c.maxV, c.epoch)); n != 0 {
			t.Errorf("%s: %d dots", c.name, n)
		}
	}
	if n := len(Embedded().Cone(nil, at, sphere.Angle(math.Inf(1)), 2, 1025)); n < 45 {
		t.Errorf("infinite radius: %d stars, want all brighter than 2", n)
	}
	if _, ok := Embedded().At(math.MaxUint32, 2026); ok {
		t.Error("there is a star beyond the last")
	}
	Embedded().Each(9, nan, func(Star) bool { t.Error("a star for epoch NaN"); return false })
}

func TestConeAllocatesNothing(t *testing.T) {
	at := sphere.SkyAt(84*sphere.Degree, -5*sphere.Degree)
	dst := Embedded().Cone(nil, at, sphere.Degree, 99, 2026.9)
	dots := Embedded().ConeDots(nil, at, sphere.Degree, 99, 2026.9)
	if n := testing.AllocsPerRun(10, func() {
		dst = Embedded().Cone(dst[:0], at, sphere.Degree, 99, 2026.9)
		dots = Embedded().ConeDots(dots[:0], at, sphere.Degree, 99, 2026.9)
	}); n != 0 {
		t.Errorf("%v allocations", n)
	}
}

func TestConcurrentUse(t *testing.T) {
	l, err := Open(embedded)
	if err != nil {
		t.Fatal(err)
	}
	at := sphere.SkyAt(280*sphere.Degree, 10*sphere.Degree)
	want := l.Cone(nil, at, 2*sphere.Degree, 11, 2026.9)
	var wg sync.WaitGroup
	for range 8 {
		wg.Go(func() {
			for range 20 {
				if got := l.Cone(nil, at, 2*sphere.Degree, 11, 2026.9); !slices.EqualFunc(got, want, same) {
					t.Errorf("%d stars, want %d", len(got), len(want))
				}
			}
		})
	}
	wg.Wait()
}
