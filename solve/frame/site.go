package frame

import (
	"fmt"

	"pintle/index/sphere"
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

// site returns where the frame was taken, nil when nothing is said, or why what
// is said is refused.
func site(what facts) (*Site, error) {
	s, err := headerSite(what.cards)
	if s == nil && err == nil {
		s, err = exifSite(what.exif)
	}
	if s == nil || err != nil {
		return nil, err
	}
	if s.Lat == 0 && s.Lon == 0 {
		return nil, fmt.Errorf("%s: latitude 0 and longitude 0 look like a place that was never set; give the site", s.Source)
	}
	if !(s.Elev >= lowestElev && s.Elev <= highestElev) {
		return nil, fmt.Errorf("%s: elevation %.6g m is outside %d to %d m; give the site", s.Source, s.Elev, lowestElev, highestElev)
	}
	return s, nil
}

func headerSite(c cards) (*Site, error) {
	for _, k := range siteKeys {
		lat, ok1 := c.str(k[0])
		lon, ok2 := c.str(k[1])
		if !ok1 || !ok2 {
			continue
		}
		s := &Site{Source: k[0] + ", " + k[1]}
		var err error
		if s.Lat, err = ParseLat(lat); err == nil {
			s.Lon, err = ParseLon(lon)
		}
		if err != nil {
			return nil, fmt.Errorf("%s: %w; give the site", s.Source, err)
		}
		for _, e := range elevKeys {
			if v, ok := c.num(e); ok {
				s.Elev = v
				s.Source += ", " + e
				return s, nil
			}
		}
		s.Source += ", elevation not stated and taken as 0 m"
		return s, nil
	}
	return nil, nil
}

func exifSite(x *exif) (*Site, error) {
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
	if x.gps.text(tagGPSLatRef) == "S" {
		s.Lat = -s.Lat
	}
	if x.gps.text(tagGPSLonRef) == "W" {
		s.Lon = -s.Lon
	}
	if err := checkLat(s.Lat); err != nil {
		return nil, fmt.Errorf("%s: %w; give the site", s.Source, err)
	}
	if err := checkLon(s.Lon); err != nil {
		return nil, fmt.Errorf("%s: %w; give the site", s.Source, err)
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

// degrees adds up degrees, minutes and seconds.
func degrees(v []float64) sphere.Angle {
	sum, unit := 0.0, 1.0
	for _, x := range v {
		sum += x * unit
		unit /= 60
	}
	return sphere.Angle(sum) * sphere.Degree
}
