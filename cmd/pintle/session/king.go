package session

import (
	"pintle/cmd/pintle/targets"
	"pintle/index/sphere"
)

// King is King's pole for one target: where refraction drives it least.
type King struct {
	Pole   sphere.Local
	Target targets.Target
	Above  sphere.Angle // the true pole
}

// settleKing finds King's pole for the night of the frames, when it is wanted and
// not yet known.
func (s *Setting) settleKing(t *Told, frames []*Frame) error {
	if t.King == nil || s.King != nil {
		return nil
	}
	for _, f := range frames {
		if f.Miss == nil {
			k, err := kingOf(t.King, s, f)
			s.King = k
			return err
		}
	}
	return nil
}

// kingOf is replaced below once plan is there.
func kingOf(*KingWish, *Setting, *Frame) (*King, error) { panic("later") }
