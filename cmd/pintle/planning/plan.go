package planning

import (
	"errors"
	"fmt"
	"io/fs"
	"os"

	"pintle/axis/plan"
	"pintle/cmd/pintle/advice"
	"pintle/index/sphere"
	"pintle/index/stars"
)

// Question asks where to point.
type Question struct {
	Home
	Camera    plan.Camera
	Frames    int          // that are to be taken
	MinAlt    sphere.Angle // nothing is photographed lower
	Turn      sphere.Angle // largest whole turn in RA
	Faintest  float64      // magnitude of the faintest stars that show
	BothSides bool         // the mount may cross the meridian as it is
	Blocked   plan.Skyline // what blocks the sky besides the file of the home
	Steady    Steadiness   // of the mount, where the camera's wobble is from there
}

// Plan is the answer.
type Plan struct {
	Question
	Sky         *plan.Sky
	Night       plan.Night
	Suggestions []plan.Suggestion // the best first; none where nothing fits
}

// most is how many places are suggested.
const most = 3

// Find answers a question. A time that nobody asked for moves to the next dark
// moment.
func Find(q Question) (*Plan, error) {
	skyline, err := Skyline(q.Blocks)
	if err != nil {
		return nil, err
	}
	if !q.Given {
		if err := q.waitForDark(); err != nil {
			return nil, err
		}
	}
	pl := &Plan{Question: q}
	if pl.Sky, err = q.sky(append(skyline, q.Blocked...)); err != nil {
		return nil, err
	}
	pl.Night = pl.Sky.Night(q.Camera)
	pl.Suggestions = pl.Night.Suggest(q.Camera, plan.Wish{Frames: q.Frames, MaxSpan: q.Turn, OneSide: !q.BothSides}, most)
	return pl, nil
}

// sky is what there is to photograph.
func (q *Question) sky(skyline plan.Skyline) (*plan.Sky, error) {
	p, err := q.Place(q.At)
	if err != nil {
		return nil, err
	}
	s, err := plan.At(p)
	if err != nil {
		return nil, err
	}
	if s.TooBright() {
		return nil, &Impossible{Kind: TooBright, Home: q.Home, Sun: s.SunAlt}
	}
	s.MinAlt, s.Skyline = q.MinAlt, skyline
	s.Stars = plan.CountStars(stars.Embedded(), q.Faintest, stars.JulianYear(q.At))
	return s, nil
}

// Skyline reads what blocks the sky; nothing without a file.
func Skyline(path string) (plan.Skyline, error) {
	if path == "" {
		return nil, nil
	}
	if st, err := os.Stat(path); err == nil && !st.Mode().IsRegular() { // opening a pipe would wait
		return nil, advice.With(fmt.Errorf("%s is no file", path), "a line for each stretch: first azimuth, last azimuth, lowest clear altitude")
	}
	f, err := os.Open(path)
	if err != nil {
		try := "give --blocks FILE"
		if errors.Is(err, fs.ErrNotExist) {
			try = "check the name; a line for each stretch: first azimuth, last azimuth, lowest clear altitude"
		}
		return nil, advice.With(err, try)
	}
	defer f.Close()
	s, err := plan.ParseSkyline(f)
	if err != nil {
		return nil, advice.With(fmt.Errorf("%s: %w", path, err), "a line for each stretch: first azimuth, last azimuth, lowest clear altitude, in degrees, such as 80 140 35")
	}
	return s, nil
}
