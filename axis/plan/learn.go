package plan

import (
	"cmp"
	"math"
	"slices"

	"pintle/axis/place"
	"pintle/index/sphere"
)

// Look is a listed star within a photograph, and whether the photograph shows it.
type Look struct {
	Dir  sphere.Local
	V    float64 // magnitude, above the air
	Seen bool
}

// What Learn goes by. No source where none is given; chosen on rendered frames with
// and without a skyline.
const (
	learnStep   = 5  // a sector, degrees of azimuth
	learnLowest = 5  // degrees: stars below are lost in haze
	learnLeast  = 8  // degrees: a lower skyline is in nobody's way
	learnMost   = 60 // degrees: few things are higher, and sectors are narrow up there
	// haze is the loss in magnitudes for one mass of air, that of a poor night: a good
	// one is 0.2 to 0.3, and stars that might be lost in haze prove nothing.
	haze = 0.4
	// learnShare of the stars that are bright enough and in the open are taken to be
	// seen; there must be learnOpen of them.
	learnShare = 0.95
	learnOpen  = 30
	// surely is by how many magnitudes a star must be brighter than the faintest that are
	// seen before its absence counts; on a real photograph of the zenith (2026-11-28)
	// stars near the limit made a skyline of nothing.
	surely = 0.3
	// learnAbove stars must be seen of a sector, above what blocks it: what has no upper
	// edge in the photograph may be cloud.
	learnAbove = 2
	// coincides is how often a spot on what blocks the sky passes for the star behind.
	coincides = 0.05
	// A step of the skyline from sector to sector costs so much, and more by the degree.
	learnEdge, learnSlope, learnSteepest = 1.0, 0.2, 6.0
	// learnOdds is the logarithm of the odds for a stretch to be told: one in 160 000.
	learnOdds = 12
)

// Learn returns what blocks the sky in a photograph: from the ground up to where the
// stars that it should show begin to be seen, in sectors of 5 degrees of azimuth. How
// faint a star it shows is learnt from those above the lowest that are seen. Where too
// few stars are expected nothing is said, and nothing below 8 degrees. Cloud that
// reaches to the ground cannot be told from ground.
func Learn(looks []Look) Skyline {
	bySector := make([][]dimmed, 360/learnStep)
	for _, l := range looks {
		if az, alt := l.Dir.AzAlt(); alt >= learnLowest*sphere.Degree {
			i := int(az.Turn().Degrees()/learnStep) % len(bySector)
			bySector[i] = append(bySector[i], dimmed{alt.Degrees(), l.V + haze*(place.AirMass(alt)-1), l.Seen})
		}
	}
	limit, share, ok := shows(bySector)
	if !ok {
		return nil
	}
	for i, s := range bySector {
		bySector[i] = slices.DeleteFunc(s, func(d dimmed) bool { return d.v > limit-surely })
	}
	return stretches(bySector, heights(bySector, share), share)
}

// dimmed is a look by altitude in degrees and magnitude below hazy air.
type dimmed struct {
	alt, v float64
	seen   bool
}

// shows returns the magnitude below hazy air to which a photograph shows nearly all
// stars, and what share of them; ok is false when that cannot be told. It looks at those
// above the third lowest that is seen of their sector: one or two may be lights that
// coincide.
func shows(bySector [][]dimmed) (limit, share float64, ok bool) {
	var open []dimmed
	for _, s := range bySector {
		var seen []float64
		for _, d := range s {
			if d.seen {
				seen = append(seen, d.alt)
			}
		}
		if len(seen) < 4 {
			continue
		}
		slices.Sort(seen)
		for _, d := range s {
			if d.alt > seen[2] {
				open = append(open, d)
			}
		}
	}
	slices.SortFunc(open, func(a, b dimmed) int { return cmp.Compare(a.v, b.v) })
	// The most likely place from which on but half of the stars are seen.
	n, sum, best := 0, 0.0, 0.0
	for i, d := range open {
		if d.seen {
			sum += math.Log(learnShare / 0.5)
		} else {
			sum += math.Log((1 - learnShare) / 0.5)
		}
		if sum > best {
			n, best = i+1, sum
		}
	}
	if n < learnOpen {
		return 0, 0, false
	}
	all := 0
	for _, d := range open[:n] {
		if d.seen {
			all++
		}
	}
	return open[n-1].v, min(float64(all)/float64(n), learnShare), true
}

// gain is what is in favour of a sky that is blocked up to a height, against an open
// one, by the stars of a sector: the logarithm of the ratio of their likelihoods.
func gain(s []dimmed, height int, share float64) (g float64) {
	for _, d := range s {
		switch {
		case d.alt >= float64(height):
		case d.seen:
			g += math.Log(coincides / share)
		default:
			g += math.Log((1 - coincides) / (1 - share))
		}
	}
	return g
}

// heights returns the most likely height of the skyline in every sector, degrees, 0 for
// an open one: each step between sectors has its price (dynamic programming, Viterbi
// 1967). The circle is gone round twice, so that it closes.
func heights(bySector [][]dimmed, share float64) []int {
	n, h := len(bySector), learnMost+1
	best := make([]float64, h)
	from := make([][]int, 2*n)
	for k := range from {
		s := bySector[k%n]
		next := make([]float64, h)
		from[k] = make([]int, h)
		for j := range h {
			next[j] = math.Inf(-1)
			if j > 0 && j < learnLeast {
				continue
			}
			for i := range h {
				if v := best[i] - price(i, j); v > next[j] {
					next[j], from[k][j] = v, i
				}
			}
			next[j] += gain(s, j, share)
		}
		best = next
	}
	at := 0
	for j := range best {
		if best[j] > best[at] {
			at = j
		}
	}
	out := make([]int, n)
	for k := 2*n - 1; k >= n/2; k-- {
		if k < n+n/2 {
			out[k%n] = at
		}
		at = from[k][at]
	}
	return out
}

func price(i, j int) float64 {
	if i == j {
		return 0
	}
	return learnEdge + min(learnSlope*math.Abs(float64(i-j)), learnSteepest)
}

// stretches are the blocked sectors of which the stars give proof.
func stretches(bySector [][]dimmed, high []int, share float64) (out Skyline) {
	n := len(high)
	start := max(0, slices.Index(high, 0)) // between two stretches, where there is such a place
	var run []int
	var odds float64
	end := func() {
		if odds >= learnOdds {
			for _, i := range run {
				from := sphere.Angle(i*learnStep) * sphere.Degree
				out = append(out, Block{from, from + learnStep*sphere.Degree, sphere.Angle(edge(bySector[i], high[i])) * sphere.Degree})
			}
		}
		run, odds = nil, 0
	}
	for k := range n {
		i := (start + k) % n
		switch s := bySector[i]; {
		case high[i] == 0:
			end()
		case edged(s, high[i]):
			run, odds = append(run, i), odds+gain(s, high[i], share)
		}
	}
	end()
	slices.SortFunc(out, func(a, b Block) int { return cmp.Compare(a.From, b.From) })
	return out
}

// edged reports whether stars of a sector are hidden below a height, and seen above.
func edged(s []dimmed, height int) bool {
	hidden, above := 0, 0
	for _, d := range s {
		switch {
		case d.alt < float64(height) && !d.seen:
			hidden++
		case d.alt >= float64(height) && d.seen:
			above++
		}
	}
	return hidden > 0 && above >= learnAbove
}

// edge is where the sky begins in a sector blocked to a height, degrees: midway
// between the highest star that is hidden and the lowest that is seen, where these are
// near.
func edge(s []dimmed, height int) float64 {
	hidden, seen := float64(learnLeast), float64(height)+4
	for _, d := range s {
		switch {
		case d.alt < float64(height) && !d.seen:
			hidden = max(hidden, d.alt)
		case d.alt >= float64(height) && d.seen:
			seen = min(seen, d.alt)
		}
	}
	return math.Round(max(learnLeast, min((hidden+seen)/2, hidden+2)))
}
