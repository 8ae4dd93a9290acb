package night

import (
	"fmt"
	"math"
	"time"

	"pintle/index/sphere"
)

// limit is a value, in the unit its name says, with its range.
type limit struct {
	name      string
	v, lo, hi float64
}

// check returns an error for the first value outside its range.
func check(list []limit) error {
	for _, l := range list {
		if !(l.v >= l.lo && l.v <= l.hi) {
			return fmt.Errorf("night: %s %g is outside %g to %g", l.name, l.v, l.lo, l.hi)
		}
	}
	return nil
}

// maxPixels of one picture.
const maxPixels = 200_000_000

// Check returns an error that names the first impossible value.
func (s *Spec) Check() error {
	c, k, u := &s.Camera, &s.Sky, &s.Setup
	turns := math.Inf(1)
	if u.Period > 0 || u.Worm == 0 {
		turns = 0
	}
	err := check([]limit{
		{"width", float64(c.W), 16, 30000},
		{"height", float64(c.H), 16, 30000},
		{"number of pixels", float64(c.W) * float64(c.H), 1, maxPixels},
		{"pixel in um", c.Pixel, 0.1, 1000},
		{"focal length in mm", c.Focal, 1, 50000},
		{"stated focal length in mm", c.Nominal, 0, 50000},
		{"aperture in mm", c.Aperture, 0.1, 5000},
		{"exposure in s", c.Exposure.Seconds(), 1e-6, 3600},
		{"star width in pixels", c.PSF.FWHM, 0.3, 50},
		{"law of the lens", float64(c.Law), 0, 1.5},
		{"K1", c.K1, -0.25, 0.5},
		{"K2", c.K2, -0.1, 0.5},
		{"slope of the distortion in the corner", 1 + 1.5*(3*c.K1+7.5*c.K2), 0.05, 10},
		{"column offset of the optical axis", c.OffX, -float64(c.W), float64(c.W)},
		{"row offset of the optical axis", c.OffY, -float64(c.H), float64(c.H)},
		{"vignetting", c.Vignette, 0, 1},
		{"sky brightness in magnitudes", k.Brightness, 0, 30},
		{"sky gradient", math.Hypot(k.DX, k.DY), 0, 4},
		{"extinction in magnitudes", k.Extinction, 0, 3},
		{"share of cloud", k.Cloud, 0, 0.99},
		{"skyline in degrees", k.Skyline.Degrees(), -90, 90},
		{"scatter", k.Scatter, 0, 100},
		{"altitude error in degrees", u.ErrAlt.Degrees(), -45, 45},
		{"azimuth error in degrees", u.ErrAz.Degrees(), -180, 180},
		{"lean of the base in degrees", u.Lean.Degrees(), 0, 30},
		{"direction of the lean in degrees", u.LeanAz.Degrees(), -360, 360},
		{"declination in degrees", u.Dec.Degrees(), -90, 90},
		{"cone error in degrees", u.Cone.Degrees(), -90, 90},
		{"roll in degrees", u.Roll.Degrees(), -360, 360},
		{"periodic error in arcsec", u.Worm.Arcseconds(), 0, 3600},
		{"period of the periodic error missing", turns, 0, 0},
		{"shake in arcsec", u.Shake.Arcseconds(), 0, 3600},
		{"sag in arcsec", u.Sag.Arcseconds(), -3600, 3600},
		{"number of frames", float64(len(s.Frames)), 1, 100000},
	})
	for i := 0; i < len(s.Frames) && err == nil; i++ {
		f := &s.Frames[i]
		if err = f.check(); err == nil {
			err = check([]limit{
				{"time in h", f.At.Hours(), -24, 48},
				{"RA turn during the exposure in degrees", f.Motion.Turn.Degrees(), -30, 30},
				{"declination move during the exposure in degrees", f.Motion.Dec.Degrees(), -30, 30},
				{"begin of the motion as a share of the exposure", f.Motion.From, 0, 0.99},
			})
		}
		if err != nil {
			err = fmt.Errorf("frame %d: %w", i+1, err)
		}
	}
	return err
}

func (p *Pose) check() error {
	return check([]limit{
		{"RA turn in degrees", p.Turn.Degrees(), -3600, 3600},
		{"altitude adjuster in degrees", p.Alt.Degrees(), -90, 90},
		{"azimuth adjuster in degrees", p.Az.Degrees(), -3600, 3600},
		{"declination move in degrees", p.Dec.Degrees(), -360, 360},
		{"camera move in degrees", p.Roll.Degrees(), -3600, 3600},
		{"tip of the base in degrees", p.Sink.Degrees(), 0, 90},
		{"direction of the tip in degrees", p.SinkAz.Degrees(), -360, 360},
	})
}

// julianYear returns t as a Julian year, the epoch of proper motion.
func julianYear(t time.Time) float64 {
	j2000 := time.Date(2000, 1, 1, 12, 0, 0, 0, time.UTC)
	return 2000 + t.Sub(j2000).Hours()/24/365.25
}

// sign is 1 in the north and -1 in the south.
func (s *Spec) sign() sphere.Angle {
	if s.Site.Lat < 0 {
		return -1
	}
	return 1
}
