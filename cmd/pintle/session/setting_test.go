package session

import (
	"testing"
	"time"

	"pintle/axis"
	"pintle/axis/place"
	"pintle/index/sphere"
	"pintle/solve/frame"
)

// The pole that is watched is the one that was asked for, on the same side of the sky
// as the site.
func TestPoleAt(t *testing.T) {
	for _, lat := range []sphere.Angle{-31.4, 31.4} {
		site := place.Site{Lat: lat * sphere.Degree, Lon: 121.9 * sphere.Degree}
		p, err := place.At(time.Date(2026, 11, 27, 15, 0, 0, 0, time.UTC), site, place.StandardAir(0))
		if err != nil {
			t.Fatal(err)
		}
		king := sphere.LocalAt(sphere.Degree, 40*sphere.Degree)
		for name, c := range map[string]struct {
			setting Setting
			want    sphere.Local
		}{
			"refracted": {Setting{Site: site}, p.RefractedPole()},
			"true":      {Setting{Site: site, Pole: axis.True}, p.TruePole()},
			"King's":    {Setting{Site: site, Pole: axis.True, King: &King{Pole: king}}, king},
		} {
			if got := c.setting.PoleAt(p); got.Sep(c.want) > sphere.Arcsecond/100 {
				t.Errorf("latitude %v, %s: %v from the pole asked for", lat, name, got.Sep(c.want))
			}
		}
		// Of the poles of a site the refracted one is the higher by about a minute and
		// a half (refraction at 31 degrees altitude), and azimuth tells the hemisphere.
		az, alt := (&Setting{Site: site}).PoleAt(p).AzAlt()
		south := (az - 180*sphere.Degree).Wrap().Abs() < sphere.Degree
		if south != (lat < 0) || alt-31.4*sphere.Degree < sphere.Arcminute || alt-31.4*sphere.Degree > 2*sphere.Arcminute {
			t.Errorf("latitude %v: pole at %v, %v", lat, az, alt)
		}
	}
}

// Of the frames that take part, the first whose time was guessed is named, once.
func TestGuessedTimesAreNamed(t *testing.T) {
	at := func(name string, doubtful bool, miss *Miss) *Frame {
		return &Frame{Name: name, Miss: miss, Sighting: &axis.Sighting{}, Read: &frame.Frame{Time: frame.Time{Source: "time of the file", Doubtful: doubtful}}}
	}
	lost := &Miss{Kind: Unreadable}
	s := Setting{}
	for want, frames := range map[string][]*Frame{
		"":  {at("a", false, nil), at("b", true, lost), at("c", false, nil)},
		"b": {at("a", false, nil), at("b", true, nil), at("c", true, nil)},
		"a": {at("a", true, nil), at("b", false, nil)},
	} {
		var named []string
		for _, n := range s.timeDoubts(frames) {
			if n.Kind == TimeGuessed && n.Text == "time of the file" {
				named = append(named, n.Frame)
			}
		}
		if want == "" && len(named) > 0 || want != "" && (len(named) != 1 || named[0] != want) {
			t.Errorf("named %q, want %q", named, want)
		}
	}
}
