// Package axis finds the rotation axis of a mount from photographs taken while
// it was turned about that axis, and says what its adjusters must do.
//
// Each photograph arrives as a Sighting: stars matched with their catalogue
// places. Fit takes all sightings to one axis in one least-squares fit; Result
// says where the axis is, how well that is known and what looks wrong.
package axis

import (
	"fmt"
	"math"
	"time"

	"gonum.org/v1/gonum/spatial/r3"

	"pintle/axis/place"
	"pintle/index/optics"
	"pintle/index/sphere"
)

// Match is a star found in a photograph and known in the catalogue.
type Match struct {
	X, Y   float64      // pixel, from the centre of the first pixel of the first row
	Err    float64      // standard error of X and of Y, pixels
	Sky    sphere.Sky   // ICRS direction, proper motion applied up to the date
	CatErr sphere.Angle // standard error of that direction per coordinate
}

// Sighting is one solved photograph.
type Sighting struct {
	Name    string
	Key     string    // by which the caller finds it again; only carried along
	Time    time.Time // middle of the exposure; only carried along, Place is what counts
	Place   *place.Place
	W, H    int // pixels
	Matches []Match
	// Lens and SkyFromCam are where the fit starts. Lens.Mirrored is taken as it
	// is; the rest is fitted again.
	Lens       optics.Lens
	SkyFromCam sphere.Rot
}

// fewest matched stars a frame needs: two give a direction and a field
// orientation (geometry: no choice).
const fewest = 2

// check returns an error when the sighting holds something a fit could not
// survive: these are faults of the caller, not of the night.
func (s *Sighting) check() error {
	bad := func(format string, a ...any) error {
		return fmt.Errorf("frame %s: "+format, append([]any{s.Name}, a...)...)
	}
	l := s.Lens
	switch {
	case s.Place == nil:
		return bad("no place; time and site are needed")
	case s.W < 1 || s.H < 1:
		return bad("%d x %d pixels", s.W, s.H)
	case !(l.F > 0 && l.Half > 0) || !finite(l.F, l.Half, l.CX, l.CY, l.K1, l.K2):
		return bad("lens %+v: focal length and half-diagonal must be positive, the rest finite", l)
	case !l.Law.Valid():
		return bad("lens law %g, must be 0 to 1.5", float64(l.Law))
	}
	for i, m := range s.Matches {
		switch {
		case !finite(m.X, m.Y):
			return bad("match %d: pixel %g, %g", i, m.X, m.Y)
		case !finite(m.Err) || m.Err <= 0:
			return bad("match %d: position error %g px, must be above 0", i, m.Err)
		case !finite(float64(m.CatErr)) || m.CatErr < 0:
			return bad("match %d: catalogue error %g arcsec, must not be below 0", i, m.CatErr.Arcseconds())
		case !(math.Abs(r3.Norm(m.Sky.Vec())-1) < 1e-6):
			return bad("match %d: no catalogue direction", i)
		}
	}
	return nil
}

// checkTogether returns an error when the sightings cannot come from one camera
// at one site.
func checkTogether(ss []Sighting) error {
	for i := range ss {
		if err := ss[i].check(); err != nil {
			return err
		}
		a, b := &ss[0], &ss[i]
		as, bs := a.Place.Site(), b.Place.Site()
		switch {
		case a.W != b.W || a.H != b.H:
			return fmt.Errorf("frame %s has %d x %d pixels, frame %s %d x %d: one camera and one binning is needed", a.Name, a.W, a.H, b.Name, b.W, b.H)
		case a.Lens.Mirrored != b.Lens.Mirrored:
			return fmt.Errorf("only one of frames %s and %s is mirrored: the camera must stay as it is between frames", a.Name, b.Name)
		case math.Abs(a.Lens.F/b.Lens.F-1) > 0.05:
			return fmt.Errorf("frames %s and %s differ by %.0f %% in scale: one camera and one lens setting is needed", a.Name, b.Name, 100*math.Abs(a.Lens.F/b.Lens.F-1))
		case i > 0 && samePhotograph(ss[:i], b) != "":
			return fmt.Errorf("frames %s and %s hold the same stars on the same pixels: give each photograph once", samePhotograph(ss[:i], b), b.Name)
		case as.Lat != bs.Lat || as.Lon != bs.Lon:
			return fmt.Errorf("frames %s and %s come from different sites: (%v, %v) and (%v, %v)", a.Name, b.Name, as.Lat, as.Lon, bs.Lat, bs.Lon)
		}
	}
	return nil
}

// samePhotograph returns the name of the sighting among ss whose stars stand on
// the very pixels of s; two photographs never agree so, for their noise differs.
func samePhotograph(ss []Sighting, s *Sighting) string {
	for i := range ss {
		m := ss[i].Matches
		if len(m) != len(s.Matches) || len(m) == 0 {
			continue
		}
		same := true
		for j := 0; same && j < len(m); j++ {
			same = m[j].X == s.Matches[j].X && m[j].Y == s.Matches[j].Y
		}
		if same {
			return ss[i].Name
		}
	}
	return ""
}

func finite(xs ...float64) bool {
	for _, x := range xs {
		if math.IsNaN(x) || math.IsInf(x, 0) {
			return false
		}
	}
	return true
}
