package session

import "pintle/cmd/night/posed"

// PosedEye makes a Camera of poses in files, for the tests of the faces, which
// import this package.
func PosedEye(c *posed.Camera) Camera { return posedCamera{c} }
