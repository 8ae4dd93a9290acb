package render

import (
	"math"
	"math/rand/v2"
)

// Roof returns a Scene.Block for a straight edge: what lies on the right hand
// of the line from (x1, y1) to (x2, y2), seen with rows growing downward, is
// roof with the given electrons per pixel and a faint texture of tiles.
func Roof(x1, y1, x2, y2, own float64) func(x, y int) (pass, own float32) {
	dx, dy := x2-x1, y2-y1
	l := math.Hypot(dx, dy)
	dx, dy = dx/l, dy/l
	return func(x, y int) (float32, float32) {
		side := dx*(float64(y)-y1) - dy*(float64(x)-x1)
		cover := math.Max(0, math.Min(1, side+0.5))
		tile := 1 + 0.05*math.Sin(float64(x)/9)*math.Sin(float64(y)/7)
		return float32(1 - cover), float32(cover * own * tile)
	}
}

// Trees returns a Scene.Block for branches and leaves that reach from the last
// row up to the given share of the height, with own electrons per pixel.
func Trees(w, h int, share, own float64, seed uint64) func(x, y int) (pass, own float32) {
	mask := make([]float32, w*h)
	rng := rand.New(rand.NewPCG(seed, 77))
	var grow func(x, y, angle, length, width float64)
	grow = func(x, y, angle, length, width float64) {
		if length < 4 {
			leaf(mask, w, h, x, y, 1.5+2.5*rng.Float64())
			return
		}
		x2, y2 := x+length*math.Cos(angle), y-length*math.Sin(angle)
		branch(mask, w, h, x, y, x2, y2, width)
		for range 3 {
			grow(x2, y2, angle+0.6*rng.NormFloat64(), length*(0.55+0.2*rng.Float64()), width*0.6)
		}
	}
	top := float64(h) * share
	for x := top / 6; x < float64(w); x += top / 3 {
		grow(x, float64(h), math.Pi/2+0.1*rng.NormFloat64(), top*(0.3+0.1*rng.Float64()), top/30)
	}
	return func(x, y int) (float32, float32) {
		m := mask[y*w+x]
		return 1 - m, m * float32(own)
	}
}

func leaf(mask []float32, w, h int, x, y, r float64) {
	x0, x1 := box(x, r, w)
	y0, y1 := box(y, r, h)
	for j := y0; j <= y1; j++ {
		for i := x0; i <= x1; i++ {
			if math.Hypot(float64(i)-x, float64(j)-y) <= r {
				mask[j*w+i] = 1
			}
		}
	}
}

func branch(mask []float32, w, h int, x1, y1, x2, y2, width float64) {
	n := int(math.Hypot(x2-x1, y2-y1)) + 1
	for i := range n {
		t := float64(i) / float64(n)
		leaf(mask, w, h, x1+t*(x2-x1), y1+t*(y2-y1), math.Max(0.5, width/2))
	}
}

// Cloud returns a Scene.Block for soft patches of cloud over about the given
// share of the frame: at their thickest they let 2 % through and glow with
// own electrons per pixel.
func Cloud(w, h int, share, own float64, seed uint64) func(x, y int) (pass, own float32) {
	rng := rand.New(rand.NewPCG(seed, 78))
	type wave struct{ kx, ky, phase, amp float64 }
	var waves []wave
	for k := 1.0; k <= 8; k *= 1.6 {
		for range 3 {
			a := 2 * math.Pi * rng.Float64()
			waves = append(waves, wave{2 * math.Pi * k * math.Cos(a), 2 * math.Pi * k * math.Sin(a), 2 * math.Pi * rng.Float64(), 1 / k})
		}
	}
	var rms float64
	for _, q := range waves {
		rms += q.amp * q.amp / 2
	}
	rms = math.Sqrt(rms)
	level := math.Sqrt2 * math.Erfinv(1-2*share) // exceeded by that share of a normal deviate
	return func(x, y int) (float32, float32) {
		var v float64
		for _, q := range waves {
			v += q.amp * math.Sin(q.kx*float64(x)/float64(w)+q.ky*float64(y)/float64(w)+q.phase)
		}
		thick := math.Max(0, math.Min(1, 0.5+2*(v/rms-level)))
		return float32(1 - 0.98*thick), float32(own * thick)
	}
}
