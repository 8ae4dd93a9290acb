//go:build !amd64

package solve

import "pintle/index"

// Here all stars are worked on one by one.

func vectorPairs(*pairLimits, *[windowRoom]float32, *[windowRoom]float32, int, *[32]uint32) bool {
	return false
}

func vectorHits(_ *turn, _, _ *[windowRoom]float32, _ *[windowRoom]uint32, _ int16, _ int, _ *[tableCells / 32]uint32, _ *[windowRoom]strike) (int, bool) {
	return 0, false
}

func vectorStrike(_ *shapes, _ []strike, _, _ int, _ []strike) (int, bool) { return 0, false }

func vectorDraw(*drawing, []index.Dot, []float32, []float32, []uint8) bool { return false }
