package main

import (
	"fmt"
	"math"
	"time"

	"pintle/index/sphere"
)

const textMoreUsage = "also print how the camera sits on the mount, where the last frame points, and how well the frames fit one rotation"

// showMore prints what --more asks for.
func (a *app) showMore(m *measurement) {
	if m.result == nil {
		return
	}
	p := m.result.Aim(m.fitFrames)
	ra, dec := p.ICRS.RADec()
	az, alt := p.Seen.AzAlt()
	fmt.Fprintf(a.out, "\n   pointing of %s, middle of the frame, to synchronise a mount with\n", m.fitFrames[p.Frame].Name)
	fmt.Fprintf(a.out, "     ICRS (J2000)  RA %s  Dec %s\n", hms(ra), dms(dec))
	fmt.Fprintf(a.out, "     of date       RA %s  Dec %s  (apparent place, no refraction)\n", hms(p.RA), dms(p.Dec))
	fmt.Fprintf(a.out, "     seen at       azimuth %.4f°  altitude %.4f°  at %s UTC\n", az.Degrees(), alt.Degrees(), p.Place.Time().UTC().Format("15:04:05"))
	fmt.Fprintf(a.out, "\n   camera on the mount\n")
	fmt.Fprintf(a.out, "     %.3f° from the axis: declination %+.3f° by a true circle, hour angle %+.3f°\n", p.FromAxis.Degrees(), p.MountDec.Degrees(), p.MountHA.Degrees())
	fmt.Fprintf(a.out, "     up in the frame is at %.2f° from the mount's north through east\n", p.Up.Degrees())
	fmt.Fprintf(a.out, "     by how much it is off square to the declination axis shows only when declination is turned\n")
	fmt.Fprintf(a.out, "\n   the frames about one rotation\n")
	for i := range m.result.Frames {
		f := &m.result.Frames[i]
		if !f.Used {
			fmt.Fprintf(a.out, "     %s  left out\n", f.Name)
			continue
		}
		fmt.Fprintf(a.out, "     %s  turn %+9.4f° ± %.2f\"  stars scatter by %.2f px, by %.2f px beyond their stated errors\n", f.Name, f.Turn.Degrees(), f.TurnErr.Arcseconds(), f.RMSPixels, f.Floor)
	}
	if len(m.fitFrames) == 2 {
		fmt.Fprintf(a.out, "     two frames fit any rotation: nothing to check\n")
	} else {
		fmt.Fprintf(a.out, "     frames scatter by about %.2f\" beyond what their stars explain; sum of squares %.1f, about %d when all is well\n", m.result.Tilt.Arcseconds(), m.result.Misfit, m.result.MisfitFree)
	}
	by := m.offset.By
	fmt.Fprintf(a.out, "     the error of %s is made of: stars %s, mount and air %s, refraction %s\n", errWords(m.offset.Err.Total), errWords(by.Stars.Total), errWords(by.Mount.Total), errWords(by.Refraction.Total))
}

// hms writes a right ascension in hours, minutes and seconds.
func hms(a sphere.Angle) string {
	n := int64(math.Round(a.Turn().Degrees()/15*36000)) % (24 * 36000) // tenths of a second
	return fmt.Sprintf("%02dh%02dm%02d.%ds", n/36000, n/600%60, n/10%60, n%10)
}

// dms writes a declination in degrees, minutes and seconds.
func dms(a sphere.Angle) string {
	sign := '+'
	if a < 0 {
		sign = '-'
	}
	n := int64(math.Round(a.Abs().Arcseconds()))
	return fmt.Sprintf("%c%02d°%02d'%02d\"", sign, n/3600, n/60%60, n%60)
}

func sunUpWords(name string, alt sphere.Angle) string {
	return fmt.Sprintf("by its time and site, frame %s was taken with the Sun %.0f deg high: the time, its zone, or the site is wrong; do not trust the answer", name, alt.Degrees())
}

func clockGapWords(a, b string, gap time.Duration) string {
	return fmt.Sprintf("frames %s and %s lie %.1f hours apart: are they of one measurement, or did the clock step?", a, b, gap.Hours())
}

func clockStoodWords(a, b string, turn sphere.Angle) string {
	return fmt.Sprintf("frames %s and %s have the same time, yet the mount turned by %.1f deg between them: the clock stood still, or the time is not the camera's", a, b, turn.Degrees())
}
