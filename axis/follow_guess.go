package axis

import (
	"math"
	"slices"
	"time"

	"pintle/axis/drive"
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
	skewSigma = 0.2 * sphere.Degree // of the altitude adjuster's axis across the mount
	coneSigma = 0.7 * sphere.Degree // cone error and the like

	rateSigma  = 0.1 * sphere.Arcsecond  // a second of time: periodic error of the drive
	rateTime   = 100                     // seconds over which it stays what it is
	standSigma = 0.1 * sphere.Arcsecond  // what a drive at rest moves between two frames
	creep      = 0.02 * sphere.Arcsecond // of the adjusters at rest, per square root of a second
	restless   = 0.3 * sphere.Arcsecond  // every frame's own turn before any was seen: seeing, wind

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
	shaken bool // the frame was taken in a gust, or while the mount still swung
	chance float64
	turns  []turnOf
}

// handled lists what may be done to all but RA, with its chance beforehand.
var handled = func() []guess {
	const (
		as  = float64(sphere.Arcsecond)
		deg = float64(sphere.Degree)
	)
	free := func(least, most float64, of ...int) (t turnOf) {
		for _, p := range of {
			var c numbers
			c[p] = 1
			t.columns = append(t.columns, c)
		}
		t.least, t.most = least, most
		return t
	}
	az, alt := free(20*as, 6*deg, pAz), free(20*as, 6*deg, pAlt)
	dec := free(20*as, math.Pi, pDec)
	list := []guess{
		{touch: TouchAzimuth, chance: 0.09, turns: []turnOf{az}},
		{touch: TouchAltitude, chance: 0.09, turns: []turnOf{alt}},
		{touch: TouchAzimuth | TouchAltitude, chance: 0.05, turns: []turnOf{az, alt}},
		{shaken: true, chance: 0.01},
		{touch: TouchDec, chance: 0.002, turns: []turnOf{dec}},
		{touch: TouchDec | TouchAzimuth, chance: 0.0004, turns: []turnOf{az, dec}},
		{touch: TouchDec | TouchAltitude, chance: 0.0004, turns: []turnOf{alt, dec}},
		{touch: TouchCamera, chance: 0.001, turns: []turnOf{free(60*as, math.Pi, pShift+2)}}, // turned in its holder
		{touch: TouchCamera, chance: 0.0003, turns: []turnOf{free(30*as, math.Pi, pShift, pShift+1, pShift+2)}},
		{touch: TouchTripod, chance: 0.0005, turns: []turnOf{free(30*as, 3*deg, pTip, pTip+1, pTip+2)}},
	}
	rest := 1.0
	for _, g := range list {
		rest -= g.chance
	}
	return append(list, guess{chance: rest})
}()

// raTurn is RA turned by hand or by its motor.
var raTurn = turnOf{[]numbers{{pTurn: 1}}, 3 * float64(sphere.Arcminute), math.Pi}

// guesses lists what may have happened to a mount whose drive was as told.
func guesses(drive Running) (gs []guess) {
	for _, h := range handled {
		same, other, turned := h, h, h
		same.drive, same.chance = drive, h.chance*(1-chanceTurned-chanceSwitch)
		gs = append(gs, same)
		if h.shaken || h.touch&unfit != 0 && h.touch != TouchDec {
			continue // too rare to come together with more
		}
		other.drive, other.chance = 1-drive, h.chance*chanceSwitch
		turned.drive, turned.chance = drive, h.chance*chanceTurned
		turned.touch |= TouchRA
		turned.turns = append(slices.Clone(h.turns), raTurn)
		gs = append(gs, other, turned)
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
func (b *branch) expect(dt time.Duration, runs Running, sign float64) (numbers, spreads) {
	t := math.Max(dt.Seconds(), 0)
	x, s := b.mean, b.spreads()
	sky := sign * drive.Sidereal * t
	switch {
	case runs != b.drive: // switched on or off, no matter when
		x[pTurn] += sky / 2
		s = append(s, numbers{pTurn: sky / math.Sqrt(12)})
	case runs == Tracking:
		x[pTurn] += sky
		s = append(s, drift(&x, s, t)...)
	default:
		s = append(s, numbers{pTurn: float64(standSigma)})
	}
	c := float64(creep) * math.Sqrt(t)
	return x, append(s, numbers{pAz: c}, numbers{pAlt: c})
}

// drift lets the drive's error act for t seconds, on the mean and on the spreads,
// and returns its further columns: a rate that is forgotten in rateTime (Ornstein
// and Uhlenbeck 1930).
func drift(x *numbers, s spreads, t float64) spreads {
	const r = float64(rateSigma)
	f := math.Exp(-t / rateTime)
	move := rateTime * (1 - f)
	for _, c := range append([]*numbers{x}, s.pointers()...) {
		c[pTurn] += move * c[pRate]
		c[pRate] *= f
	}
	rate := r * math.Sqrt(1-f*f)
	together := 0.0
	if rate > 0 {
		together = r * r * rateTime * (1 - f) * (1 - f) / rate
	}
	turn := r * r * rateTime * rateTime * (2*t/rateTime - 3 + 4*f - f*f)
	return spreads{{pRate: rate, pTurn: together}, {pTurn: math.Sqrt(math.Max(0, turn-together*together))}}
}

func (s spreads) pointers() []*numbers {
	ps := make([]*numbers, len(s))
	for i := range s {
		ps[i] = &s[i]
	}
	return ps
}

// follow works a guess out on a glimpse.
func follow(from *branch, h guess, before numbers, s spreads, g *glimpse) *offspring {
	o := work(from, h, before, s, g)
	if more := o.secondOrder(); more > 0 {
		o = work(from, h, before, append(s, numbers{pTurn: more}), g)
	}
	return o
}

// secondOrder is what a large turn on a base of unknown lean does to second order,
// which the covariance leaves out: it comes in as an error of RA, the turn that is
// not free. 0 when it is small or RA is free.
func (o *offspring) secondOrder() float64 {
	turn := math.Hypot(o.up.mean[pAz], o.up.mean[pAlt])
	if turn == 0 || o.guess.touch.Has(TouchRA) {
		return 0
	}
	b := &o.from.belief
	e, n, k := b.sigma(pLean), b.sigma(pLean+1), b.sigma(pSkew)
	if more := turn * (e*e + n*n + k*k); more > 0.2*float64(sphere.Arcsecond) { // no source, chosen far below what frames show
		return more
	}
	return 0
}

// work does what follow says, the second order left out.
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
// normal distribution it was found with. A turn that the frame does not show, with
// an error as large as itself, counts with its error.
func (t *turnOf) correction(u *update, k int) float64 {
	n := len(t.columns)
	w2, c2 := 0.0, 0.0
	for i := k; i < k+n; i++ {
		w2 += u.w[i] * u.w[i]
		c2 += u.cov(i, i)
	}
	normal := -w2/2 - float64(n)*math.Log(t.wide()*math.Sqrt(2*math.Pi))
	return t.logDensity(t.wide()*math.Sqrt(w2+c2)) - normal
}

// logDensity is the logarithm of the density of turns of size m: on the line of
// one column, or in the space of three.
func (t *turnOf) logDensity(m float64) float64 {
	l := t.least
	size := math.Log(1 + t.most/l)
	log := -math.Log(2 * size * (m + l))
	if len(t.columns) == 3 {
		log = -math.Log(4*math.Pi*(size-0.5)*(m+l)) - 2*math.Log(math.Max(m, l))
	}
	if over := m/t.most - 1; over > 0 {
		log -= 500 * over * over
	}
	return log
}

// branch returns the offspring as a branch of its own.
func (o *offspring) branch() branch {
	return branch{
		belief: o.from.stepped(&o.up.mean, o.up.spreads(o.all)),
		weight: o.weight, drive: o.guess.drive, touched: o.from.touched | o.guess.touch&unfit,
	}
}
