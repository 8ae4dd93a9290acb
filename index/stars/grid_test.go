package stars

import (
	"math"
	"testing"

	"gonum.org/v1/gonum/spatial/r3"

	"pintle/index/sphere"
)

// Every point of a cell fits into a record, the corners being the farthest.
func TestCellsFitRecords(t *testing.T) {
	for _, n := range []int{minZones, 100, zonesMade, maxZones} {
		g := newGrid(n)
		worst := 0.0
		for i := range g.zones {
			z := &g.zones[i]
			a := z.axes(0)
			for u := 0.0; u <= 1; u += 0.125 {
				for _, v := range []float64{0, 0.5, 1} {
					p := sphere.SkyAt(sphere.Angle(u*z.width), sphere.Angle((float64(i)+v)*g.height-math.Pi/2)).Vec()
					x, y := r3.Dot(p, a.east), r3.Dot(p, a.north)
					worst = max(worst, math.Abs(x)/g.height, math.Abs(y)/g.height)
				}
			}
		}
		if worst > 0.545 {
			t.Errorf("%d zones: a cell reaches %.4f heights from its centre, want at most 0.545", n, worst)
		}
	}
}

func TestFindAgreesWithAxes(t *testing.T) {
	g := newGrid(zonesMade)
	cells := 0
	for i := range g.zones {
		z := &g.zones[i]
		if z.first != cells {
			t.Fatalf("zone %d begins at cell %d, want %d", i, z.first, cells)
		}
		for k := range z.count {
			if zone, segment := g.find(sphere.SkyVec(z.axes(k).centre).RADec()); zone != i || segment != k {
				t.Fatalf("centre of cell %d of zone %d is found in %d of %d", k, i, segment, zone)
			}
		}
		cells += z.count
	}
	if cells != g.cells || math.Abs(float64(cells)*g.height*g.height/(4*math.Pi)-1) > 0.01 {
		t.Errorf("%d cells, header of grid says %d", cells, g.cells)
	}
}
