package axis

import "pintle/index/optics"

// lensParams is the number of the lens parameters of the fit, in the order of
// [optics.Image].
const lensParams = optics.LensParams

// Priors that keep narrow fields regular, where distortion and the pixel of the
// optical axis cannot be seen: standard deviations about an undistorted lens
// centred on the frame (common practice, no source).
const (
	priorF      = 0.1  // of the first focal length
	priorK      = 0.1  // of the displacement at the half-diagonal
	priorCentre = 0.02 // of the frame's width
)
