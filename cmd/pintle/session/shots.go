package session

// SameShots leaves out photographs that are among the frames twice, as Measure
// does: the same pixels, or the raw file and the JPEG of one shot.
func SameShots(frames []*Frame) { sameShots(frames) }
