package axis

import (
	"encoding/json"
	"errors"
	"fmt"
	"math"
	"time"

	"gonum.org/v1/gonum/spatial/r3"

	"pintle/axis/place"
	"pintle/index/optics"
	"pintle/index/sphere"
)

// followerFormat is raised when old states can no longer be read.
const followerFormat = 1

// stored is a Follower as it goes to JSON. Angles are radians.
type stored struct {
	Format    int
	Pole      PoleKind
	Tolerance sphere.Angle
	Lens      optics.Lens
	W, H      int
	Site      place.Site
	Poles     [2]storedPole
	Sign      float64
	Flexure   float64
	First     float64
	Time      time.Time
	Calm      calm
	View      [3][3]float64
	Seen      Seen
	Branches  []storedBranch
}

type storedPole struct {
	Dir       r3.Vec
	Lift, Low float64
}

type storedBranch struct {
	Weight  float64
	Drive   Running
	Touched Touch
	Cam     r3.Vec // rotation vector of camFromLocal
	Axis    r3.Vec // in the camera's frame
	Mean    numbers
	Root    []float64 // lower triangle by rows
}

// MarshalJSON returns the whole state; Unmarshal restores it to the last bit.
func (f *Follower) MarshalJSON() ([]byte, error) {
	if len(f.branches) == 0 {
		return nil, errors.New("a follower that follows nothing cannot be stored")
	}
	s := stored{
		followerFormat, f.Pole, f.Tolerance, f.lens, f.w, f.h, f.site, [2]storedPole{},
		f.sign, f.flexure, f.first, f.time, f.calm, f.view, f.seen, nil,
	}
	for i, p := range f.poles {
		s.Poles[i] = storedPole{p.dir, p.lift, p.low}
	}
	for _, b := range f.branches {
		c := storedBranch{b.weight, b.drive, b.touched, b.turned, b.pose.axis, b.mean, nil}
		for i := range nKnown {
			c.Root = append(c.Root, b.root[i][:i+1]...)
		}
		s.Branches = append(s.Branches, c)
	}
	return json.Marshal(s)
}

// UnmarshalJSON restores a state. The error says that it is none, or one of
// another version of the program; the Follower is then unchanged.
func (f *Follower) UnmarshalJSON(data []byte) error {
	var s stored
	if err := json.Unmarshal(data, &s); err != nil {
		return fmt.Errorf("state of a follower: %w", err)
	}
	if s.Format != followerFormat {
		return fmt.Errorf("state of a follower has format %d, this program knows %d", s.Format, followerFormat)
	}
	if err := s.check(); err != nil {
		return fmt.Errorf("state of a follower: %w", err)
	}
	*f = Follower{
		Pole: s.Pole, Tolerance: s.Tolerance, lens: s.Lens, w: s.W, h: s.H,
		site: s.Site, sign: s.Sign, flexure: s.Flexure, first: s.First, time: s.Time, calm: s.Calm, view: s.View, seen: s.Seen,
	}
	for i, p := range s.Poles {
		f.poles[i] = skyPole{p.Dir, p.Lift, p.Low}
	}
	for _, c := range s.Branches {
		b := branch{belief: belief{pose: pose{sphere.TurnVec(c.Cam), c.Axis}, turned: c.Cam, mean: c.Mean}, weight: c.Weight, drive: c.Drive, touched: c.Touched}
		for i := range nKnown {
			copy(b.root[i][:], c.Root[i*(i+1)/2:][:i+1])
		}
		f.branches = append(f.branches, b)
	}
	return nil
}

func (s *stored) check() error {
	switch {
	case s.Pole != Refracted && s.Pole != True:
		return fmt.Errorf("pole %d is not known", s.Pole)
	case s.W < 1 || s.H < 1 || !(s.Lens.F > 0) || !(s.Lens.Half > 0):
		return errors.New("it has no camera")
	case math.Abs(s.Sign) != 1:
		return fmt.Errorf("sense of the sky's turn is %g, must be 1 or -1", s.Sign)
	case !(math.Abs(r3.Norm(s.Poles[0].Dir)-1) < 1e-9) || !(math.Abs(r3.Norm(s.Poles[1].Dir)-1) < 1e-9):
		return errors.New("it has no pole")
	case len(s.Branches) == 0 || len(s.Branches) > mostBranches:
		return fmt.Errorf("%d branches, must be 1 to %d", len(s.Branches), mostBranches)
	}
	for _, b := range s.Branches {
		switch {
		case len(b.Root) != nKnown*(nKnown+1)/2:
			return fmt.Errorf("%d numbers in a root, must be %d", len(b.Root), nKnown*(nKnown+1)/2)
		case !(b.Weight > 0 && b.Weight <= 1+1e-9):
			return fmt.Errorf("weight %g of a branch, must be above 0 and not above 1", b.Weight)
		case b.Drive != Tracking && b.Drive != Standing:
			return fmt.Errorf("drive %d of a branch is not known", b.Drive)
		}
	}
	return nil
}
