package frame

import "fmt"

func readTiled(s *source, u *hdu, fr *Frame) error {
	return fmt.Errorf("tile-compressed FITS: %w", ErrUnsupported)
}
