package detect

import (
	"math"
)

// Trails. A star that is much longer than wide falls to pieces: no window that
// suits its width holds its length, and each piece passes for a star somewhere along
// the trail. Shrunk by the right factor the trail is short enough to be measured as a
// whole, and its middle is the star's place at mid exposure.

// Limits (no source, chosen on rendered trails of 8 to 60 pixels, TestLongTrails).
const (
	likeTrail   = 3.5 // elongation from which a longer one may hide
	likeBlur    = 15  // FWHM, pixels, of what may be pieces of trails side by side
	longer      = 1.25
	surelyTrail = 2.5 // elongation of a trail seen whole
	fewTrails   = 8   // stars
)

// perhapsTrailed reports whether the stars may be pieces of longer trails.
func (f *Field) perhapsTrailed() bool {
	return f.Elongation > likeTrail || f.FWHM > likeBlur
}

// length returns the full width at half maximum along the stars' long axis, pixels.
func (f *Field) length() float64 { return f.FWHM * math.Sqrt(f.Elongation) }

// lookForTrails measures the stars on the shrunk picture when that shows them to be
// trails longer than they look on the picture as it is.
func (f *Field) lookForTrails(p *picture, o Options) {
	for _, by := range []int{2, 4} {
		if p.im.W/by < 64 || p.im.H/by < 64 {
			return
		}
		im := p.shrink(by).im
		if p.full < math.MaxFloat32 {
			im.Saturation = p.full
		}
		g, _ := seek(im, o)
		size := float64(by)
		if g.Found < fewTrails || g.Elongation < surelyTrail || size*g.length() < longer*f.length() {
			continue
		}
		f.Stars = f.Stars[:0]
		for _, s := range g.Stars {
			f.Stars = append(f.Stars, s.grown(size))
		}
		f.Found, f.Empty, f.Rejected, f.Hollow = g.Found, g.Empty, g.Rejected, g.Hollow
		f.FWHM, f.Elongation, f.Angle, f.Gain = size*g.FWHM, g.Elongation, g.Angle, g.Gain/(size*size)
	}
}
