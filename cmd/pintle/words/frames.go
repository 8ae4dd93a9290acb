package words

import (
	"errors"
	"fmt"
	"io/fs"
	"strings"

	"pintle/cmd/pintle/advice"
	"pintle/solve/frame"
)

// unread words an error of reading the frame at path, with what to try.
func unread(path string, err error) error {
	if !strings.Contains(err.Error(), path) {
		err = fmt.Errorf("%s: %w", path, err)
	}
	switch {
	case errors.Is(err, fs.ErrNotExist):
		return advice.With(err, "check the name of the file")
	case errors.Is(err, frame.ErrFormat):
		return advice.With(err, "FITS, PNG, JPEG, TIFF, camera raw files and star lists as CSV can be read")
	case errors.Is(err, frame.ErrDamaged):
		return advice.With(err, "copy the file again, or leave it out")
	case errors.Is(err, frame.ErrUnsupported):
		return advice.With(err, "save it as FITS, PNG, JPEG or TIFF")
	}
	return err
}
