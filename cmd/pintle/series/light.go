package series

import (
	"math"
	"slices"

	"gonum.org/v1/gonum/floats"
)

// What clear nights differ by from frame to frame, and other standard deviations, in
// magnitudes (common practice, no source).
const (
	clearSky    = 0.06 // haze, flat fields, colours
	clearPart   = 0.08 // the same of parts of the picture
	cloudyPart  = 0.4
	countError  = 0.6  // of the light of a frame by the number of its spots
	perCount    = 0.45 // decades of spots a magnitude: the growth of star counts
	leastHidden = 0.2  // of the stars that should show, below which nothing is said
	leastFade   = 0.3  // magnitudes below which nothing is said
)

// lights returns by how much each frame's stars are too faint.
func lights(looks []Look) values {
	var frames []int
	usual, counts := 0.0, []float64{}
	for i, l := range looks {
		if l.light.stars > 0 {
			usual += l.light.v
			counts = append(counts, math.Log10(float64(max(l.found, 1))))
			frames = append(frames, i)
		}
	}
	if len(frames) == 0 {
		return values{}
	}
	v0, slope, weight := usual/float64(len(frames)), 0.0, 0.0
	for _, i := range frames {
		w := 1 / (looks[i].light.slopeErr * looks[i].light.slopeErr)
		slope, weight = slope+w*looks[i].light.slope, weight+w
	}
	slope /= weight
	for i, l := range looks {
		if !l.solved && l.width > 0 || !l.solved && l.found < fewLights {
			frames = append(frames, i)
		}
	}
	slices.Sort(frames)
	v := newValues(len(frames))
	v.frame = frames
	full := median(counts, func(c float64) float64 { return c })
	bright := median(frames, func(i int) float64 { return looks[i].dimAt(v0, slope) })
	air := make([]float64, len(frames))
	for k, i := range frames {
		l := &looks[i].light
		if l.stars == 0 { // lost: its spots alone tell
			v.y = append(v.y, bright+(full-math.Log10(float64(max(looks[i].found, 1))))/perCount)
			v.cov.SetSym(k, k, countError*countError)
			continue
		}
		air[k] = l.air
		v.y = append(v.y, looks[i].dimAt(v0, slope))
		far := (l.v - v0) * l.slopeErr
		v.cov.SetSym(k, k, l.err*l.err+far*far+clearSky*clearSky)
	}
	v.share(air, extinctionErr)
	return v
}

// dimAt returns how much too faint stars of magnitude v are when dim grows so with it.
func (l *Look) dimAt(v, slope float64) float64 { return l.light.dim + slope*(v-l.light.v) }

// judgeLight tells dew from clouds and both from nothing.
func judgeLight(looks []Look) (f Finding, found bool) {
	v := lights(looks)
	if len(v.y) < 2 {
		return f, false
	}
	still := v.likelihood(nil, nil, 0)
	steps := v.steps()
	for i := range v.y { // one frame alone
		s := make([]float64, len(v.y))
		s[i] = 1
		steps = append(steps, s)
	}
	for _, s := range v.steps() { // what was there before and is gone
		r := make([]float64, len(s))
		for i := range s {
			r[i] = 1 - s[i]
		}
		steps = append(steps, r)
	}
	half := math.Log(0.5)
	patchy, covers := floats.LogSumExp([]float64{half, half + patchiness(looks)}), hide(looks, v)
	for _, h := range covers {
		patchy += floats.LogSumExp([]float64{half, half + h.log})
	}
	brighter := skyWith(looks, v)
	nothing := still
	dew := math.Log(oddsDew) + v.growing(v.ramps(looks)) - brighter/2
	clouds := math.Log(oddsClouds) + brighter/2 + floats.LogSumExp([]float64{
		math.Log(0.4) + v.growing(steps), math.Log(0.4) + v.scattering(),
		math.Log(0.2) + patchy + floats.LogSumExp([]float64{v.growing(steps), v.scattering(), still}),
	})
	all := floats.LogSumExp([]float64{nothing, dew, clouds})
	f.Kind, f.Chance = Clouds, math.Exp(clouds-all)
	if dew > clouds {
		f.Kind, f.Chance = Dew, math.Exp(dew-all)
	}
	if 1-math.Exp(nothing-all) < certain || f.Chance < known {
		return f, false
	}
	f.say(looks, v, covers)
	return f, f.Names != nil
}

// say fills in which frames lack how much light, against the brightest, and how many of
// their stars.
func (f *Finding) say(looks []Look, v values, covers []hidden) {
	least := slices.Min(v.y)
	dims := map[int]float64{}
	for k, i := range v.frame {
		dims[i] = v.y[k] - least
		f.Much = math.Max(f.Much, dims[i])
	}
	if f.Kind == Dew {
		f.Much = dims[v.frame[len(v.frame)-1]]
	} else {
		for i := range looks {
			dims[i] = math.Max(dims[i], thinnest(looks, i))
			f.Much = math.Max(f.Much, dims[i])
		}
	}
	for i := range looks {
		covered := f.Kind == Clouds && covers[i].log > 0 && covers[i].share >= leastHidden
		if covered {
			f.Share = math.Max(f.Share, covers[i].share)
		}
		if covered || dims[i] >= leastFade {
			f.Names = append(f.Names, looks[i].Name)
		}
	}
}

// skyWith returns the logarithm of how much likelier the backgrounds are if the frames
// that lack light lack it for clouds, which are lit from below, than for dew, which
// leaves the sky as bright. Levels are told above the darkest, for the sensor's own is
// not known.
func skyWith(looks []Look, v values) float64 {
	var d, b []float64
	for k, i := range v.frame {
		if looks[i].sky > 0 {
			d, b = append(d, v.y[k]), append(b, math.Log(looks[i].sky))
		}
	}
	mean := func(x []float64) (m float64) {
		for _, y := range x {
			m += y / float64(len(x))
		}
		return m
	}
	md, mb := mean(d), mean(b)
	var dd, db float64
	for i := range d {
		dd += (d[i] - md) * (d[i] - md)
		db += (d[i] - md) * (b[i] - mb)
	}
	if dd < leastFade*leastFade {
		return 0
	}
	normal := func(x, mid, s float64) float64 { return -(x-mid)*(x-mid)/(2*s*s) - math.Log(s) }
	per := db / dd // growth of the sky a magnitude of stars
	return math.Min(math.Max(normal(per, 0.1, 0.3)-normal(per, -0.05, 0.1), -2), 4)
}

// patchiness returns the logarithm of how much likelier the light of the pictures' parts
// is when it changes from frame to frame, as under clouds, than when it does not.
func patchiness(looks []Look) (log float64) {
	for c := range parts * parts {
		v := newValues(len(looks))
		var air []float64
		for i := range looks {
			p := &looks[i].light.part[c]
			if p.stars < fewOfPart {
				continue
			}
			k := len(v.y)
			v.frame, v.y, air = append(v.frame, i), append(v.y, p.dim), append(air, p.air)
			v.cov.SetSym(k, k, p.err*p.err+clearPart*clearPart)
		}
		if len(v.y) < 2 {
			continue
		}
		v.share(air, extinctionErr)
		log += v.likelihood(func(i, j int) float64 {
			if i != j {
				return 0
			}
			return cloudyPart * cloudyPart
		}, nil, 0) - v.likelihood(nil, nil, 0)
	}
	return log
}

// thinnest returns how much too faint the stars of a frame's faintest part are, against
// what the same part shows in the other frames.
func thinnest(looks []Look, i int) (most float64) {
	for c := range parts * parts {
		p := &looks[i].light.part[c]
		if p.stars < fewOfPart {
			continue
		}
		usual := median(looks, func(l Look) float64 { return l.light.part[c].dim })
		most = math.Max(most, p.dim-usual)
	}
	return most
}

// judgeFocus looks for stars that become wider at once, or more and more, and bring as
// much light as before.
func judgeFocus(looks []Look) (f Finding, found bool) {
	const (
		seeing    = 0.1  // logarithm of the width, from frame to frame
		perAir    = 0.6  // power of the air's mass (Fried 1966; from memory)
		leastGrow = 1.25 // (all but the power: no source)
	)
	v := newValues(len(looks))
	var air []float64
	for i := range looks {
		if l := &looks[i]; l.width > 0 && l.solved {
			k, a := len(v.y), math.Log(math.Max(l.light.air, 1))
			v.frame, v.y, air = append(v.frame, i), append(v.y, math.Log(math.Max(l.width, 0.8))-perAir/2*a), append(air, a)
			v.cov.SetSym(k, k, seeing*seeing)
		}
	}
	v.share(air, perAir/3) // of wide pixels the seeing is no part
	if len(v.y) < 2 {
		return f, false
	}
	nothing := v.likelihood(nil, nil, 0)
	shaken := math.Log(oddsBlurred) + v.scattering() // by wind, or what else comes and goes
	lost := math.Log(oddsFocus) + v.growing(append(v.steps(), v.ramps(looks)...))
	all := floats.LogSumExp([]float64{nothing, shaken, lost})
	f = Finding{Kind: Focus, Chance: math.Exp(lost - all)}
	least := slices.Min(v.y)
	f.Much = math.Exp(v.y[len(v.y)-1] - least)
	for k, i := range v.frame {
		if v.y[k]-least > math.Log(leastGrow) {
			f.Names = append(f.Names, looks[i].Name)
		}
	}
	return f, 1-math.Exp(nothing-all) > certain && f.Chance > known && f.Much > leastGrow
}
