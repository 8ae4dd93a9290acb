package series

import (
	"fmt"
	"math"
	"slices"
	"time"

	"pintle/index/sphere"
)

// Kind is a kind of what went wrong.
type Kind int

// The kinds, and what of a Finding they use besides Chance.
const (
	Dew      Kind = iota // Names: the stars fade from frame to frame, by Much magnitudes in the last
	Clouds               // Names: some of the frames lack starlight, Much magnitudes at most, or Share of their stars
	Focus                // Names: the stars are Much times as wide as in the frames before
	Shaken               // Names: stars are trailed by Much px, Length on the sky, not as RA turns
	Turned               // Names: they are trailed by Much px, Length, as RA turns, and not by what the sky does
	Standing             // Names: they are trailed by Much px, Length, which is what the sky turns
)

// String names the kind for developers; people read what package words makes of it.
func (k Kind) String() string {
	names := [...]string{"dew", "clouds", "focus lost", "shaken", "RA turned while exposing", "drive stands"}
	if k < 0 || int(k) >= len(names) {
		return fmt.Sprintf("kind %d", int(k))
	}
	return names[k]
}

// Finding is what went wrong in a series of frames. It blocks no answer.
type Finding struct {
	Kind   Kind
	Names  []string // the frames concerned, in their order
	Much   float64  // see the kinds
	Share  float64  // of the stars that should show, those that do not; of Clouds
	Length sphere.Angle
	// Chance is the probability that this is what happened, as far as the frames can
	// tell.
	Chance float64
}

// Certain reports whether there is hardly a doubt that this is what happened.
func (f *Finding) Certain() bool { return f.Chance >= certain }

// Probabilities above which something is named: that something happened, and that it
// was this. They are those of package axis.
const (
	certain = 0.95
	known   = 0.5
)

// Odds before a frame is seen, against nothing (common practice, no source).
const (
	oddsDew     = 0.03
	oddsClouds  = 0.05
	oddsFocus   = 0.03
	oddsBlurred = 0.01 // some frames, by what is no loss of focus
)

// mostLooks of a series are kept and judged.
const mostLooks = 12

// Add adds a look to a series. Of a long one the first is kept, the last ones, and
// between them those that lie furthest apart in time.
func Add(looks []Look, l Look) []Look {
	looks = append(slices.Clone(looks), l)
	for len(looks) > mostLooks {
		least, at := time.Duration(math.MaxInt64), 1
		for i := 1; i < len(looks)-lastLooks; i++ {
			if gap := looks[i+1].At.Sub(looks[i-1].At); gap < least {
				least, at = gap, i
			}
		}
		looks = slices.Delete(looks, at, at+1)
	}
	return looks
}

const lastLooks = 4

// Judge names what went wrong in a series, in the order in which the photographs were
// taken. A series is made with Add.
func Judge(looks []Look) (out []Finding) {
	faded, found := judgeLight(looks)
	if found {
		out = append(out, faded)
	}
	if f, ok := judgeFocus(looks); ok && !found {
		out = append(out, f)
	}
	return append(out, judgeTrails(looks)...)
}
