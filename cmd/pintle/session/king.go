package session

import (
	"pintle/axis/drive"
	"pintle/axis/place"
	"pintle/axis/plan"
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
		if f.Miss != nil {
			continue
		}
		p, err := place.At(f.Time(), s.Site, s.Air)
		if err != nil {
			return &Unsettled{Kind: KingFails, Err: err}
		}
		s.King, err = t.King.at(p)
		return err
	}
	return nil
}

// at is King's pole for the night of a place and time.
func (w *KingWish) at(p *place.Place) (*King, error) {
	best, up, err := plan.Evening{Site: p.Site(), Air: p.Air(), At: p.Time()}.Longest(w.Target.Pos, w.MinAlt)
	switch {
	case err != nil:
		return nil, &Unsettled{Kind: KingFails, Err: err}
	case !up:
		return nil, &Unsettled{Kind: NeverUp, Name: w.Target.Title(), Limit: w.MinAlt.Degrees()}
	}
	above, err := drive.KingAt(p).PoleFor(best.Window)
	if err != nil {
		return nil, &Unsettled{Kind: KingFails, Err: err}
	}
	az, alt := p.TruePole().AzAlt()
	return &King{sphere.LocalAt(az, alt+above), w.Target, above}, nil
}
