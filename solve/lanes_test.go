package solve

import (
	"math"
	"math/rand/v2"
	"slices"
	"testing"

	"gonum.org/v1/gonum/spatial/r3"

	"pintle/index"
)

// fuzzed is a source of random numbers that a fuzzer steers.
func fuzzed(a, b uint64) *rand.Rand { return rand.New(rand.NewPCG(a, b)) }

// places returns places within reach of the middle, some of them the same.
func places(rng *rand.Rand, reach float64) (out [windowRoom]float32) {
	for i := range out {
		out[i] = float32(reach * (2*rng.Float64() - 1))
		if i > 0 && rng.IntN(8) == 0 {
			out[i] = out[rng.IntN(i)]
		}
	}
	return out
}

// Several stars at a time give the same bits as one by one.
func FuzzLanesAgree(f *testing.F) {
	for i := range uint64(200) {
		f.Add(uint64(seed), i)
	}
	f.Fuzz(func(t *testing.T, a, b uint64) {
		rng := fuzzed(a, b)
		x, y := places(rng, 1), places(rng, 1)
		n := rng.IntN(33)
		l := pairLimits{float32(rng.Float64()), float32(rng.Float64()), float32(2 * rng.Float64()), float32(2 * rng.Float64())}
		var many, one [32]uint32
		l.pairs(&x, &y, n, &many)
		oneByOne(t, func() { l.pairs(&x, &y, n, &one) })
		if many != one {
			t.Errorf("pairs %+v of %d stars: %x, one by one %x", l, n, many, one)
		}
		hitsAgree(t, rng, &x, &y)
		strikesAgree(t, rng)
		drawingsAgree(t, rng)
	})
}

func hitsAgree(t *testing.T, rng *rand.Rand, x, y *[windowRoom]float32) {
	var filled [tableCells / 32]uint32
	for i := range filled {
		filled[i] = rng.Uint32() & rng.Uint32()
	}
	var v [windowRoom]uint32
	for i := range v {
		v[i] = uint32(i)<<16 | uint32(uint16(int16(rng.IntN(150)-20)))
	}
	n, mean := rng.IntN(windowRoom+1), int16(rng.IntN(150)-20)
	far := math.Exp(8 * rng.Float64()) // some beyond the table
	turned := turn{float32(far * rng.NormFloat64()), float32(far * rng.NormFloat64()), 128, float32(256 * rng.Float64())}
	var many, one [windowRoom]strike
	m, o := turned.hits(x, y, &v, mean, n, &filled, &many), 0
	oneByOne(t, func() { o = turned.hits(x, y, &v, mean, n, &filled, &one) })
	if m != o || !slices.Equal(many[:m], one[:o]) {
		t.Errorf("%+v of %d stars: hits %x, one by one %x", turned, n, many[:m], one[:o])
	}
	list := one[:o]
	for i := range n { // what it is said to do
		px, py := turned.place(x[i], y[i])
		ix, iy := math.Floor(float64(px)), math.Floor(float64(py))
		if ix < 1 || ix >= tableSide || iy < 0 || iy >= tableSide {
			continue
		}
		cell := uint32(ix)*tableSide + uint32(iy)
		hit := slices.ContainsFunc(list, func(h strike) bool {
			return h.star() == i && h.cell() == cell && int16(h>>32) == int16(v[i])-mean
		})
		if hit != (filled[cell/32]>>(cell%32)&1 != 0) {
			t.Errorf("place %g, %g: hit %v, of bits %032b", px, py, hit, filled[cell/32])
		}
	}
}

func strikesAgree(t *testing.T, rng *rand.Rand) {
	var s shapes
	var all []placed
	for range rng.IntN(3000) {
		cell := uint(tableCells - 1 - rng.IntN(500)*rng.IntN(2)) // many in the last one
		all = append(all, placed{cell, makeSpot(uint16(rng.Uint32()), int8(rng.IntN(201)-100), uint8(rng.Uint32()))})
	}
	s.fill(all)
	var hits []strike
	for range rng.IntN(30) {
		hits = append(hits, strike(rng.IntN(windowRoom))<<48|strike(uint16(int16(rng.IntN(61)-30)))<<32|strike(tableCells-1-rng.IntN(500)))
	}
	from := rng.IntN(len(hits) + 1)
	to := from + rng.IntN(len(hits)-from+1)
	room := s.crowded*len(hits) + spotsAtOnce
	many, one := make([]strike, room), make([]strike, room)
	m, o := s.strike(hits, from, to, many), 0
	oneByOne(t, func() { o = s.strike(hits, from, to, one) })
	if m != o || !slices.Equal(many[:m], one[:o]) {
		t.Errorf("%d cells hit: struck %x, one by one %x", len(hits), many[:m], one[:o])
	}
	alike := 0 // what it is said to do
	for _, h := range hits[from:to] {
		for _, p := range all {
			if off := int(p.faint()) - int(int16(h>>32)); uint32(p.cell) == h.cell() && off >= -starUnlike && off <= starUnlike {
				alike++
			}
		}
	}
	if o != alike {
		t.Errorf("%d cells hit: %d struck, %d are alike", len(hits), o, alike)
	}
}

func drawingsAgree(t *testing.T, rng *rand.Rand) {
	d := drawing{offX: rng.NormFloat64(), offY: rng.NormFloat64(), width: rng.Float32(), height: rng.Float32(), least: lowest}
	for _, v := range [3]*[3]float64{&d.ex, &d.ey, &d.mid} {
		*v = [3]float64{rng.NormFloat64(), rng.NormFloat64(), rng.NormFloat64()}
	}
	n := drawnAtOnce * rng.IntN(20)
	dots := make([]index.Dot, n)
	for i := range dots {
		dots[i] = index.Dot{X: rng.Float32() - 0.5, Y: rng.Float32() - 0.5, Z: rng.Float32() - 0.5}
		if rng.IntN(10) == 0 {
			dots[i] = index.Dot{} // in no direction
		}
	}
	mx, my, ox, oy := make([]float32, n), make([]float32, n), make([]float32, n), make([]float32, n)
	many, one := make([]uint8, n/drawnAtOnce), make([]uint8, n/drawnAtOnce)
	d.draw(dots, mx, my, many)
	oneByOne(t, func() { d.draw(dots, ox, oy, one) })
	if !slices.Equal(many, one) || !sameBits(mx, ox) || !sameBits(my, oy) {
		t.Errorf("%+v of %d stars: seen %x, one by one %x", d, n, many, one)
	}
}

// sameBits reports whether two rows hold the same numbers; one NaN is like another.
func sameBits(a, b []float32) bool {
	return slices.EqualFunc(a, b, func(x, y float32) bool {
		return math.Float32bits(x) == math.Float32bits(y) || x != x && y != y
	})
}

// onPlane returns where a direction is on a region's plane, to the east and to the
// north of the middle.
func onPlane(r *index.Region, v r3.Vec) (x, y float64, ok bool) {
	east, north, middle := r.Axes()
	z := r3.Dot(v, middle)
	return r3.Dot(v, east) / z, r3.Dot(v, north) / z, z > lowest
}

// A region's stars are drawn where the region says that they are.
func TestDrawingIsTheRegions(t *testing.T) {
	reader, err := lib.Ready(lib.Bands()[len(lib.Bands())-1])
	if err != nil {
		t.Fatal(err)
	}
	var m swept
	laid := 0
	for k := range min(40, reader.Regions()[0]) {
		region, dots, err := reader.Session().Region(nil, 0, k, 1.05)
		if err != nil {
			t.Fatal(err)
		}
		m.dots = dots
		square := math.Tan(min(1.2, float64(reader.Band.Square(0))))
		m.lay(&region, square)
		for i, s := range m.spread {
			d := &m.dots[s.dot]
			x, y, ok := onPlane(&region, d.Vec())
			if !ok || math.Abs(x-float64(s.x)) > 1e-6 || math.Abs(y-float64(s.y)) > 1e-6 {
				t.Fatalf("region %d: a star is laid at %g, %g, want %g, %g (%v)", k, s.x, s.y, x, y, ok)
			}
			if i > 0 && d.V < m.dots[m.spread[i-1].dot].V-0.051 {
				t.Fatalf("region %d: V %g after %g", k, d.V, m.dots[m.spread[i-1].dot].V)
			}
		}
		for i := range m.dots {
			x, y, ok := onPlane(&region, m.dots[i].Vec())
			near := ok && math.Abs(x) < region.Width && math.Abs(y) < region.Height
			if near && !slices.ContainsFunc(m.spread, func(s flat) bool { return int(s.dot) == i }) {
				t.Fatalf("region %d: a star at %g, %g is not laid", k, x, y)
			}
		}
		laid += len(m.spread)
	}
	if laid < 500 {
		t.Errorf("%d stars laid", laid)
	}
}

// The loops over a window's stars, as in a sweep.
func BenchmarkLanes(b *testing.B) {
	rng := fuzzed(seed, 7)
	x, y := places(rng, 1), places(rng, 1)
	var near [32]uint32
	var v [windowRoom]uint32
	var filled [tableCells / 32]uint32
	var out [windowRoom]strike
	b.Run("pairs of 15", func(b *testing.B) {
		l := pairLimits{0.3, 0.1, 0.5, 0.5}
		for b.Loop() {
			l.pairs(&x, &y, 15, &near)
		}
	})
	b.Run("hits of 20", func(b *testing.B) {
		t := turn{30, 20, 128, 128}
		for b.Loop() {
			t.hits(&x, &y, &v, 0, 20, &filled, &out)
		}
	})
}
