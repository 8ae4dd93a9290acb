package frame

import "fmt"

func readGzip(f *file, fr *Frame) (facts, error) {
	return facts{}, fmt.Errorf("gzip: %w", ErrUnsupported)
}
