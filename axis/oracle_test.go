package axis

import (
	"math"
	"slices"

	"pintle/index/sphere"
)

// oracle judges what happened to frames by one who knows more than any night tells: the
// scatter, the sag and the size of every cause, but neither its direction nor where it
// happened. Its likelihood ratio is the best there is: of all rules that claim as rarely
// where nothing happened, none finds more (Neyman & Pearson 1933, Phil. Trans. A 231,
// 289). It shares the linear model with the fit, and none of its beliefs.
type oracle struct {
	a    attitudes
	m    *mount // the true one
	left []float64
	size float64 // of every cause, radians
}

// What the nights scatter and sag by.
const (
	ordinaryScatter = float64(0.7 * sphere.Arcsecond)
	ordinarySag     = float64(3 * sphere.Arcsecond)
)

// told is the kind under which the oracle counts a cause of n frames: one frame set
// apart and a slip beside it are not told apart, nor are a mirror at the meridian and a
// camera that moved there.
func (c *cause) told() Kind {
	switch c.kind {
	case Flops:
		return CameraShifted
	case OddFrame:
		return DecSlip
	}
	return c.kind
}

// weigh returns the log likelihood ratio of every kind of cause against nothing.
func (o *oracle) weigh() map[Kind]float64 {
	z := o.a.sag()[:1] // the others are nothing on such nights
	list := append(causes(len(o.a.camFromLocal), o.left), o.a.flops()...)[1:]
	first := make([]int, len(list)) // column of each, axis and sag integrated away
	for i := range list {
		list[i] = list[i].turns(o.a, o.m)
		first[i] = len(z) - 1
		z = append(z, list[i].turn...)
	}
	m, _ := o.a.mix(&glsFit{m: o.m}, z)
	r, _ := m.at(ordinaryScatter)
	r.drop(2)
	r.normal[0][0] += 1 / (ordinarySag * ordinarySag)
	r.drop(1)
	logs := map[Kind][]float64{}
	for i := range list {
		k := list[i].told()
		logs[k] = append(logs[k], o.evidence(&r, &list[i], first[i]))
	}
	ratios := map[Kind]float64{}
	for k, l := range logs {
		ratios[k] = meanLog(l)
	}
	return ratios
}

// evidence returns the log likelihood ratio of one cause, averaged over its directions.
func (o *oracle) evidence(r *reduced, c *cause, at int) float64 {
	const directions = 360
	size, logs := o.size, make([]float64, directions)
	if c.kind == Bends {
		size /= o.m.span()
	}
	for k := range logs {
		y, x := math.Sincos(2 * math.Pi * float64(k) / directions)
		v := []float64{size * x, size * y}
		if len(c.turn) == 1 {
			v = []float64{math.Copysign(size, x)}
		}
		for i := range v {
			logs[k] += r.g[at+i] * v[i]
			for j := range v {
				logs[k] -= 0.5 * v[i] * v[j] * r.normal[at+max(i, j)][at+min(i, j)]
			}
		}
	}
	return meanLog(logs)
}

// span is the turn from the first frame to the last, radians.
func (m *mount) span() float64 { return math.Abs(wrap(m.turn[len(m.turn)-1] - m.turn[0])) }

// meanLog returns the logarithm of the mean of what is given by logarithms.
func meanLog(logs []float64) float64 {
	top, sum := slices.Max(logs), 0.0
	for _, l := range logs {
		sum += math.Exp(l - top)
	}
	return top + math.Log(sum/float64(len(logs)))
}

// judgement is what an oracle says of many nights.
type judgement []map[Kind]float64

// limit is what one in a hundred of the nights exceeds, on which nothing happened.
func (j judgement) limit(of func(map[Kind]float64) float64) float64 {
	var all []float64
	for _, ratios := range j {
		all = append(all, of(ratios))
	}
	slices.Sort(all)
	return all[len(all)*99/100]
}

// finds returns in how many nights it is seen that something of this kind happened, none
// other being possible, and in how many it is named among all that may happen, each
// being as likely. Of the nights of nothing one in a hundred would be claimed.
func (j judgement) finds(k Kind, nothing judgement) (seen, named int) {
	best := func(ratios map[Kind]float64) (l float64) {
		l = math.Inf(-1)
		for _, x := range ratios {
			l = max(l, x)
		}
		return l
	}
	one := func(ratios map[Kind]float64) float64 { return ratios[k] }
	alone, any := nothing.limit(one), nothing.limit(best)
	for _, ratios := range j {
		if l := one(ratios); l > alone {
			seen++
			if l > any && l == best(ratios) {
				named++
			}
		}
	}
	return seen, named
}
