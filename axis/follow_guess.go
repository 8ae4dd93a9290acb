package axis

import (
	"math"
	"slices"
	"time"

	"pintle/index/sphere"
)

// Touch is a set of what was touched between two frames. The empty set says that
// nothing was.
type Touch uint8

// What can be touched.
const (
	TouchRA       Touch = 1 << iota // RA was turned, otherwise than by the drive
	TouchAzimuth                    // the azimuth adjuster
	TouchAltitude                   // the altitude adjuster
	TouchDec                        // the declination axis
	TouchTripod                     // the tripod, or the whole mount
	TouchCamera                     // the camera in its holder
)

// Has is true when all of t are in the set.
func (s Touch) Has(t Touch) bool { return s&t == t }

// unfit are those after which the old measurement no longer holds as it was.
const unfit = TouchDec | TouchTripod | TouchCamera

func (s Touch) String() string {
	if s == 0 {
		return "nothing"
	}
	text := ""
	for i, n := range [...]string{"RA", "azimuth", "altitude", "declination", "tripod", "camera"} {
		if s.Has(1 << i) {
			if text != "" {
				text += ", "
			}
			text += n
		}
	}
	return text
}

// Running says whether the drive runs.
type Running int

// States of the drive.
const (
	Tracking Running = iota // at the sidereal rate
	Standing                // the camera stays fixed to the ground
)

func (r Running) String() string { return [...]string{"tracking", "standing"}[r] }

// What is to be expected of mounts and of people who turn their bolts. Common
// practice, no source; how likely each touch is matters only where the frame
// leaves it open.
const (
	leanSigma = 1.5 * sphere.Degree // of the base's vertical, about east and about north
	skewSigma = 0.3 * sphere.Degree // of the altitude adjuster's axis across the mount
	coneSigma = 0.7 * sphere.Degree // cone error and the like

	rateSigma  = 0.1 * sphere.Arcsecond  // a second of time: periodic error of the drive
	rateTime   = 100                     // seconds over which it stays what it is
	standSigma = 0.1 * sphere.Arcsecond  // what a drive at rest moves between two frames
	creep      = 0.02 * sphere.Arcsecond // of the adjusters at rest, per square root of a second
	restless   = 0.3 * sphere.Arcsecond  // every frame's own turn before any was seen: seeing, wind

	chanceAdjust = 0.09 // each adjuster alone
	chanceBoth   = 0.05
	chanceDec    = 0.002
	chanceTripod = 0.0005
	chanceCamera = 0.0005
	chanceShaken = 0.01 // the frame was taken in a gust, or while the mount still swung
	chanceTurned = 0.05 // RA
	chanceSwitch = 0.03 // of the drive, on or off
	firstTracks  = 0.7
)

// shake is by how much a shaken frame's own turn is larger.
const shake = 6

// turnOf is a free turn: columns of a root, all as likely in their directions.
// Its size m has the density 1/(m + least) up to most, which is the same for
// every power of ten: people turn a bolt by arcseconds as well as by degrees.
type turnOf struct {
	columns     []numbers // per radian
	least, most float64
}

// wide is the standard deviation of the columns while the frame is fitted; it
// only needs to be larger than what comes out.
func (t *turnOf) wide() float64 { return t.most / 2 }

// guess is what may have happened between two frames.
type guess struct {
	touch  Touch
	drive  Running
	shaken bool
	chance float64
	turns  []turnOf
}

func unit(p int) (x numbers) { x[p] = 1; return x }

// guesses lists what may have happened to a mount whose drive was as told.
func guesses(drive Running) (gs []guess) {
	const as = float64(sphere.Arcsecond)
	deg := float64(sphere.Degree)
	az := turnOf{[]numbers{unit(pAz)}, 20 * as, 10 * deg}
	alt := turnOf{[]numbers{unit(pAlt)}, 20 * as, 10 * deg}
	ra := turnOf{[]numbers{unit(pTurn)}, 20 * as, math.Pi}
	dec := turnOf{[]numbers{unit(pDec)}, 20 * as, math.Pi}
	camera := turnOf{[]numbers{unit(pShift), unit(pShift + 1), unit(pShift + 2)}, 30 * as, math.Pi}
	tripod := turnOf{[]numbers{unit(pTip), unit(pTip + 1), unit(pTip + 2)}, 30 * as, 3 * deg}

	still := 1 - 2*chanceAdjust - chanceBoth - chanceDec - chanceTripod - chanceCamera - chanceShaken
	for _, d := range []struct {
		touch  Touch
		drive  Running
		chance float64
	}{{0, drive, 1 - chanceTurned - chanceSwitch}, {0, 1 - drive, chanceSwitch}, {TouchRA, drive, chanceTurned}} {
		add := func(touch Touch, chance float64, turns ...turnOf) {
			if d.touch == TouchRA {
				turns = append(turns, ra)
			}
			gs = append(gs, guess{touch: touch | d.touch, drive: d.drive, chance: chance * d.chance, turns: turns})
		}
		add(0, still)
		add(TouchAzimuth, chanceAdjust, az)
		add(TouchAltitude, chanceAdjust, alt)
		add(TouchAzimuth|TouchAltitude, chanceBoth, az, alt)
		add(TouchDec, chanceDec, dec)
		if d.touch == 0 {
			add(TouchTripod, chanceTripod, tripod)
			add(TouchCamera, chanceCamera, camera)
			add(0, chanceShaken)
			gs[len(gs)-1].shaken = true
		}
	}
	return gs
}

// branch is one account of all that happened so far.
type branch struct {
	belief
	weight  float64
	drive   Running
	touched Touch // of unfit, since the axis was measured
}

// offspring is a branch led on by a guess.
type offspring struct {
	guess  guess
	from   *branch
	before numbers // the mean to be expected
	all    spreads
	turn0  int // column at which the guess' turns begin
	up     update
	log    float64 // logarithm of its likelihood
	weight float64
}

// expect returns the mean and the spreads before the frame is seen, for a guess
// that leaves the turns out. sign is that of the drive's turn.
func (b *branch) expect(dt time.Duration, drive Running, sign float64) (numbers, spreads) {
	t := dt.Seconds()
	x, s := b.mean, b.spreads()
	if t < 0 {
		t = 0
	}
	if drive == Tracking {
		x[pTurn] += sign * Sidereal * t
		// A rate error that is forgotten in rateTime (Ornstein and Uhlenbeck).
		const r = float64(rateSigma)
		f := math.Exp(-t / rateTime)
		move := rateTime * (1 - f)
		x[pTurn] += move * x[pRate]
		x[pRate] *= f
		for k := range s {
			s[k][pTurn] += move * s[k][pRate]
			s[k][pRate] *= f
		}
		rr := r * r * (1 - f*f)
		rt := r * r * rateTime * (1 - f) * (1 - f)
		tt := r * r * rateTime * rateTime * (2*t/rateTime - 3 + 4*f - f*f)
		a := math.Sqrt(math.Max(rr, 0))
		c := numbers{pRate: a}
		if a > 0 {
			c[pTurn] = rt / a
		}
		s = append(s, c, numbers{pTurn: math.Sqrt(math.Max(tt-c[pTurn]*c[pTurn], 0))})
	} else {
		s = append(s, numbers{pTurn: float64(standSigma)})
	}
	c := float64(creep) * math.Sqrt(t)
	return x, append(s, numbers{pAz: c}, numbers{pAlt: c})
}

// follow works a guess out on a glimpse.
func follow(from *branch, h guess, before numbers, s spreads, g *glimpse) *offspring {
	o := work(from, h, before, s, g)
	if bend := o.bend(); bend > 0 {
		o = work(from, h, before, append(s, numbers{pTurn: bend}), g)
	}
	return o
}

// bend is what a large turn on a base of unknown lean does to second order,
// which the covariance leaves out: it comes in as an error of RA, the turn that is
// not free. 0 when it is small or RA is free.
func (o *offspring) bend() float64 {
	turn := math.Hypot(o.up.mean[pAz], o.up.mean[pAlt])
	if turn == 0 || o.guess.touch.Has(TouchRA) {
		return 0
	}
	b := &o.from.belief
	e, n, k := b.sigma(pLean), b.sigma(pLean+1), b.sigma(pSkew)
	if bend := bendShare * turn * (e*e + n*n + k*k); bend > 0.2*float64(sphere.Arcsecond) {
		return bend
	}
	return 0
}

const bendShare = 1

// work does what follow says, bend left out.
func work(from *branch, h guess, before numbers, s spreads, g *glimpse) *offspring {
	o := &offspring{guess: h, from: from, before: before, turn0: len(s)}
	o.all = slices.Clone(s)
	for _, t := range h.turns {
		for _, c := range t.columns {
			o.all = append(o.all, c.times(t.wide()))
		}
	}
	o.up = from.see(&before, o.all, g)
	o.log = math.Log(h.chance) - (o.up.misfit+o.up.logDet+g.logDet)/2
	k := o.turn0
	for _, t := range h.turns {
		o.log += t.correction(&o.up, k)
		k += len(t.columns)
	}
	return o
}

// correction is the logarithm of the density of the turn found over that of the
// normal distribution it was found with.
func (t *turnOf) correction(u *update, k int) float64 {
	n := len(t.columns)
	w2, c2 := 0.0, 0.0
	for i := k; i < k+n; i++ {
		w2 += u.w[i] * u.w[i]
		c2 += u.cov(i, i)
	}
	m := t.wide() * math.Sqrt(w2+c2)
	size := math.Log(1 + t.most/t.least)
	normal := -w2/2 - float64(n)*math.Log(t.wide()*math.Sqrt(2*math.Pi))
	scale := -math.Log(2 * size * (m + t.least))
	if n == 3 { // the same on the radius of a ball
		scale = -math.Log(4 * math.Pi * size * math.Pow(m+t.least, 3))
	}
	if over := m/t.most - 1; over > 0 {
		scale -= 50 * over * over
	}
	return scale - normal
}

// branch returns the offspring as a branch of its own.
func (o *offspring) branch() branch {
	return branch{
		belief: o.from.stepped(&o.up.mean, o.up.spreads(o.all)),
		weight: o.weight, drive: o.guess.drive, touched: o.from.touched | o.guess.touch&unfit,
	}
}
