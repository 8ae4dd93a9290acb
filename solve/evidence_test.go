package solve

import (
	"cmp"
	"math"
	"slices"
	"testing"

	"pintle/index/optics"
	"pintle/index/sphere"
	"pintle/index/stars"
)

// The list that a proposal is weighed with has as many stars as are asked for,
// and those are the brightest there are: at the poles of the Milky Way, where
// the sky is poor, and in its plane. IAU 1958: the north pole of the galaxy is at
// 192.85948, 27.12825 degrees (ICRS, Hipparcos catalogue vol. 1, 1.5.3).
func TestBrightestWhereverTheSkyIsPoor(t *testing.T) {
	if testing.Short() {
		t.Skip("slow, and nothing runs beside it")
	}
	list := stars.Embedded()
	k := checker{list: list, epoch: 2026.9}
	for _, c := range []struct{ ra, dec float64 }{{192.85948, 27.12825}, {12.85948, -27.12825}, {282.86, -3}, {80, -70}} {
		centre := sphere.SkyAt(sphere.Angle(c.ra)*sphere.Degree, sphere.Angle(c.dec)*sphere.Degree)
		for _, radius := range []float64{0.7, 2, 9, 35} {
			const n = 60
			r := radius * float64(sphere.Degree)
			all := list.ConeDots(nil, centre, sphere.Angle(r), 99, k.epoch)
			slices.SortFunc(all, func(a, b stars.Dot) int { return cmp.Compare(a.V, b.V) })
			want := all[:min(n, len(all))]
			k.brightest(centre.Vec(), r, n)
			if len(k.dots) != len(want) {
				t.Fatalf("%v, %g degrees: %d stars, want %d", c, radius, len(k.dots), len(want))
			}
			for i := range want {
				if k.dots[i].V != want[i].V {
					t.Fatalf("%v, %g degrees: star %d is of V = %.2f, want %.2f", c, radius, i, k.dots[i].V, want[i].V)
				}
			}
		}
	}
}

// A frame is compared with more stars of the catalogue than it has points, the
// brightest in the frame, and expects the less to see of one the fainter it is.
func TestExpectReachesBeyondThePoints(t *testing.T) {
	list := stars.Embedded()
	centre := sphere.SkyAt(200*sphere.Degree, 30*sphere.Degree)
	const w, h, n = 1280, 960, 20
	p := pose{lens: optics.NewLens(w, h, 9*sphere.Arcsecond)}
	v := centre.Vec()
	p.camFromSky = frameOf(sphere.Unit(v), sphere.SkyAt(201*sphere.Degree, 30*sphere.Degree).Vec()).Inv()
	axis := p.camFromSky.Inv().Apply(p.lens.Cam((w-1)/2.0, (h-1)/2.0).Vec())
	k := checker{cloud: &cloud{w: w, h: h}, list: list, epoch: 2026.9}
	k.brightest(axis, math.Hypot(w, h)/2*9*float64(sphere.Arcsecond)*1.03, int(math.Ceil(deepest*circle*n)))
	k.expect(p.sketch(nil), w/2, h/2, n)
	if len(k.targets) < n || len(k.targets) > int(math.Ceil(deepest*n)) {
		t.Fatalf("%d targets for %d points, want between that and %.0f", len(k.targets), n, math.Ceil(deepest*n))
	}
	faintest := 0.0
	for i, a := range k.targets {
		faintest = max(faintest, a.mag)
		if i > 0 && a.distance < k.targets[i-1].distance {
			t.Errorf("target %d is nearer to the start than the one before", i)
		}
		for _, b := range k.targets {
			if a.mag < b.mag && a.share < b.share {
				t.Errorf("of V = %.2f the share %.2f is expected, of V = %.2f %.2f", a.mag, a.share, b.mag, b.share)
			}
		}
		if !(a.share > 0.2 && a.share <= 1) {
			t.Errorf("share %.2f", a.share)
		}
	}
	brighter := 0
	for _, s := range list.Cone(nil, sphere.SkyVec(axis), 3*sphere.Degree, 99, k.epoch) {
		if x, y, ok := p.project(s.Pos.Vec()); ok && x >= 0 && y >= 0 && x < w-1 && y < h-1 && float64(s.V) < faintest-1e-3 {
			brighter++
		}
	}
	if brighter > len(k.targets) {
		t.Errorf("%d stars in the frame are brighter than the faintest of %d targets", brighter, len(k.targets))
	}
}
