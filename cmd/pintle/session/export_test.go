package session

import (
	"fmt"
	"path/filepath"

	"pintle/cmd/night/posed"
)

// PosedEye makes a Camera of poses in files, for the tests of the faces, which
// import this package.
func PosedEye(c *posed.Camera) Camera { return posedCamera{c} }

// EditedEye is PosedEye whose files, by their number, say something else; edit may be nil.
func EditedEye(c *posed.Camera, edit func(i int, f *Frame)) Camera {
	return edited{posedCamera{c}, func(f *Frame) {
		var i int
		if _, err := fmt.Sscanf(filepath.Base(f.Path), "%d", &i); err == nil && edit != nil {
			edit(i, f)
		}
	}}
}
