package detect

import (
	"math"
	"math/rand/v2"
	"slices"
	"testing"
)

// The rows worked on eight pixels at a time are those worked on one by one, to the bit,
// whatever their length and values.
func TestRowsEightAtATime(t *testing.T) {
	rng := rand.New(rand.NewPCG(seed, 51))
	numbers := func(n int) []float32 {
		out := make([]float32, n)
		for i := range out {
			switch out[i] = float32(1000 + 30*rng.NormFloat64()); rng.IntN(60) {
			case 0:
				out[i] = float32(math.NaN())
			case 1:
				out[i] = float32(math.Inf(1 - 2*rng.IntN(2)))
			}
		}
		return out
	}
	for n := 4; n < 700; n += 1 + rng.IntN(9) {
		words, bytes := make([]uint16, n), make([]uint8, n)
		for i := range words {
			words[i], bytes[i] = uint16(rng.Uint32()), uint8(rng.Uint32())
		}
		var rows [5][]float32
		for i := range rows {
			rows[i] = numbers(n)
		}
		start := numbers(n)
		x0 := rng.IntN(n)
		lo, hi := float32(1000-40*rng.Float64()), float32(1000+200*rng.Float64())
		work := func() (bits []uint32, hits []int32, in bool) {
			var out []float32
			row := func(f func(dst []float32)) {
				dst := slices.Clone(start)
				f(dst)
				out = append(out, dst...)
			}
			row(func(dst []float32) { widenWords(dst, words) })
			row(func(dst []float32) { widenBytes(dst, bytes) })
			row(func(dst []float32) { halve(rows[0], dst) })
			row(func(dst []float32) { addHalf(rows[0], dst) })
			row(func(dst []float32) { smoothX(rows[0], dst) })
			row(func(dst []float32) { hits = smoothPart(&rows, dst, x0, n, 1000, 0.03, nil) })
			for _, v := range out {
				if v != v {
					v = nan // there are many
				}
				bits = append(bits, math.Float32bits(v))
			}
			return bits, hits, allWithin(rows[1][:n/8], lo, hi)
		}
		bits, hits, in := work()
		oneByOne(t, func() {
			wantBits, wantHits, wantIn := work()
			if !slices.Equal(bits, wantBits) || !slices.Equal(hits, wantHits) || in != wantIn {
				t.Fatalf("seed %d, %d pixels: eight at a time gives other values", seed, n)
			}
		})
	}
}
