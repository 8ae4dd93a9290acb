package solve

import (
	"cmp"
	"math"
	"slices"

	"gonum.org/v1/gonum/spatial/r3"

	"pintle/index/sphere"
	"pintle/index/stars"
)

// A catalogue star that belongs in the frame is in the list of detected stars
// with a chance that each frame teaches anew, from the stars looked for so far:
// as if visibleSeen of visibleAsked had been seen before the first (the mean of
// a beta distribution). It is never more than visibleMost (no source, chosen on
// made-up fields, see cmd/proof).
const (
	visibleSeen  = 3.0
	visibleAsked = 4.5
	visibleMost  = 0.95
)

// Stars are looked for down to deepest times as many as points there are: of
// those, many may be false, and many stars may be missing (no source, chosen on
// made-up fields, see cmd/proof).
const deepest = 1.7

// visibleShare returns by how much the chance is less for a star than for the
// brightest, when of the catalogue's stars in the frame so many are brighter, in
// units of the number of points.
func visibleShare(brighter float64) float64 { return min(1, 1.2-0.55*brighter) }

// magSpread is the standard deviation of measured minus catalogue magnitude
// that is expected of filters and sensors, magLost the share of stars whose
// brightness says nothing: saturated, blended, variable (no source, chosen on
// made-up fields, see cmd/proof).
const (
	magSpread = 0.45
	magLost   = 0.15
)

// magLikelihood returns how much likelier a difference of magnitudes is for a
// true match than for chance, which brings it with the density chance, 1/mag.
func magLikelihood(dm, variance, chance float64) float64 {
	return magLost + (1-magLost)/chance*math.Exp(-dm*dm/(2*variance))/math.Sqrt(2*math.Pi*variance)
}

// checker weighs hypotheses against the stars of a frame; one a goroutine.
type checker struct {
	cloud     *cloud
	list      *stars.List
	deep      bool // the list is not the embedded one
	epoch     float64
	prior     vector
	lensKnown bool
	slack     float64 // px^2, of the places of stars, of which no unknown tells

	dots    []stars.Dot
	targets []target
	used    []bool
	grown   []grown // what grow took for found
}

// grown is a point and the catalogue star it was taken for.
type grown struct {
	point int
	v     r3.Vec
	zero  float64 // measured minus catalogue magnitude
}

// known narrows the priors to what is left open by the lens of another frame.
func (k *checker) known() {
	k.lensKnown = true
	for i := iK1; i < unknowns; i++ {
		k.prior[i] /= 10
	}
}

// target is a catalogue star expected in the frame.
type target struct {
	v        r3.Vec
	mag      float64
	distance float64 // px from where the growth starts
	share    float64 // of the chance that a bright star is detected
}

// density is the number of stars a square degree brighter than magnitude
// V = 2, 3 ... 12, averaged over the sky: Tycho-2 with supplement 1.
var density = [...]float64{0.0012, 0.004, 0.0125, 0.039, 0.115, 0.345, 1.02, 2.92, 7.98, 21.1, 48.6}

// magnitudeFor returns the magnitude to which the average sky has n stars a
// square degree.
func magnitudeFor(n float64) float64 {
	for i := 1; i < len(density); i++ {
		if n < density[i] || i == len(density)-1 {
			return float64(i+1) + math.Log(n/density[i-1])/math.Log(density[i]/density[i-1])
		}
	}
	panic("unreachable")
}

// limit returns the magnitude to which the average sky has n stars within
// radius. Magnitudes of a deeper list may be in another band, and the table of
// densities ends at V = 12: two more are allowed for.
func (k *checker) limit(n int, radius float64) float64 {
	limit := magnitudeFor(float64(n) / capArea(radius))
	if k.deep {
		limit += 2
	}
	return limit
}

// deepEnough calls list with magnitudes, fainter and fainter, until it has n stars
// within radius: first spare more than what has them in the average sky, which
// much of the sky is poorer than.
func (k *checker) deepEnough(n int, radius, spare float64, list func(limit float64) (stars int)) {
	const step, steps = 0.8, 4 // mag: twice the stars each time; no source
	limit := k.limit(n, radius) + spare
	for range steps {
		if list(limit) >= n {
			return
		}
		limit += step
	}
}

// brightest lists in k.dots the n brightest catalogue stars within radius of
// centre, bright ones first.
func (k *checker) brightest(centre r3.Vec, radius float64, n int) {
	k.deepEnough(n, radius, 0.6, func(limit float64) int {
		k.dots = k.list.ConeDots(k.dots[:0], sphere.SkyVec(centre), sphere.Angle(radius), limit, k.epoch)
		return len(k.dots)
	})
	slices.SortFunc(k.dots, func(a, b stars.Dot) int { return cmp.Compare(a.V, b.V) })
	k.dots = k.dots[:min(n, len(k.dots))]
}

// expect turns the stars around a frame, in k.dots with the bright ones first,
// into targets: those within it, nearest to (x0, y0) first. n stars are detected.
func (k *checker) expect(p sketch, x0, y0 float64, n int) {
	k.targets = k.targets[:0]
	for _, d := range k.dots {
		x, y, ok := p.project(d.Vec)
		if !ok || x < 0 || y < 0 || x >= k.cloud.w-1 || y >= k.cloud.h-1 {
			continue
		}
		brighter := float64(len(k.targets)) / float64(n)
		if brighter >= deepest {
			break
		}
		k.targets = append(k.targets, target{d.Vec, float64(d.V), math.Sqrt((x-x0)*(x-x0) + (y-y0)*(y-y0)), visibleShare(brighter)})
	}
	slices.SortFunc(k.targets, func(a, b target) int { return cmp.Compare(a.distance, b.distance) })
}

// grow looks for the targets in the frame, nearest first, and lets the pose
// learn from each star it finds; so the prediction is always sharp where the
// next star is looked for. Each target contributes the ratio of two densities:
// that of what is found under the prediction, and that of chance; logOdds is the
// logarithm of their product. skip are
// points that the hypothesis was made from; they count as nothing.
// zero is the expected measured minus catalogue magnitude.
func (k *checker) grow(p *pose, zero float64, skip ...int) (logOdds float64) {
	k.used = slices.Grow(k.used[:0], len(k.cloud.pts))[:len(k.cloud.pts)]
	clear(k.used)
	k.grown = k.grown[:0]
	for _, i := range skip {
		k.used[i] = true
	}
	const gate2 = 16.0 // squared gate in standard deviations: of Gaussian errors e^-8 lie beyond
	n := 2.0           // stars behind the magnitude zero point
	seen, asked := visibleSeen, visibleAsked
	for _, t := range k.targets {
		x, y, dx, dy, ok := p.derivatives(t.v)
		if !ok {
			continue
		}
		xx, xy, yy := p.spread(&dx, &dy)
		xx, yy = xx+k.slack, yy+k.slack
		reach := math.Sqrt(max(xx, yy)+0.3) * 4
		best, bestD2, bestDet, mine := -1, gate2, 0.0, false
		k.cloud.near(x, y, min(reach, k.cloud.w), func(i int, q *point) {
			ex, ey := q.x-x, q.y-y
			a, b := xx+q.variance, yy+q.variance
			det := a*b - xy*xy
			d2 := (b*ex*ex - 2*xy*ex*ey + a*ey*ey) / det
			if d2 < bestD2 {
				best, bestD2, bestDet, mine = i, d2, det, k.used[i]
			}
		})
		if best >= 0 && mine {
			continue // the pattern's own star, or one already given away
		}
		visible := t.share * min(visibleMost, seen/asked)
		// A gate that chance would fill tells nothing yet.
		if crowd := k.cloud.density * math.Pi * gate2 * math.Sqrt((xx+0.1)*(yy+0.1)); crowd > 1 {
			continue
		}
		asked += t.share
		if best < 0 {
			logOdds += math.Log(1 - visible)
			continue
		}
		q := &k.cloud.pts[best]
		// Chance has only the points left that are no stars so far.
		left := 1 - float64(len(skip)+len(k.grown))/float64(len(k.cloud.pts))
		ratio := math.Exp(-bestD2/2) / (2 * math.Pi * math.Sqrt(bestDet)) / (k.cloud.density * left)
		dm := q.mag - t.mag - zero
		ratio *= magLikelihood(dm, magSpread*magSpread*(1+1/n), q.alike)
		logOdds += math.Log(1 - visible + visible*ratio)
		if visible*ratio < 4*(1-visible) {
			continue
		}
		k.used[best] = true
		k.grown = append(k.grown, grown{best, t.v, q.mag - t.mag})
		seen++
		p.learn(&dx, &dy, q.x-x, q.y-y, q.variance+k.slack)
		zero += max(-1, min(1, dm)) / (n + 1)
		n++
	}
	return logOdds
}
