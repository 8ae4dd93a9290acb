package solve

import (
	"golang.org/x/sys/cpu"

	"pintle/index"
)

// vectors says that the processor works on eight numbers at a time (AVX2), and counts
// bits.
var vectors = cpu.X86.HasAVX2 && cpu.X86.HasPOPCNT

// packing tells for each set of four strikes, a bit for each, how their halves are to be
// moved so that those of the set come first.
type packing [16][8]uint32

var packs = func() (out packing) {
	for set := range out {
		at := 0
		for i := range uint32(4) {
			if set>>i&1 != 0 {
				out[set][at], out[set][at+1] = 2*i, 2*i+1
				at += 2
			}
		}
	}
	return out
}()

// The functions of lanes_amd64.s. They check nothing.

//go:noescape
func pairs8(l *pairLimits, x, y *float32, n int, out *uint32)

//go:noescape
func hits8(t *turn, x, y *float32, v *uint32, mean uint32, n int, filled *uint32, out *strike, packs *packing) int

//go:noescape
func strike4(hits *strike, n int, last *strike, first *int32, spots *spot, list *strike, packs *packing) int

//go:noescape
func draw4(d *drawing, dots *index.Dot, n int, x, y *float32, seen *uint8)

// The functions below do what their names say, see lanes.go, if the processor can.

func vectorPairs(l *pairLimits, x, y *[windowRoom]float32, n int, out *[32]uint32) bool {
	if vectors {
		pairs8(l, &x[0], &y[0], n, &out[0])
	}
	return vectors
}

func vectorHits(t *turn, x, y *[windowRoom]float32, v *[windowRoom]uint32, mean int16, n int, filled *[tableCells / 32]uint32, out *[windowRoom]strike) (int, bool) {
	if !vectors {
		return 0, false
	}
	return hits8(t, &x[0], &y[0], &v[0], uint32(uint16(mean)), n, &filled[0], &out[0], &packs), true
}

func vectorStrike(s *shapes, hits []strike, from, to int, list []strike) (int, bool) {
	if !vectors {
		return 0, false
	}
	if from == to {
		return 0, true
	}
	return strike4(&hits[from], to-from, &hits[len(hits)-1], &s.first[0], &s.spots[0], &list[0], &packs), true
}

func vectorDraw(d *drawing, dots []index.Dot, x, y []float32, seen []uint8) bool {
	if vectors {
		draw4(d, &dots[0], len(dots), &x[0], &y[0], &seen[0])
	}
	return vectors
}
