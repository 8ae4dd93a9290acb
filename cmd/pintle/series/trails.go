package series

import (
	"math"

	"gonum.org/v1/gonum/floats"

	"pintle/index/sphere"
)

// Odds of what draws stars out in a series (common practice, no source): the drive
// stands or is off; wind shakes every frame; the lens draws all of them alike; each
// frame for itself, by RA that still turns or by a push from anywhere, or by an axis off
// the pole.
const (
	oddsStanding = 0.3
	oddsWindy    = 0.3
	oddsOptics   = 0.1
	oddsMixed    = 0.3

	shareTurned, shareShaken, shareDrift = 0.4, 0.4, 0.2 // of the frames of the last
)

const (
	lengthError = 0.25 // of a trail's length, logarithm (no source, chosen on rendered trails)
	anyLength   = 3.0  // range of the logarithm of lengths
	// mostDrawn is how long a lens draws stars out at most, in their widths (no source).
	mostDrawn = 3.0
	// drifts is how long, at most, stars are drawn out by an axis off the pole, as a
	// share of what the sky turns: 4 degrees.
	drifts = 0.07
)

// normalDensity is that of a normal distribution.
func normalDensity(x, sigma float64) float64 {
	return math.Exp(-x*x/(2*sigma*sigma)) / (sigma * math.Sqrt(2*math.Pi))
}

// halfTurn brings an angle of directions that are good to half a turn to within a
// quarter of a turn.
func halfTurn(x float64) float64 { return math.Remainder(x, math.Pi) }

// ways is how likely a trail is by each way, in the density of its direction and of the
// logarithm of its length.
type ways struct{ standing, turned, shaken, drift float64 }

func (t *trail) ways() (w ways) {
	ra, any := normalDensity(halfTurn(t.angle-t.along), t.off), 1/math.Pi
	w = ways{turned: ra / anyLength, shaken: any / anyLength}
	// Without an exposure the sky may have turned by anything.
	if w.standing = w.turned; t.sky > 0 {
		w.standing = ra * normalDensity(math.Log(t.length/t.sky), lengthError)
		if t.length < drifts*t.sky {
			w.drift = any
		}
	}
	return w
}

// mixed is the likelihood of a frame for itself.
func (w *ways) mixed() float64 {
	return shareTurned*w.turned + shareShaken*w.shaken + shareDrift*w.drift
}

// judgeTrails names what draws the stars of each frame out.
func judgeTrails(looks []Look) (out []Finding) {
	var trailed []*Look
	var each []ways
	for i := range looks {
		if l := &looks[i]; l.trail.length > 0 {
			trailed, each = append(trailed, l), append(each, l.trail.ways())
		}
	}
	logs := []float64{math.Log(oddsStanding), math.Log(oddsWindy), math.Log(oddsMixed), math.Log(oddsOptics) + byOptics(looks)}
	for i := range each {
		w := &each[i]
		logs[0] += math.Log(w.standing + 1e-30)
		logs[1] += math.Log(w.shaken)
		logs[2] += math.Log(w.mixed())
	}
	all := floats.LogSumExp(logs)
	standing, windy, mixed := math.Exp(logs[0]-all), math.Exp(logs[1]-all), math.Exp(logs[2]-all)
	for _, kind := range []Kind{Shaken, Turned, Standing} {
		f := Finding{Kind: kind}
		for i, l := range trailed {
			w := &each[i]
			chance := map[Kind]float64{
				Standing: standing,
				Turned:   mixed * shareTurned * w.turned / w.mixed(),
				Shaken:   windy + mixed*shareShaken*w.shaken/w.mixed(),
			}[kind]
			if chance > known {
				f.add(l, chance)
			}
		}
		if f.Names != nil {
			out = append(out, f)
		}
	}
	return out
}

// add adds a trailed frame.
func (f *Finding) add(l *Look, chance float64) {
	f.Names = append(f.Names, l.Name)
	f.Chance = math.Max(f.Chance, chance)
	if l.trail.length > f.Much {
		f.Much, f.Length = l.trail.length, sphere.Angle(l.trail.length)*l.scale
	}
}

// byOptics returns the logarithm of how likely the trails are if the lens draws the
// stars out, in all frames alike.
func byOptics(looks []Look) (log float64) {
	var first *trail
	for i := range looks {
		t := &looks[i].trail
		switch {
		case !looks[i].solved:
		case t.length == 0 || t.length > mostDrawn*looks[i].width:
			return math.Inf(-1)
		case first == nil:
			first = t
			log += math.Log(1 / (math.Pi * anyLength))
		default:
			log += math.Log(normalDensity(halfTurn(t.angle-first.angle), measured)*normalDensity(math.Log(t.length/first.length), lengthError) + 1e-30)
		}
	}
	return log
}
