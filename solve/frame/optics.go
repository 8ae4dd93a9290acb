package frame

import (
	"fmt"
	"math"
	"strings"

	"pintle/index/sphere"
)

// Scales outside these are taken for mistakes in the header (no source, wide of
// any camera).
const (
	finest   = 0.001 * sphere.Arcsecond
	coarsest = 2 * sphere.Degree
)

// diagonal35 is the diagonal of the 24 x 36 mm frame that the "equivalent focal
// length" of EXIF refers to, in mm.
var diagonal35 = math.Hypot(24, 36)

// scale returns what the file says of the angle per pixel. It is a hint:
// keywords are filled in by hand, and a wrong one must only cost time.
func scale(what facts, w, h int) Optics {
	for _, o := range []Optics{statedScale(what.cards), focalScale(what.cards), exifScale(what.exif, w, h)} {
		if o.Scale >= finest && o.Scale <= coarsest {
			return o
		}
	}
	return Optics{}
}

// statedScale reads arcseconds per pixel.
func statedScale(c cards) Optics {
	v, k, ok := c.Positive("SCALE", "PIXSCALE", "SECPIX", "SECPIX1")
	if !ok {
		return Optics{}
	}
	return Optics{sphere.Angle(v) * sphere.Arcsecond, fmt.Sprintf("%s %.4g arcsec", k, v)}
}

// focalScale works from focal length (mm) and pixel size (micrometres). XPIXSZ
// and PIXSIZE are the size after binning, PIXSIZE1 before; writers differ.
func focalScale(c cards) Optics {
	f, _, ok := c.Positive("FOCALLEN", "FOCAL", "FOCLEN")
	if !ok {
		return Optics{}
	}
	size, k, ok := c.Positive("XPIXSZ", "PIXSIZE", "XPIXELSZ")
	if !ok {
		if size, k, ok = c.Positive("PIXSIZE1"); !ok {
			return Optics{}
		}
		if bin, _, ok := c.Positive("XBINNING"); ok && bin <= 16 {
			size *= bin
		}
	}
	return Optics{sphere.Angle(math.Atan(size * 1e-3 / f)), fmt.Sprintf("focal length %.4g mm, %s %.4g um", f, k, size)}
}

// exifScale works from the focal length and the pixels per length on the
// sensor, else from the equivalent focal length. Both refer to the full
// picture; a smaller one is taken as scaled down from it.
func exifScale(x *exif, w, h int) Optics {
	if w == 0 || h == 0 {
		return Optics{}
	}
	f, ok := x.num(tagFocalLength)
	res, ok2 := x.num(tagPlaneXRes)
	if ok && ok2 && f > 0 && res > 0 {
		unit := map[float64]float64{2: 25.4, 3: 10, 4: 1, 5: 1e-3}[exifUnit(x)]
		size := unit / res
		if full, ok := x.num(tagPixelWidth); ok && full > float64(w) {
			size *= full / float64(w)
		}
		if size > 0.0005 && size < 0.1 {
			return Optics{sphere.Angle(math.Atan(size / f)), fmt.Sprintf("EXIF focal length %.4g mm, pixel %.3g um", f, size*1e3)}
		}
	}
	if e, ok := x.num(tagFocal35); ok && e > 0 {
		size := diagonal35 / math.Hypot(float64(w), float64(h))
		return Optics{sphere.Angle(math.Atan(size / e)), fmt.Sprintf("EXIF focal length like %.4g mm on 24 x 36 mm", e)}
	}
	return Optics{}
}

func exifUnit(x *exif) float64 {
	if u, ok := x.num(tagPlaneUnit); ok {
		return u
	}
	return 2
}

// camera returns what a file calls its camera: INSTRUME of FITS headers (FITS standard
// 4.0, section 4.4.2.5), or maker and model of EXIF.
func camera(what facts) string {
	if name, ok := what.cards.Text("INSTRUME"); ok && strings.TrimSpace(name) != "" {
		return strings.TrimSpace(name)
	}
	return strings.TrimSpace(strings.TrimSpace(what.exif.text(tagMake)) + " " + strings.TrimSpace(what.exif.text(tagModel)))
}
