package axis

import (
	"math"
	"time"

	"pintle/axis/place"
	"pintle/index/optics"
	"pintle/index/sphere"
)

// Result is where the mount's axis is and how well that is known.
type Result struct {
	// Axis is the end of the rotation axis that lies toward the elevated pole.
	Axis sphere.Local
	// Cov is the covariance of Axis in square radians: altitude first, then
	// azimuth as an angle on the sky. It holds everything the fit estimated
	// besides, and what mount and air may have added, averaged over what the frames
	// leave open; the error of refraction comes on top, in Offset.
	Cov [2][2]float64
	// StarCov is what Cov would be if only the stars' errors turned the frames.
	StarCov [2][2]float64
	// Frames has one entry for each sighting, in the order given.
	Frames []FrameFit
	// Lens is the lens of all frames.
	Lens optics.Lens
	// MountFromLocal and CamFromMount make up the attitudes: the mount's frame has
	// its z along Axis and its y up, and
	// camFromLocal(i) = CamFromMount . Rot(z, -Turn i) . MountFromLocal,
	// apart from the frames' own scatter, Tilt. When the warnings say that the
	// declination axis or the mount moved, these and Axis hold for the later frames.
	MountFromLocal, CamFromMount sphere.Rot
	// RMS is the root mean square distance between measured and fitted star
	// positions.
	RMS sphere.Angle
	// Stars and Used count the matches of the frames used and those among them
	// that were not wrong.
	Stars, Used int
	// Tilt is the standard deviation, per axis, of the frames' scatter about one
	// rotation, beyond what their stars explain: the median of what is believed
	// after the frames were seen. Of two frames, and almost of three, it is what was
	// believed before.
	Tilt sphere.Angle
	// Misfit is the sum of squares of the frames' attitudes about one rotation,
	// before Tilt: chi-square with MisfitFree degrees of freedom when all is well.
	Misfit     float64
	MisfitFree int
	Warnings   []Warning

	place *place.Place
	// perRefraction is the motion of the axis (altitude, azimuth on the sky) when
	// refraction grows by its own amount.
	perRefraction [2]float64
	w, h          int
	// last is what following starts from.
	last lastFrame
}

// FrameFit is what the fit says of one frame.
type FrameFit struct {
	Name string
	Time time.Time
	// Used is false for a frame left out of the fit; the warnings say why, and the
	// attitude is then the frame's own.
	Used bool
	// Turn is the angle the mount turned about Axis since the earliest frame used,
	// right-handed about Axis, -180 to 180 degrees: counter-clockwise for someone
	// who looks from the pole down the axis at the mount. TurnErr is its standard
	// error.
	Turn, TurnErr sphere.Angle
	// LocalFromCam is the attitude; Cov its covariance as a rotation vector in the
	// camera's frame, square radians.
	LocalFromCam sphere.Rot
	Cov          [3][3]float64
	// Kept marks the matches that were not found wrong.
	Kept           []bool
	Stars, Inliers int // matches, and those kept
	// RMS is the root mean square distance between measured and fitted positions
	// of the matches kept, in RMSPixels the same in pixels.
	RMS       sphere.Angle
	RMSPixels float64
	// Floor is the error per coordinate, in pixels, that the stars showed beyond
	// their stated errors.
	Floor float64
	// Misfit is how far the frame's own attitude, fitted to its stars alone, lies
	// from the one a mount gives it that turns about one axis.
	Misfit sphere.Angle
}

// result makes the joint fit of all stars, from where the attitudes put it, and
// reads everything off it.
func (f *fit) result() (*Result, error) {
	b := f.bundle // the frames used, with their own lens to fit
	b.frames, b.floor = make([][]star, len(f.used)), make([]float64, len(f.used))
	for k, i := range f.used {
		b.frames[k], b.floor[k] = f.bundle.frames[i], f.bundle.floor[i]
	}
	fitted, ok := b.settle(f.best.m.withTilt(f.scatter), 20)
	if !ok { // what happened between them is none of the small things that are allowed for
		turn, _ := f.own.only(f.used).largestTurn()
		return nil, &WeakError{Reason: NotOneAxis, Frames: len(f.used), Turn: sphere.Angle(turn)}
	}
	j := joint{b: &b, m: fitted.(*mount), cov: b.last.Inverse()}
	j.settle(f.sky)
	m := j.m
	up := uprightMount(m.axis())
	twist := up.Mul(m.mountFromLocal.Inv()) // about z
	r := &Result{
		Axis: sphere.LocalVec(m.axis()), Cov: j.axisCov(), Lens: j.b.lens,
		MountFromLocal: up, CamFromMount: m.camFromMount.Mul(twist.Inv()),
		StarCov: f.stars.axisCov(), Tilt: sphere.Angle(f.scatter), Misfit: f.first.q, MisfitFree: f.first.free,
		place: f.sightings[f.index[f.used[0]]].Place,
	}
	g, steps := j.perRefraction(f), j.axisSteps()
	lift := b.last.Solve(g)
	for k := range steps {
		r.perRefraction[k] = steps[k][0]*lift[0] + steps[k][1]*lift[1]
	}
	r.w, r.h = f.sightings[0].W, f.sightings[0].H
	r.last = j.lastFrame(g)
	r.last.frame = f.index[f.used[len(f.used)-1]]
	r.last.time = f.sightings[r.last.frame].Place.Time()
	f.frames(r, &j)
	f.look(r)
	r.Warnings = f.warnings
	return r, nil
}

// frames fills in what is said of each frame.
func (f *fit) frames(r *Result, j *joint) {
	r.Frames = make([]FrameFit, len(f.sightings))
	for i, s := range f.sightings {
		r.Frames[i] = FrameFit{Name: s.Name, Time: s.Time, Stars: len(s.Matches), LocalFromCam: sphere.Identity()}
	}
	place := map[int]int{}
	for k, i := range f.used {
		place[i] = k
	}
	total := 0.0
	for i, s := range f.index {
		ff := &r.Frames[s]
		ff.LocalFromCam = f.own.camFromLocal[i].Inv()
		for p := range 3 {
			for q := range 3 {
				ff.Cov[p][q] = f.own.cov.At(3*i+p, 3*i+q)
			}
		}
		if k, ok := place[i]; ok {
			ff.Used = true
			ff.Turn = sphere.Angle(j.m.turn[k]).Wrap()
			if k > 0 {
				ff.TurnErr = sphere.Angle(math.Sqrt(j.cov.At(4+k, 4+k)))
			}
			att := j.m.camFromLocal(k)
			ff.Misfit = f.own.camFromLocal[i].Mul(f.best.m.camFromLocal(k).Inv()).Angle()
			ff.LocalFromCam, ff.Cov = att.Inv(), j.frameCov(k)
		}
		ff.stars(&f.bundle, i)
		if ff.Used {
			r.Stars += ff.Stars
			r.Used += ff.Inliers
			total += float64(ff.Inliers) * ff.RMSPixels * ff.RMSPixels
		}
	}
	if r.Used > 0 {
		r.RMS = sphere.Angle(math.Sqrt(total/float64(r.Used)) / j.b.lens.F)
	}
}
