package evening

import (
	"context"
	"errors"
	"fmt"
	"math"
	"slices"
	"strings"
	"time"

	"pintle/axis/place"
	"pintle/cmd/pintle/advice"
	"pintle/cmd/pintle/gear"
	"pintle/cmd/pintle/planning"
	"pintle/cmd/pintle/words"
	"pintle/index/sphere"
	"pintle/index/written"
	"pintle/solve/frame"
)

// Place is where the mount stands, and who says so.
type Place struct {
	Lat    float64 `json:"lat_deg"` // north positive
	Lon    float64 `json:"lon_deg"` // east positive
	Elev   float64 `json:"elev_m"`
	Name   string  `json:"name,omitempty"` // of the gear file's site
	Source string  `json:"source"`
	// Exact is latitude and longitude to the last bit, so that the answer is that
	// of the command line.
	Exact [2]sphere.Angle `json:"lat_lon_rad"`
}

// Site is the place as package place wants it.
func (p Place) Site() place.Site { return place.Site{Lat: p.Exact[0], Lon: p.Exact[1], Elev: p.Elev} }

func placeOf(s place.Site, source string) Place {
	return Place{Lat: s.Lat.Degrees(), Lon: s.Lon.Degrees(), Elev: s.Elev, Source: source, Exact: [2]sphere.Angle{s.Lat, s.Lon}}
}

// gearPlace is the site that the gear file calls name.
func gearPlace(name string, s gear.Site) Place {
	p := placeOf(s.Place(), "site "+name+" of the gear file")
	p.Name = name
	return p
}

// ReadPlace reads a latitude and a longitude that were typed together. What can be
// cut in two in more ways than one, and means other places then, is refused.
func ReadPlace(text string) (place.Site, error) {
	const try = "latitude, then longitude, such as 31°24'S 121°54'E or -31.4, 121.9"
	if strings.TrimSpace(text) == "" {
		return place.Site{}, advice.With(errors.New("the place is missing"), "type "+try)
	}
	var (
		first error
		found []place.Site
	)
	for _, cut := range cuts(text) {
		s, err := placeCut(text, cut)
		switch {
		case err != nil && first == nil:
			first = err
		case err == nil && !slices.Contains(found, s):
			found = append(found, s)
		}
	}
	switch {
	case len(found) == 1:
		return found[0], nil
	case len(found) > 1:
		a, b := found[0], found[1]
		return place.Site{}, advice.With(fmt.Errorf("%.40q can be read two ways: as %.4f, %.4f or as %.4f, %.4f",
			text, a.Lat.Degrees(), a.Lon.Degrees(), b.Lat.Degrees(), b.Lon.Degrees()), try)
	}
	if _, err := written.Latitude(strings.TrimSpace(text)); err == nil {
		first = fmt.Errorf("%.40q is a latitude, the longitude is missing", text)
	} else if first == nil {
		first = fmt.Errorf("%.40q is no latitude and longitude", text)
	}
	return place.Site{}, advice.With(first, try)
}

// placeCut reads a latitude before the cut and a longitude behind it.
func placeCut(text string, cut int) (s place.Site, err error) {
	if s.Lat, err = written.Latitude(text[:cut]); err != nil {
		return s, err
	}
	if s.Lon, err = written.Longitude(strings.TrimLeft(text[cut:], ", ;，；")); err != nil {
		return s, err
	}
	return s, s.Check()
}

// cuts are where a text may be cut in two: at semicolons, commas and blanks.
func cuts(text string) (out []int) {
	for _, sep := range []string{";", "；", ",", "，", " "} {
		for i := range text {
			if strings.HasPrefix(text[i:], sep) {
				out = append(out, i)
			}
		}
	}
	return out
}

// TypePlace sets the place that was typed, the elevation apart; "" is the sea's.
func (e *Evening) TypePlace(text, elev string) error {
	s, err := ReadPlace(text)
	if err != nil {
		return err
	}
	if strings.TrimSpace(elev) != "" {
		if s.Elev, err = written.Elevation.Parse(elev); err != nil {
			return advice.With(err, "metres above the sea, such as 430, or 1400ft")
		}
	}
	return e.setPlace(placeOf(s, "as typed"))
}

// KnownPlace sets the place that the gear file calls name.
func (e *Evening) KnownPlace(name string) error {
	g, err := gear.Load(e.c.Gear)
	if err != nil {
		return err
	}
	_, s, ok := gear.Pick(g.Gear.Sites, name, g.Gear.Default.Site)
	if !ok {
		return advice.With(fmt.Errorf("no site called %q in the gear file", name), words.Known(g.Gear.Names(gear.KindSite), "type the place, then keep it under a name"))
	}
	return e.setPlace(gearPlace(name, s))
}

// BrowserPlace sets the place that a browser states, degrees and metres.
func (e *Evening) BrowserPlace(lat, lon, elev float64) error {
	s := place.Site{Lat: sphere.Angle(lat) * sphere.Degree, Lon: sphere.Angle(lon) * sphere.Degree, Elev: math.Round(elev)}
	return e.setPlace(placeOf(s, "the browser's position"))
}

// PhotoPlace sets the place that a photograph's header states, such as that of a
// phone; the photograph at path is called name.
func (e *Evening) PhotoPlace(ctx context.Context, path, name string) error {
	f, err := frame.Read(ctx, path, frame.Options{})
	switch {
	case err != nil:
		return advice.With(fmt.Errorf("%s: %w", words.Short(name, 60), errors.Unwrap(err)), "a JPEG of a phone whose camera may note the place")
	case f.SiteErr != nil:
		return advice.With(f.SiteErr, "type the place instead")
	case f.Site == nil:
		return advice.With(fmt.Errorf("%s does not say where it was taken", words.Short(name, 60)), "allow the phone's camera to note the place, and photograph anew; or type the place")
	}
	return e.setPlace(placeOf(place.Site{Lat: f.Site.Lat, Lon: f.Site.Lon, Elev: f.Site.Elev}, "photograph "+words.Short(name, 60)))
}

// ForgetPlace takes the place back: the photographs say it then, or the gear file.
func (e *Evening) ForgetPlace() error {
	if err := e.still(); err != nil {
		return err
	}
	return e.change(func(k *kept) error { k.Place = nil; return nil }, e.renew)
}

// setPlace settles the place. A measurement from elsewhere begins anew.
func (e *Evening) setPlace(p Place) error {
	if err := p.Site().Check(); err != nil {
		return advice.With(err, "latitude from -90 to 90, longitude from -180 to 360, elevation in metres")
	}
	if err := e.still(); err != nil {
		return err
	}
	same := false
	return e.change(func(k *kept) error {
		same = k.Place != nil && k.Place.Site() == p.Site() && k.Place.Name == p.Name
		k.Place = &p
		if !same {
			for _, p := range k.Photographs { // what they show is of elsewhere
				p.Blocked = nil
			}
			k.fresh(e.c.Now())
		}
		return nil
	}, func() {
		if !same {
			e.renew()
		}
	})
}

// home is the place that is reckoned with: the one told, else where the session
// found that its photographs were taken, else the gear file's. ok is false when
// nobody says.
func (e *Evening) home() (p Place, ok bool) {
	var g gear.Gear
	if f, err := gear.Load(e.c.Gear); err == nil {
		g = f.Gear
	}
	return e.homeBy(g)
}

// homeBy is home by a gear file that was read.
func (e *Evening) homeBy(g gear.Gear) (p Place, ok bool) {
	e.mu.Lock()
	told, st := e.kept.Place, e.state
	e.mu.Unlock()
	if told != nil {
		return *told, true
	}
	if st.Setting.Settled {
		return placeOf(st.Setting.Site, words.SourceOf(st.Setting.SiteSource)), true
	}
	name, s, ok := gear.Pick(g.Sites, "", g.Default.Site)
	return gearPlace(name, s), ok
}

// here is home for what cannot do without it.
func (e *Evening) here() (Place, error) {
	p, ok := e.home()
	if !ok {
		return p, errNowhere()
	}
	return p, nil
}

func errNowhere() error {
	return advice.With(errors.New("nobody has said where the mount stands"), "say it on the first page, by day")
}

// when is the place and a moment, as package planning wants it; given says that the
// moment was asked for.
func (p Place) when(t time.Time, given bool) planning.Home {
	return planning.Home{Site: p.Site(), Name: p.Name, Air: place.StandardAir(p.Elev), Zone: t.Location(), At: t, Given: given}
}

// inWords puts an error of package planning into words for a page.
func inWords(err error) error {
	var no *planning.Impossible
	if errors.As(err, &no) {
		return advice.With(words.PlainError(err), "choose another time, another night or another target")
	}
	return err
}
