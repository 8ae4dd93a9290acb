package frame

import (
	"math"
	"strings"
	"testing"
)

func TestHeaderSite(t *testing.T) {
	for name, c := range map[string]struct {
		cards          []string
		lat, lon, elev float64
	}{
		"numbers":         {[]string{"SITELAT = -31.4", "SITELONG= 121.9", "SITEELEV= 430"}, -31.4, 121.9, 430},
		"sexagesimal":     {[]string{"SITELAT = '-31 24 00'", "SITELONG= '121:54:00 E'", "SITEELEV= '430.5'"}, -31.4, 121.9, 430.5},
		"other names":     {[]string{"LAT-OBS = 19.54", "LONG-OBS= -155.58", "ELEV-OBS= 3400."}, 19.54, -155.58, 3400},
		"OBSGEO":          {[]string{"OBSGEO-B= -44.9", "OBSGEO-L= 169.2", "OBSGEO-H= 350"}, -44.9, 169.2, 350},
		"east to 360":     {[]string{"OBSLAT  = 19.54", "OBSLONG = 204.42", "OBSALT  = 10"}, 19.54, -155.58, 10},
		"no height":       {[]string{"SITELAT = 51.2", "SITELONG= 6.4"}, 51.2, 6.4, 0},
		"as people write": {[]string{"SITELAT = '31d24mS'", "SITELONG= '121d54m E'", "SITEELEV= '1400 ft'"}, -31.4, 121.9, 426.72},
	} {
		fr := headerFrame(t, "x", Options{}, c.cards...)
		if fr.Site == nil {
			t.Errorf("%s: no site (%v)", name, fr.SiteErr)
			continue
		}
		s := fr.Site
		if math.Abs(s.Lat.Degrees()-c.lat) > 1e-9 || math.Abs(s.Lon.Degrees()-c.lon) > 1e-9 || s.Elev != c.elev || s.Source == "" {
			t.Errorf("%s: %+v, want %v", name, *s, c)
		}
	}
	for _, cards := range [][]string{nil, {"SITELAT = 51.2"}, {"SITELONG= 51.2"}, {"SITELAT = ''", "SITELONG= ''"}} {
		if fr := headerFrame(t, "x", Options{}, cards...); fr.Site != nil || fr.SiteErr != nil {
			t.Errorf("%q: site %v, %v", cards, fr.Site, fr.SiteErr)
		}
	}
}

func TestRefusedSites(t *testing.T) {
	for words, cards := range map[string][]string{
		"outside -90 to 90":  {"SITELAT = 91", "SITELONG= 6"},
		"-180 to 360":        {"SITELAT = 51", "SITELONG= -200"},
		"elevation":          {"SITELAT = 51", "SITELONG= 6", "SITEELEV= 12000"},
		"is no angle":        {"SITELAT = 'home'", "SITELONG= 6"},
		"two ways":           {"SITELAT = '31 24 10 s'", "SITELONG= '6 E'"},
		"outside -90":        {"SITELAT = 95", "SITELONG= 6"},
		"no unit of it":      {"SITELAT = 51", "SITELONG= 6", "SITEELEV= '300 yd'"},
		"never set":          {"SITELAT = 0", "SITELONG= 0"},
		"60 or more":         {"SITELAT = '51 72 00'", "SITELONG= 6"},
		"names north":        {"SITELAT = '51 N'", "SITELONG= '6 N'"},
		"-500 to 9000":       {"SITELAT = 51", "SITELONG= 6", "SITEELEV= -600"},
		"longitude swapped?": {"SITELAT = '6 E'", "SITELONG= '51 N'"},
	} {
		fr := headerFrame(t, "x", Options{}, cards...)
		if fr.Site != nil || fr.SiteErr == nil || !strings.Contains(fr.SiteErr.Error(), "stated but impossible") || !strings.Contains(fr.SiteErr.Reason, words) || fr.SiteErr.Stated == "" || !hasNote(fr, words) {
			t.Errorf("%q: site %v, error %v, want %q", cards, fr.Site, fr.SiteErr, words)
		}
	}
}

func TestGPS(t *testing.T) {
	gps := func() *tiffDir {
		return newTIFF(true).text(tagGPSLatRef, "S").rational(tagGPSLat, 31, 1, 24, 1, 0, 1).
			text(tagGPSLonRef, "W").rational(tagGPSLon, 70, 1, 5558, 100, 0, 1).rational(tagGPSAlt, 4305, 10).raw(tagGPSAltRef, 0)
	}
	fr := exifFrame(t, "x", Options{}, newTIFF(true).add(tagGPSIFD, gps()))
	if s := fr.Site; s == nil || math.Abs(s.Lat.Degrees()+31.4) > 1e-9 || math.Abs(s.Lon.Degrees()+70.92633333) > 1e-7 || s.Elev != 430.5 {
		t.Errorf("site %+v, want -31.4, -70.92633, 430.5", fr.Site)
	}
	fr = exifFrame(t, "x", Options{}, newTIFF(true).add(tagGPSIFD, gps().raw(tagGPSAltRef, 1)))
	if fr.Site == nil || fr.Site.Elev != -430.5 {
		t.Errorf("site %+v, want 430.5 m below the sea", fr.Site)
	}
	fr = exifFrame(t, "x", Options{}, newTIFF(true).add(tagGPSIFD, gps().rational(tagGPSLat, 0, 0, 0, 0, 0, 0)))
	if fr.Site != nil || fr.SiteErr != nil {
		t.Errorf("no fix: site %v, %v", fr.Site, fr.SiteErr)
	}
	fr = exifFrame(t, "x", Options{}, newTIFF(true).add(tagGPSIFD, gps().rational(tagGPSLat, 95, 1, 0, 1, 0, 1)))
	if fr.Site != nil || fr.SiteErr == nil {
		t.Errorf("latitude 95: site %v, %v", fr.Site, fr.SiteErr)
	}
}

// TestGPSReferences: the hemisphere of EXIF is a field of its own, and what it does
// not say is not north. Spellings beside N, S, E and W from memory.
func TestGPSReferences(t *testing.T) {
	at := func(lat, lon string, degrees int) *Frame {
		g := newTIFF(true).rational(tagGPSLat, degrees, 1, 24, 1, 0, 1).rational(tagGPSLon, 121, 1, 54, 1, 0, 1)
		if lat != "none" {
			g.text(tagGPSLatRef, lat)
		}
		if lon != "none" {
			g.text(tagGPSLonRef, lon)
		}
		return exifFrame(t, "x", Options{}, newTIFF(true).add(tagGPSIFD, g))
	}
	for _, c := range []struct {
		lat, lon    string
		north, east float64
	}{{"S", "E", -31.4, 121.9}, {"s", "e", -31.4, 121.9}, {"South", "West", -31.4, -121.9}, {"SOUTH", "w", -31.4, -121.9}, {"S ", " W", -31.4, -121.9}, {"n", "EAST", 31.4, 121.9}} {
		fr := at(c.lat, c.lon, 31)
		if s := fr.Site; s == nil || math.Abs(s.Lat.Degrees()-c.north) > 1e-9 || math.Abs(s.Lon.Degrees()-c.east) > 1e-9 {
			t.Errorf("%q, %q: site %+v, error %v, want %g, %g", c.lat, c.lon, s, fr.SiteErr, c.north, c.east)
		}
	}
	for _, c := range [][2]string{{"none", "E"}, {"", "E"}, {"-", "E"}, {"E", "E"}, {"NS", "E"}, {"5", "E"}, {"?", "E"}, {"S", "none"}, {"S", "S"}, {"S", "0"}} {
		fr := at(c[0], c[1], 31)
		if fr.Site != nil || fr.SiteErr == nil || !strings.Contains(fr.SiteErr.Reason, "says neither") || !hasNote(fr, "says neither") {
			t.Errorf("references %q: site %+v, error %v", c, fr.Site, fr.SiteErr)
		}
	}
	signed := newTIFF(true).text(tagGPSLatRef, "S").put(tagGPSLat, tSRational, 1, []byte{0xff, 0xff, 0xff, 0xe1, 0, 0, 0, 1}).
		text(tagGPSLonRef, "E").rational(tagGPSLon, 121, 1)
	fr := exifFrame(t, "x", Options{}, newTIFF(true).add(tagGPSIFD, signed))
	if fr.Site != nil || fr.SiteErr == nil || !strings.Contains(fr.SiteErr.Reason, "-31 has both a sign and the reference") {
		t.Errorf("-31 with the reference S: site %+v, error %v", fr.Site, fr.SiteErr)
	}
}

func TestScale(t *testing.T) {
	near := func(name string, o Optics, want float64) {
		t.Helper()
		if got := o.Scale.Arcseconds(); math.Abs(got-want) > 1e-4*want {
			t.Errorf("%s: %.5g arcsec (%s), want %.5g", name, got, o.Source, want)
		}
	}
	near("focal length", headerFrame(t, "x", Options{}, "FOCALLEN= 130", "XPIXSZ  = 3.75").Optics, 5.95)
	near("binned", headerFrame(t, "x", Options{}, "FOCALLEN= 130", "XPIXSZ  = 7.5", "XBINNING= 2").Optics, 11.90)
	near("unbinned size", headerFrame(t, "x", Options{}, "FOCALLEN= 130", "PIXSIZE1= 3.75", "XBINNING= 2").Optics, 11.90)
	near("stated", headerFrame(t, "x", Options{}, "FOCALLEN= 130", "XPIXSZ  = 3.75", "SCALE   = 6.2").Optics, 6.2)
	near("absurd", headerFrame(t, "x", Options{}, "FOCALLEN= 130", "XPIXSZ  = 3.75", "SCALE   = 1e9").Optics, 5.95)
	for _, cards := range [][]string{{"FOCALLEN= 0", "XPIXSZ  = 3.75"}, {"FOCALLEN= -5", "XPIXSZ  = 3.75"}, {"FOCALLEN= 100"}, {"XPIXSZ  = 3"}} {
		if o := headerFrame(t, "x", Options{}, cards...).Optics; o.Scale != 0 {
			t.Errorf("%q gave %v", cards, o)
		}
	}
	// The picture of exifFrame is 60 x 40. Pixels of 5 um at 50 mm: 20.63 arcsec.
	photo := func() *tiffDir { return newTIFF(true).rational(tagFocalLength, 50, 1) }
	near("plane resolution", exifFrame(t, "x", Options{}, newTIFF(true).add(tagExifIFD,
		photo().rational(tagPlaneXRes, 2000, 1).short(tagPlaneUnit, 3))).Optics, 20.6265)
	near("scaled down", exifFrame(t, "x", Options{}, newTIFF(true).add(tagExifIFD,
		photo().rational(tagPlaneXRes, 2000, 1).short(tagPlaneUnit, 3).long(tagPixelWidth, 240))).Optics, 82.506)
	// 43.267 mm over 72.11 pixels at 75 mm.
	near("equivalent", exifFrame(t, "x", Options{}, newTIFF(true).add(tagExifIFD, photo().short(tagFocal35, 75))).Optics, 1650.1)
	if o := exifFrame(t, "x", Options{}, newTIFF(true).add(tagExifIFD, photo())).Optics; o.Scale != 0 {
		t.Errorf("a focal length alone gave %v", o)
	}
}
