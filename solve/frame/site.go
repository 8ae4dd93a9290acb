package frame

import (
	"cmp"
	"fmt"
	"strings"

	"pintle/index/sphere"
	"pintle/index/written"
)

// Pairs of keywords for latitude and longitude, and keywords for the elevation
// in metres, in the order they are tried. OBSGEO-B, -L and -H are those of the
// FITS standard 4.0, section 8.4.1; the others are common practice.
var (
	siteKeys = [][2]string{
		{"SITELAT", "SITELONG"}, {"SITELAT", "SITELON"}, {"LAT-OBS", "LONG-OBS"}, {"LAT-OBS", "LON-OBS"},
		{"OBSLAT", "OBSLONG"}, {"OBSLAT", "OBSLON"}, {"OBS-LAT", "OBS-LONG"}, {"OBS-LAT", "OBS-LON"},
		{"OBSGEO-B", "OBSGEO-L"}, {"LATITUDE", "LONGITUD"}, {"GEOLAT", "GEOLONG"}, {"GEOLAT", "GEOLON"},
	}
	elevKeys = []string{"SITEELEV", "SITEALT", "ALT-OBS", "ELEV-OBS", "OBSELEV", "OBSALT", "OBS-ELEV", "OBS-ALT", "OBSGEO-H", "GEOELEV"}
)

// Elevations outside these are refused: no ground lies there, and the air is
// worked out from it.
const (
	lowestElev  = -500
	highestElev = 9000
)

// SiteError is a site that a file states but that cannot be, or that cannot be
// read: a doubt about the frame, which can still be solved.
type SiteError struct {
	Source string // the keywords, or EXIF GPS
	Stated string // as the file has it
	Reason string // what is wrong with it, with the limit
}

func (e *SiteError) Error() string {
	return fmt.Sprintf("%s: site stated but impossible: %s; give the site", e.Source, e.Reason)
}

// site returns where the frame was taken, nil when nothing is said, or why what
// is said is refused.
func site(what facts) (*Site, *SiteError) {
	s, err := headerSite(what.cards)
	if s == nil && err == nil {
		s, err = exifSite(what.exif)
	}
	if s == nil || err != nil {
		return nil, err
	}
	stated := fmt.Sprintf("%.6g, %.6g, %.6g m", s.Lat.Degrees(), s.Lon.Degrees(), s.Elev)
	if s.Lat == 0 && s.Lon == 0 {
		return nil, &SiteError{s.Source, stated, "latitude 0 and longitude 0 look like a place that was never set"}
	}
	if !(s.Elev >= lowestElev && s.Elev <= highestElev) {
		return nil, &SiteError{s.Source, stated, fmt.Sprintf("elevation %.6g m is outside %d to %d m", s.Elev, lowestElev, highestElev)}
	}
	return s, nil
}

func headerSite(c cards) (*Site, *SiteError) {
	for _, k := range siteKeys {
		lat, ok1 := c.Text(k[0])
		lon, ok2 := c.Text(k[1])
		if !ok1 || !ok2 {
			continue
		}
		s := &Site{Source: k[0] + ", " + k[1]}
		var err error
		if s.Lat, err = written.Latitude(lat); err == nil {
			s.Lon, err = written.Longitude(lon)
		}
		if err != nil {
			return nil, &SiteError{s.Source, lat + ", " + lon, err.Error()}
		}
		return s, headerElev(c, s)
	}
	return nil, nil
}

// headerElev fills in the elevation, 0 m when it is not stated. What is stated
// but is no length refuses the site: the air is worked out from it.
func headerElev(c cards, s *Site) *SiteError {
	for _, e := range elevKeys {
		text, ok := c.Text(e)
		if !ok || !strings.ContainsAny(text, "0123456789") {
			continue // 'N/A'
		}
		s.Source += ", " + e
		if v, ok := c.Number(e); ok {
			s.Elev = v
			return nil
		}
		v, err := written.Elevation.Parse(text)
		if err != nil {
			return &SiteError{s.Source, text, err.Error()}
		}
		s.Elev = v
		return nil
	}
	s.Source += ", elevation not stated and taken as 0 m"
	return nil
}

func exifSite(x *exif) (*Site, *SiteError) {
	if x == nil || x.gps == nil {
		return nil, nil
	}
	lat, lon := x.gps.nums(tagGPSLat, 3), x.gps.nums(tagGPSLon, 3)
	if len(lat) == 0 || len(lon) == 0 {
		return nil, nil
	}
	s := &Site{Source: "EXIF GPS"}
	s.Lat, s.Lon = degrees(lat), degrees(lon)
	if !(s.Lat.Abs() < sphere.Angle(100)) || !(s.Lon.Abs() < sphere.Angle(100)) {
		return nil, nil // zero denominators: no fix
	}
	latRef, lonRef := x.gps.text(tagGPSLatRef), x.gps.text(tagGPSLonRef)
	stated := fmt.Sprintf("%.6g %s, %.6g %s", s.Lat.Degrees(), latRef, s.Lon.Degrees(), lonRef)
	var err error
	if s.Lat, err = hemisphere("latitude", s.Lat, latRef, "north", "south"); err == nil {
		s.Lon, err = hemisphere("longitude", s.Lon, lonRef, "east", "west")
	}
	if err == nil {
		err = cmp.Or(written.CheckLatitude(s.Lat), written.CheckLongitude(s.Lon))
	}
	if err != nil {
		return nil, &SiteError{s.Source, stated, err.Error()}
	}
	s.Lon = s.Lon.Wrap()
	if v, ok := x.gps.num(tagGPSAlt); ok {
		s.Elev = v
		if x.gps.integer(tagGPSAltRef, 0) == 1 {
			s.Elev = -v
		}
	} else {
		s.Source += ", elevation not stated and taken as 0 m"
	}
	return s, nil
}

// hemisphere gives an angle, which the standard leaves without a sign, that of its
// reference: N, S, E or W (Exif 2.32, GPSLatitudeRef and GPSLongitudeRef), here also in lower case
// or as a word. A reference that is missing or says anything else is no north, and
// a sign and a reference may contradict each other: both are refused.
func hemisphere(what string, a sphere.Angle, ref, positive, negative string) (sphere.Angle, error) {
	is := func(word string) bool { return strings.EqualFold(ref, word) || strings.EqualFold(ref, word[:1]) }
	switch {
	case !is(positive) && !is(negative):
		return 0, fmt.Errorf("%s %.6g has the reference %.20q, which says neither %s nor %s", what, a.Degrees(), ref, positive, negative)
	case a < 0:
		return 0, fmt.Errorf("%s %.6g has both a sign and the reference %.20q", what, a.Degrees(), ref)
	case is(negative):
		return -a, nil
	}
	return a, nil
}

// degrees adds up degrees, minutes and seconds.
func degrees(v []float64) sphere.Angle {
	sum, unit := 0.0, 1.0
	for _, x := range v {
		sum += x * unit
		unit /= 60
	}
	return sphere.Angle(sum) * sphere.Degree
}
