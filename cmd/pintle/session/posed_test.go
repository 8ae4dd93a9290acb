package session

import (
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"math"
	"os"
	"path/filepath"
	"testing"
	"time"

	"pintle/cmd/night/posed"
	"pintle/index/stars"
	"pintle/solve"
	"pintle/solve/detect"
	"pintle/solve/frame"
)

// posedCamera is a Camera of poses in files.
type posedCamera struct{ *posed.Camera }

func newPosed(t testing.TB) posedCamera { return posedCamera{posed.New(t)} }

func (e posedCamera) Read(_ context.Context, path string) (*Frame, error) {
	f := &Frame{Path: path, Name: filepath.Base(path)}
	b, err := os.ReadFile(path)
	if err != nil {
		f.miss(Miss{Kind: Unreadable, Err: err})
		return f, nil
	}
	var p posed.Pose
	if err := json.Unmarshal(b, &p); err != nil {
		f.miss(Miss{Kind: Unreadable, Err: fmt.Errorf("%w: %w", ErrNotWhole, err)})
		return f, nil
	}
	spec := e.Night.Spec()
	t, err := e.Truth(p)
	if err != nil {
		return nil, err
	}
	f.Field = &detect.Field{W: spec.Camera.W, H: spec.Camera.H}
	f.Read = &frame.Frame{Name: f.Name, Format: "posed", Hash: uint64(p.At*1000) + 1, Time: frame.Time{Mid: t.Mid.Add(time.Duration(p.Clock * float64(time.Second))), Source: "the pose"},
		Site: &frame.Site{Lat: spec.Site.Lat, Lon: spec.Site.Lon, Elev: spec.Site.Elev, Source: "the pose"}}
	if p.Zone != 0 {
		ahead := time.Duration(p.Zone * float64(time.Hour))
		f.Read.Time.Zone = &ahead
	}
	if p.Homeless {
		f.Read.Site = nil
	}
	if p.Elsewhere {
		f.Read.Site.Lat *= -1
	}
	f.Read.Optics.Source = string(b)
	return f, nil
}

func (e posedCamera) Recognise(_ context.Context, f *Frame) error {
	var p posed.Pose
	if err := json.Unmarshal([]byte(f.Read.Optics.Source), &p); err != nil {
		return err
	}
	if p.Lost {
		f.miss(Miss{Kind: Unsolved, Err: errors.New("cloud")})
		return nil
	}
	s, err := e.Sighting(p)
	if err != nil {
		return err
	}
	f.Solution = &solve.Solution{Lens: s.Lens, CamFromSky: s.SkyFromCam.Inv(), W: s.W, H: s.H}
	f.Field.FWHM, f.Field.Elongation, f.Field.Found = 3, 1, len(s.Matches)
	for i, m := range s.Matches {
		v := 7 + 0.05*float64(i)
		f.Field.Stars = append(f.Field.Stars, detect.Star{X: m.X, Y: m.Y, ErrX: m.Err, ErrY: m.Err, Flux: math.Pow(10, -0.4*(v+p.Fade-20))})
		f.Solution.Matches = append(f.Solution.Matches, solve.Match{Detected: i, Star: stars.Star{Pos: m.Sky, Err: m.CatErr, V: float32(v)}})
	}
	return nil
}
