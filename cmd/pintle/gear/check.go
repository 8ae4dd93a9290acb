package gear

import (
	"fmt"
	"strings"
	"unicode"
	"unicode/utf8"

	"pintle/index/written"
)

// Fault is a value in the gear file that cannot be used.
type Fault struct {
	Path   string // "" when the value does not come from a file
	Line   int    // 0 when not known
	Key    string
	Reason string
	Hint   string
}

func (f *Fault) Error() string {
	var b strings.Builder
	if f.Path != "" {
		b.WriteString(f.Path)
		if f.Line > 0 {
			fmt.Fprintf(&b, ":%d", f.Line)
		}
		b.WriteString(": ")
	}
	if f.Key != "" {
		b.WriteString(f.Key + ": ")
	}
	return b.String() + f.Reason
}

// Advice is what to try.
func (f *Fault) Advice() string { return f.Hint }

func fault(key, hint, format string, args ...any) *Fault {
	return &Fault{Key: key, Hint: hint, Reason: fmt.Sprintf(format, args...)}
}

// limit is what a number may be. Zero is allowed beside the range where it
// means "not told".
type limit struct {
	key      string
	value    float64
	lo, hi   float64
	orZero   bool
	what     string
	advising string
}

func (l limit) check() *Fault {
	if l.orZero && l.value == 0 || l.value >= l.lo && l.value <= l.hi {
		return nil
	}
	return fault(l.key, l.advising, "%s %g is outside %g to %g", l.what, l.value, l.lo, l.hi)
}

// firstFault returns the first limit that is not kept, or nil.
func firstFault(limits ...limit) *Fault {
	for _, l := range limits {
		if f := l.check(); f != nil {
			return f
		}
	}
	return nil
}

func (s Site) check() *Fault {
	return firstFault(
		limit{"lat", s.Lat, -90, 90, false, "latitude", "degrees, north positive"},
		limit{"lon", s.Lon, -180, 360, false, "longitude", "degrees, east positive"},
		limit{"elev", s.Elev, -500, 9000, false, "elevation", "metres above the sea"},
	)
}

func (c Camera) check() *Fault {
	f := firstFault(
		limit{"focal_mm", c.Focal, 1, 1e5, true, "focal length", "millimetres"},
		limit{"pixel_um", c.Pixel, 0.1, 100, true, "pixel size", "micrometres, usually 2 to 10"},
		limit{"width_px", float64(c.Width), 16, 1e5, true, "width", "pixels"},
		limit{"height_px", float64(c.Height), 16, 1e5, true, "height", "pixels"},
		limit{"exposure_s", c.Exposure, 0.001, 36000, true, "exposure", "seconds, of one frame"},
		limit{"trail_px", c.Trail, 0.01, 1000, true, "allowed trail", "pixels, usually 1"},
		limit{"corner_deg", c.Corner, 0.001, 90, true, "corner distance", "degrees from the guide star to the far corner of the frame"},
	)
	if f == nil && (c.Width == 0) != (c.Height == 0) {
		f = fault("width_px", "give both or neither", "width %d px and height %d px: one is missing", c.Width, c.Height)
	}
	if f == nil {
		f = checkAddress(c.At)
	}
	return f
}

func (m Mount) check() *Fault {
	f := firstFault(
		limit{"alt_arcmin_per_turn", m.AltPerTurn, 0.01, 7200, true, "altitude arcmin per turn", "the sense goes into alt_clockwise"},
		limit{"az_arcmin_per_turn", m.AzPerTurn, 0.01, 7200, true, "azimuth arcmin per turn", "the sense goes into az_clockwise"},
		limit{"alt_min_deg", m.AltMin, 0, 90, true, "lowest altitude", "degrees on the altitude scale"},
		limit{"alt_max_deg", m.AltMax, 0, 90, true, "highest altitude", "degrees on the altitude scale"},
		limit{"az_range_deg", m.AzRange, 0.1, 360, true, "azimuth range", "degrees from end to end"},
		limit{"alt_divisions", m.AltMarks, 1, 10000, true, "divisions", "marks on the knob in one turn"},
		limit{"scatter_arcsec", m.Scatter, 0.01, 600, true, "scatter in arcsec", "by how much frames miss one rotation, per axis: pintle axis --more tells it"},
		limit{"az_divisions", m.AzMarks, 1, 10000, true, "divisions", "marks on the knob in one turn"},
	)
	switch {
	case f != nil:
		return f
	case m.AltMax > 0 && m.AltMin >= m.AltMax:
		return fault("alt_min_deg", "the lower one goes into alt_min_deg", "lowest altitude %g is not below the highest, %g", m.AltMin, m.AltMax)
	case m.AltSense != "" && m.AltSense != Raises && m.AltSense != Lowers:
		return fault("alt_clockwise", "what does turning the adjuster clockwise do to the axis?", "%q is neither %q nor %q", m.AltSense, Raises, Lowers)
	case m.AzSense != "" && m.AzSense != Clockwise && m.AzSense != Counter:
		return fault("az_clockwise", "which way, seen from above, does the axis turn when the adjuster is turned clockwise?", "%q is neither %q nor %q", m.AzSense, Clockwise, Counter)
	}
	return checkAddress(m.At)
}

// checkAddress sees whether at can be an address; package link reads it.
func checkAddress(at string) *Fault {
	if at == "" || strings.HasPrefix(at, "indi://") || strings.HasPrefix(at, "alpaca://") {
		return nil
	}
	return fault("at", "pintle devices lists the addresses there are", "address %q begins with neither indi:// nor alpaca://", at)
}

func (t Tolerance) check() *Fault {
	return limit{"tolerance", t.Arcmin, 0.01, 600, true, "tolerance", `arcmin, or "auto" to work it out from camera and exposure`}.check()
}

// ParseTolerance reads a tolerance as it is typed: arcminutes, or auto.
func ParseTolerance(s string) (Tolerance, error) {
	if s == "auto" {
		return Tolerance{Auto: true}, nil
	}
	x, err := written.Tolerance.Convert(s)
	if err != nil {
		return Tolerance{}, fault("", "arcminutes such as 1.5, or auto", "%v", err)
	}
	return Tolerance{Arcmin: x}, nil
}

// CheckName returns an error when name cannot name a thing in the file.
func CheckName(name string) error {
	switch {
	case strings.TrimSpace(name) != name || name == "":
		return fault("", "give it a short name such as garden", "name %q is empty or starts or ends with a space", name)
	case utf8.RuneCountInString(name) > 60 || !utf8.ValidString(name):
		return fault("", "give it a short name such as garden", "name of %d bytes is longer than 60 letters or not text", len(name))
	}
	for _, r := range name {
		if !unicode.IsPrint(r) {
			return fault("", "letters, digits, spaces and signs", "name %q holds a character that cannot be printed", name)
		}
	}
	return nil
}
