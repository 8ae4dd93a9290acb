package detect

import "math"

// restless measures, while a level streams by, how much its rows vary within
// each tile of the mesh: the differences of values reach apart, counted by
// size. Clouds, leaves and compression make the picture more restless than its
// pixel noise says, and what stands out there is no star.
type restless struct {
	m     *mesh
	n     int // level
	count [][bins]uint16
}

// bins are half powers of two of the difference, from the least of interest.
const (
	bins     = 24
	firstBin = -4 // log2 of the least difference over the noise of a block
)

func newRestless(m *mesh, n int) *restless {
	return &restless{m: m, n: n, count: make([][bins]uint16, m.nx*m.ny)}
}

// see counts a sample of level row y, compared with an earlier row diagonally
// above.
func (r *restless) see(y int, row, above []float32) {
	step := max(1, 4>>r.n)
	if y < 0 || y%step != 0 {
		return
	}
	j := min(y<<r.n/r.m.size, r.m.ny-1)
	for i := range r.m.nx {
		x0, x1 := r.m.span(i, r.m.nx, len(row)<<r.n)
		x0, x1 = x0>>r.n, min(x1>>r.n, len(row)-reach)
		k := j*r.m.nx + i
		unit := 1 / (r.m.noise[k] * r.m.noise[k])
		c := &r.count[k]
		for x := x0; x < x1; x += step {
			d := row[x] - above[x+reach]
			// The float's bits are its logarithm, near enough, in units of
			// 2^-23; squared, an octave is half a power of two.
			b := int(math.Float32bits(d*d*unit)>>23) - 127 - 2*firstBin
			c[min(max(b, 0), bins-1)]++
		}
	}
}

// Quantiles of the difference of two normal deviates of rms 1, without its sign: those
// of the normal distribution times the square root of 2.
const (
	diffHalf       = 0.954
	diffThreeParts = 1.627 // of four
	diffNineParts  = 2.326 // of ten
)

// rms returns the level's rms in every tile, over the noise of a block, at
// least the given share. It follows from the median difference, where coarse
// numbers make that too small from the upper quartile, and in a blocky picture
// also from the highest tenth.
func rms(r *restless, share float32, blocky bool) []float32 {
	m := r.m
	// The area must be large against the stars that this level is for.
	reach := 0
	for (2*reach+1)*m.size < 24<<r.n {
		reach++
	}
	out := make([]float32, m.nx*m.ny)
	for k := range out {
		c, total := r.around(k, reach)
		out[k] = share
		if total < 16 {
			continue
		}
		v := within(c, 0.5, total) / diffHalf
		if v < 0.7*share {
			v = within(c, 0.75, total) / diffThreeParts
		}
		if blocky {
			v = max(v, within(c, 0.9, total)/diffNineParts)
		}
		out[k] = max(share, v)
	}
	return median3(out, m.nx, m.ny)
}

// blocky reports whether a picture is compressed so hard that most of its sky
// consists of flat squares, with noise only in some.
func blocky(r *restless) bool {
	c, total := r.around(0, max(r.m.nx, r.m.ny))
	return total > 0 && within(c, 0.5, total)/diffHalf < 0.2*within(c, 0.9, total)/diffNineParts
}

// add takes in what was counted in another part of the picture.
func (r *restless) add(o *restless) {
	for k := range r.count {
		c := &r.count[k]
		for b, v := range &o.count[k] {
			c[b] += v
		}
	}
}

// around adds up what was counted in the tiles no further than reach from tile k.
func (r *restless) around(k, reach int) (c [bins]int, total int) {
	r.m.around(k%r.m.nx, k/r.m.nx, reach, func(q int) {
		for b, v := range &r.count[q] {
			c[b] += int(v)
			total += int(v)
		}
	})
	return c, total
}

// within returns the difference that a share of all lie below.
func within(c [bins]int, share float64, total int) float32 {
	want, sum := share*float64(total), 0.0
	for b, v := range c {
		if sum+float64(v) >= want && b > 0 {
			part := (want - sum) / max(float64(v), 1) // none when the bins below hold just so many
			return float32(math.Exp2((float64(b)+part)/2 + firstBin))
		}
		sum += float64(v)
	}
	return 0
}
