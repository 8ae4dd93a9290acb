package solve

import (
	"golang.org/x/sys/cpu"

	"pintle/index"
)

// vectors says that the processor works on eight numbers at a time (AVX2).
var vectors = cpu.X86.HasAVX2

// The functions of lanes_amd64.s. They check nothing.

//go:noescape
func pairs8(l *pairLimits, x, y *float32, n int, out *uint32)

//go:noescape
func cells8(t *turn, x, y, px, py *float32, cells *uint32, n int, filled *uint32) uint64

//go:noescape
func draw4(d *drawing, dots *index.Dot, n int, x, y *float32, seen *uint8)

// The functions below do what their names say, see lanes.go, if the processor can.

func vectorPairs(l *pairLimits, x, y *[windowRoom]float32, n int, out *[32]uint32) bool {
	if vectors {
		pairs8(l, &x[0], &y[0], n, &out[0])
	}
	return vectors
}

func vectorCells(t *turn, x, y, px, py *[windowRoom]float32, cells *[windowRoom]uint32, n int, filled *[tableCells / 32]uint32) (uint64, bool) {
	if !vectors {
		return 0, false
	}
	return cells8(t, &x[0], &y[0], &px[0], &py[0], &cells[0], n, &filled[0]), true
}

func vectorDraw(d *drawing, dots []index.Dot, x, y []float32, seen []uint8) bool {
	if vectors {
		draw4(d, &dots[0], len(dots), &x[0], &y[0], &seen[0])
	}
	return vectors
}
