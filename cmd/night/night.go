package night

import (
	"fmt"
	"sync"
	"time"

	"gonum.org/v1/gonum/spatial/r3"

	"pintle/axis"
	"pintle/axis/place"
	"pintle/index/optics"
	"pintle/index/sphere"
)

// Night is a checked Spec, ready to be photographed. It is not changed by its
// methods and may be shared between goroutines.
type Night struct {
	spec  Spec
	chain chain
	lens  optics.Lens
	shots []shot
	spots func() []spot // of the sensor, found when first asked for
}

// New prepares a night. Errors say which value of the spec is impossible.
func New(s Spec) (*Night, error) {
	if err := s.Check(); err != nil {
		return nil, err
	}
	s.Frames = append([]Frame(nil), s.Frames...)
	p, err := place.At(s.Start, s.Site, s.Air)
	if err != nil {
		return nil, fmt.Errorf("night: %w", err)
	}
	n := &Night{spec: s, chain: newChain(&s, p.RefractedPole()), lens: s.Camera.lens()}
	n.spots = sync.OnceValue(func() []spot { return findSpots(&n.spec) })
	for i, f := range s.Frames {
		ran := time.Duration(0)
		if s.Setup.Tracking {
			ran = f.At
		}
		sh, err := n.shot(s.Start.Add(f.At), f.Pose, f.Motion, ran, s.Setup.Tracking)
		if err != nil {
			return nil, fmt.Errorf("frame %d: %w", i+1, err)
		}
		n.shots = append(n.shots, sh)
	}
	return n, nil
}

// Spec returns what the night was made from.
func (n *Night) Spec() Spec { return n.spec }

// Len returns the number of frames.
func (n *Night) Len() int { return len(n.shots) }

// Truth returns what is true of frame i, counted from 0.
func (n *Night) Truth(i int) Truth { return n.shots[i].truth() }

// shot is one exposure, with all that moves settled.
type shot struct {
	night    *Night
	start    time.Time
	pose     Pose
	motion   Motion
	ran      time.Duration // of the motor, at the start
	tracking bool
	shake    r3.Vec          // the frame's own turn, camera frame
	place    *place.Place    // at the middle
	ends     [2]*place.Place // at start and end
}

func (n *Night) shot(start time.Time, p Pose, m Motion, ran time.Duration, tracking bool) (shot, error) {
	s := shot{night: n, start: start.UTC(), pose: p, motion: m, ran: ran, tracking: tracking}
	s.shake = n.spec.Setup.shake(n.spec.Seed, s.start)
	long := n.spec.Camera.Exposure
	for i, p := range []**place.Place{&s.ends[0], &s.place, &s.ends[1]} {
		var err error
		if *p, err = n.at(s.start.Add(long * time.Duration(i) / 2)); err != nil {
			return s, err
		}
	}
	return s, nil
}

// at prepares the places of an instant.
func (n *Night) at(t time.Time) (*place.Place, error) {
	p, err := place.At(t, n.spec.Site, n.spec.Air)
	if err != nil {
		return nil, fmt.Errorf("night: %w", err)
	}
	return p, nil
}

// localFromCam returns the attitude at a time after the start.
func (s *shot) localFromCam(after time.Duration) sphere.Rot {
	ran := s.ran
	if s.tracking {
		ran += after
	}
	p, by := s.pose, s.motion.by(s.share(after))
	p.Turn += by * s.motion.Turn
	p.Dec += by * s.motion.Dec
	return s.night.chain.localFromCam(p, ran).Mul(sphere.TurnVec(s.shake))
}

// share is a time after the start as a share of the exposure.
func (s *shot) share(after time.Duration) float64 {
	return after.Seconds() / s.night.spec.Camera.Exposure.Seconds()
}

// Truth is what is true of one frame at the middle of its exposure, from the
// spec alone.
type Truth struct {
	Start, Mid time.Time
	Place      *place.Place
	Axis       sphere.Local // the end toward the elevated pole
	Pole       sphere.Local // refracted
	TruePole   sphere.Local // as it would be seen without air
	Offset     axis.Parts   // Axis minus Pole
	// LocalFromCam and Lens take pixels to refracted directions.
	LocalFromCam sphere.Rot
	Lens         optics.Lens
	Turn         sphere.Angle // of the RA axis, by hand and motor, see Pose.Turn
	Centre       sphere.Sky   // ICRS, of the middle of the frame
	Altitude     sphere.Angle // of the middle of the frame
	Up           sphere.Angle // position angle of decreasing row there, from north through east
}

func (s *shot) truth() Truth {
	n, c := s.night, &s.night.spec.Camera
	half := c.Exposure / 2
	ran := s.ran
	if s.tracking {
		ran += half
	}
	t := Truth{
		Start: s.start, Mid: s.start.Add(half), Place: s.place,
		Axis: n.chain.axis(s.pose), Pole: s.place.RefractedPole(), TruePole: s.place.TruePole(),
		LocalFromCam: s.localFromCam(half), Lens: n.lens,
		Turn: s.pose.Turn + s.motion.by(0.5)*s.motion.Turn + n.chain.driven(ran),
	}
	t.Offset = parts(t.Axis, t.Pole)
	x, y := float64(c.W-1)/2, float64(c.H-1)/2
	_, t.Altitude = t.Local(x, y).AzAlt()
	t.Centre = t.Sky(x, y)
	t.Up = t.Centre.Toward(t.Sky(x, y-1))
	return t
}

// parts returns axis minus pole.
func parts(a, pole sphere.Local) axis.Parts {
	az, alt := a.AzAlt()
	paz, palt := pole.AzAlt()
	knob := (az - paz).Wrap()
	return axis.Parts{Alt: alt - palt, AzKnob: knob, AzSky: knob * sphere.Angle(palt.Cos()), Total: a.Sep(pole)}
}

// Local returns the direction, from the site, of what falls on a pixel.
func (t *Truth) Local(x, y float64) sphere.Local {
	return sphere.LocalVec(t.LocalFromCam.Apply(t.Lens.Cam(x, y).Vec()))
}

// Sky returns the ICRS direction of what falls on a pixel.
func (t *Truth) Sky(x, y float64) sphere.Sky { return t.Place.Catalogue(t.Local(x, y)) }

// Pixel returns where a star falls, given its ICRS direction at the date; ok is
// false far outside the frame.
func (t *Truth) Pixel(s sphere.Sky) (x, y float64, ok bool) {
	return t.Lens.PixelVec(t.LocalFromCam.Inv().Apply(t.Place.Observed(s).Vec()))
}
