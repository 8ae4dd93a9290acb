package axis

import (
	"testing"
	"time"

	"gonum.org/v1/gonum/mat"

	"pintle/axis/place"
	"pintle/index/sphere"
)

// finished is a result that deserves no warning: three good frames high in the
// sky, 20 degrees of RA apart, an axis one degree from the pole of a site.
func finished(t *testing.T, lat sphere.Angle) (*fit, *Result) {
	t.Helper()
	p, err := place.At(time.Date(2026, 11, 25, 20, 0, 0, 0, time.UTC), place.Site{Lat: lat}, place.StandardAir(0))
	if err != nil {
		t.Fatal(err)
	}
	az, alt := p.RefractedPole().AzAlt()
	r := &Result{place: p, Axis: sphere.LocalAt(az, alt+sphere.Degree)}
	f := &fit{sightings: make([]Sighting, 3), used: []int{0, 1, 2}, own: attitudes{cov: mat.NewSymDense(9, nil)}}
	turnTo(f, 20*sphere.Degree)
	for range 3 {
		r.Frames = append(r.Frames, FrameFit{Kept: []bool{true}, Stars: 40, Inliers: 38, Floor: 0.1, LocalFromCam: lookUp(50 * sphere.Degree)})
	}
	return f, r
}

// lookUp is a camera that looks at an altitude.
func lookUp(alt sphere.Angle) sphere.Rot {
	return sphere.Turn(unitX, alt-90*sphere.Degree)
}

// turnTo spreads the frames over a whole turn in RA.
func turnTo(f *fit, whole sphere.Angle) {
	f.own.camFromLocal = nil
	for i := range 3 {
		f.own.camFromLocal = append(f.own.camFromLocal, sphere.Turn(unitZ, whole*sphere.Angle(i)/2))
	}
}

// Each warning comes from its limit on, and not before. The limits are common
// practice (no source): they are part of what users are told, so a change must be
// meant.
func TestWarningsFromTheirLimitsOn(t *testing.T) {
	const deg = sphere.Degree
	for _, c := range []struct {
		name  string
		lat   sphere.Angle
		kind  Kind
		set   func(f *fit, r *Result, far bool)
		count int
	}{
		{"low frame", 40 * deg, LowFrame, func(_ *fit, r *Result, far bool) {
			r.Frames[1].LocalFromCam = lookUp(pick(far, 14.5*deg, 15.5*deg))
		}, 0},
		{"small turn", -40 * deg, SmallTurn, func(f *fit, _ *Result, far bool) { turnTo(f, pick(far, 14.5*deg, 15.5*deg)) }, 0},
		{"axis far from the pole", -40 * deg, FarAxis, func(_ *fit, r *Result, far bool) {
			az, alt := r.place.RefractedPole().AzAlt()
			r.Axis = sphere.LocalAt(az, alt+pick(far, 10.1*deg, 9.9*deg))
		}, 0},
		{"few stars", 40 * deg, FewStars, func(_ *fit, r *Result, far bool) {
			r.Frames[2].Stars, r.Frames[2].Inliers = 8, pick(far, 7, 8)
		}, 7},
		{"rough stars", 40 * deg, RoughStars, func(_ *fit, r *Result, far bool) { r.Frames[0].Floor = pick(far, 0.72, 0.68) }, 2},
		{"many stars left out", 40 * deg, RoughStars, func(_ *fit, r *Result, far bool) { r.Frames[0].Inliers = pick(far, 27, 29) }, 13},
		{"two frames", 40 * deg, TwoFrames, func(f *fit, _ *Result, far bool) {
			if far {
				f.used = []int{0, 2}
			}
		}, 0},
	} {
		for _, far := range []bool{false, true} {
			f, r := finished(t, c.lat)
			c.set(f, r, far)
			f.look(r)
			if n := len(f.warnings); far && (n != 1 || f.warnings[0].Kind != c.kind || f.warnings[0].Count != c.count) || !far && n != 0 {
				t.Errorf("%s, beyond the limit %v: warnings %+v", c.name, far, f.warnings)
			}
		}
	}
	// A pole in the haze: by the error of refraction itself, 10 arcsec, which is
	// reached at 5.7 degrees (20 arcsec at 5 degrees falling with the fifth power
	// of tan z, see place.ModelErr).
	for _, lat := range []sphere.Angle{6.5 * deg, 5 * deg, -6.5 * deg, -5 * deg} {
		f, r := finished(t, lat)
		f.look(r)
		if want := lat.Abs() < 5.5*deg; (len(f.warnings) == 1 && f.warnings[0].Kind == LowPole) != want || !want && len(f.warnings) != 0 {
			t.Errorf("latitude %.1f: warnings %+v", lat.Degrees(), f.warnings)
		}
	}
}

func pick[T any](first bool, a, b T) T {
	if first {
		return a
	}
	return b
}
