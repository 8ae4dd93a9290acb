package detect

import (
	"math/bits"

	"golang.org/x/sys/cpu"
)

// vectors says that the processor works on eight floats at a time (AVX2).
var vectors = cpu.X86.HasAVX2

// The functions of rows_amd64.s. They work on n pixels, a multiple of eight, and check
// nothing.

//go:noescape
func widenWords8(dst *float32, src *uint16, n int)

//go:noescape
func widenBytes8(dst *float32, src *uint8, n int)

//go:noescape
func within8(row *float32, n int, lo, hi float32) bool

//go:noescape
func halve8(dst, row *float32, n int)

//go:noescape
func addHalf8(dst, row *float32, n int)

//go:noescape
func smooth8(dst, row *float32, n int)

//go:noescape
func part8(out, a, b, c, d, e *float32, n int, t, dt float32, above *uint8)

// whole returns how many of n pixels are worked on eight at a time.
func whole(n int) int {
	if !vectors {
		return 0
	}
	return max(n, 0) &^ (eight - 1)
}

// The functions below do what their names say for the first pixels, and return for how
// many: see rows.go.

func vectorWords(dst []float32, src []uint16) int {
	n := whole(len(src))
	if n > 0 {
		widenWords8(&dst[:n][0], &src[0], n)
	}
	return n
}

func vectorBytes(dst []float32, src []uint8) int {
	n := whole(len(src))
	if n > 0 {
		widenBytes8(&dst[:n][0], &src[0], n)
	}
	return n
}

func vectorWithin(row []float32, lo, hi float32) (int, bool) {
	n := whole(len(row))
	return n, n == 0 || within8(&row[0], n, lo, hi)
}

func vectorHalve(dst, row []float32) int {
	n := whole(len(dst))
	if n > 0 {
		halve8(&dst[0], &row[:2*n][0], n)
	}
	return n
}

func vectorAddHalf(dst, row []float32) int {
	n := whole(len(dst))
	if n > 0 {
		addHalf8(&dst[0], &row[:2*n][0], n)
	}
	return n
}

// vectorSmooth begins with the third pixel.
func vectorSmooth(dst, row []float32) int {
	n := whole(len(row) - 4)
	if n > 0 {
		smooth8(&dst[2:][:n][0], &row[0], n)
	}
	return n
}

func vectorPart(out, a, b, c, d, e []float32, t, dt float32, x0 int, hits []int32) (int, []int32) {
	var above [512 / eight]uint8 // of the threshold, a bit for each pixel
	n := min(whole(len(out)), eight*len(above))
	if n == 0 {
		return 0, hits
	}
	part8(&out[0], &a[:n][0], &b[:n][0], &c[:n][0], &d[:n][0], &e[:n][0], n, t, dt, &above[0])
	for k, m := range above[:n/eight] {
		for ; m != 0; m &= m - 1 {
			hits = append(hits, int32(x0+eight*k+bits.TrailingZeros8(m)))
		}
	}
	return n, hits
}
