package evening

import (
	"math"
	"os"
	"path/filepath"
	"testing"
	"time"

	"pintle/axis"
	"pintle/axis/place"
	"pintle/cmd/pintle/device/fake"
	"pintle/cmd/pintle/session"
	"pintle/index/sphere"
)

// upright is a site from which a camera that looks at ra, dec, its upper edge at the
// position angle pa, sees what is upright in its picture upright, its middle at an
// altitude; all in degrees, good to the precession since 2000.
func upright(t *testing.T, at time.Time, ra, dec, pa, alt float64) place.Site {
	t.Helper()
	greenwich, err := place.At(at, place.Site{}, place.StandardAir(0))
	if err != nil {
		t.Fatal(err)
	}
	sz, cz := math.Sincos((90 - alt) * math.Pi / 180)
	sd, cd := math.Sincos(dec * math.Pi / 180)
	sp, cp := math.Sincos(pa * math.Pi / 180)
	lst := deg(ra) + sphere.Angle(math.Atan2(sz*sp, cd*cz-sd*sz*cp))
	return place.Site{Lat: sphere.Angle(math.Asin(sd*cz + cd*sz*cp)), Lon: (lst - greenwich.SiderealTime()).Wrap()}
}

// Real photographs: what blocks the sky is found where it is, and of an open sky, of cloud
// and of the zenith nothing is said. Where site or time of one are not known, such are
// chosen that it stands upright at a chosen altitude.
func TestLearntFromRealPhotographs(t *testing.T) {
	folder := filepath.Join("..", "..", "..", "..", "shared", "frames")
	if _, err := os.Stat(folder); err != nil {
		t.Skip("the shared photographs are not here: ", err)
	}
	if testing.Short() {
		t.Skip("slow")
	}
	solver := fake.Solver()
	for _, c := range []struct {
		name         string
		at           string
		site         place.Site // when known
		ra, dec, pa  float64    // else: where it looks (README there), and the altitude chosen
		alt, blocked float64    // as measured on the picture by eye, 0 for an open sky
	}{
		{name: "fixcam_a1.png", at: "2023-09-08T06:17:20Z", site: place.Site{Lat: deg(21.2951), Lon: deg(-157.812)}}, // the zenith, vignetted
		{name: "fixcam_a1.png", at: "2023-09-08T06:17:20Z", ra: 280.56, dec: 21.38, pa: -13.07, alt: 30},
		{name: "tripod_cloud_1.jpg", at: "2015-10-14T00:28:32Z", site: place.Site{Lat: deg(43.13), Lon: deg(-70.93)}}, // cloud, a wire
		{name: "sensor16_1.png", at: "2023-09-07T12:15:00Z", ra: 248.22, dec: -25.61, pa: 112.73, alt: 30},
		{name: "sensor8_1.png", at: "2023-09-07T12:15:00Z", ra: 183.93, dec: -50.86, pa: 104.37, alt: 35},
		{name: "fisheye.jpg", at: "2020-12-11T20:09:15Z", site: place.Site{Lat: deg(78.15), Lon: deg(16.04)}}, // hills below 8 degrees
		// Mountains at the lower left, 25 to 80 pixels of 77.7" high; posts and a tree are
		// too thin.
		{name: "grey_trees.jpg", at: "2020-01-01T00:00:00Z", ra: 52.44, dec: 24.21, pa: -56.05, alt: 25, blocked: 15.6},
		{name: "grey_trees.jpg", at: "2020-01-01T00:00:00Z", ra: 52.44, dec: 24.21, pa: -56.05, alt: 40, blocked: 30.6},
	} {
		at, err := time.Parse(time.RFC3339, c.at)
		if err != nil {
			t.Fatal(err)
		}
		if c.alt != 0 {
			c.site = upright(t, at, c.ra, c.dec, c.pa, c.alt)
		}
		photos := &session.Photographs{Solver: solver, Now: time.Now}
		f, err := photos.Read(t.Context(), filepath.Join(folder, c.name))
		if err != nil {
			t.Fatal(err)
		}
		f.Miss = nil // it may state no time
		if err := photos.Recognise(t.Context(), f); err != nil || f.Solution == nil {
			t.Fatalf("%s: %v, %v", c.name, err, f.Miss)
		}
		p, err := place.At(at, c.site, place.StandardAir(0))
		if err != nil {
			t.Fatal(err)
		}
		f.Miss, f.Sighting = nil, &axis.Sighting{Place: p}
		got := learn(f)
		t.Logf("%s: %v", c.name, got)
		if c.blocked == 0 && len(got) > 0 || c.blocked > 0 && len(got) < 3 {
			t.Errorf("%s: learnt %v, by eye blocked up to %g degrees", c.name, got, c.blocked)
		}
		for _, s := range got {
			if math.Abs(s.Alt-c.blocked) > 1.5 {
				t.Errorf("%s: azimuth %g: learnt %g, by eye %g", c.name, s.From, s.Alt, c.blocked)
			}
		}
	}
}
