//go:build !amd64

package detect

// Here all pixels are worked on one by one.

func vectorWords([]float32, []uint16) int                  { return 0 }
func vectorBytes([]float32, []uint8) int                   { return 0 }
func vectorWithin([]float32, float32, float32) (int, bool) { return 0, true }
func vectorHalve([]float32, []float32) int                 { return 0 }
func vectorAddHalf([]float32, []float32) int               { return 0 }
func vectorSmooth([]float32, []float32) int                { return 0 }

func vectorPart(_, _, _, _, _, _ []float32, _, _ float32, _ int, hits []int32) (int, []int32) {
	return 0, hits
}
