package fake

import (
	"context"
	"math"
	"os"
	"path/filepath"
	"sync"
	"time"

	"pintle/axis"
	"pintle/axis/place"
	"pintle/cmd/pintle/device"
	"pintle/index"
	"pintle/index/stars"
	"pintle/solve"
	"pintle/solve/detect"
	"pintle/solve/frame"
)

// Solver returns the one that uses the star index of the user's cache folder, as the
// program does.
var Solver = sync.OnceValue(func() *solve.Solver {
	cache, err := os.UserCacheDir()
	if err != nil {
		cache = os.TempDir()
	}
	return &solve.Solver{Library: &index.Library{Dir: filepath.Join(cache, "pintle", "index"), List: stars.Embedded(), Now: time.Now}}
})

// Recognise solves a photograph, as the program does between two turns.
func Recognise(path string, site place.Site, air place.Air) (s axis.Sighting, p device.Pointing, err error) {
	f, err := frame.Read(context.Background(), path, frame.Options{})
	if err != nil {
		return s, p, err
	}
	field, err := detect.Find(&f.Image, detect.Options{})
	if err != nil {
		return s, p, err
	}
	sol, err := Solver().Solve(context.Background(), field, solve.Options{Epoch: stars.JulianYear(f.Time.Mid), Build: true, Hint: solve.Hint{Scale: f.Optics.Scale}})
	if err != nil {
		return s, p, err
	}
	pl, err := place.At(f.Time.Mid, site, air)
	if err != nil {
		return s, p, err
	}
	s = axis.Sighting{Name: filepath.Base(path), Time: f.Time.Mid, Place: pl, W: field.W, H: field.H, Lens: sol.Lens, SkyFromCam: sol.CamFromSky.Inv()}
	for _, m := range sol.Matches {
		d := field.Stars[m.Detected]
		s.Matches = append(s.Matches, axis.Match{X: d.X, Y: d.Y, Err: math.Hypot(d.ErrX, d.ErrY) / math.Sqrt2, Sky: m.Star.Pos, CatErr: m.Star.Err})
	}
	return s, device.Pointing{Sky: sol.Centre(), At: f.Time.Mid, Site: site, Air: air}, nil
}
