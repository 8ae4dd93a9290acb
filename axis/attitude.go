package axis

import (
	"math"

	"pintle/index/sphere"
)

// Attitude fits the attitude of one more photograph of the same camera with the
// lens as Fit found it. Only the attitude, the stars kept and their scatter are
// filled in; Used says nothing. A *WeakError says that the stars do not fix the
// attitude.
func (r *Result) Attitude(s Sighting) (FrameFit, error) {
	f := FrameFit{Name: s.Name, Time: s.Time, Stars: len(s.Matches)}
	if err := s.check(); err != nil {
		return f, err
	}
	if len(s.Matches) < fewest || spread(s.Matches) < leastSpread {
		return f, &WeakError{Reason: NoAttitude, Frames: 1}
	}
	b := bundle{frames: [][]star{prepare(&s)}, lens: r.Lens, middle: r.Lens}
	b.lens.Mirrored = s.Lens.Mirrored
	// Held as if known: the camera's place on the mount was measured through the
	// same lens, and errors of its centre cancel between the two.
	const tight = 1e-9
	b.hold = [lensParams]float64{tight, tight, tight, tight * r.Lens.Half, tight * r.Lens.Half}
	start, scatter := firstAttitude(&s, b.frames[0])
	if !(scatter*s.Lens.F < mostScatter*2*s.Lens.Half) {
		return f, &WeakError{Reason: NoAttitude, Frames: 1}
	}
	own, err := b.fitFree([]sphere.Rot{start})
	if err != nil {
		return f, &WeakError{Reason: NoAttitude, Frames: 1}
	}
	scale := b.calibrate(3)
	cov := b.last.Inverse()
	f.LocalFromCam = own[0].Inv()
	for p := range 3 {
		for q := range 3 {
			f.Cov[p][q] = scale * cov.At(p, q)
		}
	}
	f.stars(&b, 0)
	return f, nil
}

// stars fills in what is said of the stars of frame i of the bundle.
func (f *FrameFit) stars(b *bundle, i int) {
	n, _, r2 := b.tally(i)
	f.Inliers = n
	f.Floor = math.Sqrt(b.floor[i])
	for _, s := range b.frames[i] {
		f.Kept = append(f.Kept, s.weight > 0)
	}
	if n > 0 {
		f.RMSPixels = math.Sqrt(r2 / float64(n))
		f.RMS = sphere.Angle(f.RMSPixels / b.lens.F)
	}
}
