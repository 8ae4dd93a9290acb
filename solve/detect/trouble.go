package detect

import (
	"fmt"
	"math"
)

// TroubleKind is a kind of thing that makes it hard to find stars in a picture
// or to recognise them.
type TroubleKind int

const (
	TooSmall    TroubleKind = iota // the picture has few pixels
	Blank                          // nothing is in it
	Overexposed                    // Much of it, as a fraction
	BrightSky                      // the background is Much of full scale
	FewStars                       // Much of them
	Trailed                        // stars are Much times as long as wide
	OutOfFocus                     // stars are Much pixels wide
	Obstructed                     // obstacles cross Much of the picture, as a fraction
	Thinned                        // Much of the picture has far fewer stars than the rest
)

// Trouble is what is wrong with a picture, and how much.
type Trouble struct {
	Kind TroubleKind
	Much float64 // see the kinds
	W, H int     // of the picture
}

// String tells it to developers; people read what package words makes of it.
func (t Trouble) String() string {
	name := [...]string{"too small", "blank", "overexposed", "bright sky", "few stars", "trailed", "out of focus", "obstacles", "thinned"}[t.Kind]
	return fmt.Sprintf("%s: %.3g, %d x %d pixels", name, t.Much, t.W, t.H)
}

// Troubles names what about the picture makes it hard to find stars or to
// recognise them, the likeliest reason first; none for a good picture. (The
// limits: no source, chosen on real and rendered photographs.)
func (f *Field) Troubles() []Trouble {
	var t []Trouble
	add := func(bad bool, kind TroubleKind, much float64) {
		if bad {
			t = append(t, Trouble{kind, much, f.W, f.H})
		}
	}
	sky := 0.0
	if f.Full > 0 {
		sky = f.Background / f.Full
	}
	add(f.W < 8 || f.H < 8, TooSmall, 0)
	add(f.Flat && f.Blown < 0.5 && f.Found < 3, Blank, 0)
	add(f.Blown > 0.05, Overexposed, f.Blown)
	add(sky > 0.5 && f.Blown <= 0.05, BrightSky, sky)
	add(f.Found < 10, FewStars, float64(f.Found))
	add(f.Found >= 5 && f.Elongation > 1.8, Trailed, f.Elongation)
	add(f.Found >= 5 && (f.Hollow || f.width() > 8), OutOfFocus, f.FWHM)
	add(f.Torn > 0.15, Obstructed, f.Torn)
	add(f.Empty > 0.2, Thinned, f.Empty)
	return t
}

// width returns the width of a star, of a trailed one across its trail, pixels.
func (f *Field) width() float64 {
	if f.Elongation > 1.8 {
		return f.FWHM / math.Sqrt(f.Elongation)
	}
	return f.FWHM
}
