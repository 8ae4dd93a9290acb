package series

import (
	"math"
	"time"

	"pintle/axis/place"
	"pintle/index/sphere"
	"pintle/index/stars"
	"pintle/solve"
	"pintle/solve/detect"
)

// tally is how many stars of the catalogue a photograph should show and does, by part
// of the picture and by half magnitudes.
type tally [parts * parts][bins]struct{ of, seen int }

const (
	bins    = 30  // from V = -1 on
	perBin  = 0.5 // magnitudes
	inReach = 0.7 // the share of a bin's stars that a picture that reaches so far shows at least
	fewBins = 3   // stars, to judge a bin by
	deeper  = 2.5 // magnitudes: so much further than its own stars a picture's are asked after
	// Stars are asked after down to sure magnitudes above where the picture that reaches
	// furthest ends, or would under its own loss of light (no source).
	sure = 1.0
	// lowest is the altitude below which ground and haze hide stars.
	lowest = 15 * sphere.Degree
)

func binOf(v float64) int { return min(max(int((v+1)/perBin), 0), bins-1) }

// tallyOf counts the stars of the embedded list. A picture that showed more stars than
// are kept, or was recognised by another list, tells nothing.
func tallyOf(f *detect.Field, s *solve.Solution, p *place.Place, at time.Time) (t tally) {
	if f.Found > len(f.Stars) || len(s.Matches) == 0 {
		return t
	}
	seen := map[uint32]bool{}
	faintest := 0.0
	for _, m := range s.Matches {
		seen[m.Star.ID] = true
		faintest = math.Max(faintest, float64(m.Star.V))
	}
	s.Listed(stars.Embedded(), faintest+deeper, stars.JulianYear(at), func(star stars.Star, x, y float64) {
		if p != nil {
			if _, alt := p.Observed(star.Pos).AzAlt(); alt < lowest {
				return
			}
		}
		b := &t[partOf(x, y, s.W, s.H)][binOf(float64(star.V))]
		b.of++
		if seen[star.ID] {
			b.seen++
		}
	})
	return t
}

// reaches returns the magnitude to which a picture shows its stars, over all parts; 0 when
// it cannot be told.
func (t *tally) reaches() float64 {
	for b := bins - 1; b >= 0; b-- {
		of, seen := 0, 0
		for c := range t {
			of, seen = of+t[c][b].of, seen+t[c][b].seen
		}
		if of >= fewBins && float64(seen) >= inReach*float64(of) {
			return float64(b+1)*perBin - 1
		}
	}
	return 0
}

// within returns how many stars brighter than v each part should show, and does.
func (t *tally) within(v float64) (of, seen [parts * parts]int) {
	for c := range t {
		for b := 0; float64(b+1)*perBin-1 <= v && b < bins; b++ {
			of[c], seen[c] = of[c]+t[c][b].of, seen[c]+t[c][b].seen
		}
	}
	return of, seen
}

// hidden is the share of a picture's stars that should show and do not, and the
// logarithm of how much likelier those that are missing are if something covers parts of
// the picture than if nothing does.
type hidden struct{ share, log float64 }

// hide tells what is hidden in each frame of a series, whose loss of light is v.
func hide(looks []Look, v values) []hidden {
	out := make([]hidden, len(looks))
	// How far the picture that reaches furthest reaches, as measured magnitudes of stars
	// one pixel wide: what is as bright as the sky under it grows with its width.
	reach, dims := math.Inf(-1), map[int]float64{}
	for k, i := range v.frame {
		dims[i] = v.y[k] + 2.5*math.Log10(math.Max(looks[i].fwhm, 1))
		if r := looks[i].tally.reaches(); r > 0 {
			reach = math.Max(reach, r+dims[i])
		}
	}
	var of, seen [mostLooks][parts * parts]int
	var usual [parts * parts]float64
	for i := range looks {
		if dim, ok := dims[i]; ok && looks[i].solved {
			of[i], seen[i] = looks[i].tally.within(reach - dim - sure)
		}
		for c := range usual {
			if n := of[i][c]; n > 0 {
				usual[c] = math.Max(usual[c], (float64(seen[i][c])+1)/(float64(n)+1))
			}
		}
	}
	for i := range looks {
		all, missing := 0, 0
		for c := range usual {
			n, k := of[i][c], seen[i][c]
			all, missing = all+n, missing+n-k
			const firm = 12 // stars that the usual share is worth (no source)
			share := math.Min(math.Max(usual[c], 0.5), 0.95)
			clear := betaBinomial(k, n, firm*share, firm*(1-share))
			out[i].log += math.Log(0.5 + 0.5*math.Exp(betaBinomial(k, n, 0.7, 2)-clear))
		}
		if all > 0 {
			out[i].share = float64(missing) / float64(all)
		}
	}
	return out
}

// betaBinomial returns the logarithm of the probability that k of n are seen, in one
// order, when the share has a beta distribution.
func betaBinomial(k, n int, a, b float64) float64 {
	beta := func(a, b float64) float64 {
		x, _ := math.Lgamma(a)
		y, _ := math.Lgamma(b)
		z, _ := math.Lgamma(a + b)
		return x + y - z
	}
	return beta(a+float64(k), b+float64(n-k)) - beta(a, b)
}
