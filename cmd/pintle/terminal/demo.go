package terminal

import (
	"math"
	"strings"

	"pintle/cmd/night"
	"pintle/cmd/pintle/session"
)

// Invented says what night was invented.
func (t *Terminal) Invented(s *night.Spec, seed uint64) {
	c := s.Camera
	t.line("An invented night (seed %d): %s, latitude %.1f°, longitude %.1f°, %s.",
		seed, s.Name, s.Site.Lat.Degrees(), s.Site.Lon.Degrees(), s.Start.UTC().Format("2 January 2006 15:04 UTC"))
	field := func(px int) float64 {
		return 2 * math.Atan(float64(px)*c.Pixel/2000/c.Focal) * 180 / math.Pi
	}
	t.line("Camera %d x %d pixels behind %.0f mm: %.1f° x %.1f° of sky; %d photographs, RA turned between them.",
		c.W, c.H, c.Focal, field(c.W), field(c.H), len(s.Frames))
}

// Kept lists the photographs that were kept.
func (t *Terminal) Kept(paths []string) {
	t.line("Photographs:")
	for _, p := range paths {
		t.line("  %s", p)
	}
}

// Beside prints the measured offset beside the true one.
func (t *Terminal) Beside(st *session.State, truth *night.Truth) {
	t.line("\n   axis minus pole   altitude   azimuth at the adjuster     total")
	row := func(name string, alt, az, total float64) {
		t.line("   %-15s %+9.3f'            %+9.3f'  %9.3f'", name, alt, az, total)
	}
	o := truth.Offset
	if a := st.Answer; a != nil {
		row("measured", a.Offset.Alt.Arcminutes(), a.Offset.AzKnob.Arcminutes(), a.Offset.Total.Arcminutes())
	}
	row("true", o.Alt.Arcminutes(), o.AzKnob.Arcminutes(), o.Total.Arcminutes())
	if a := st.Answer; a != nil {
		t.line("   The axis was measured %.2f arcsec from where it is.", a.Axis.Sep(truth.Axis).Arcseconds())
	}
}

// Pretended prints how pretended devices are used.
func (t *Terminal) Pretended(text string) {
	for _, l := range strings.Split(text, "\n") {
		t.line("%s", l)
	}
}
