package words

import (
	"cmp"
	"fmt"
	"math"
	"strings"

	"pintle/axis/unrest"
	"pintle/cmd/pintle/advice"
	"pintle/cmd/pintle/gear"
	"pintle/cmd/pintle/session"
)

const GearLong = `Sites, cameras and mounts are kept in one text file that you may also edit by
hand; what it knows need not be typed again, and flags override it. Without a
further word, "pintle gear" shows what is known and where the file is.`

const GearExample = `  pintle gear add site garden --lat 31.4S --lon 121.9E --elev 430
  pintle gear add camera long --focal 400 --pixel 3.76 --width 6248 --height 4176 --exposure 180
  pintle gear add mount "old six" --alt-per-turn 60 --alt-clockwise raises --az-range 14
  pintle gear default site garden
  pintle gear tolerance auto`

const LearnLong = `Measures what one turn of an adjuster does. Take a photograph, turn the adjuster
by exactly one turn and touch nothing else, take another of the same patch.
Tracking may be on or off. The mount should already stand within a few degrees
of the pole.`

const LearnExample = `  pintle gear learn altitude before.fits after.fits
  pintle gear learn azimuth before.fits after.fits --turns -1 --save --mount "old six"`

// CameraLines describe a camera of the gear file.
func CameraLines(c gear.Camera) (out []string) {
	var optics []string
	if c.Focal > 0 {
		optics = append(optics, fmt.Sprintf("%g mm", c.Focal))
	}
	if c.Pixel > 0 {
		optics = append(optics, fmt.Sprintf("%g µm pixels", c.Pixel))
	}
	if c.Width > 0 {
		optics = append(optics, fmt.Sprintf("%d x %d px", c.Width, c.Height))
	}
	if c.Focal > 0 && c.Pixel > 0 && c.Width > 0 {
		side := func(px int) float64 {
			return 2 * math.Atan(float64(px)*c.Pixel/2000/c.Focal) * 180 / math.Pi
		}
		optics = append(optics, fmt.Sprintf("(%.3g° x %.3g°)", side(c.Width), side(c.Height)))
	}
	if optics != nil {
		out = append(out, strings.Join(optics, "  "))
	}
	if c.Exposure > 0 {
		out = append(out, fmt.Sprintf("%g s %s, trails up to %g px", c.Exposure, guided(c.Guided), cmp.Or(c.Trail, 1)))
	}
	if c.Corner > 0 {
		out = append(out, fmt.Sprintf("%g° from the guide star to the far corner", c.Corner))
	}
	return at(out, c.At)
}

// guided says whether exposures are guided.
func guided(yes bool) string {
	if yes {
		return "guided"
	}
	return "unguided"
}

// MountLines describe the adjusters of a mount of the gear file.
func MountLines(m gear.Mount) (out []string) {
	var alt, az string
	if m.AltMax > 0 {
		alt = fmt.Sprintf("from %g° to %g°", m.AltMin, m.AltMax)
	}
	if m.AzRange > 0 {
		az = fmt.Sprintf("%g° to either side", m.AzRange/2)
	}
	for _, line := range []string{
		adjusterLine("altitude", m.AltPerTurn, m.AltSense, m.AltMarks, alt),
		adjusterLine("azimuth ", m.AzPerTurn, m.AzSense, m.AzMarks, az),
	} {
		if line != "" {
			out = append(out, line)
		}
	}
	if m.Scatter > 0 {
		out = append(out, fmt.Sprintf("frames scatter by %g\" about one rotation", m.Scatter))
	}
	return at(out, m.At)
}

// at adds the address of a device that can be commanded.
func at(out []string, address string) []string {
	if address == "" {
		return out
	}
	return append(out, "at "+Foreign(address))
}

// Manner says what is known of the scatter of a session's mount from elsewhere; "" for
// nothing.
func Manner(s *session.Setting) string { return Steadiness(s.MountName, s.Manner) }

// Steadiness says what is known of a mount's scatter; "" for nothing.
func Steadiness(mount string, m unrest.Manner) string {
	switch {
	case m.Scatter <= 0:
		return ""
	case m.Evenings == 0:
		return fmt.Sprintf("the gear file says that frames on %q scatter by %.2g\"", mount, m.Scatter.Arcseconds())
	}
	return fmt.Sprintf("on %s of the journal frames on %q scattered by %.2g\"", Count(m.Evenings, "evening"), mount, m.Scatter.Arcseconds())
}

// adjusterLine is "" when nothing is known.
func adjusterLine(name string, perTurn float64, sense string, marks float64, reach string) string {
	var parts []string
	if perTurn > 0 {
		parts = append(parts, fmt.Sprintf("%g' a turn", perTurn))
	}
	if sense != "" {
		parts = append(parts, "clockwise "+senseOf(sense))
	}
	if marks > 0 {
		parts = append(parts, fmt.Sprintf("%g marks a turn", marks))
	}
	if reach != "" {
		parts = append(parts, reach)
	}
	if parts == nil {
		return ""
	}
	return name + "  " + strings.Join(parts, ", ")
}

// senseOf says what an adjuster's clockwise turn does.
func senseOf(sense string) string {
	switch sense {
	case gear.Clockwise, gear.Counter:
		return "turns it " + sense + " seen from above"
	}
	return sense + " it"
}

// Default marks the thing that is used when no other is named.
func Default(name, usual string, count int) string {
	if name == usual || usual == "" && count == 1 {
		return "  (default)"
	}
	return ""
}

// AutoTolerance says what the tolerance comes to that follows the camera.
func AutoTolerance(g gear.Gear) string {
	arcmin, camera, err := g.AutoTolerance("")
	if err != nil {
		return ": " + err.Error()
	}
	return fmt.Sprintf(": %.1f' by camera %s", arcmin, camera)
}

// Pitch says what one turn of an adjuster does.
func Pitch(p gear.Pitch) (amount, rest string) {
	return fmt.Sprintf("%.2f'", p.PerTurn.Arcminutes()), fmt.Sprintf("± %s a turn; clockwise %s", Sigma(p.Sigma), senseOf(p.Sense))
}

// PitchDoubt says how good a pitch is when it is not good; "" when it is.
func PitchDoubt(p gear.Pitch) string {
	if p.Sigma <= p.PerTurn/20 {
		return ""
	}
	return fmt.Sprintf("that is only good to %.0f%%; a wider field, more stars or more turns tell more", 100*float64(p.Sigma/p.PerTurn))
}

// FirstSite makes the first site of a gear file.
const FirstSite = "pintle gear add site garden --lat 31.4S --lon 121.9E --elev 430"

// WithoutGear says that a verb goes on without the gear file.
func WithoutGear(err error) error {
	return advice.With(fmt.Errorf("the gear file is left out: %w", err), cmp.Or(advice.Of(err), "pintle gear check"))
}
