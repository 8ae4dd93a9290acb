package frame

import (
	"errors"
	"fmt"

	"pintle/index/fitshead"
)

// cards is what the header of a FITS file, or the comments of a star list, say.
type cards = fitshead.Header

// blockSize is the size of what FITS files are made of, in bytes.
const blockSize = fitshead.BlockSize

// maxAxes is the most axes that an array may have.
const maxAxes = 16

// readCards reads the header that starts at off and returns it with the offset
// of the data that follow.
func readCards(s *source, off int64) (cards, int64, error) {
	c, err := fitshead.Read(func() ([]byte, error) {
		b, err := s.bytes(off, blockSize, "FITS header")
		off += blockSize
		return b, err
	})
	if errors.Is(err, fitshead.ErrDamaged) {
		err = fmt.Errorf("%w: %w", err, ErrDamaged)
	}
	return c, off, err
}
