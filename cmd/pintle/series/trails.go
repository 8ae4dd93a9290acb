package series

import (
	"math"

	"pintle/index/sphere"
)

// Odds of what draws stars out, against each other (common practice, no source): the
// drive stands or is off; RA is still turning; wind or a hand. Of optics that draw the
// stars of all frames out alike, once for the series.
const (
	oddsStanding = 0.3
	oddsTurned   = 0.3
	oddsShaken   = 0.3
	oddsOptics   = 0.1
	oddsDrift    = 0.3 // the axis is off the pole
)

const (
	lengthError = 0.2 // of a trail's length, logarithm (no source, chosen on rendered trails)
	anyLength   = 3.0 // range of the logarithm of lengths
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

// ways returns how likely a trail is under each kind, and by drift, in the density of
// its direction and the logarithm of its length.
func (t *trail) ways() (p map[Kind]float64, drift float64) {
	ra := normalDensity(halfTurn(t.angle-t.along), t.off)
	any := 1 / math.Pi
	p = map[Kind]float64{
		Turned: oddsTurned * ra / anyLength,
		Shaken: oddsShaken * any / anyLength,
		// Without an exposure the sky may have turned by anything.
		Standing: oddsStanding * ra / anyLength,
	}
	if t.sky > 0 {
		p[Standing] = oddsStanding * ra * normalDensity(math.Log(t.length/t.sky), lengthError)
		if t.length < drifts*t.sky {
			drift = oddsDrift * any
		}
	}
	return p, drift
}

// judgeTrails names what draws the stars of each frame out.
func judgeTrails(looks []Look) (out []Finding) {
	optics := byOptics(looks)
	for _, kind := range []Kind{Shaken, Turned, Standing} {
		f := Finding{Kind: kind}
		for i := range looks {
			l := &looks[i]
			if l.trail.length == 0 {
				continue
			}
			p, all := l.trail.ways()
			best := true
			for k := range p {
				all += p[k]
				best = best && p[k] <= p[kind]
			}
			chance := p[kind] / all * (1 - optics)
			if !best || chance < known {
				continue
			}
			f.Names = append(f.Names, l.Name)
			f.Chance = math.Max(f.Chance, chance)
			if l.trail.length > f.Much {
				f.Much, f.Length = l.trail.length, sphere.Angle(l.trail.length)*l.scale
			}
		}
		if f.Names != nil {
			out = append(out, f)
		}
	}
	return out
}

// byOptics returns the probability that the lens draws the stars out, in all frames
// alike.
func byOptics(looks []Look) float64 {
	var first *trail
	own, alike := 0.0, 0.0 // logarithms
	n := 0
	for i := range looks {
		l := &looks[i]
		if !l.solved {
			continue
		}
		t := &l.trail
		if t.length == 0 {
			return 0
		}
		p, sum := t.ways()
		for _, x := range p {
			sum += x
		}
		own += math.Log(sum)
		if n++; first == nil {
			first = t
			alike += math.Log(1 / (math.Pi * anyLength))
			continue
		}
		alike += math.Log(normalDensity(halfTurn(t.angle-first.angle), 2*measured)*normalDensity(math.Log(t.length/first.length), lengthError) + 1e-30)
	}
	if n < 2 {
		return 0
	}
	return 1 / (1 + math.Exp(own-alike)*(1-oddsOptics)/oddsOptics)
}
